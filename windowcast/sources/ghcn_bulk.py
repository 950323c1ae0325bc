"""GHCN-Daily in bulk: by-year CSV and the archive's Parquet layout, split into stations at speed.

Both hold thousands of stations a year, in no order of stations. One pass over them writes each
row into one of a number of buckets, chosen by its station; a bucket is then read once for all
stations in it. Memory is bounded by `MOST_ROWS` while splitting and by one bucket while reading.

Columns of either layout (NOAA NCEI, *ghcnd/readme-by_year.txt* and the readme of the open data
bucket ``noaa-ghcn-pds``; from memory): ``ID, DATE (YYYYMMDD), ELEMENT, DATA_VALUE, M_FLAG, Q_FLAG,
S_FLAG, OBS_TIME (hhmm)``; by-year CSV files of NCEI have no header. In the Parquet layout the
element and the year or the station are folders, ``YEAR=2020/ELEMENT=TMAX/`` or
``STATION=USW00013904/ELEMENT=TMAX/``.
"""

from __future__ import annotations

import hashlib
import json
import re
import shutil
import tempfile
import zlib
from collections.abc import Callable, Iterator, Sequence
from functools import lru_cache
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from windowcast.core.atomic_files import made_folder, write_atomic
from windowcast.core.errors import InputError
from windowcast.core.record import Record
from windowcast.sources.ghcn import READ, REMEDY, Observations, record_of_observations
from windowcast.sources.ghcn_csv import is_long_csv, is_morning
from windowcast.sources.numerals import BLANK, calendar_dates

if TYPE_CHECKING:
    import pyarrow as pa

BUCKETS = 64
MOST_ROWS = 4_000_000  # held before they are written out
COLUMNS = ("ID", "DATE", "ELEMENT", "DATA_VALUE", "M_FLAG", "Q_FLAG", "S_FLAG", "OBS_TIME")
_BLOCK_BYTES = 1 << 24
_CSV = re.compile(r"\d{4}\.csv(\.gz)?$")
_HIVE_FOLDER = re.compile(r"(YEAR=\d{4}|STATION=\w+|ELEMENT=\w+)$", re.IGNORECASE)
_NO_TIME = -1
_FIRST_DATE = 16000101  # as in a .dly file


def bulk_files(source: Path) -> list[Path]:
    """The files of a bulk layout at `source`, a file or a folder; empty when it is none."""
    if source.is_file():
        return [source] if _CSV.search(source.name) and _is_long(source) else []
    if any(_HIVE_FOLDER.search(child.name) for child in source.iterdir()):
        return sorted(source.glob("*=*/**/*.parquet"))
    files = sorted(p for p in source.iterdir() if _CSV.search(p.name))
    return files if files and all(map(_is_long, files)) else []


def split(
    files: Sequence[Path],
    folder: Path,
    *,
    progress: Callable[[str, int, int], object] | None = None,
) -> dict[str, Path]:
    """Split bulk files into buckets under `folder` and return the bucket of each station.

    A station is returned when it has a highest and a lowest temperature. A split that is there
    already, of files that have not changed since, is used again.

    Raises
    ------
    InputError
        A file is not of the layout, a row is damaged, or the folder cannot be made.
    """
    home = folder / f"ghcn-{_identity(files)}"
    listing = home / "stations.json"
    if not listing.is_file():
        work = Path(tempfile.mkdtemp(prefix=".splitting-", dir=made_folder(folder)))
        try:
            stations = _split_into(files, work, progress)
            write_atomic(work / listing.name, json.dumps(stations))
            shutil.rmtree(home, ignore_errors=True)
            work.rename(home)
        finally:
            shutil.rmtree(work, ignore_errors=True)
    names: dict[str, str] = json.loads(listing.read_text("utf-8"))
    return {station: home / name for station, name in names.items()}


def read_bucket(path: str | PathLike[str], station: str, *, observed: str = "") -> Record:
    """The record of one station of a bucket, as `read_dly` gives it.

    Raises
    ------
    InputError
        The bucket cannot be read, has no such station, or a day of it twice.
    """
    file = Path(path)
    try:
        table, spans = _bucket(file, file.stat().st_mtime_ns)
    except ImportError:
        raise InputError(
            "needs the region extra", path=path, remedy="pip install 'windowcast[region]'"
        ) from None
    except (OSError, ValueError) as error:
        raise InputError(f"cannot be read ({error})", path=path, remedy="split it again") from None
    if station not in spans:
        raise InputError(f"holds no rows of station {station}", path=path, field="ID")
    own = {name: values[spans[station]] for name, values in table.items()}
    found = {}
    for code, name in enumerate(READ):
        mine = (own["element"] == code) & (own["value"] != -9999)
        dates = own["date"][mine].astype("datetime64[D]")
        twice = np.flatnonzero(np.diff(dates.astype(np.int64)) == 0)
        if len(twice):
            raise InputError(
                f"station {station}: {dates[twice[0]]} stands twice", path=path,
                field=name.decode(), remedy="keep one row for each day and element",
            )  # fmt: skip
        found[name] = Observations(
            dates, own["value"][mine].astype(np.float64), own["mflag"][mine], own["qflag"][mine]
        )
    timed = np.isin(own["element"], [READ.index(b"TMAX"), READ.index(b"PRCP")])
    times = own["time"][timed & (own["time"] != _NO_TIME)]
    if not observed and len(times):
        observed = "morning" if is_morning(times).mean() > 0.5 else "midnight"
    return record_of_observations(found, station, path, observed)


def _identity(files: Sequence[Path]) -> str:
    digest = hashlib.sha256()
    for file in files:
        stat = file.stat()
        digest.update(f"{file.resolve()} {stat.st_size} {stat.st_mtime_ns}\n".encode())
    return digest.hexdigest()[:16]


def _is_long(path: Path) -> bool:
    return is_long_csv(_first_line(path))


def _first_line(path: Path) -> str:
    import gzip

    opened: Any = gzip.open if path.suffix == ".gz" else open
    try:
        with opened(path, "rb") as stream:
            return str(stream.readline(4096).decode("utf-8", "replace"))
    except (OSError, EOFError, zlib.error):
        return ""


def _split_into(
    files: Sequence[Path], work: Path, progress: Callable[[str, int, int], object] | None
) -> dict[str, str]:
    """Write the buckets; station → name of its bucket."""
    import pyarrow as pa

    writers = _Buckets(work)
    seen: dict[str, set[int]] = {}
    kinds = {READ.index(b"TMAX"), READ.index(b"TMIN")}
    for done, file in enumerate(files):
        for rows in _batches(file):
            writers.add(rows)
            some = rows.filter(pa.compute.is_in(rows["element"], pa.array(kinds, pa.int8())))
            for pair in some.group_by(["ID", "element"]).aggregate([]).to_pylist():
                seen.setdefault(pair["ID"], set()).add(pair["element"])
        if progress is not None:
            progress("files", done + 1, len(files))
    writers.close()
    return {s: _bucket_name(s) for s in sorted(seen) if seen[s] == kinds}


def _bucket_of(station: str) -> int:
    return zlib.crc32(station.encode()) % BUCKETS


def _bucket_name(station: str) -> str:
    return f"{_bucket_of(station):03d}.parquet"


class _Buckets:
    """Writers of the buckets, fed in large pieces."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._writers: dict[int, Any] = {}
        self._held: list[pa.Table] = []
        self._rows = 0

    def add(self, rows: pa.Table) -> None:
        self._held.append(rows)
        self._rows += rows.num_rows
        if self._rows > MOST_ROWS:
            self._flush()

    def close(self) -> None:
        self._flush()
        for writer in self._writers.values():
            writer.close()

    def _flush(self) -> None:
        import pyarrow as pa
        import pyarrow.parquet as pq

        if not self._rows:
            return
        rows = pa.concat_tables(self._held).unify_dictionaries().combine_chunks()
        self._held, self._rows = [], 0
        ids = rows["ID"].combine_chunks().dictionary_encode()
        of_id = np.array([_bucket_of(i) for i in ids.dictionary.to_pylist()], dtype=np.int64)
        bucket = of_id[ids.indices.to_numpy()]
        order = np.argsort(bucket, kind="stable")
        rows = rows.take(pa.array(order))
        edges = np.searchsorted(bucket[order], np.arange(BUCKETS + 1)).tolist()
        for number in range(BUCKETS):
            part = rows.slice(edges[number], edges[number + 1] - edges[number])
            if part.num_rows:
                if number not in self._writers:
                    path = self._folder / f"{number:03d}.parquet"
                    self._writers[number] = pq.ParquetWriter(path, part.schema, compression="zstd")
                self._writers[number].write_table(part)


def _batches(file: Path) -> Iterator[pa.Table]:
    """Rows of one file with an element of use: ``ID, date, element, value, mflag, qflag, time``."""
    import pyarrow as pa

    try:
        for table in _parquet_rows(file) if file.suffix == ".parquet" else _csv_rows(file):
            yield _plain(table)
    except (pa.ArrowInvalid, pa.ArrowTypeError, KeyError, ValueError, OSError) as error:
        if file.suffix != ".parquet":
            _name_bad_row(file)
        text = " ".join(str(error).split())[:120]
        raise InputError(f"cannot be read ({text})", path=file, remedy=REMEDY) from None


def _csv_rows(file: Path) -> Iterator[pa.Table]:
    import pyarrow as pa
    from pyarrow import csv

    header = _first_line(file).upper().startswith(("ID,", '"ID"'))
    text = {name: pa.string() for name in COLUMNS}
    reader = csv.open_csv(
        file,
        csv.ReadOptions(
            column_names=COLUMNS, skip_rows=1 if header else 0, block_size=_BLOCK_BYTES
        ),
        convert_options=csv.ConvertOptions(
            column_types=text | {"DATE": pa.int32(), "DATA_VALUE": pa.int32()},
            include_columns=[name for name in COLUMNS if name != "S_FLAG"],
            strings_can_be_null=False,
        ),
    )
    for batch in reader:
        yield pa.Table.from_batches([batch])


def _parquet_rows(file: Path) -> Iterator[pa.Table]:
    """Rows of a file of the Parquet layout; its folder names the element."""
    import pyarrow as pa
    import pyarrow.dataset as ds

    folders = dict(part.split("=", 1) for part in file.parts if "=" in part)
    named = {key.upper(): value for key, value in folders.items()}
    told = {"ELEMENT": named.get("ELEMENT", ""), "ID": named.get("STATION", "")}
    if told["ELEMENT"] and told["ELEMENT"].encode() not in READ:
        return
    names = [n for n in COLUMNS if n != "S_FLAG" and not told.get(n)]
    for batch in ds.dataset(file, format="parquet").to_batches(columns=names):
        table = pa.Table.from_batches([batch])
        for column, value in told.items():
            if value:
                repeated = pa.array([value] * table.num_rows, pa.string())
                table = table.append_column(column, repeated)
        yield table


def _plain(table: pa.Table) -> pa.Table:
    """Rows of use with codes in place of text."""
    import pyarrow as pa
    import pyarrow.compute as pc

    names = pa.array([name.decode() for name in READ])
    code = pc.index_in(table["ELEMENT"].cast(pa.string()), value_set=names)
    table = table.append_column("code", code).filter(pc.is_valid(code))
    time = pc.utf8_trim_whitespace(pc.fill_null(table["OBS_TIME"].cast(pa.string()), ""))
    known = pc.match_substring_regex(time, r"^\d{1,4}$")
    return pa.table(
        {
            "ID": table["ID"].cast(pa.string()),
            "date": _days(table["DATE"]),
            "element": table["code"].cast(pa.int8()),
            "value": table["DATA_VALUE"].cast(pa.int32()),
            "mflag": _letter(table["M_FLAG"]),
            "qflag": _letter(table["Q_FLAG"]),
            "time": pc.if_else(known, time, str(_NO_TIME)).cast(pa.int16()),
        }
    )


def _days(column: pa.ChunkedArray) -> pa.Array:
    """Dates as days since 1970, from ``YYYYMMDD`` as text or number, or from dates."""
    import pyarrow as pa

    if pa.types.is_temporal(column.type):
        return column.cast(pa.date32()).cast(pa.int32())
    number = column.cast(pa.int32()).to_numpy().astype(np.int64)
    dates, right = calendar_dates(number)
    right &= number >= _FIRST_DATE
    if not right.all():
        raise ValueError(f"{number[np.argmin(right)]} is not a date")
    return pa.array(dates.astype(np.int64).astype(np.int32))


def _letter(column: pa.ChunkedArray) -> pa.Array:
    """A flag as the code of its letter, blank where there is none."""
    import pyarrow as pa
    import pyarrow.compute as pc

    flags = pc.fill_null(column.cast(pa.string()), "").combine_chunks().dictionary_encode()
    letters = [ord((text.strip() or " ")[0]) & 0xFF for text in flags.dictionary.to_pylist()]
    return pa.array(np.array(letters or [BLANK], np.uint8)[flags.indices.to_numpy()])


def _name_bad_row(file: Path) -> None:
    """Find the row that cannot be read, and name it."""
    import csv
    import gzip

    opened: Any = gzip.open if file.suffix == ".gz" else open
    try:
        with opened(file, "rt", encoding="utf-8", newline="") as stream:
            for number, row in enumerate(csv.reader(stream), start=1):
                if number == 1 and row and row[0].strip().upper() == "ID":
                    continue
                if len(row) != len(COLUMNS):
                    raise InputError(
                        f"has {len(row)} fields, not {len(COLUMNS)}", path=file, row=number,
                        remedy=REMEDY,
                    )  # fmt: skip
                for field, text in (("DATA_VALUE", row[3]), ("DATE", row[1])):
                    if not re.fullmatch(r"-?\d{1,9}", text.strip()):
                        raise InputError(
                            f"{text!r} is not a whole number", path=file, row=number, field=field,
                            remedy=REMEDY,
                        )  # fmt: skip
    except (OSError, EOFError, UnicodeDecodeError, csv.Error, zlib.error) as error:
        raise InputError(
            f"is damaged ({type(error).__name__})", path=file, remedy="fetch it again"
        ) from None


@lru_cache(maxsize=1)
def _bucket(path: Path, changed_ns: int) -> tuple[dict[str, Any], dict[str, slice]]:
    """Columns of a bucket in order of station, element and date, and the rows of each station."""
    import pyarrow.parquet as pq

    table = pq.read_table(path)
    ids = table["ID"].combine_chunks().dictionary_encode()
    columns = {name: table[name].to_numpy() for name in table.column_names if name != "ID"}
    station = ids.indices.to_numpy()
    order = np.lexsort((columns["date"], columns["element"], station))
    columns = {name: values[order] for name, values in columns.items()}
    names = ids.dictionary.to_pylist()
    edges = np.searchsorted(station[order], np.arange(len(names) + 1)).tolist()
    return columns, {name: slice(edges[i], edges[i + 1]) for i, name in enumerate(names)}

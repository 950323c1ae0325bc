"""GHCN-Daily in bulk: rows of by-year CSV files and of the archive's Parquet layout.

Both hold thousands of stations a year, in no order of stations; `windowcast.sources.ghcn_sorted`
puts them in order.

Columns of either layout (NOAA NCEI, *ghcnd/readme-by_year.txt* and the readme of the open data
bucket ``noaa-ghcn-pds``; from memory): ``ID, DATE (YYYYMMDD), ELEMENT, DATA_VALUE, M_FLAG, Q_FLAG,
S_FLAG, OBS_TIME (hhmm)``; by-year CSV files of NCEI have no header. In the Parquet layout the
element and the year or the station are folders, ``YEAR=2020/ELEMENT=TMAX/`` or
``STATION=USW00013904/ELEMENT=TMAX/``.
"""

from __future__ import annotations

import re
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from windowcast.core.errors import InputError
from windowcast.sources.ghcn import READ, REMEDY
from windowcast.sources.ghcn_csv import is_long_csv
from windowcast.sources.numerals import BLANK, calendar_dates

if TYPE_CHECKING:
    import pyarrow as pa

COLUMNS = ("ID", "DATE", "ELEMENT", "DATA_VALUE", "M_FLAG", "Q_FLAG", "S_FLAG", "OBS_TIME")
_BLOCK_BYTES = 1 << 24
_CSV = re.compile(r"\d{4}\.csv(\.gz)?$")
_HIVE_FOLDER = re.compile(r"(YEAR=\d{4}|STATION=\w+|ELEMENT=\w+)$", re.IGNORECASE)
NO_TIME = -1  # of a row that does not tell when it was read
_FIRST_DATE = 16000101  # as in a .dly file


def bulk_files(source: Path) -> list[Path]:
    """The files of a bulk layout at `source`, a file or a folder; empty when it is none."""
    if source.is_file():
        return [source] if _CSV.search(source.name) and _is_long(source) else []
    if any(_HIVE_FOLDER.search(child.name) for child in source.iterdir()):
        return sorted(source.glob("*=*/**/*.parquet"))
    files = sorted(p for p in source.iterdir() if _CSV.search(p.name))
    return files if files and all(map(_is_long, files)) else []


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


def batches(file: Path) -> Iterator[pa.Table]:
    """Rows of one file with an element of use: ``ID, date, element, value, mflag, qflag, time``.

    Raises
    ------
    InputError
        The file is not of the layout, or a row is damaged.
    """
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
            "time": pc.if_else(known, time, str(NO_TIME)).cast(pa.int16()),
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

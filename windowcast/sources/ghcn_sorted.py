"""GHCN-Daily in bulk, sorted by station: each bulk file once, in buckets of bounded size.

`sort_files` writes the rows of a by-year file (or of a bundle of files) in order of station,
element and day, into as many Parquet files as the number of its rows needs. A row group has at most
`ROWS_A_GROUP` rows, and its statistics say which stations it holds, so that one station is read
without the rest. Stations are ordered by a hash of their name: so rows share out evenly among the
buckets, and memory is bounded however large the file is. Beside them lies a list of the stations
with a digest of each one's rows: a refreshed file changes that of the stations it changes only.
"""

from __future__ import annotations

import hashlib
import json
import tempfile
import zlib
from collections.abc import Iterator, Sequence
from functools import lru_cache
from itertools import pairwise
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import numpy.typing as npt

from windowcast.core.atomic_files import atomic_file, write_atomic
from windowcast.core.errors import InputError
from windowcast.core.extras import require
from windowcast.core.record import Record
from windowcast.sources.ghcn import READ, Observations, record_of_observations
from windowcast.sources.ghcn_bulk import NO_TIME, batches
from windowcast.sources.ghcn_csv import is_morning

if TYPE_CHECKING:
    import pyarrow as pa

ENDING = ".shards"  # of the file that lists sorted files, in order of their years
ROWS_A_GROUP = 1 << 15
MOST_ROWS = 2_000_000  # sorted at once
HELD_ROWS = 1 << 20  # held before they are shared out to the buckets
_BYTES_A_ROW = 6  # packed; plain text has more, and then more buckets than are needed
_KINDS = {"high": READ.index(b"TMAX"), "low": READ.index(b"TMIN")}
_COLUMNS = ("date", "element", "value", "mflag", "qflag", "time")
_TOLD = ("date", "value", "mflag", "qflag")
_KEPT_GROUPS = 200  # decoded, of half a megabyte, that a worker keeps for its next station
_KEPT_FOOTERS = 200  # of 7 kB a row group


def order_of(station: str) -> int:
    """Where a station stands in a sorted file: a hash, 0 to 2³² - 1."""
    return zlib.crc32(station.encode())


def _bucket(order: npt.NDArray[np.int64] | np.int64, count: int) -> npt.NDArray[np.int64]:
    """Which of some buckets holds a place in the order."""
    return np.asarray(order * count >> 32)


# -------------------------------------------------------------------------------------- writing


def sort_files(files: Sequence[Path], listing: Path) -> None:
    """Write the rows of bulk files to `bucket_of` the listing in order, and its stations to it.

    The listing has ``station, digest, high, low``: which of its temperatures were told; its schema
    says how many buckets there are.

    Raises
    ------
    InputError
        A file is not of the layout, or a row is damaged.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    size = sum(file.stat().st_size for file in files)
    count = max(1, -(-size // (_BYTES_A_ROW * MOST_ROWS)))
    empty = {"station": pa.array([], pa.string()), "digest": pa.array([], pa.string())}
    listed = [pa.table(empty | dict.fromkeys(_KINDS, pa.array([], pa.bool_())))]
    with tempfile.TemporaryDirectory(prefix=".sorting-", dir=listing.parent) as work:
        buckets = _Buckets(Path(work), count)
        for file in files:
            for rows in batches(file):
                buckets.add(rows)
        for number, rows in buckets.read():
            table, stations = _in_order(rows)
            listed.append(stations)
            with atomic_file(bucket_of(listing, number)) as stream:
                pq.write_table(
                    table, stream, row_group_size=ROWS_A_GROUP, compression="zstd",
                    write_statistics=["order"],
                )  # fmt: skip
    stations = pa.concat_tables(listed).replace_schema_metadata({"buckets": str(count)})
    with atomic_file(listing) as stream:
        pq.write_table(stations, stream, compression="zstd")


def bucket_of(listing: Path, number: int) -> Path:
    """Where the rows of a bucket lie."""
    return listing.with_name(f"{listing.stem}-{number:04d}.parquet")


class _Buckets:
    """Rows shared out by their station's place in the order, held on disk where they are many."""

    def __init__(self, folder: Path, count: int) -> None:
        self._files = [folder / f"{n}.arrow" for n in range(count)]
        self._writers: dict[int, Any] = {}
        self._held: list[pa.Table] = []
        self._rows = 0

    def add(self, rows: pa.Table) -> None:
        self._held.append(rows)
        self._rows += rows.num_rows
        if len(self._files) > 1 and self._rows > HELD_ROWS:
            self._share_out()

    def read(self) -> Iterator[tuple[int, pa.Table]]:
        """Number and rows of each bucket that has any."""
        import pyarrow as pa

        if len(self._files) == 1:
            if self._held:
                yield 0, pa.concat_tables(self._held)
            return
        self._share_out()
        for writer in self._writers.values():
            writer.close()
        for number in sorted(self._writers):
            with pa.ipc.open_stream(self._files[number].read_bytes()) as stream:
                yield number, stream.read_all()
            self._files[number].unlink()

    def _share_out(self) -> None:
        import pyarrow as pa

        if not self._rows:
            return
        rows = pa.concat_tables(self._held).combine_chunks()
        self._held, self._rows = [], 0
        ids = rows["ID"].combine_chunks().dictionary_encode()
        order = np.array([order_of(i) for i in ids.dictionary.to_pylist()], np.int64)
        bucket = _bucket(order, len(self._files))[ids.indices.to_numpy()]
        by_bucket = np.argsort(bucket, kind="stable")
        rows = rows.take(pa.array(by_bucket))
        edges = np.searchsorted(bucket[by_bucket], np.arange(len(self._files) + 1)).tolist()
        options = pa.ipc.IpcWriteOptions(compression="lz4")
        for number, path in enumerate(self._files):
            part = rows.slice(edges[number], edges[number + 1] - edges[number])
            if part.num_rows:
                if number not in self._writers:
                    self._writers[number] = pa.ipc.new_stream(
                        str(path), part.schema, options=options
                    )
                self._writers[number].write_table(part)


def _in_order(rows: pa.Table) -> tuple[pa.Table, pa.Table]:
    """Rows in order of station, element and day, and a row for each station with its digest."""
    import pyarrow as pa

    ids = rows["ID"].combine_chunks().dictionary_encode()
    names = ids.dictionary.to_pylist()
    sorted_names = sorted(names, key=lambda name: (order_of(name), name))
    rank = {name: n for n, name in enumerate(sorted_names)}
    station = np.array([rank[name] for name in names], np.int64)[ids.indices.to_numpy()]
    values = {name: rows[name].to_numpy() for name in _COLUMNS}
    # element and day in 7 + 25 bits, of days since 1600
    day = values["date"].astype(np.int64) + (1 << 18)
    at = np.argsort((station << 32) | (values["element"].astype(np.int64) << 25) | day)
    values = {name: value[at] for name, value in values.items()}
    station = station[at]
    edges = np.searchsorted(station, np.arange(len(names) + 1))
    spans = [slice(a, b) for a, b in pairwise(edges.tolist())]
    told = {
        kind: np.isin(np.arange(len(names)), station[values["element"] == code])
        for kind, code in _KINDS.items()
    }
    digests = [_digest([values[name][span] for name in _COLUMNS]) for span in spans]
    orders = np.array([order_of(name) for name in sorted_names], np.uint32)
    table = pa.table(
        {
            "order": orders[station],
            "ID": pa.DictionaryArray.from_arrays(pa.array(station, pa.int32()), sorted_names),
            **values,
        }
    )
    return table, pa.table({"station": sorted_names, "digest": digests, **told})


def _digest(columns: Sequence[npt.NDArray[Any]]) -> str:
    digest = hashlib.blake2b(digest_size=16)
    for column in columns:
        digest.update(column.tobytes())
    return digest.hexdigest()


# -------------------------------------------------------------------------------------- reading


def write_shards(path: Path, listings: Sequence[Path]) -> Path:
    """List the listings of sorted files, in order of their years, for `read_station`."""
    import pyarrow.parquet as pq

    counts = {each.name: int(pq.read_schema(each).metadata[b"buckets"]) for each in listings}
    return write_atomic(path, json.dumps(counts))


def read_station(path: str | PathLike[str], station: str, *, observed: str = "") -> Record:
    """The record of one station of sorted files, as `read_dly` gives it.

    Raises
    ------
    InputError
        The files cannot be read, have no such station, or a day of it twice.
    """
    file = Path(path)
    require(f"{path}: reading sorted files", "region", "pyarrow")
    try:
        shards = _shards(file, file.stat().st_mtime_ns)
        pieces = [piece for shard in shards for piece in _rows_of(shard, station)]
    except (OSError, ValueError, KeyError) as error:
        raise InputError(f"cannot be read ({error})", path=path, remedy="split it again") from None
    if not pieces:
        raise InputError(f"holds no rows of station {station}", path=path, field="ID")
    own = {name: np.concatenate([rows[name][span] for rows, span in pieces]) for name in _COLUMNS}
    found = {}
    for code, name in enumerate(READ):
        mine = np.flatnonzero((own["element"] == code) & (own["value"] != -9999))
        found[name] = _observations({n: own[n][mine] for n in _TOLD}, name, station, path)
    timed = np.isin(own["element"], [READ.index(b"TMAX"), READ.index(b"PRCP")])
    times = own["time"][timed & (own["time"] != NO_TIME)]
    if not observed and len(times):
        observed = "morning" if is_morning(times).mean() > 0.5 else "midnight"
    return record_of_observations(found, station, path, observed)


Rows = dict[str, npt.NDArray[Any]]


def _observations(
    own: Rows, element: bytes, station: str, path: str | PathLike[str]
) -> Observations:
    """What a station told of an element, in order of days."""
    if (np.diff(own["date"]) < 0).any():  # files that are not in the order of their days
        order = np.argsort(own["date"], kind="stable")
        own = {name: values[order] for name, values in own.items()}
    dates = own["date"].astype("datetime64[D]")
    twice = np.flatnonzero(np.diff(own["date"]) == 0)
    if len(twice):
        raise InputError(
            f"station {station}: {dates[twice[0]]} stands twice", path=path,
            field=element.decode(), remedy="keep one row for each day and element",
        )  # fmt: skip
    return Observations(dates, own["value"].astype(np.float64), own["mflag"], own["qflag"])


@lru_cache(maxsize=2)
def _shards(path: Path, changed_ns: int) -> tuple[tuple[Path, ...], ...]:
    """The buckets of each sorted file."""
    counts: dict[str, int] = json.loads(path.read_text("utf-8"))
    listings = {path.with_name(name): count for name, count in counts.items()}
    return tuple(
        tuple(bucket_of(listing, number) for number in range(count))
        for listing, count in listings.items()
    )


class _Footer(NamedTuple):
    """Of a bucket, with the first and last place in the order of each row group."""

    whole: Any
    first: npt.NDArray[np.int64]
    last: npt.NDArray[np.int64]


@lru_cache(maxsize=_KEPT_FOOTERS)
def _footer(path: Path) -> _Footer:
    import pyarrow.parquet as pq

    if not path.is_file():  # no row fell into that bucket
        return _Footer(None, np.zeros(0, np.int64), np.zeros(0, np.int64))
    whole = pq.read_metadata(path)
    told = [whole.row_group(n).column(0).statistics for n in range(whole.num_row_groups)]
    first, last = ([getattr(each, end) for each in told] for end in ("min", "max"))
    return _Footer(whole, np.array(first, np.int64), np.array(last, np.int64))


def _rows_of(buckets: Sequence[Path], station: str) -> Iterator[tuple[Rows, slice]]:
    """Row groups of a sorted file that hold a station, and its rows there."""
    at = order_of(station)
    path = buckets[int(_bucket(np.int64(at), len(buckets)))]
    footer = _footer(path)
    begin = int(np.searchsorted(footer.last, at))
    stop = int(np.searchsorted(footer.first, at, side="right"))
    for number in range(begin, stop):
        rows, spans = _group(path, number)
        if station in spans:
            yield rows, spans[station]


@lru_cache(maxsize=_KEPT_GROUPS)
def _group(path: Path, number: int) -> tuple[Rows, dict[str, slice]]:
    """Columns of a row group, and the rows of each of its stations."""
    import pyarrow.parquet as pq

    with pq.ParquetFile(path, metadata=_footer(path).whole, read_dictionary=["ID"]) as file:
        table = file.read_row_group(number, columns=["ID", *_COLUMNS], use_threads=False)
    ids = table["ID"].combine_chunks()
    code = ids.indices.to_numpy()
    edges = [0, *(np.flatnonzero(np.diff(code)) + 1).tolist(), len(code)]
    names = ids.dictionary.to_pylist()
    spans = {names[code[a]]: slice(a, b) for a, b in pairwise(edges) if b > a}
    return {name: table[name].to_numpy() for name in _COLUMNS}, spans

"""Bulk archives made ready to be read by station: each file sorted or joined once, side by side.

GHCN-Daily is sorted: a file that has not changed since is not read again; one that has is sorted
anew, and only the stations whose rows it changed have another digest. USCRN, which publishes a file
for each station and year, is joined by station.
"""

from __future__ import annotations

import hashlib
import os
import re
import shutil
from collections.abc import Callable, Iterator, Sequence
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from windowcast.core.atomic_files import made_folder, write_atomic
from windowcast.region.engine import Station
from windowcast.region.pools import pool
from windowcast.sources.ghcn_sorted import (
    ENDING,
    order_of,
    sort_files,
    write_shards,
)
from windowcast.sources.textfile import read_text_bytes

if TYPE_CHECKING:
    import pyarrow as pa

_KINDS = ("high", "low")  # temperatures that a station must have
TOGETHER = 512  # small files, as the archive has them by station and element, sorted as one
_WORTH_BYTES = 1 << 25  # to sort in processes of their own: less is done before they have begun

_YEARLY = re.compile(r"CRND\d{4}-\d{4}-(?P<station>.+)\.txt(\.gz)?$", re.IGNORECASE)
_YEAR_FOLDER = "[12][0-9][0-9][0-9]"


def sorted_stations(
    files: Sequence[Path],
    folder: Path,
    *,
    workers: int | None = None,
    progress: Callable[[str, int, int], object] | None = None,
) -> dict[str, Station]:
    """Sort bulk files under `folder` and return its stations, in the order they lie there.

    A station is returned when it has a highest and a lowest temperature.

    Parameters
    ----------
    workers
        Processes; all cores when None.
    progress
        Called with "files", how many are done and how many there are.

    Raises
    ------
    InputError
        A file is not of the layout, a row is damaged, or the folder cannot be made.
    """
    home = made_folder(folder / "ghcn")
    bundles = {home / f"{_identity(some)}.stations": some for some in _bundles(files)}
    todo = {listing: some for listing, some in bundles.items() if not listing.is_file()}
    done = sum(map(len, bundles.values())) - sum(map(len, todo.values()))
    if todo:
        size = sum(file.stat().st_size for some in todo.values() for file in some)
        count = min(workers or os.cpu_count() or 1, len(todo))
        with pool(None, count, alone=len(todo) == 1 or size < _WORTH_BYTES) as open_pool:
            running = {open_pool.submit(sort_files, tuple(f), s): f for s, f in todo.items()}
            while running:
                handle, _ = open_pool.finished(list(running))
                done += len(running.pop(handle))
                if progress is not None:
                    progress("files", done, len(files))
    shards = write_shards(home / f"archive{ENDING}", list(bundles))
    _tidy(home, {shards.stem, *(listing.stem for listing in bundles)})
    contents = _contents(list(bundles))
    ids = sorted(contents, key=lambda station: (order_of(station), station))
    return {i: Station(i, f"{shards}:station={i}", content=contents[i]) for i in ids}


def _bundles(files: Sequence[Path]) -> Iterator[tuple[Path, ...]]:
    """Files to sort as one: those of a year, or some of many small ones; in order."""
    for year, group in groupby(files, key=_year):
        some = tuple(group)
        step = len(some) if year else TOGETHER
        yield from (some[i : i + step] for i in range(0, len(some), step))


def _year(file: Path) -> str:
    """The year a file is of, "" where its name and folders do not say."""
    if file.suffix != ".parquet":
        return file.name
    return next((part for part in file.parts if part.upper().startswith("YEAR=")), "")


def _identity(files: Sequence[Path]) -> str:
    digest = hashlib.sha256()
    for file in files:
        stat = file.stat()
        digest.update(f"{file.resolve()} {stat.st_size} {stat.st_mtime_ns}\n".encode())
    return digest.hexdigest()[:24]


def _tidy(home: Path, wanted: set[str]) -> None:
    """Remove what is of files that have changed since, or of a run that was stopped."""
    for path in home.iterdir():
        if path.stem.partition("-")[0] not in wanted:
            shutil.rmtree(path) if path.is_dir() else path.unlink()


def _contents(listings: Sequence[Path]) -> dict[str, str]:
    """Station with both temperatures → digest of its rows in all files."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    tables = []
    for number, path in enumerate(listings):
        table = pq.read_table(path)
        tables.append(table.append_column("file", pa.array([number] * len(table), pa.int32())))
    whole = pa.concat_tables(tables)
    if not len(whole):
        return {}
    whole = whole.sort_by([("station", "ascending"), ("file", "ascending")])
    ids = whole["station"].combine_chunks().dictionary_encode()
    first = np.flatnonzero(np.diff(ids.indices.to_numpy(), prepend=-1))
    both = np.logical_and(*(np.logical_or.reduceat(_booleans(whole, k), first) for k in _KINDS))
    digests = whole["digest"].to_pylist()
    spans = zip(ids.dictionary.to_pylist(), first, [*first[1:], len(whole)], both, strict=True)
    return {
        station: hashlib.blake2b("".join(digests[a:b]).encode(), digest_size=16).hexdigest()
        for station, a, b, told in spans
        if told
    }


def _booleans(table: pa.Table, name: str) -> npt.NDArray[np.bool_]:
    return np.asarray(table[name].to_numpy())


def yearly_files(folder: Path) -> dict[str, list[Path]]:
    """Station → its yearly files, in order; of a folder or of folders of years in it."""
    found: dict[str, list[Path]] = {}
    for path in sorted([*folder.glob("CRND*"), *folder.glob(f"{_YEAR_FOLDER}/CRND*")]):
        if match := _YEARLY.fullmatch(path.name):
            found.setdefault(match["station"], []).append(path)
    return found


def joined(files: Sequence[Path], station: str, work: Path) -> Path:
    """One file of a station's years under `work`, made once for files that have not changed.

    Raises
    ------
    InputError
        A file cannot be read, or the folder cannot be made.
    """
    home = made_folder(work / f"uscrn-{_identity(files)[:16]}")
    whole = home / f"{station}.txt"
    if not whole.is_file():
        lines = (read_text_bytes(file).rstrip(b"\n") for file in files)
        write_atomic(whole, b"\n".join(lines) + b"\n")
    return whole

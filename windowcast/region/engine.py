"""Running one function over thousands of stations: in chunks, resumable, here or on a cluster.

`run` splits the stations into chunks, computes each chunk in a worker process (or on a Dask
cluster), and keeps each finished chunk as a part: its tables as Parquet files, and their checksums.
An interrupted run carries on from the finished parts; a part of which any file does not match its
checksum is computed anew. At most two chunks a worker are in flight, so memory does not grow with
the number of stations.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any

from windowcast.core.atomic_files import made_folder
from windowcast.core.errors import InputError
from windowcast.core.version import __version__
from windowcast.region.parts import Bodies, Chunk, is_whole, keep, to_parquet
from windowcast.region.pools import Pool, pool
from windowcast.sources.files import parse_spec

if TYPE_CHECKING:
    from importlib.resources.abc import Traversable

    import pyarrow as pa

SCIENCE: Traversable = resources.files("windowcast.data")
FEWEST_STATIONS, MOST_STATIONS = 16, 64  # in a chunk: more need more memory and gain no time
CHUNKS = 4  # to share out among processes, where there are few stations


@dataclass(frozen=True, slots=True)
class Station:
    """One station to compute: where its record lies, and where it stands."""

    id: str
    path: str  # a file read by sources.files
    name: str = ""
    region: str = ""
    latitude_deg: float = float("nan")  # NaN: taken from the file
    longitude_deg: float = float("nan")
    elevation_m: float = float("nan")


Compute = Callable[[tuple[Station, ...], str], Mapping[str, "pa.Table"]]
"""Chunk of stations and the options as JSON → tables by name; module-level, so that it pickles."""


def run(
    stations: Sequence[Station],
    compute: Compute,
    options: dict[str, Any],
    parts_folder: Path,
    *,
    workers: int | None = None,
    scheduler: str | None = None,
    chunk_stations: int | None = None,
    on_progress: Callable[[int, int], object] = lambda done, total: None,
) -> list[Chunk]:
    """Compute every station and return the parts in the order of the stations.

    Parameters
    ----------
    stations
        Unique ids.
    compute
        What to do with a chunk.
    options
        JSON-able options; they, the program's version and its science tables are part of each
        part's identity.
    parts_folder
        Where parts are kept and found again.
    workers
        Worker processes; all cores when None.
    scheduler
        Address of a Dask scheduler (``tcp://host:port``) instead of local processes.
    chunk_stations
        Stations computed together; by default as many as keeps every core busy and memory bounded.
        An interrupted run carries on only with the same number.
    on_progress
        Called with the stations done and those there are, each time a chunk is done.

    Raises
    ------
    InputError
        No station, an id twice, or the parts cannot be kept there.
    SourceUnreachableError
        The scheduler does not answer.
    EngineError
        A worker died on the same chunk more often than is excusable.
    """
    _check(stations)
    made_folder(parts_folder)
    text = json.dumps(options, sort_keys=True)
    size = chunk_stations or _chunk_size(len(stations))
    chunks = [tuple(stations[i : i + size]) for i in range(0, len(stations), size)]
    same = hashlib.sha256(f"{__version__}\n{tables_hash(SCIENCE)}\n{text}\n".encode())
    parts = [Chunk(parts_folder, _identity(chunk, same.copy())) for chunk in chunks]
    todo = [(c, part) for c, part in zip(chunks, parts, strict=True) if not is_whole(part)]
    done = len(stations) - sum(len(chunk) for chunk, _ in todo)
    on_progress(done, len(stations))
    if todo:
        count = min(workers or os.cpu_count() or 1, len(todo))
        with pool(scheduler, count, alone=len(todo) == 1) as open_pool:
            for (chunk, part), bodies in _results(open_pool, todo, compute, text):
                keep(part, bodies)
                done += len(chunk)
                on_progress(done, len(stations))
    return parts


def _chunk_size(stations: int) -> int:
    return min(max(-(-stations // CHUNKS), FEWEST_STATIONS), MOST_STATIONS)


def _check(stations: Sequence[Station]) -> None:
    if not stations:
        raise InputError("no station to compare", remedy="give a list, a folder or a wider box")
    seen: set[str] = set()
    for station in stations:
        if station.id in seen:
            raise InputError(f"station {station.id} is listed twice", remedy="list it once")
        seen.add(station.id)


def tables_hash(folder: Traversable) -> str:
    """Hash of every science table in a folder: a changed value must change what is computed."""
    digest = hashlib.sha256()
    for table in sorted(folder.iterdir(), key=lambda table: table.name):
        if table.name.endswith((".toml", ".csv")):
            digest.update(f"{table.name}\n".encode() + table.read_bytes())
    return digest.hexdigest()


def _identity(chunk: tuple[Station, ...], digest: hashlib._Hash) -> str:
    """Hash of all that decides a part: what is the same for all, stations, state of their files."""
    for station in chunk:
        try:
            stat = Path(parse_spec(station.path).path).stat()
            state = [stat.st_size, stat.st_mtime_ns]
        except OSError:
            state = []
        digest.update(json.dumps([asdict(station), state], sort_keys=True).encode())
    return digest.hexdigest()[:32]


def compute_part(compute: Compute, chunk: tuple[Station, ...], options: str) -> Bodies:
    """What a worker does: compute a chunk and hand back its tables as Parquet."""
    return {name: to_parquet(table) for name, table in compute(chunk, options).items()}


Job = tuple[tuple[Station, ...], Chunk]


def _results(
    pool: Pool,
    todo: list[Job],
    compute: Compute,
    options: str,
) -> Iterator[tuple[Job, Bodies]]:
    """Submit two chunks a worker at a time and yield them as they finish."""
    waiting = iter(todo)
    running: dict[Any, Job] = {}
    while True:
        while len(running) < 2 * pool.width and (job := next(waiting, None)) is not None:
            running[pool.submit(compute_part, compute, job[0], options)] = job
        if not running:
            return
        handle, bodies = pool.finished(list(running))
        yield running.pop(handle), bodies

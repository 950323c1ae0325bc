"""Running one function over thousands of stations: in chunks, resumable, here or on a cluster.

`run` splits the stations into chunks, computes each chunk in a worker process (or on a Dask
cluster), and keeps each finished chunk as a part: its tables as Parquet files, and their checksums.
An interrupted run carries on from the finished parts; a part of which any file does not match its
checksum is computed anew. At most two chunks a worker are in flight, so memory does not grow with
the number of stations.

What a station's rows rest on is hashed for each station: its record's bytes, its place, options,
science values. So a station whose record has not changed is taken from whatever part holds it, and
only the others are computed; the parts come out as those of a run that computes all.
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
from windowcast.region.parts import (
    MADE_OF,
    Bodies,
    Chunk,
    forget,
    found_in,
    gathered,
    is_whole,
    keep,
    part_of,
    to_parquet,
)
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
    content: str = ""  # digest of its record, where the file holds those of others too


Compute = Callable[[tuple[Station, ...], str], Mapping[str, "pa.Table"]]
"""Chunk of stations and the options as JSON → tables by name, each with a column ``station``.

The rows of a station do not depend on the others. Module-level, so that it pickles.
"""


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
        JSON-able options; they, the program's version and its science tables are part of what each
        station's rows rest on.
    parts_folder
        Where parts are kept and found again.
    workers
        Worker processes; all cores when None.
    scheduler
        Address of a Dask scheduler (``tcp://host:port``) instead of local processes.
    chunk_stations
        Stations computed together; by default as many as keeps every core busy and memory bounded.
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
    fair = min(max(-(-len(stations) // CHUNKS), FEWEST_STATIONS), MOST_STATIONS)
    size = chunk_stations or fair
    same = hashlib.sha256(f"{__version__}\n{tables_hash(SCIENCE)}\n{text}\n".encode()).hexdigest()
    keys = {station.id: _key(station, same) for station in stations}
    chunks = [(c, part_of(parts_folder, [keys[s.id] for s in c])) for c in _cut(stations, size)]
    todo = [(chunk, part) for chunk, part in chunks if not is_whole(part)]
    before = found_in(parts_folder, [keys[s.id] for chunk, _ in todo for s in chunk])
    fresh = [s for chunk, _ in todo for s in chunk if keys[s.id] not in before]
    groups = todo
    if before:
        groups = [(g, part_of(parts_folder, [keys[s.id] for s in g])) for g in _cut(fresh, size)]
    done = len(stations) - len(fresh)
    on_progress(done, len(stations))
    if groups:
        count = min(workers or os.cpu_count() or 1, len(groups))
        with pool(scheduler, count, alone=len(groups) == 1) as open_pool:
            for (group, part), bodies in _results(open_pool, groups, compute, text):
                keep(part, {**bodies, MADE_OF: made_of(group, keys, same)})
                done += len(group)
                on_progress(done, len(stations))
    if before:
        before |= {keys[s.id]: part for group, part in groups for s in group}
        for chunk, part in todo:
            if not is_whole(part):
                ids = {keys[s.id]: s.id for s in chunk}
                bodies = gathered(ids, before)
                keep(part, {**bodies, MADE_OF: made_of(chunk, keys, same)})
        forget(parts_folder, [part for _, part in chunks], same)
    return [part for _, part in chunks]


def _cut(stations: Sequence[Station], size: int) -> list[tuple[Station, ...]]:
    return [tuple(stations[i : i + size]) for i in range(0, len(stations), size)]


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


def _key(station: Station, same: str) -> str:
    """Hash of all that decides a station's rows: its place and record, what is so for all."""
    told = asdict(station)
    if not station.content:
        try:
            with Path(parse_spec(station.path).path).open("rb") as stream:
                told["content"] = hashlib.file_digest(stream, "sha256").hexdigest()
        except OSError:
            told["content"] = "cannot be read"
    text = f"{same}\n{json.dumps(told, sort_keys=True)}"
    return hashlib.sha256(text.encode()).hexdigest()[:32]


def made_of(stations: Sequence[Station], keys: Mapping[str, str], same: str) -> bytes:
    """The table that says of which stations a part is made, see `parts.MADE_OF`."""
    import pyarrow as pa

    ids = [station.id for station in stations]
    rows = {"station": ids, "key": [keys[i] for i in ids], "same": [same] * len(ids)}
    return to_parquet(pa.table(rows))


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

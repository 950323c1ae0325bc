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
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager, nullcontext
from dataclasses import asdict, dataclass
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from windowcast.core.atomic_files import made_folder
from windowcast.core.errors import InputError, SourceUnreachableError, WindowcastError
from windowcast.core.version import __version__
from windowcast.region.parts import Bodies, Chunk, is_whole, keep, to_parquet
from windowcast.sources.files import parse_spec

if TYPE_CHECKING:
    from importlib.resources.abc import Traversable

    import pyarrow as pa

SCIENCE: Traversable = resources.files("windowcast.data")
FEWEST_STATIONS, MOST_STATIONS = 16, 64  # in a chunk: more need more memory and gain no time
CHUNKS = 4  # to share out among processes, where there are few stations
_RETRIES = 2
_SCHEDULER_TIMEOUT_S = 10
_ADDRESS = re.compile(r"([a-z]+://)?[^/\s]+:\d+")


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


class Pool(Protocol):
    """Somewhere to compute: a process pool or a cluster."""

    def submit(self, compute: Compute, chunk: tuple[Station, ...], options: str) -> Any:
        """Start a chunk and return a handle."""

    def finished(self, handles: Iterable[Any]) -> tuple[Any, Bodies]:
        """Wait for the next finished handle and its tables."""


class EngineError(WindowcastError):
    """A chunk failed again and again."""


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
        with _pool(scheduler, count, alone=len(todo) == 1) as pool:
            for (chunk, part), bodies in _results(pool, todo, compute, text, 2 * count):
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
    in_flight: int,
) -> Iterator[tuple[Job, Bodies]]:
    """Submit at most `in_flight` chunks at a time and yield them as they finish."""
    waiting = iter(todo)
    running: dict[Any, Job] = {}
    while True:
        while len(running) < in_flight and (job := next(waiting, None)) is not None:
            running[pool.submit(compute, job[0], options)] = job
        if not running:
            return
        handle, bodies = pool.finished(list(running))
        yield running.pop(handle), bodies


def _pool(scheduler: str | None, count: int, *, alone: bool) -> AbstractContextManager[Pool]:
    """Where to compute; a chunk that is alone is computed here, to spare it a new process."""
    if scheduler:
        return _cluster(scheduler)
    return nullcontext(_Here()) if alone else _processes(count)


class _Here:
    """This process; computes when the result is asked for."""

    def __init__(self) -> None:
        self._jobs: dict[int, tuple[Any, ...]] = {}

    def submit(self, compute: Compute, chunk: tuple[Station, ...], options: str) -> int:
        self._jobs[len(self._jobs)] = (compute, chunk, options)
        return len(self._jobs) - 1

    def finished(self, handles: Iterable[int]) -> tuple[int, Bodies]:
        handle = next(iter(handles))
        return handle, compute_part(*self._jobs[handle])


class _Processes:
    """Local worker processes that survive the death of one of them."""

    def __init__(self, count: int) -> None:
        self._count = count
        self._jobs: dict[int, tuple[tuple[Any, ...], int]] = {}
        self._futures: dict[Any, int] = {}
        self._next = 0
        self._start()

    def _start(self) -> None:
        from concurrent.futures import ProcessPoolExecutor
        from multiprocessing import get_context

        self.executor = ProcessPoolExecutor(self._count, mp_context=get_context("spawn"))

    def submit(self, compute: Compute, chunk: tuple[Station, ...], options: str) -> int:
        handle, self._next = self._next, self._next + 1
        self._send(handle, (compute, chunk, options), 0)
        return handle

    def _send(self, handle: int, job: tuple[Any, ...], tries: int) -> None:
        from concurrent.futures.process import BrokenProcessPool

        self._jobs[handle] = (job, tries)
        try:
            self._futures[self.executor.submit(compute_part, *job)] = handle
        except BrokenProcessPool:  # a worker died since the last result
            self._restart(handle)

    def finished(self, handles: Iterable[int]) -> tuple[int, Bodies]:
        from concurrent.futures import FIRST_COMPLETED, wait
        from concurrent.futures.process import BrokenProcessPool

        while True:
            done, _ = wait(self._futures, return_when=FIRST_COMPLETED)
            future = next(iter(done))
            handle = self._futures.pop(future)
            try:
                bodies: Bodies = future.result()
            except BrokenProcessPool:
                self._restart(handle)
                continue
            del self._jobs[handle]
            return handle, bodies

    def _restart(self, handle: int) -> None:
        """A worker died and took the pool along: start again with every unfinished chunk."""
        self.executor.shutdown(wait=False, cancel_futures=True)
        unfinished = sorted({handle, *self._futures.values()})
        self._futures.clear()
        self._start()
        for each in unfinished:
            job, tries = self._jobs[each]
            if tries >= _RETRIES:
                raise EngineError(
                    "a worker process died again and again (out of memory?); "
                    "finished stations are kept: run again with fewer --workers"
                )
            self._send(each, job, tries + 1)


@contextmanager
def _processes(count: int) -> Iterator[Pool]:
    pool = _Processes(count)
    try:
        yield pool
    finally:
        pool.executor.shutdown(wait=True, cancel_futures=True)


class _Cluster:
    """A Dask cluster; the scheduler moves the work of a dead worker to another."""

    def __init__(self, client: Any) -> None:
        self._client = client

    def submit(self, compute: Compute, chunk: tuple[Station, ...], options: str) -> Any:
        return self._client.submit(
            compute_part, compute, chunk, options, pure=False, retries=_RETRIES
        )

    def finished(self, handles: Iterable[Any]) -> tuple[Any, Bodies]:
        from concurrent.futures import CancelledError

        from distributed import wait
        from distributed.scheduler import KilledWorker

        with self._client.as_current():
            done = wait(list(handles), return_when="FIRST_COMPLETED").done
        future = next(iter(done))
        try:
            bodies: Bodies = future.result()
        except (KilledWorker, CancelledError) as error:
            raise EngineError(
                f"the cluster gave up on a chunk ({type(error).__name__}); "
                "finished stations are kept: run again when the cluster is well"
            ) from None
        return future, bodies


@contextmanager
def _cluster(address: str) -> Iterator[Pool]:
    try:
        from distributed import Client
    except ImportError:
        raise InputError(
            "--scheduler needs the cluster extra", remedy="pip install 'windowcast[cluster]'"
        ) from None
    if not _ADDRESS.fullmatch(address):
        raise InputError(
            f"--scheduler: {address!r} is not an address", remedy="give it as tcp://HOST:PORT"
        )
    try:
        client = Client(address, timeout=_SCHEDULER_TIMEOUT_S, set_as_default=False)
    except (OSError, TimeoutError, ValueError) as error:
        raise SourceUnreachableError(
            f"scheduler {address} does not answer ({type(error).__name__}); "
            "check the address, or leave --scheduler out to compute here"
        ) from None
    try:
        yield _Cluster(client)
    finally:
        client.close()

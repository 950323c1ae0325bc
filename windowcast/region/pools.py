"""Where chunks are computed: in this process, in local processes, or on a Dask cluster.

On a cluster every step has a deadline, and what goes wrong is one line. The library's client waits
without end for a server that takes a connection and says nothing, and writes what it meets to
standard error. So its coroutines run here, on an event loop in a thread of their own, each with a
deadline; while results are waited for, the scheduler is asked now and then whether it is there and
has workers. A connection that is lost ends the run: finished parts are kept, and the next run
carries on from them.
"""

from __future__ import annotations

import asyncio
import logging
import re
import threading
import time
import warnings
from collections.abc import Callable, Coroutine, Iterable, Iterator
from concurrent import futures
from contextlib import AbstractContextManager, contextmanager, nullcontext, suppress
from typing import Any, NoReturn, Protocol, TypeVar

from windowcast.core.errors import InputError, SourceUnreachableError, Terminated, WindowcastError
from windowcast.core.extras import require

CONNECT_S = 10.0  # for the address to answer as a scheduler
LOOK_S = 5.0  # between looks whether the scheduler is there, while results are waited for
ANSWER_S = 30.0  # for its answer: a pause of the network that is longer ends the run
NO_WORKER_S = 60.0  # without any worker
RETRIES = 2  # of a chunk whose worker died
_ADDRESS = re.compile(r"([a-z]+://)?[^/\s]+:\d+")
_LOGGERS = ("distributed", "tornado", "asyncio")
_KEPT = "finished stations are kept: run again when the cluster is well"
_T = TypeVar("_T")


class EngineError(WindowcastError):
    """A chunk failed again and again."""


class Cluster:
    """A connected cluster; the scheduler moves the work of a dead worker to another."""

    def __init__(self, address: str, loop: _Loop) -> None:
        self._address, self._loop = address, loop
        self._client: Any = None
        self.width = 1  # threads that its workers have

    def connect(self) -> None:
        """Connect.

        Raises
        ------
        SourceUnreachableError
            Nobody answers there, or somebody who is no scheduler.
        """
        from distributed import Client
        from distributed.comm.core import connect

        async def connected() -> Any:
            comm = await connect(self._address, timeout=CONNECT_S)
            try:  # a worker takes clients too, and never answers them
                await comm.write({"op": "identity", "reply": True})
                kind = (await comm.read())["type"]
            finally:
                comm.abort()
            if "Scheduler" not in kind:
                raise TypeError(kind)
            return await Client(
                self._address, timeout=CONNECT_S, asynchronous=True, set_as_default=False
            )

        try:
            self._client = self._loop.call(connected(), CONNECT_S)
        except Exception as error:  # garbage from a stranger can raise anything
            raise SourceUnreachableError(
                f"scheduler {self._address} does not answer as one ({type(error).__name__}); "
                "check the address, or leave --scheduler out to compute here"
            ) from None
        self._look(time.monotonic())

    def submit(self, function: Callable[..., Any], *args: Any) -> Any:
        """Send a call and return its handle."""

        async def sent() -> Any:
            return self._client.submit(function, *args, pure=False, retries=RETRIES)

        return self._loop.call(sent(), ANSWER_S)

    def finished(self, handles: Iterable[Any]) -> tuple[Any, Any]:
        """Wait for the next finished handle and its result.

        Raises
        ------
        SourceUnreachableError
            The scheduler went away, does not answer for long, or has no worker.
        EngineError
            Workers died of a chunk again and again, or cannot run this program.
        """
        from distributed import wait
        from distributed.scheduler import KilledWorker

        wanted = list(handles)

        async def next_finished() -> tuple[Any, Any]:
            with self._client.as_current():
                done = (await wait(wanted, return_when="FIRST_COMPLETED")).done
            handle = next(one for one in wanted if one in done)
            return handle, await handle.result()

        waiting, seen_s = self._loop.start(next_finished()), time.monotonic()
        try:
            while not futures.wait([waiting], LOOK_S).done:
                seen_s = self._look(seen_s)
            return waiting.result()
        except KilledWorker:
            raise EngineError(f"workers of the cluster died of a chunk; {_KEPT}") from None
        except (ImportError, AttributeError) as error:
            raise EngineError(
                f"the cluster cannot run this program ({error}); "
                "install the same version of windowcast[region] on its scheduler and workers"
            ) from None
        except (futures.CancelledError, asyncio.CancelledError, OSError):
            self._lost("went away")
        finally:
            waiting.cancel()

    def close(self) -> None:
        """Let go of it, whatever state it is in."""
        if self._client is not None:
            with suppress(Exception):  # nothing is wanted from it any more
                self._loop.call(self._client.close(timeout=1), ANSWER_S)

    def _look(self, seen_s: float) -> float:
        """When a worker was last seen [s, monotonic]."""
        try:
            found = self._loop.call(self._client.scheduler.identity(n_workers=-1), ANSWER_S)
        except TimeoutError:
            self._lost(f"has not answered for {ANSWER_S:.0f} s")
        except Exception:  # the wait for results says what it was
            return seen_s
        if workers := found["workers"]:
            self.width = sum(worker["nthreads"] for worker in workers.values())
            return time.monotonic()
        if time.monotonic() - seen_s > NO_WORKER_S:
            self._lost(f"has had no worker for {NO_WORKER_S:.0f} s")
        return seen_s

    def _lost(self, what: str) -> NoReturn:
        raise SourceUnreachableError(f"scheduler {self._address} {what}; {_KEPT}") from None


class _Loop:
    """An event loop in a thread of its own."""

    def __init__(self) -> None:
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._loop.run_forever, daemon=True)
        self._thread.start()

    def start(self, coroutine: Coroutine[Any, Any, _T]) -> futures.Future[_T]:
        return asyncio.run_coroutine_threadsafe(coroutine, self._loop)

    def call(self, coroutine: Coroutine[Any, Any, _T], most_s: float) -> _T:
        return self.start(asyncio.wait_for(coroutine, most_s)).result()

    def stop(self) -> None:
        async def ended() -> None:
            others = asyncio.all_tasks() - {asyncio.current_task()}
            for task in others:
                task.cancel()
            await asyncio.wait(others, timeout=1) if others else None

        with suppress(Exception):
            self.call(ended(), 2)
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join(2)


@contextmanager
def cluster(address: str) -> Iterator[Cluster]:
    """A connected cluster, let go of at the end; see `Cluster.connect`.

    Raises
    ------
    InputError
        The extra is missing, or the address is none.
    """
    require("--scheduler", "cluster", "dask", "distributed")
    if not _ADDRESS.fullmatch(address):
        raise InputError(
            f"--scheduler: {address!r} is not an address", remedy="give it as tcp://HOST:PORT"
        )
    with _quiet():
        loop = _Loop()
        found = Cluster(address, loop)
        try:
            found.connect()
            yield found
        finally:
            found.close()
            loop.stop()


@contextmanager
def _quiet() -> Iterator[None]:
    """Without what the library and its event loop write to standard error."""
    known = [*_LOGGERS, *logging.root.manager.loggerDict]
    loggers = [logging.getLogger(n) for n in known if n.split(".")[0] in _LOGGERS]
    before = [each.disabled for each in loggers]
    for each in loggers:
        each.disabled = True
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    finally:
        for each, was in zip(loggers, before, strict=True):
            each.disabled = was


class Pool(Protocol):
    """Somewhere to compute: a process pool or a cluster."""

    width: int  # calls that run at a time

    def submit(self, function: Callable[..., Any], *args: Any) -> Any:
        """Start a call of a module-level function, and return a handle."""

    def finished(self, handles: Iterable[Any]) -> tuple[Any, Any]:
        """Wait for the next finished handle and its result."""


def pool(scheduler: str | None, count: int, *, alone: bool) -> AbstractContextManager[Pool]:
    """Where to compute; a chunk that is alone is computed here, to spare it a new process."""
    if scheduler:
        return cluster(scheduler)
    return nullcontext(Here()) if alone else _processes(count)


class Here:
    """This process; computes when the result is asked for."""

    width = 1

    def __init__(self) -> None:
        self._jobs: dict[int, tuple[Callable[..., Any], tuple[Any, ...]]] = {}
        self._next = 0

    def submit(self, function: Callable[..., Any], *args: Any) -> int:
        """Put it off until it is asked for."""
        self._next += 1
        self._jobs[self._next] = (function, args)
        return self._next

    def finished(self, handles: Iterable[int]) -> tuple[int, Any]:
        """Compute the first of them."""
        handle = next(iter(handles))
        function, args = self._jobs.pop(handle)
        return handle, function(*args)


@contextmanager
def begun_whole() -> Iterator[None]:
    """Processes that begin within are begun to the end, and do not hear Ctrl-C, which goes to all.

    A stop in between is heeded afterwards, also where another thread took its signal: a process
    that this one no longer tells what to do would end with a trace.
    """
    import signal
    from threading import current_thread, main_thread

    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    stops = (signal.SIGINT, signal.SIGTERM)
    heard: list[int] = []
    handlers = {}
    if current_thread() is main_thread():
        handlers = {stop: signal.getsignal(stop) for stop in stops}
        for stop in stops:
            signal.signal(stop, lambda number, _: heard.append(number))
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
        for stop, handler in handlers.items():
            signal.signal(stop, handler)
        for number in heard[:1]:
            signal.raise_signal(number)


class _Processes:
    """Local worker processes that survive the death of one of them."""

    def __init__(self, count: int) -> None:
        self.width = count
        self._jobs: dict[int, tuple[tuple[Any, ...], int]] = {}
        self._futures: dict[Any, int] = {}
        self._next = 0
        self._start()

    def _start(self) -> None:
        from concurrent.futures import ProcessPoolExecutor
        from multiprocessing import get_context

        self.executor = ProcessPoolExecutor(self.width, mp_context=get_context("spawn"))

    def submit(self, function: Callable[..., Any], *args: Any) -> int:
        handle, self._next = self._next, self._next + 1
        self._send(handle, (function, *args), 0)
        return handle

    def _send(self, handle: int, job: tuple[Any, ...], tries: int) -> None:
        from concurrent.futures.process import BrokenProcessPool

        self._jobs[handle] = (job, tries)
        try:
            with begun_whole():
                self._futures[self.executor.submit(*job)] = handle
        except BrokenProcessPool:  # a worker died since the last result
            self._restart(handle)

    def finished(self, handles: Iterable[int]) -> tuple[int, Any]:
        from concurrent.futures import FIRST_COMPLETED, wait
        from concurrent.futures.process import BrokenProcessPool

        while True:
            done, _ = wait(self._futures, return_when=FIRST_COMPLETED)
            future = next(iter(done))
            handle = self._futures.pop(future)
            try:
                result = future.result()
            except BrokenProcessPool:
                self._restart(handle)
                continue
            del self._jobs[handle]
            return handle, result

    def _restart(self, handle: int) -> None:
        """A worker died and took the pool along: start again with every unfinished chunk."""
        self.executor.shutdown(wait=False, cancel_futures=True)
        unfinished = sorted({handle, *self._futures.values()})
        self._futures.clear()
        self._start()
        for each in unfinished:
            job, tries = self._jobs[each]
            if tries >= RETRIES:
                raise EngineError(
                    "a worker process died again and again (out of memory?); "
                    "finished stations are kept: run again with fewer --workers"
                )
            self._send(each, job, tries + 1)


@contextmanager
def _processes(count: int) -> Iterator[Pool]:
    from multiprocessing import active_children

    pool = _Processes(count)
    try:
        yield pool
    except (KeyboardInterrupt, Terminated):  # what they still work on is given up
        for child in active_children():
            child.terminate()
        raise
    finally:
        pool.executor.shutdown(wait=True, cancel_futures=True)

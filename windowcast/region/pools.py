"""Where chunks are computed: in this process, in local processes, or on a cluster."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from typing import Any, Protocol

from windowcast.core.errors import Terminated
from windowcast.region.cluster import RETRIES, EngineError, cluster


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

"""A Dask cluster to compute on: every step has a deadline, and what goes wrong is one line.

The library's client waits without end for a server that takes a connection and says nothing, and
writes what it meets to standard error. So its coroutines run here, on an event loop in a thread of
their own, each with a deadline; while results are waited for, the scheduler is asked now and then
whether it is there and has workers. A connection that is lost ends the run: finished parts are
kept, and the next run carries on from them.
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
from contextlib import contextmanager, suppress
from typing import Any, NoReturn, TypeVar

from windowcast.core.errors import InputError, SourceUnreachableError, WindowcastError
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

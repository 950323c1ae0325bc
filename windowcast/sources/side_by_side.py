"""Work that waits for others, done side by side and left at once when the user stops it."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from typing import TypeVar

_T = TypeVar("_T")


def side_by_side(works: Sequence[Callable[[], _T]], at_once: int) -> list[_T]:
    """What each piece of work gives, in order; the first that fails, in order, is raised.

    The threads are daemons, which a pool's are not: Ctrl-C ends the wait, nothing more is begun,
    and what still waits for a server ends with the program.
    """
    done: dict[int, _T] = {}
    failed: dict[int, Exception] = {}
    left = iter(enumerate(works))
    lock, stopped = threading.Lock(), threading.Event()

    def run() -> None:
        while not stopped.is_set():
            with lock:
                number, work = next(left, (-1, None))
            if work is None:
                return
            try:
                done[number] = work()
            except Exception as error:  # handed to the caller below
                failed[number] = error

    threads = [threading.Thread(target=run, daemon=True) for _ in works[:at_once]]
    try:
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    finally:
        stopped.set()
    for number in sorted(failed):
        raise failed[number]
    return [done[number] for number in range(len(works))]

"""How a run is stopped: by Ctrl-C, or by another program (SIGTERM), with nothing half-written.

Both raise an exception where the program is, so that temporary files and processes go as after any
error. One that is raised within a callback of a library is swallowed there: it comes again.
"""

from __future__ import annotations

import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType
from typing import NoReturn

from windowcast.core.errors import Terminated

_AGAIN_S = 0.1


@contextmanager
def heeding_signals() -> Iterator[None]:
    """Within, both signals raise; afterwards it is as before. Other threads change nothing."""
    sigterm, sigint = signal.getsignal(signal.SIGTERM), signal.getsignal(signal.SIGINT)
    hook = sys.unraisablehook
    try:
        if sigterm is signal.SIG_DFL:
            signal.signal(signal.SIGTERM, _end)
        if sigint is signal.SIG_DFL:  # as `windowcast.__main__` left it
            signal.signal(signal.SIGINT, signal.default_int_handler)
    except ValueError:  # only the main thread may
        yield
        return
    sys.unraisablehook = _unraisable
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, sigterm)
        signal.signal(signal.SIGINT, sigint)
        sys.unraisablehook = hook


def _end(signum: int, frame: FrameType | None) -> NoReturn:
    signal.signal(signal.SIGTERM, signal.SIG_DFL)  # asked twice, it ends at once
    raise Terminated


def _unraisable(swallowed: sys.UnraisableHookArgs) -> None:
    kind = swallowed.exc_type
    if kind not in (Terminated, KeyboardInterrupt) or not hasattr(signal, "setitimer"):
        sys.__unraisablehook__(swallowed)
        return

    def again(signum: int, frame: FrameType | None) -> NoReturn:
        raise kind

    signal.signal(signal.SIGALRM, again)
    signal.setitimer(signal.ITIMER_REAL, _AGAIN_S)

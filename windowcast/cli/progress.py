"""What is drawn on stderr while something takes long; nothing where it is not a terminal."""

from __future__ import annotations

import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from windowcast.sources.source import Progress


_QUIET_S = 1.5  # that nobody wonders about
_BEAT_S = 1.0


@contextmanager
def at_work() -> Iterator[None]:
    """Count the seconds in a line of stderr, from the second on; it is wiped away at the end.

    For what is worked out in one go. Nothing else may be printed meanwhile.
    """
    stream = sys.stderr
    if not stream.isatty():
        yield
        return
    over, begun, drawn = threading.Event(), time.monotonic(), [0]

    def beat() -> None:
        wait_s = _QUIET_S
        while not over.wait(wait_s):
            text = f"windowcast: {time.monotonic() - begun:.0f} s"
            stream.write(f"\r{text}")
            stream.flush()
            drawn[0], wait_s = len(text), _BEAT_S

    drawing = threading.Thread(target=beat, daemon=True)
    drawing.start()
    try:
        yield
    finally:
        over.set()
        drawing.join()
        if drawn[0]:
            stream.write(f"\r{' ' * drawn[0]}\r")
            stream.flush()


def tell(line: str) -> None:
    """Say on stderr what is at work, where somebody looks."""
    if sys.stderr.isatty():
        click.echo(line, err=True)


@contextmanager
def fetch_progress() -> Iterator[Progress | None]:
    """A callback that draws one bar for each thing fetched; None where nobody looks."""
    if not sys.stderr.isatty():
        yield None
        return
    lock = threading.Lock()
    bars: dict[str, Any] = {}

    def told(what: str, done: int, total: int) -> None:
        with lock:
            if what not in bars:
                for bar in bars.values():
                    bar.render_finish()
                bars[what] = click.progressbar(length=total, label=what, file=sys.stderr)
                bars[what].render_progress()
            bars[what].update(done - bars[what].pos)
            if done >= total:
                bars[what].render_finish()

    try:
        yield told
    finally:
        for bar in bars.values():
            bar.render_finish()

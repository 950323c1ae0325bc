"""A progress bar on stderr for long fetches; nothing where stderr is not a terminal."""

from __future__ import annotations

import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from windowcast.sources.source import Progress


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

"""Answers kept ready: one for each site, made anew when its file, its log or the day changes."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

from windowcast.answer import Answer
from windowcast.report.view import AnswerView, answer_view
from windowcast.web.sites import KnownSite, file_state

FRESH_S = 15 * 60.0  # the weather is asked for again after this

AnswerMaker = Callable[[KnownSite], Answer]
Stamp = tuple[object, ...]


@dataclass(frozen=True)
class Ready:
    """An answer with what the page shows of it, worked out once."""

    answer: Answer
    stamp: Stamp
    made: float

    @cached_property
    def view(self) -> AnswerView:
        """The answer made ready for the templates."""
        return answer_view(self.answer)


class AnswerCache:
    """Makes each site's answer once, however many ask at the same time."""

    def __init__(self, make: AnswerMaker, *, fresh_s: float = FRESH_S) -> None:
        self._make = make
        self._fresh_s = fresh_s
        self._ready: dict[str, Ready] = {}
        self._locks: dict[str, threading.Lock] = {}
        self._lock = threading.Lock()

    def get(self, site: KnownSite) -> Ready:
        """The answer for a site.

        Raises
        ------
        WindowcastError
            Whatever keeps the answer from being made; nothing is remembered of it.
        """
        stamp = _stamp(site)
        with self._lock:
            lock = self._locks.setdefault(site.slug, threading.Lock())
        with lock:
            ready = self._ready.get(site.slug)
            old = ready is None or time.monotonic() - ready.made > self._fresh_s
            if ready is None or old or ready.stamp != stamp:
                ready = Ready(self._make(site), stamp, time.monotonic())
                self._ready[site.slug] = ready
            return ready


def _stamp(site: KnownSite) -> Stamp:
    """What an answer rests on besides the weather: the site as read, and the log's files."""
    log = site.log_path
    files = () if log is None else (log, log.with_name(log.name + "-wal"))
    return (site.site, *(file_state(file) for file in files))

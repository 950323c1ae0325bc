"""The season log in memory, kept up to date by reading only what was changed since.

The log only ever grows: what it says now is what it said before with the changes after that. So a
server that shows a long log reads it once, and then a few rows for each change.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from windowcast.records.entry_checks import latest_today
from windowcast.records.store import SeasonLog
from windowcast.records.stored import Since, Stored, Unusable


@dataclass(frozen=True)
class LogNow:
    """What the log says after a change.

    Attributes
    ----------
    change
        Number of the last change; 0 for an empty log.
    entries, unusable
        As `SeasonLog.read` has them.
    """

    change: int
    entries: tuple[Stored[Any], ...]
    unusable: tuple[Unusable, ...]


class LogMirror:
    """What a season log says, for many readers in one program.

    Another program may write to the log at any time; `now` notices.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._lock = threading.Lock()
        self._forget()

    def _forget(self) -> None:
        self._standing: dict[str, Stored[Any] | Unusable] = {}
        self._last = (0, "")  # number and uid of the last change
        self._today = latest_today()
        self._now = LogNow(0, (), ())

    def now(self) -> LogNow:
        """What the log says now.

        Raises
        ------
        InputError
            There is no such file, it cannot be read, or it is not a season log.
        """
        with self._lock, SeasonLog(self._path, create=False) as log:
            if self._today != latest_today():
                self._forget()  # a date that lay ahead may have come
            found = log.since(*self._last)
            if found is None:  # another file has taken its place
                self._forget()
                found = log.since(*self._last)
                assert found is not None
            if found.last != self._last:
                self._take(found)
            return self._now

    def _take(self, found: Since) -> None:
        for entry, standing in found.entries.items():
            if standing is None:
                self._standing.pop(entry, None)
            else:
                self._standing[entry] = standing
        self._last = found.last
        every = self._standing.values()
        usable = [one for one in every if isinstance(one, Stored)]
        usable.sort(key=lambda one: (one.entry.date, one.change, one.id))
        unusable = tuple(one for one in every if isinstance(one, Unusable))
        self._now = LogNow(found.last[0], tuple(usable), unusable)

"""SQLite's failures in words."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from windowcast.core.errors import InputError


@contextmanager
def plain_errors(path: Path) -> Iterator[None]:
    """SQLite's failures, and unreadable entries, in words; the log is as it was before."""
    try:
        yield
    except (ValueError, RecursionError):  # a text that is no UTF-8, no JSON or no date any more
        raise InputError("is damaged", path=path, remedy=BACKUP) from None
    except sqlite3.DatabaseError as error:
        text = str(error).lower()
        for sign, (problem, remedy) in _SQLITE_PROBLEMS.items():
            if sign in text:
                raise InputError(problem, path=path, remedy=remedy) from None
        raise InputError(f"cannot be used ({error})", path=path, remedy=_CHECK_FILE) from None


BACKUP = "restore a backup"
_CHECK_FILE = f"{BACKUP}, or name another file"
_SQLITE_PROBLEMS = {
    "disk is full": ("the disk is full; nothing was written", "make room and try again"),
    "disk i/o": ("could not be read or written; nothing was changed", "check the disk"),
    "readonly": ("may not be written", "change its permissions, or name another file"),
    "unable to open": ("cannot be opened", "check the path and its permissions"),
    "locked": ("is in use by another program; nothing was written", "try again in a moment"),
    "not a database": ("is not a season log", "name the log's file"),
    "could not decode": ("is damaged", BACKUP),
    "malformed": ("is damaged", BACKUP),
}

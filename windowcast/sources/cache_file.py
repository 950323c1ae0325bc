"""The cache's file: where it lies, how it is made, opened, brought up to date and removed."""

from __future__ import annotations

import os
import sqlite3
import tempfile
from pathlib import Path

from windowcast.core.atomic_files import put_if_first
from windowcast.core.errors import InputError

FILE = "weather.sqlite"
_VERSION = 2
_FORMER = """\
CREATE TABLE IF NOT EXISTS former (
  url TEXT PRIMARY KEY, source TEXT NOT NULL, body BLOB NOT NULL, digest TEXT NOT NULL,
  fetched_at REAL NOT NULL, checked_at REAL NOT NULL, used_at REAL NOT NULL, size INTEGER NOT NULL
) STRICT;
"""
_SCHEMA = f"""
CREATE TABLE entry (
  url TEXT PRIMARY KEY, source TEXT NOT NULL, status INTEGER NOT NULL, body BLOB,
  digest TEXT NOT NULL, etag TEXT NOT NULL, last_modified TEXT NOT NULL,
  fetched_at REAL NOT NULL, checked_at REAL NOT NULL, expires_at REAL NOT NULL,
  used_at REAL NOT NULL, size INTEGER NOT NULL
) STRICT;
{_FORMER}CREATE TABLE derived (
  key TEXT PRIMARY KEY, source TEXT NOT NULL, digest TEXT NOT NULL, body BLOB NOT NULL,
  used_at REAL NOT NULL, size INTEGER NOT NULL
) STRICT;
"""


def folder() -> Path:
    """The cache folder: ``WINDOWCAST_CACHE``, or the platform's place for caches."""
    if named := os.environ.get("WINDOWCAST_CACHE"):
        return Path(named)
    import platformdirs

    return Path(platformdirs.user_cache_dir("windowcast", appauthor=False))


def opened(path: Path) -> sqlite3.Connection:
    """A connection to the cache, made where there is none; a damaged one is kept aside.

    Raises
    ------
    InputError
        The folder cannot be written, or the file is of another version of the program.
    """
    try:
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        try:
            return _connect(path)
        except sqlite3.DatabaseError as error:
            if isinstance(error, sqlite3.OperationalError):
                raise
            # not a database, or damaged: kept aside for inspection, and begun anew
            for suffix in ("", "-wal", "-shm"):
                old = Path(f"{path}{suffix}")
                if old.exists():
                    old.replace(f"{path}.damaged{suffix}")
            return _connect(path)
    except (OSError, sqlite3.Error) as error:
        raise InputError(
            f"the weather cache cannot be used ({error})",
            remedy="name a folder that may be written in WINDOWCAST_CACHE",
        ) from None


def _connect(path: Path) -> sqlite3.Connection:
    if not path.exists():
        _create(path)
    db = sqlite3.connect(path, timeout=20.0, isolation_level=None, check_same_thread=False)
    try:
        version = db.execute("PRAGMA user_version").fetchone()[0]
        if version == 0:
            raise sqlite3.DatabaseError("no cache of this program")
        db.execute("PRAGMA synchronous = NORMAL")
        if version == 1:  # the first form kept no former answers
            version = _VERSION
            db.executescript(f"BEGIN IMMEDIATE; {_FORMER} PRAGMA user_version = {version}; COMMIT;")
    except sqlite3.Error:
        db.close()
        raise
    if version != _VERSION:
        db.close()
        raise InputError(
            f"the weather cache is of form {version}, this program knows {_VERSION}",
            remedy="update the program, or name another folder in WINDOWCAST_CACHE",
        )
    return db


def _create(path: Path) -> None:
    """Put an empty cache in place whole, so that no process meets a half-made one."""
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    os.close(handle)
    made = Path(name)
    try:
        db = sqlite3.connect(made, isolation_level=None)
        db.execute("PRAGMA auto_vacuum = INCREMENTAL")
        db.execute("PRAGMA journal_mode = WAL")
        db.executescript(f"BEGIN; {_SCHEMA} PRAGMA user_version = {_VERSION}; COMMIT;")
        db.close()  # the last to close it moves the log into the file
        put_if_first(made, path)
    finally:
        for suffix in ("", "-wal", "-shm"):
            Path(f"{made}{suffix}").unlink(missing_ok=True)


def damaged(error: Exception) -> InputError:
    """The error of a cache that cannot be read."""
    return InputError(
        f"the weather cache cannot be read ({error})",
        remedy="remove it with: windowcast weather clear --all",
    )


def remove(path: Path | None = None) -> bool:
    """Delete the cache file itself, readable or not; returns whether there was one."""
    path = path if path is not None else folder() / FILE
    there = path.exists()
    for suffix in ("", "-wal", "-shm"):
        Path(f"{path}{suffix}").unlink(missing_ok=True)
    return there

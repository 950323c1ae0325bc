"""The season log's tables, and how a file of an earlier program is brought up to date."""

from __future__ import annotations

import sqlite3
import time
from pathlib import Path

from windowcast.core.errors import InputError

APPLICATION_ID = 0x57434C47  # "WCLG" in the file's header

# One script per schema version; a log of version n gets the scripts after the n-th.
MIGRATIONS: tuple[str, ...] = (
    # 1: changes and the versions of entries they made
    """
    CREATE TABLE changes (
        number INTEGER PRIMARY KEY AUTOINCREMENT,
        uid TEXT NOT NULL UNIQUE,
        at TEXT NOT NULL,
        action TEXT NOT NULL CHECK (action IN ('add', 'edit', 'remove', 'undo', 'import')),
        undoes TEXT
    );
    CREATE TABLE revisions (
        change INTEGER NOT NULL REFERENCES changes (number),
        entry TEXT NOT NULL,
        kind TEXT NOT NULL,
        body TEXT CHECK (body IS NULL OR json_valid(body)),
        UNIQUE (change, entry)
    );
    CREATE INDEX revisions_by_entry ON revisions (entry, change);
    """,
    # 2: history cannot be rewritten, whoever opens the file
    """
    CREATE TRIGGER changes_stay BEFORE UPDATE ON changes
        BEGIN SELECT raise(ABORT, 'history is kept'); END;
    CREATE TRIGGER changes_last BEFORE DELETE ON changes
        BEGIN SELECT raise(ABORT, 'history is kept'); END;
    CREATE TRIGGER revisions_stay BEFORE UPDATE ON revisions
        BEGIN SELECT raise(ABORT, 'history is kept'); END;
    CREATE TRIGGER revisions_last BEFORE DELETE ON revisions
        BEGIN SELECT raise(ABORT, 'history is kept'); END;
    CREATE INDEX changes_undone ON changes (undoes);
    """,
)
VERSION = len(MIGRATIONS)
WAL_TRIES, WAL_WAIT_S = 100, 0.05


def prepare(db: sqlite3.Connection, path: Path) -> None:
    """Set a connection up and bring the file to the present schema.

    Before an older log is changed, a copy of it is left beside it (``<name>.schema<n>.bak``).

    Raises
    ------
    InputError
        The file is another program's, or of a newer schema.
    """
    found = _version(db, path)
    db.execute("PRAGMA foreign_keys = ON")
    _use_wal(db)
    db.execute("PRAGMA synchronous = FULL")
    if found < VERSION:
        if found:
            _keep_copy(db, path, found)
        _migrate(db, path)


def _use_wal(db: sqlite3.Connection) -> None:
    """Switch to write-ahead logging; SQLite does not wait by itself for another doing the same.

    A file system without shared memory, as of some network drives, keeps the slower rollback
    journal, which is as safe.
    """
    for last in (*[False] * (WAL_TRIES - 1), True):
        try:
            db.execute("PRAGMA journal_mode = WAL")
            return
        except sqlite3.OperationalError as error:
            if error.sqlite_errorname.startswith("SQLITE_IOERR_SHM"):
                return
            if last:
                raise
        time.sleep(WAL_WAIT_S)


def _version(db: sqlite3.Connection, path: Path) -> int:
    """Schema version of the file, 0 for an empty one; checked to be one we know."""
    # one statement, so that a log another process is just making is seen whole or not at all
    application, version, tables = db.execute(
        "SELECT (SELECT application_id FROM pragma_application_id),"
        " (SELECT user_version FROM pragma_user_version), (SELECT count(*) FROM sqlite_master)"
    ).fetchone()
    if application not in {APPLICATION_ID, 0} or (application == 0 and tables):
        raise InputError(
            "is another program's database, not a season log", path=path, remedy="name another file"
        )
    if version > VERSION:
        raise InputError(
            f"was written by a newer windowcast (log schema {version}, this program knows"
            f" {VERSION}); nothing was changed",
            path=path,
            remedy="update windowcast",
        )
    return int(version)


def _keep_copy(db: sqlite3.Connection, path: Path, version: int) -> None:
    target = path.with_name(f"{path.name}.schema{version}.bak")
    if target.exists():
        return
    copy = sqlite3.connect(target)
    try:
        db.backup(copy)
    finally:
        copy.close()


def _migrate(db: sqlite3.Connection, path: Path) -> None:
    """Run the missing scripts in one transaction; another process may be doing the same."""
    db.execute("BEGIN IMMEDIATE")
    try:
        for script in MIGRATIONS[_version(db, path) :]:
            for statement in _statements(script):
                db.execute(statement)
        db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        db.execute(f"PRAGMA user_version = {VERSION}")
        db.execute("COMMIT")
    except BaseException:
        db.execute("ROLLBACK")
        raise


def _statements(script: str) -> list[str]:
    """Split a script at the ends of its statements (``executescript`` would commit)."""
    statements, part = [], ""
    for line in script.splitlines(keepends=True):
        part += line
        if sqlite3.complete_statement(part):
            statements.append(part)
            part = ""
    return statements

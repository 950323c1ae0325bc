"""The tables of what was foretold and what came of it (`windowcast.sources.foretold`)."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence

TABLES = {  # a table that looks otherwise is of another form: it is set aside, and begun anew
    "told_issue": "id INTEGER PRIMARY KEY, lat INTEGER, lon INTEGER, ground TEXT, source TEXT,"
    " issued INTEGER, made INTEGER, digest TEXT, program TEXT, count INTEGER,"
    " UNIQUE (lat, lon, ground, source, issued, digest)",
    "told": "issue INTEGER, element TEXT, start INTEGER, stop INTEGER, lead_h REAL, value REAL,"
    " low REAL, high REAL, chance REAL, PRIMARY KEY (issue, element, start)",
    "told_window": "issue INTEGER, purpose TEXT, start INTEGER, stop INTEGER, lead_h REAL,"
    " verdict TEXT, score REAL, share REAL, low REAL, high REAL, futures INTEGER, basis TEXT,"
    " actives TEXT, PRIMARY KEY (issue, purpose, start)",
    "came": "lat INTEGER, lon INTEGER, element TEXT, start INTEGER, stop INTEGER, value REAL,"
    " noted INTEGER, PRIMARY KEY (lat, lon, element, start)",
    "came_window": "lat INTEGER, lon INTEGER, ground TEXT, purpose TEXT, start INTEGER,"
    " stop INTEGER, actives TEXT, held INTEGER, unknown TEXT, program TEXT, noted INTEGER,"
    " PRIMARY KEY (lat, lon, ground, purpose, start, stop, actives)",
}


def insert(db: sqlite3.Connection, table: str, rows: Sequence[tuple[object, ...]]) -> None:
    """Add rows that are not there yet, within a transaction."""
    if rows:
        marks = ",".join("?" * len(rows[0]))
        db.executemany(f"INSERT OR IGNORE INTO {table} VALUES ({marks})", rows)


def _sql(name: str) -> str:
    rowid = "" if name == "told_issue" else " WITHOUT ROWID"
    return f"CREATE TABLE {name} ({TABLES[name]}){rowid}"


def _there(db: sqlite3.Connection, name: str) -> bool:
    return bool(db.execute("SELECT 1 FROM sqlite_master WHERE name = ?", (name,)).fetchone())


def as_made(db: sqlite3.Connection, name: str) -> bool:
    """Whether a table is there, in this form."""
    row = db.execute("SELECT sql FROM sqlite_master WHERE name = ?", (name,)).fetchone()
    return row is not None and row[0] == _sql(name)


def made_ready(db: sqlite3.Connection) -> None:
    """Make what is not there; tables of another form are set aside, none is overwritten."""
    if all(as_made(db, name) for name in TABLES):
        return
    for name in TABLES:
        if _there(db, name):
            db.execute(f"DROP TABLE IF EXISTS {name}_before")
            db.execute(f"ALTER TABLE {name} RENAME TO {name}_before")
        db.execute(_sql(name))
        db.execute(f"DROP TRIGGER IF EXISTS {name}_stands")  # of the table set aside
        db.execute(
            f"CREATE TRIGGER {name}_stands BEFORE UPDATE ON {name}"
            f" BEGIN SELECT RAISE(ABORT, '{name} is only added to'); END"
        )

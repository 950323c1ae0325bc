"""The record of a place's forecasts, written out to be carried to another machine and added there.

One JSON text a line: an issue with what it foretold and announced, or rows of what came. A row that
the other machine has stays as it is there: the record is only added to.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple

from windowcast.core.errors import InputError
from windowcast.core.record import DAILY_VARIABLES, Place
from windowcast.sources.foretold import NIGHT_LOW, Foretold, at_place
from windowcast.sources.foretold_tables import TABLES, insert, made_ready

Row = list[Any]
_OF_ISSUE = ("told", "told_window")
_CAME = ("came", "came_window")
# the place is the bundle's, the number each machine's own
_LEFT_OUT = {"id", "lat", "lon", "issue"}
_UNKNOWN = {"value", "low", "high", "chance", "score", "share", "held"}  # columns that may be null
_WHEN = {"issued", "made", "noted"}  # columns that hold when something was known
_KINDS = {"INTEGER": int, "REAL": (int, float), "TEXT": str}
_MOST = 2**53  # a whole number that JSON carries exactly
_NO_RECORD = "holds a record of forecasts that is not as this program writes it"


class _Column(NamedTuple):
    name: str
    kind: str


def _columns(table: str) -> list[_Column]:
    """Columns of a table that are carried, in its order."""
    head = TABLES[table].partition(" PRIMARY KEY (")[0].partition(" UNIQUE (")[0]
    pairs = [part.split()[:2] for part in head.split(",") if len(part.split()) >= 2]
    return [_Column(name, kind) for name, kind in pairs if name not in _LEFT_OUT]


def _names(table: str) -> str:
    return ", ".join(column.name for column in _columns(table))


def lines_of(store: Foretold, place: Place) -> Iterator[bytes]:
    """The record of a place, line by line; none where there is no record.

    Raises
    ------
    InputError
        The record cannot be read.
    """
    where, at = "WHERE lat = ? AND lon = ?", at_place(place)
    issues = store.read(
        f"SELECT id, {_names('told_issue')} FROM told_issue {where} ORDER BY id", at
    )
    for number, *issue in issues:
        parts = {
            name: store.read(
                f"SELECT {_names(name)} FROM {name} WHERE issue = ? ORDER BY 2, 1", (number,)
            )
            for name in _OF_ISSUE
        }
        yield _line({"told_issue": issue, **parts})
    for name in _CAME:
        if rows := store.read(f"SELECT {_names(name)} FROM {name} {where} ORDER BY 2, 3, 1", at):
            yield _line({name: rows})


def _line(what: dict[str, Any]) -> bytes:
    return json.dumps(what, separators=(",", ":")).encode() + b"\n"


def checked_lines(body: bytes) -> list[dict[str, Any]]:
    """The lines of a carried record, each row with what its columns hold.

    Raises
    ------
    InputError
        A line is not as `lines_of` writes it.
    """
    found = []
    for line in body.splitlines():
        try:
            what = json.loads(line, parse_constant=_no_number)
        except (ValueError, RecursionError):
            raise InputError(_NO_RECORD) from None
        keys = set(what) if isinstance(what, dict) else set()
        if keys not in ({"told_issue", *_OF_ISSUE}, *({name} for name in _CAME)):
            raise InputError(_NO_RECORD)
        for name, rows in what.items():
            _check(name, [rows] if name == "told_issue" else rows)
        found.append(what)
    return found


def _no_number(text: str) -> float:
    raise ValueError(text)


def _check(table: str, rows: Any) -> None:
    columns = _columns(table)
    if not isinstance(rows, list):
        raise InputError(_NO_RECORD)
    for row in rows:
        if not isinstance(row, list) or len(row) != len(columns):
            raise InputError(_NO_RECORD)
        if not all(_fits(cell, column) for cell, column in zip(row, columns, strict=True)):
            raise InputError(_NO_RECORD)
        if not _possible(dict(zip((column.name for column in columns), row, strict=True))):
            raise InputError(_NO_RECORD)


def _possible(row: dict[str, Any]) -> bool:
    """Whether values foretold and measured lie where the schema lets them."""
    element = row.get("element")
    variable = DAILY_VARIABLES.get("tmin_c" if element == NIGHT_LOW else str(element))
    if variable is None:
        return True
    values = [row[name] for name in ("value", "low", "high") if row.get(name) is not None]
    return all(variable.low <= value <= variable.high for value in values)


def _fits(cell: Any, column: _Column) -> bool:
    if cell is None:
        return column.name in _UNKNOWN
    if isinstance(cell, bool) or not isinstance(cell, _KINDS[column.kind]):  # type: ignore[arg-type]
        return False
    return not isinstance(cell, int) or abs(cell) < _MOST


def times_noted(lines: Sequence[dict[str, Any]]) -> Iterator[float]:
    """When each issue was issued and made, and what came was noted [POSIX s]."""
    for line in lines:
        for name, rows in line.items():
            at = [n for n, column in enumerate(_columns(name)) if column.name in _WHEN]
            for row in [rows] if name == "told_issue" else rows:
                yield from (row[n] for n in at)


def add_lines(db: sqlite3.Connection, place: Place, lines: Sequence[dict[str, Any]]) -> int:
    """Add a carried record to that of a place, within a transaction; how many issues were new."""
    if not lines:
        return 0
    made_ready(db)
    at, new = at_place(place), 0
    for line in lines:
        for name in _CAME:
            for row in line.get(name, ()):
                _add(db, name, at, row)
        if "told_issue" not in line:
            continue
        done = _add(db, "told_issue", at, line["told_issue"])
        if done.rowcount:
            new += 1
            for name in _OF_ISSUE:
                insert(db, name, [(done.lastrowid, *row) for row in line[name]])
    return new


def _add(db: sqlite3.Connection, table: str, at: tuple[int, int], row: Row) -> sqlite3.Cursor:
    marks = ",".join("?" * (2 + len(row)))
    sql = f"INSERT OR IGNORE INTO {table} (lat, lon, {_names(table)}) VALUES ({marks})"
    return db.execute(sql, (*at, *row))

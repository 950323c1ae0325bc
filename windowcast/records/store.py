"""The season log: one SQLite file that keeps every version of every entry.

The log is a list of changes, and a change is a set of new versions of entries. Nothing is ever
overwritten: an edit adds a version, a removal adds an empty one, an undo adds the version before,
and triggers refuse any other writing. What the log says now is the last version of each entry.

Several processes may write at once (WAL, one writer at a time, the others wait); each change is
one transaction that is on disk when the call returns.
"""

from __future__ import annotations

import datetime as dt
import json
import sqlite3
import uuid
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from dataclasses import replace
from itertools import groupby
from os import PathLike
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from windowcast.core.atomic_files import put_in_place
from windowcast.core.errors import InputError
from windowcast.core.given_files import refuse_special
from windowcast.records import store_schema
from windowcast.records.entry_checks import checked, latest_today, to_plain
from windowcast.records.model import E, Entry, kind_of
from windowcast.records.store_errors import BACKUP, plain_errors
from windowcast.records.stored import (
    Action,
    Change,
    Revision,
    Since,
    Stored,
    Unusable,
    change_in,
    judged,
    revision_in,
    stored_in,
)

BUSY_SECONDS = 20.0
_ID_SHORTEST = 4


class SeasonLog:
    """An open season log; use it in a ``with`` statement.

    Parameters
    ----------
    path
        The file; it is made when it does not exist, unless `create` is False.

    Raises
    ------
    InputError
        Not a season log, written by a newer program, folder missing or not writable, disk full.
    """

    def __init__(self, path: str | PathLike[str], *, create: bool = True) -> None:
        self.path = Path(path)
        refuse_special(self.path)
        if not create and not self.path.is_file():
            raise InputError(
                "no such season log", path=self.path, remedy="windowcast log add starts one"
            )
        if not self.path.parent.is_dir():
            raise InputError("folder does not exist", path=self.path.parent, remedy="make it")
        with plain_errors(self.path):
            self._db = sqlite3.connect(
                self.path, timeout=BUSY_SECONDS, isolation_level=None, check_same_thread=False
            )
            try:
                store_schema.prepare(self._db, self.path)
            except BaseException:
                self._db.close()
                raise

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file."""
        self._db.close()

    # ---- reading ------------------------------------------------------------------------------

    def all(self, kind: type[E]) -> list[Stored[E]]:
        """Entries of one kind as they stand now, by date."""
        return [s for s in self.entries(kind_of(kind)) if isinstance(s.entry, kind)]

    def entries(self, kind: str | None = None) -> list[Stored[Any]]:
        """Entries of one kind or all as they stand now, by date, without the unusable ones."""
        return self.read(kind)[0]

    def read(self, kind: str | None = None) -> tuple[list[Stored[Any]], list[Unusable]]:
        """Entries of one kind or all as they stand now, by date, and those nobody can use."""
        with plain_errors(self.path):
            rows = self._db.execute(
                f"{_CURRENT} AND (? IS NULL OR r.kind = ?)", (kind, kind)
            ).fetchall()
        today = latest_today()
        read = [judged(row, today) for row in rows]
        found = [one for one in read if isinstance(one, Stored)]
        unusable = [one for one in read if isinstance(one, Unusable)]
        return sorted(found, key=lambda s: (s.entry.date, s.change, s.id)), unusable

    def latest(self, kind: type[E], most: int) -> list[Stored[E]]:
        """The last entries of one kind that were written, the newest first; see `all`."""
        with plain_errors(self.path):
            rows = self._db.execute(
                f"{_CURRENT} AND r.kind = ? ORDER BY r.change DESC LIMIT ?", (kind_of(kind), most)
            ).fetchall()
        found = []
        for row in rows:
            with suppress(InputError):  # what nobody can use is named by `read`
                found.append(stored_in(row))
        return found

    def since(self, number: int, uid: str) -> Since | None:
        """What the log says of the entries changed after a change; None where it has no such one.

        Parameters
        ----------
        number, uid
            Of the change last seen; 0 and "" for all entries.
        """
        with plain_errors(self.path), self._reading() as db:
            known = db.execute("SELECT uid FROM changes WHERE number = ?", (number,)).fetchone()
            if number and known != (uid,):
                return None
            last = db.execute(
                "SELECT number, uid FROM changes ORDER BY number DESC LIMIT 1"
            ).fetchone()
            touched = db.execute(
                "SELECT DISTINCT entry FROM revisions WHERE change > ?", (number,)
            ).fetchall()
            changed = " AND r.entry IN (SELECT entry FROM revisions WHERE change > ?)"
            rows = (
                db.execute(f"{_CURRENT}{changed}", (number,)) if number else db.execute(_CURRENT)
            ).fetchall()
        entries: dict[str, Stored[Any] | Unusable | None]
        entries = dict.fromkeys(entry for (entry,) in touched)
        today = latest_today()
        entries |= {row[0]: judged(row, today) for row in rows}
        return Since(last or (0, ""), entries)

    @contextmanager
    def _reading(self) -> Iterator[sqlite3.Connection]:
        """One view of the log for several questions, whatever others write meanwhile."""
        self._db.execute("BEGIN")
        try:
            yield self._db
        finally:
            self._db.execute("ROLLBACK")

    def get(self, short_id: str) -> Stored[Any]:
        """The entry whose id begins with `short_id`, also where its date is impossible."""
        row = self._standing(short_id)
        try:
            return stored_in(row)
        except InputError as error:
            raise InputError(
                f"entry {row[0][:8]} cannot be used ({error.problem})",
                path=self.path,
                field=error.field,
                remedy=f"take it out with windowcast log remove {row[0][:8]}",
            ) from None

    def _standing(self, short_id: str) -> tuple[Any, ...]:
        """The row of `_CURRENT` of the entry whose id begins so."""
        full = self._find(short_id)
        with plain_errors(self.path):
            row = self._db.execute(f"{_CURRENT} AND r.entry = ?", (full,)).fetchone()
        if row is None:
            raise InputError(
                f"entry {short_id} was removed", path=self.path, remedy="bring it back with undo"
            )
        found: tuple[Any, ...] = row
        return found

    def history(self, short_id: str | None = None) -> list[Change]:
        """All changes, or those of one entry, oldest first."""
        if short_id is None:
            return self._changes("TRUE", ())
        return self._changes("r.entry = ?", (self._find(short_id),))

    def _changes(self, condition: str, values: tuple[Any, ...]) -> list[Change]:
        with plain_errors(self.path):
            rows = self._db.execute(
                "SELECT c.number, c.uid, c.at, c.action, c.undoes, r.entry, r.kind, r.body"
                " FROM changes c JOIN revisions r ON r.change = c.number"
                f" WHERE {condition} ORDER BY c.number, r.rowid",
                values,
            ).fetchall()
            return [change_in(head, group) for head, group in groupby(rows, lambda row: row[:5])]

    # ---- writing ------------------------------------------------------------------------------

    def add(self, *entries: Entry) -> list[str]:
        """Add entries in one change; their ids."""
        if not entries:
            return []
        revisions = [
            Revision(uuid.uuid4().hex, kind_of(e), to_plain(checked(e)))  # type: ignore[type-var]
            for e in entries
        ]
        self._change("add", revisions)
        return [revision.id for revision in revisions]

    def edit(self, short_id: str, entry: Entry, *, version: int | None = None) -> Stored[Any]:
        """Put a new version of an entry in place.

        With `version`, the edit is refused when another has changed the entry meanwhile.
        """
        old = self.get(short_id)
        if kind_of(entry) != kind_of(old.entry):
            raise InputError(
                f"entry {short_id} is of kind {kind_of(old.entry)}, not {kind_of(entry)}",
                path=self.path,
                remedy="remove it and add the other",
            )
        body = to_plain(checked(entry))  # type: ignore[type-var]
        self._change("edit", [Revision(old.id, kind_of(entry), body)], expect=(old.id, version))
        return self.get(old.id)

    def remove(self, short_id: str, *, version: int | None = None) -> Revision:
        """Take an entry out, usable or not; its history stays and `undo` brings it back."""
        entry, kind, body, *_ = self._standing(short_id)
        self._change("remove", [Revision(entry, kind, None)], expect=(entry, version))
        with plain_errors(self.path):
            return revision_in(entry, kind, body)

    def undo(self) -> Change:
        """Take back the last change that has not been taken back yet; what was undone."""
        with self._writing() as db:
            row = db.execute(
                "SELECT number, uid FROM changes c WHERE action <> 'undo' AND NOT EXISTS"
                " (SELECT 1 FROM changes u WHERE u.undoes = c.uid) ORDER BY number DESC LIMIT 1"
            ).fetchone()
            if row is None:
                raise InputError("nothing to undo", path=self.path)
            number, uid = row
            (undone,) = self._changes("c.number = ?", (number,))
            before = db.execute(
                "SELECT r.entry, r.kind, (SELECT p.body FROM revisions p WHERE p.entry = r.entry"
                " AND p.change < r.change ORDER BY p.change DESC LIMIT 1)"
                " FROM revisions r WHERE r.change = ? ORDER BY r.rowid",
                (number,),
            ).fetchall()
            restored = [revision_in(*version) for version in before]
            _insert(db, Change(uuid.uuid4().hex, _now(), "undo", tuple(restored), uid))
        return undone

    def merge(self, changes: Sequence[Change]) -> int:
        """Add changes from another log that this one has not got; how many were added.

        Rows of a file written by hand are known by what they say (see `import_export`): those that
        stand in the log now are left out of an import.
        """
        with self._writing() as db:
            known = {uid for (uid,) in db.execute("SELECT uid FROM changes")}
            standing = {row[0] for row in db.execute(_CURRENT)}
            count = 0
            for change in changes:
                if change.uid in known:
                    continue
                revisions = change.revisions
                if change.action == "import":
                    revisions = tuple(r for r in revisions if r.id not in standing)
                if revisions or not change.revisions:
                    _insert(db, replace(change, revisions=revisions))
                    count += 1
        return count

    def backup(self, target: str | PathLike[str]) -> Path:
        """Write a whole copy of the log while others may go on using it.

        Raises
        ------
        InputError
            The target exists already or cannot be written, or the log is damaged: a copy would be
            too.
        """
        goal = Path(target)
        if goal.exists():
            raise InputError("exists already", path=goal, remedy="name another file")
        part = goal.with_name(f".{goal.name}.part")
        try:
            with plain_errors(goal), closing(sqlite3.connect(part)) as copy:
                self._db.backup(copy)
                found = copy.execute("PRAGMA integrity_check(1)").fetchone()
                if found != ("ok",):
                    raise InputError(
                        "is damaged; nothing was copied", path=self.path, remedy=BACKUP
                    )
                copy.execute("PRAGMA journal_mode = DELETE")
            put_in_place(part, goal)
        except OSError as error:
            raise InputError(
                f"cannot be written ({error.strerror})", path=goal, remedy="name another file"
            ) from None
        finally:
            part.unlink(missing_ok=True)
        return goal

    # ---- inside -------------------------------------------------------------------------------

    def _find(self, short_id: str) -> str:
        wanted = short_id.strip().lower()
        with plain_errors(self.path):
            rows = self._db.execute(
                "SELECT DISTINCT entry FROM revisions WHERE entry >= ? AND entry < ? LIMIT 2",
                (wanted, wanted + "\U0010ffff"),
            ).fetchall()
        if len(wanted) < _ID_SHORTEST or len(rows) != 1:
            why = "is not the id of an entry" if not rows else "could mean several entries"
            raise InputError(
                f"{short_id!r} {why}",
                path=self.path,
                field="id",
                remedy=f"give at least {_ID_SHORTEST} characters of an id from windowcast log list",
            )
        return str(rows[0][0])

    @contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        """One transaction, whole or not at all."""
        with plain_errors(self.path):
            self._db.execute("BEGIN IMMEDIATE")
            try:
                yield self._db
                self._db.execute("COMMIT")
            except BaseException:
                with suppress(sqlite3.Error):
                    self._db.execute("ROLLBACK")
                raise

    def _change(
        self,
        action: Action,
        revisions: Sequence[Revision],
        expect: tuple[str, int | None] | None = None,
    ) -> None:
        with self._writing() as db:
            if expect is not None and expect[1] is not None:
                (count,) = db.execute(
                    "SELECT count(*) FROM revisions WHERE entry = ?", (expect[0],)
                ).fetchone()
                if count != expect[1]:
                    raise InputError(
                        f"entry {expect[0][:8]} was changed by someone else meanwhile",
                        path=self.path,
                        remedy="look at it again, then repeat your change",
                    )
            _insert(db, Change(uuid.uuid4().hex, _now(), action, tuple(revisions)))


_CURRENT = (
    "SELECT r.entry, r.kind, r.body, r.change, c.at,"
    " (SELECT count(*) FROM revisions v WHERE v.entry = r.entry)"
    " FROM revisions r JOIN changes c ON c.number = r.change"
    " WHERE r.body IS NOT NULL AND r.change ="
    " (SELECT max(l.change) FROM revisions l WHERE l.entry = r.entry)"
)


def _insert(db: sqlite3.Connection, change: Change) -> None:
    cursor = db.execute(
        "INSERT INTO changes (uid, at, action, undoes) VALUES (?, ?, ?, ?)",
        (change.uid, change.at.isoformat(), change.action, change.undoes),
    )
    db.executemany(
        "INSERT INTO revisions (change, entry, kind, body) VALUES (?, ?, ?, ?)",
        [
            (
                cursor.lastrowid,
                r.id,
                r.kind,
                None if r.body is None else json.dumps(r.body, ensure_ascii=False),
            )
            for r in change.revisions
        ],
    )


def _now() -> dt.datetime:
    return dt.datetime.now(dt.UTC)

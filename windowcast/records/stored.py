"""What the season log says: entries as they stand, their versions, the changes that made them."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Generic, Literal, TypeVar, get_args

from windowcast.core.errors import InputError
from windowcast.records.entry_checks import check_dates, from_plain
from windowcast.records.model import Entry

Action = Literal["add", "edit", "remove", "undo", "import"]
T_co = TypeVar("T_co", bound=Entry, covariant=True)


@dataclass(frozen=True, slots=True)
class Stored(Generic[T_co]):
    """An entry as the log has it now.

    `version` counts its versions from 1; `change` is the number of the change that made this one.
    """

    id: str
    entry: T_co
    version: int
    change: int
    changed_at: dt.datetime


@dataclass(frozen=True, slots=True)
class Unusable:
    """An entry that the log holds and nobody can use: its date or a value is impossible."""

    id: str
    kind: str
    why: InputError


@dataclass(frozen=True, slots=True)
class Since:
    """The entries changed since a change, as they stand now; None for one that was taken out.

    `last` is number and uid of the last change.
    """

    last: tuple[int, str]
    entries: dict[str, Stored[Any] | Unusable | None]


@dataclass(frozen=True, slots=True)
class Revision:
    """One version of one entry; `body` is None where the change took the entry out."""

    id: str
    kind: str
    body: dict[str, Any] | None

    @property
    def entry(self) -> Entry | None:
        """The entry itself."""
        return None if self.body is None else from_plain(self.kind, self.body)


@dataclass(frozen=True, slots=True)
class Change:
    """One step of the log's history."""

    uid: str
    at: dt.datetime
    action: Action
    revisions: tuple[Revision, ...]
    undoes: str | None = None
    number: int = 0  # in this file


def stored_in(row: tuple[Any, ...]) -> Stored[Any]:
    """An entry from its row; InputError where nobody can use it."""
    entry_id, kind, body, change, at, version = row
    try:
        entry = from_plain(kind, json.loads(body))
        return Stored(entry_id, entry, version, change, dt.datetime.fromisoformat(at))
    except (ValueError, TypeError, OverflowError, RecursionError):
        raise InputError("is not the body of an entry", field=str(kind)) from None


def revision_in(entry: str, kind: str, body: str | None) -> Revision:
    """A version as the file has it; ValueError where that is none."""
    read = None if body is None else json.loads(_text(body))
    return Revision(_text(entry), _text(kind), read)


def change_in(head: Sequence[Any], group: Iterable[Any]) -> Change:
    """A change from its rows; ValueError where they are none."""
    number, uid, at, action, undoes = head
    if action not in get_args(Action):
        raise ValueError("is not an action")
    revisions = tuple(revision_in(*row[5:]) for row in group)
    moment = dt.datetime.fromisoformat(_text(at))
    return Change(_text(uid), moment, action, revisions, undoes, number)


def _text(value: Any) -> str:
    """A text; ValueError for what else a damaged file may hold in its place."""
    if not isinstance(value, str):
        raise ValueError("is not a text")
    return value


def judged(row: tuple[Any, ...], today: dt.date) -> Stored[Any] | Unusable:
    """An entry from its row, or why nobody can use it."""
    try:
        stored = stored_in(row)
        check_dates(stored.entry, today=today)
    except InputError as error:
        return Unusable(row[0], row[1], error)
    return stored

"""Lists in the site settings, a row each: times without spraying, ground no drift may reach."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from windowcast.core.errors import InputError
from windowcast.report.catalogue import Voice

EMPTY = 4  # rows offered beside those there are
MOST = 200


@dataclass(frozen=True)
class Column:
    """One column of a list: key of the site file, and kind of input."""

    key: str
    kind: Literal["date", "text", "number"]


@dataclass(frozen=True)
class RowList:
    """A list of tables of the site file; `name` begins its fields' names, `key` is the file's.

    Of a row that is filled in the first `needed` columns must be.
    """

    name: str
    key: str
    columns: tuple[Column, ...]
    needed: int

    def field(self, row: int, column: str) -> str:
        """Name of one field of the form, counted from 0."""
        return f"{self.name}.{row}.{column}"


@dataclass(frozen=True)
class SaidList:
    """A list in words: its title, and each column's head and what to type in it."""

    rows: RowList
    title: str
    heads: tuple[tuple[Column, str, str], ...]


def lists_said(voice: Voice) -> list[SaidList]:
    """The lists of the form in words."""
    return [
        SaidList(
            rows,
            voice.say(f"site_rows.title.{rows.name}"),
            tuple(
                (
                    column,
                    voice.say(f"site_rows.head.{column.key}"),
                    voice.say(f"site_rows.type.{column.key}"),
                )
                for column in rows.columns
            ),
        )
        for rows in LISTS
    ]


LISTS = (
    RowList(
        "blackout",
        "calendar.blackout",
        (
            Column("first", "date"),
            Column("last", "date"),
            Column("hours", "text"),
            Column("reason", "text"),
        ),
        1,
    ),
    RowList(
        "sensitive",
        "sensitive",
        (
            Column("name", "text"),
            Column("bearing_from_deg", "number"),
            Column("bearing_to_deg", "number"),
        ),
        3,
    ),
)


def read_rows(typed: Mapping[str, str]) -> dict[str, list[dict[str, Any]]]:
    """Key of the site file → its rows, of a filled-in form; rows left empty are left out.

    Raises
    ------
    InputError
        A row lacks what it needs, or a bearing is no number; the form's field is named.
    """
    return {item.key: [_row(item, n, typed) for n in _filled(item, typed)] for item in LISTS}


def _filled(item: RowList, typed: Mapping[str, str]) -> list[int]:
    """Numbers of the rows in which something stands."""
    keys = {column.key for column in item.columns}
    found = set()
    for name, text in typed.items():
        match name.split("."):
            case [item.name, row, key] if row in _ROWS and key in keys and text:
                found.add(int(row))
    return sorted(found)


_ROWS = frozenset(map(str, range(MOST)))


def _row(item: RowList, number: int, typed: Mapping[str, str]) -> dict[str, Any]:
    row: dict[str, Any] = {}
    for place, column in enumerate(item.columns):
        field = item.field(number, column.key)
        text = typed.get(field, "")
        if text:
            row[column.key] = _number(text, field) if column.kind == "number" else text
        elif place < item.needed:
            raise InputError("is missing", field=field, remedy="fill it in or empty the row")
    return row


def _number(text: str, field: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise InputError(
            f"{text!r} is not a number", field=field, remedy="write degrees, such as 45"
        ) from None


def show_rows(plain: Mapping[str, Any]) -> dict[str, str]:
    """What to fill the rows of a form with, from a site's flat values."""
    return {
        item.field(number, key): f"{value:g}" if isinstance(value, float) else str(value)
        for item in LISTS
        for number, row in enumerate(plain[item.key])
        for key, value in row.items()
        if value not in (None, "")
    }


def rows_shown(values: Mapping[str, str]) -> dict[str, range]:
    """How many rows of each list a form shows: those filled in and a few empty ones."""
    return {
        item.name: range(min(max(_filled(item, values), default=-1) + 1 + EMPTY, MOST))
        for item in LISTS
    }


def form_name(key: str) -> str:
    """The field of the form that a key of the site file, counted from 1, stands in."""
    for item in LISTS:
        found = re.fullmatch(rf"{re.escape(item.key)}\[(\d+)\](?:\.(\w+))?", key)
        if found:
            return item.field(int(found[1]) - 1, found[2] or item.columns[0].key)
    return key


def toml_rows(item: RowList, rows: Sequence[Mapping[str, Any]]) -> Any:
    """Rows as an array of tables of the site file.

    Raises
    ------
    InputError
        A date does not read as one.
    """
    import tomlkit

    kinds = {column.key: column.kind for column in item.columns}
    array = tomlkit.aot()
    for row in rows:
        table = tomlkit.table()
        for key, value in row.items():
            table[key] = _date(value, item.key) if kinds[key] == "date" else value
        array.append(table)
    return array


def _date(text: str, key: str) -> dt.date:
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise InputError(f"{text!r} is not a date", field=key, remedy="write 2025-11-08") from None

"""Log entries out of a table that somebody keeps: any delimiter, names and units as people write.

A column stands for a field when its name is that of the field, with or without its unit
(``area_m2``, ``Area (acre)``), or one of the names people use for it. What a table leaves open is
asked, never guessed: the order of day and month, the decimal mark, a column that is not known.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from os import PathLike, fspath
from typing import Any, Literal
from zoneinfo import ZoneInfo

from windowcast.core.errors import InputError
from windowcast.materials.rates import materials_from
from windowcast.records.entry_checks import refuse_unknown
from windowcast.records.fields import LogField
from windowcast.records.hand_columns import (
    DATE,
    KIND_NAMES,
    TIME,
    HandColumn,
    columns_of,
    fields_named,
    fits,
    in_unit,
    plain_json,
)
from windowcast.records.kinds import TITLES
from windowcast.records.written_moments import Dates
from windowcast.sources.column_names import normal
from windowcast.sources.csv_rows import MISSING, table_rows
from windowcast.sources.understood import ColumnRead, Understood
from windowcast.sources.written_dates import Order
from windowcast.sources.written_numbers import Mark, decimal_mark, number_written

_CODES = {"-999", "-9999", "-999.0", "-9999.0"}
_DECIMAL_COMMA = re.compile(r"(?<=\d),(?=\d+(?![\d,-]))")  # not that of 2,4-D
_OPTION_ORDER = "say which: FILE:dates=mdy or FILE:dates=dmy"
_OPTION_MARK = "say which: FILE:decimal=comma or FILE:decimal=point"


@dataclass(frozen=True, slots=True)
class LogTableOptions:
    """What the owner of a table says of it.

    `zone` of times that say none; `kind` of entries where no column says it; `unknown` columns are
    refused unless they may be left out.
    """

    zone: ZoneInfo | None = None
    order: Order | None = None
    mark: Mark | None = None
    kind: str = ""
    unknown: Literal["refuse", "ignore"] = "refuse"


@dataclass(frozen=True, slots=True)
class HandRow:
    """Plain values of one entry (`records.entry_checks.from_plain`), and its row in the file."""

    kind: str
    body: dict[str, Any]
    row: int


def read_by_hand(
    text: str, path: str | PathLike[str], asked: LogTableOptions
) -> tuple[list[HandRow], Understood]:
    """The entries of a table, and how it was understood.

    Raises
    ------
    InputError
        Anything that keeps it from being read without a guess; names row and column.
    """
    delimiter, header, rows = table_rows(text, path, _is_known)
    if not rows:
        raise InputError("has a header but no rows", path=path, remedy="give a file with rows")
    columns, kind_at, ignored = columns_of(
        header, path, kind=asked.kind, ignore=asked.unknown == "ignore"
    )
    rows, columns = _without_units_row(rows, columns, kind_at)
    entries = [
        (_kind(cells, kind_at, number, path, asked), number, cells) for number, cells in rows
    ]
    dates = Dates.of(
        (
            (cells[column.index], number, column.header, _type(column, kind))
            for kind, number, cells in entries
            for column in columns
        ),
        asked.order, asked.zone, fspath(path), _OPTION_ORDER,
    )  # fmt: skip
    numeric = (
        (cells[column.index], number, column.header)
        for kind, number, cells in entries
        for column in columns
        if _type(column, kind) in {"number", "whole"}
    )
    mark = decimal_mark(numeric, asked.mark, fspath(path), _OPTION_MARK)
    found = [
        HandRow(
            kind, _body(kind, cells, columns, row=number, mark=mark, dates=dates, path=path), number
        )
        for kind, number, cells in entries
    ]
    number, cells = rows[0]
    kinds = [kind for kind, _, _ in entries]
    understood = Understood(
        rows=len(rows), first_row=number, daily=None, delimiter=delimiter, mark=mark,
        order=dates.order if dates.ambiguous else None,
        zone=str(asked.zone) if dates.on_the_clock and asked.zone else "",
        columns=tuple(
            ColumnRead(c.header, c.title(kinds), c.unit) for c in columns
        ),
        ignored=tuple(ignored),
        first_as_written={c.header: cells[c.index] for c in columns if cells[c.index].strip()},
    )  # fmt: skip
    return found, understood


def _is_known(name: str) -> bool:
    """Whether a column has a name of the log."""
    return normal(name) in KIND_NAMES or bool(fields_named(name)[0])


def _without_units_row(
    rows: list[tuple[int, list[str]]], columns: list[HandColumn], kind_at: int | None
) -> tuple[list[tuple[int, list[str]]], list[HandColumn]]:
    """The rows below one that holds only units, which go to the columns."""
    _, cells = rows[0]
    if len(rows) < 2 or (kind_at is not None and cells[kind_at].strip()):
        return rows, columns
    said = {c.index: cells[c.index].strip().strip("()[]") for c in columns}
    measured = [c for c in columns if said[c.index]]
    if not measured or not all(fits(c.fields, said[c.index]) for c in measured):
        return rows, columns
    if any(char.isdigit() for c in measured if not c.unit for char in said[c.index][:1]):
        return rows, columns
    return rows[1:], [replace(c, unit=c.unit or said[c.index]) for c in columns]


def _kind(
    cells: Sequence[str],
    at: int | None,
    number: int,
    path: str | PathLike[str],
    asked: LogTableOptions,
) -> str:
    written = (cells[at].strip() if at is not None else "") or asked.kind
    known = {name.lower(): kind for kind, title in TITLES.items() for name in (kind, title)}
    kind = known.get(written.lower(), written)
    refuse_unknown(kind, path, number)
    return kind


def _type(column: HandColumn, kind: str) -> str:
    field = column.fields.get(kind)
    return field.type if field is not None else ""


def _body(
    kind: str,
    cells: Sequence[str],
    columns: Sequence[HandColumn],
    *,
    row: int,
    mark: Mark,
    dates: Dates,
    path: str | PathLike[str],
) -> dict[str, Any]:
    """Plain values of a row's filled cells."""
    plain: dict[str, Any] = {}
    apart: dict[str, str] = {}  # date and time of an application in columns of their own
    for column in columns:
        cell = cells[column.index]
        if not cell.strip() or _is_missing(cell, _type(column, kind)):
            continue
        field = column.fields.get(kind)
        if field is None:
            raise InputError(
                f"a {kind} has no {column.header}", path=path, row=row, field=column.header,
                remedy="empty the cell",
            )  # fmt: skip
        if field in (DATE, TIME):
            apart[field.name] = cell
            continue
        if field.name in plain:
            raise InputError(
                f"{field.asked.title} stands in two columns", path=path, row=row,
                field=column.header, remedy="empty one of them",
            )  # fmt: skip
        try:
            plain[field.name] = _value(field, cell, column, mark, dates)
        except InputError as error:
            raise error.at(path=path, row=row, field=column.header) from None
    if kind == "application":
        try:
            dates.complete(plain, apart.get("date", ""), apart.get("time", ""))
        except InputError as error:
            raise error.at(path=path, row=row) from None
    return plain


def _is_missing(cell: str, kind: str) -> bool:
    word = cell.strip().lower()
    return kind not in {"text", "long", "materials"} and (
        word in MISSING or (kind in {"number", "whole"} and word in _CODES)
    )


def _value(field: LogField, cell: str, column: HandColumn, mark: Mark, dates: Dates) -> Any:
    word = cell.strip()
    if field.type in {"text", "long"}:
        return cell
    if field.type in {"date", "moment", "time"}:
        return dates.value(field, word)
    if field.type == "materials":
        if word.startswith("["):
            return plain_json(word)
        text = _DECIMAL_COMMA.sub(".", word) if mark == "," else word
        return materials_from(text, column.unit)
    if field.type in {"number", "whole"}:
        return _quantity(field, word, column, mark)
    return plain_json(word) if field.type == "yesno" else word


def _quantity(field: LogField, word: str, column: HandColumn, mark: Mark) -> Any:
    """A number in the field's own unit, or with the one that stands behind it or in the header."""
    match = re.fullmatch(r"([-+−]?[\d.,][\d.,\s\u00a0\u202f]*(?:e[+-]?\d+)?)(.*)", word)
    if match is None:
        return word  # the check that follows names what is wrong with it
    try:
        number = number_written(match[1].strip(), mark)
    except ValueError:
        return word
    unit = match[2].strip() or column.unit
    return number if column.exact and not unit else in_unit(f"{number:.15g}", unit, field)

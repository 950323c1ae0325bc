"""Log entries out of a table that somebody keeps: any delimiter, names and units as people write.

A column stands for a field when its name is that of the field, with or without its unit
(``area_m2``, ``Area (acre)``), or one of the names people use for it. What a table leaves open is
asked, never guessed: the order of day and month, the decimal mark, a column that is not known.
"""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from os import PathLike, fspath
from typing import Any, Literal
from zoneinfo import ZoneInfo

from windowcast.core.errors import InputError
from windowcast.core.quantity import parse_rate
from windowcast.records.command_words import materials_from
from windowcast.records.entered_quantities import ENTERED, is_number
from windowcast.records.fields import Asked, LogField
from windowcast.records.kinds import TITLES
from windowcast.records.model import KINDS, fields_of
from windowcast.records.written_moments import Dates
from windowcast.sources.column_names import normal, parted
from windowcast.sources.understood import ColumnRead, Understood
from windowcast.sources.written_dates import Order
from windowcast.sources.written_numbers import Mark, decimal_mark, number_written

_DELIMITERS = (",", ";", "\t", "|")
_MISSING = {"na", "n/a", "nan", "null", "none", "m", "-", "--", "---", "#n/a"}
_CODES = {"-999", "-9999", "-999.0", "-9999.0"}
_SEPARATOR_SAID = re.compile(r'"?sep=([,;\t|])"?', re.IGNORECASE)
_OF_EXPORTS = {"change", "at", "action", "undoes", "entry"}  # a part of them says nothing here
_KIND_NAMES = {"kind", "kind of entry", "entry kind"}
# name of a field → other names for it, beside its title and its own name without the unit
_ALSO: Mapping[str, tuple[str, ...]] = {
    "where": ("place", "location", "field", "hole", "site"),
    "notes": ("note", "comment", "comments", "remarks", "remark"),
    "operator": ("applied by", "sprayed by", "sprayer operator", "applicator name"),
    "materials": ("material", "tank mix", "products", "actives"),
    "carrier_l_ha": ("spray volume", "carrier rate", "water volume"),
    "wind_m_s": ("wind speed",),
    "temp_c": ("air temp", "temperature", "soil temp"),
    "rh_pct": ("humidity", "rel humidity"),
    "wind_from_deg": ("wind direction", "wind dir"),
    "start": ("start time", "time started", "began"),
    "end": ("end time", "time ended", "finished", "stop"),
    "text": ("seen", "observation"),
    "per_m2": ("plants",),
    "green_pct": ("green cover",),
}  # fmt: skip
_UNITS = {"gpa": "gal/acre", "percent": "%", "pct": "%"}  # beside those of `core.units`
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
class _Column:
    """A column of the table: the field it is for each kind, and the unit its name says."""

    index: int
    header: str
    fields: Mapping[str, LogField]
    unit: str = ""

    @property
    def exact(self) -> bool:
        """Whether its name is that of a field, so that a bare number is in the field's unit."""
        return any(normal(field.name) == normal(self.header) for field in self.fields.values())

    def title(self, kinds: Sequence[str]) -> str:
        """What it is for the first of the kinds that has it."""
        field = next((self.fields[kind] for kind in kinds if kind in self.fields), None)
        return (field or next(iter(self.fields.values()))).asked.title


@dataclass(frozen=True, slots=True)
class HandRow:
    """Plain values of one entry (`records.model.from_plain`), and its row in the file."""

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
    delimiter, header, rows = _rows(text, path)
    if not rows:
        raise InputError("has a header but no rows", path=path, remedy="give a file with rows")
    columns, kind_at, ignored = _columns(header, path, asked)
    rows, columns = _without_units_row(rows, columns, kind_at)
    kinds = [_kind(cells, kind_at, number, path, asked) for number, cells in rows]
    dates = Dates.of(
        (
            (cells[column.index], number, column.header, _type(column, kind))
            for (number, cells), kind in zip(rows, kinds, strict=True)
            for column in columns
        ),
        asked.order, asked.zone, fspath(path), _OPTION_ORDER,
    )  # fmt: skip
    numeric = (
        (cells[column.index], number, column.header)
        for (number, cells), kind in zip(rows, kinds, strict=True)
        for column in columns
        if _type(column, kind) in {"number", "whole"}
    )
    mark = decimal_mark(numeric, asked.mark, fspath(path), _OPTION_MARK)
    found = [
        HandRow(
            kind, _body(kind, cells, columns, row=number, mark=mark, dates=dates, path=path), number
        )
        for (number, cells), kind in zip(rows, kinds, strict=True)
    ]
    number, cells = rows[0]
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


def _rows(
    text: str, path: str | PathLike[str]
) -> tuple[str, list[str], list[tuple[int, list[str]]]]:
    """Delimiter, header, and the rows with anything in them, each with its number."""
    first, _, rest = text.partition("\n")
    said = _SEPARATOR_SAID.fullmatch(first.strip(" \r"))
    before = 1 if said else 0
    text = rest if said else text
    line = next((line for line in text.splitlines() if line.strip()), "")
    delimiter = said[1] if said else max(_DELIMITERS, key=lambda mark: _known(line, mark))
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    header: list[str] = []
    rows = []
    try:
        for cells in reader:
            number = reader.line_num + before
            if not any(cell.strip() for cell in cells):
                continue
            if not header:
                header = [cell.strip() for cell in cells]
                continue
            if len(cells) > len(header) and not any(c.strip() for c in cells[len(header) :]):
                cells = cells[: len(header)]  # noqa: PLW2901 - Excel leaves such tails
            if len(cells) != len(header):
                raise InputError(
                    f"has not {len(header)} cells", path=path, row=number, remedy="correct the row"
                )
            rows.append((number, cells))
    except csv.Error as error:
        raise InputError(f"is not a CSV table ({error})", path=path) from None
    return delimiter, header, rows


def _known(line: str, delimiter: str) -> int:
    """How many columns of a header are known when it is cut in one way."""
    names = next(csv.reader([line], delimiter=delimiter), [])
    return sum(normal(name) in _KIND_NAMES or bool(_fields_named(name)[0]) for name in names)


def _columns(
    header: Sequence[str], path: str | PathLike[str], asked: LogTableOptions
) -> tuple[list[_Column], int | None, list[str]]:
    """The columns that are read, where the kind stands, and the names of those left out."""
    columns, unknown, kind_at = [], [], None
    for index, name in enumerate(header):
        if normal(name) in _KIND_NAMES and kind_at is None:
            kind_at = index
            continue
        if name in _OF_EXPORTS:
            continue
        fields, unit = _fields_named(name)
        if fields:
            columns.append(_Column(index, name, fields, unit))
        elif name:
            unknown.append(name)
    if kind_at is None and not asked.kind:
        raise InputError(
            "has no column 'kind'", path=path, row=1,
            remedy="compare with the columns of windowcast log export --format csv, or say the"
            f" kind of all rows: FILE:kind=application (or {', '.join(list(KINDS)[1:])})",
        )  # fmt: skip
    if unknown and asked.unknown == "refuse":
        raise InputError(
            f"column {unknown[0]!r} is not known", path=path, row=1,
            remedy="compare with the columns of windowcast log export --format csv, or leave out"
            f" what is not known{_all_of(unknown)}: FILE:unknown=ignore",
        )  # fmt: skip
    return columns, kind_at, unknown


def _all_of(unknown: Sequence[str]) -> str:
    return f" ({', '.join(unknown)})" if len(unknown) > 1 else ""


def _fields_named(header: str) -> tuple[dict[str, LogField], str]:
    """The field a column's name stands for, by kind, and the unit the name says."""
    exact = {
        kind: field for kind in KINDS for field in fields_of(kind) if field.name == header.strip()
    }
    if exact:
        return _with_dates(header, exact), ""
    name, bracket = parted(header)
    if fields := _NAMES.get(name):
        return (dict(fields), bracket) if _fits(fields, bracket) else ({}, "")
    words = name.split()
    for size in range(len(words) - 1, 0, -1):
        unit = " ".join(words[size:])
        fields = _NAMES.get(" ".join(words[:size]))
        if fields and not bracket and _fits(fields, unit):
            return dict(fields), unit
    return {}, ""


def _fits(fields: Mapping[str, LogField], unit: str) -> bool:
    """Whether the unit in a name is one of the field; words on dates and times may be anything."""
    field = next(iter(fields.values()))
    if not unit or field.type in {"date", "moment", "time"}:
        return True
    try:
        if field.type == "materials":
            return parse_rate(f"1 {unit}").kind == "mass"
        _in_unit("1", unit, field)
    except InputError:
        return False
    return bool(field.asked.measure)


def _with_dates(header: str, fields: dict[str, LogField]) -> dict[str, LogField]:
    """An application may have its date and its time in columns of their own."""
    if header in {"date", "time"}:
        fields["application"] = _DATE if header == "date" else _TIME
    return fields


def _without_units_row(
    rows: list[tuple[int, list[str]]], columns: list[_Column], kind_at: int | None
) -> tuple[list[tuple[int, list[str]]], list[_Column]]:
    """The rows below one that holds only units, which go to the columns."""
    _, cells = rows[0]
    if len(rows) < 2 or (kind_at is not None and cells[kind_at].strip()):
        return rows, columns
    said = {c.index: cells[c.index].strip().strip("()[]") for c in columns}
    measured = [c for c in columns if said[c.index]]
    if not measured or not all(_fits(c.fields, said[c.index]) for c in measured):
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
    written = cells[at].strip() if at is not None else ""
    if not written:
        written = asked.kind
    if written in KINDS:
        return written
    titled = {title.lower(): kind for kind, title in TITLES.items()}
    plain = written.lower()
    if plain in KINDS or plain in titled:
        return plain if plain in KINDS else titled[plain]
    from windowcast.records.model import from_plain

    from_plain(written, {}, path=path, row=number)  # raises, with a close kind
    raise AssertionError(written)


def _type(column: _Column, kind: str) -> str:
    field = column.fields.get(kind)
    return field.type if field is not None else ""


def _body(
    kind: str,
    cells: Sequence[str],
    columns: Sequence[_Column],
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
        if field in (_DATE, _TIME):
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
        word in _MISSING or (kind in {"number", "whole"} and word in _CODES)
    )


def _value(field: LogField, cell: str, column: _Column, mark: Mark, dates: Dates) -> Any:
    word = cell.strip()
    if field.type in {"text", "long"}:
        return word if field.name in {"weed", "target"} else cell
    if field.type in {"date", "moment", "time"}:
        return dates.value(field, word)
    if field.type == "materials":
        text = re.sub(r"(?<=\d),(?=\d)", ".", word) if mark == "," and word[:1] != "[" else word
        return _json(text) if word[:1] == "[" else materials_from(text, column.unit)
    if field.type in {"number", "whole"}:
        return _quantity(field, word, column, mark)
    return _json(word) if field.type == "yesno" else word


def _quantity(field: LogField, word: str, column: _Column, mark: Mark) -> Any:
    """A number in the field's own unit, or with the one that stands behind it or in the header."""
    match = re.fullmatch(r"([-+−]?[\d.,][\d.,\s\u00a0\u202f]*(?:e[+-]?\d+)?)(.*)", word)
    if match is None:
        return word  # the check that follows names what is wrong with it
    try:
        number = number_written(match[1].strip(), mark)
    except ValueError:
        return word
    unit = match[2].strip() or column.unit
    return number if column.exact and not unit else _in_unit(f"{number:.15g}", unit, field)


def _in_unit(number: str, unit: str, field: LogField) -> Any:
    """A number with its unit in SI."""
    entered = ENTERED[field.asked.measure]
    unit = _UNITS.get(unit.lower(), unit)
    zero = unit and is_number(number) and float(number) == 0 and entered.suffix not in {"", "_c"}
    if zero:  # a wind of 0 mph is one, though no length is 0 in
        entered.read(f"1 {unit}", field.name)
        return 0.0
    found = entered.read(f"{number} {unit}".strip(), field.name)
    return _json(found) if isinstance(found, str) else found


def _json(text: str) -> Any:
    try:
        return json.loads(text)
    except ValueError:
        return text  # the check that follows names what is wrong with it


def _named_fields() -> Iterator[tuple[str, str, LogField]]:
    """Every name people use for a field, with the kind of its entry."""
    for kind in KINDS:
        for field in fields_of(kind):
            names = [field.name, field.word, field.asked.title, *field.asked.also]
            for name in (*names, *_ALSO.get(field.name, ())):
                yield normal(name), kind, field


def _by_name() -> dict[str, dict[str, LogField]]:
    table: dict[str, dict[str, LogField]] = {}
    for name, kind, field in _named_fields():
        table.setdefault(name, {}).setdefault(kind, field)
    table["date"]["application"], table["time"]["application"] = _DATE, _TIME
    return table


_DATE = LogField("date", "date", Asked("Date"), needed=False)  # of an application
_TIME = LogField("time", "time", Asked("Time"), needed=False)
_NAMES = _by_name()

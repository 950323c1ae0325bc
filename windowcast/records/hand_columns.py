"""What the columns of a log table written by hand stand for: a field for each kind, and a unit."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from os import PathLike
from typing import Any

from windowcast.core.errors import InputError
from windowcast.core.quantity import is_number, parse_rate
from windowcast.records.entered_quantities import ENTERED
from windowcast.records.fields import Asked, LogField
from windowcast.records.model import KINDS, fields_of
from windowcast.sources.column_names import normal, parted

_OF_EXPORTS = {"change", "at", "action", "undoes", "entry"}  # a part of them says nothing here
KIND_NAMES = {"kind", "kind of entry", "entry kind"}
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


@dataclass(frozen=True, slots=True)
class HandColumn:
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


def columns_of(
    header: Sequence[str], path: str | PathLike[str], *, kind: str, ignore: bool
) -> tuple[list[HandColumn], int | None, list[str]]:
    """The columns that are read, where the kind stands, and the names of those left out.

    Parameters
    ----------
    kind
        Of entries where no column says it; "" where nobody does.
    ignore
        Leave unknown columns out; else they are refused.
    """
    columns, unknown, kind_at = [], [], None
    for index, name in enumerate(header):
        if normal(name) in KIND_NAMES and kind_at is None:
            kind_at = index
            continue
        if name in _OF_EXPORTS:
            continue
        fields, unit = fields_named(name)
        if fields:
            columns.append(HandColumn(index, name, fields, unit))
        elif name:
            unknown.append(name)
    if kind_at is None and not kind:
        raise InputError(
            "has no column 'kind'", path=path, row=1,
            remedy="compare with the columns of windowcast log export --format csv, or say the"
            f" kind of all rows: FILE:kind=application (or {', '.join(list(KINDS)[1:])})",
        )  # fmt: skip
    if unknown and not ignore:
        raise InputError(
            f"column {unknown[0]!r} is not known", path=path, row=1,
            remedy="compare with the columns of windowcast log export --format csv, or leave out"
            f" what is not known{_all_of(unknown)}: FILE:unknown=ignore",
        )  # fmt: skip
    return columns, kind_at, unknown


def _all_of(unknown: Sequence[str]) -> str:
    return f" ({', '.join(unknown)})" if len(unknown) > 1 else ""


def fields_named(header: str) -> tuple[dict[str, LogField], str]:
    """The field a column's name stands for, by kind, and the unit the name says."""
    exact = {
        kind: field for kind in KINDS for field in fields_of(kind) if field.name == header.strip()
    }
    if exact:
        return _with_dates(header, exact), ""
    name, bracket = parted(header)
    if fields := _NAMES.get(name):
        return (dict(fields), bracket) if fits(fields, bracket) else ({}, "")
    words = name.split()
    for size in range(len(words) - 1, 0, -1):
        unit = " ".join(words[size:])
        fields = _NAMES.get(" ".join(words[:size]))
        if fields and not bracket and fits(fields, unit):
            return dict(fields), unit
    return {}, ""


def fits(fields: Mapping[str, LogField], unit: str) -> bool:
    """Whether the unit in a name is one of the field; words on dates and times may be anything."""
    field = next(iter(fields.values()))
    if not unit or field.type in {"date", "moment", "time"}:
        return True
    try:
        if field.type == "materials":
            return parse_rate(f"1 {unit}").kind == "mass"
        in_unit("1", unit, field)
    except InputError:
        return False
    return bool(field.asked.measure)


def _with_dates(header: str, fields: dict[str, LogField]) -> dict[str, LogField]:
    """An application may have its date and its time in columns of their own."""
    if header in {"date", "time"}:
        fields["application"] = DATE if header == "date" else TIME
    return fields


def in_unit(number: str, unit: str, field: LogField) -> Any:
    """A number with its unit in SI."""
    entered = ENTERED[field.asked.measure]
    unit = _UNITS.get(unit.lower(), unit)
    zero = unit and is_number(number) and float(number) == 0 and entered.suffix not in {"", "_c"}
    if zero:  # a wind of 0 mph is one, though no length is 0 in
        entered.read(f"1 {unit}", field.name)
        return 0.0
    found = entered.read(f"{number} {unit}".strip(), field.name)
    return plain_json(found) if isinstance(found, str) else found


def plain_json(text: str) -> Any:
    """The value that JSON stands for, or the text itself where it is none."""
    try:
        return json.loads(text)
    except ValueError:
        return text  # the check that follows names what is wrong with it


def _named_fields() -> Iterator[tuple[str, str, LogField]]:
    """Every name people use for a field, with the kind of its entry; a field's own names first."""
    every = [(kind, field) for kind in KINDS for field in fields_of(kind)]
    for kind, field in every:
        for name in (field.name, field.word, field.asked.title, *field.asked.also):
            yield normal(name), kind, field
    for kind, field in every:
        for name in _ALSO.get(field.name, ()):
            yield normal(name), kind, field


def _by_name() -> dict[str, dict[str, LogField]]:
    table: dict[str, dict[str, LogField]] = {}
    for name, kind, field in _named_fields():
        table.setdefault(name, {}).setdefault(kind, field)
    table["date"]["application"], table["time"]["application"] = DATE, TIME
    return table


DATE = LogField("date", "date", Asked("Date"), needed=False)  # of an application
TIME = LogField("time", "time", Asked("Time"), needed=False)
_NAMES = _by_name()

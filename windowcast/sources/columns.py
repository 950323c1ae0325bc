"""Column names of weather tables: which quantity, in which unit. Never a guess.

A name is ``<quantity>_<unit>`` (``tmax_c``, ``precip_in``), a quantity with its unit in brackets
(``TMAX (Degrees Fahrenheit)``), or one that people use (`column_names`). A quantity without a unit
is refused unless the user declares the file's unit system.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal

from windowcast.core.errors import InputError
from windowcast.core.record import DAILY_VARIABLES, HOURLY_VARIABLES, FloatArray
from windowcast.core.units import Dimension, convert, find_unit
from windowcast.sources.column_names import quantity_named, unit_spelled

FileUnits = Literal["us", "metric", "tenths"]
Convert = Callable[[FloatArray], FloatArray]


def _times(factor: float) -> Convert:
    return lambda values: values * factor


def _conversion(dimension: Dimension, unit: str, to: str) -> Convert:
    return _SAME if unit == to else lambda values: convert(values, dimension, unit, to)


_SAME = _times(1.0)
# unit of the schema's names → dimension, and the units a column of it may be in
_ACCEPTED: Mapping[str, tuple[Dimension, tuple[str, ...]]] = {
    "c": ("temperature", ("c", "f")),
    "k": ("difference", ("k",)),
    "mm": ("length", ("mm", "cm", "in")),
    "m_s": ("speed", ("m_s", "km_h", "mph", "kn")),
    "mj_m2": ("radiation", ("mj_m2", "w_m2")),
    "hpa": ("pressure", ("hpa", "inhg", "kpa")),
    "pct": ("share", ("pct",)),
    "deg": ("angle", ("deg",)),
    "": ("share", ("", "pct")),
}
# unit of the schema's names → unit as written → conversion
CONVERSIONS: Mapping[str, Mapping[str, Convert]] = {
    kind: {code: _conversion(dimension, code, kind) for code in codes}
    for kind, (dimension, codes) in _ACCEPTED.items()
}
_SYSTEMS: Mapping[FileUnits, Mapping[str, str]] = {
    "us": {"c": "f", "mm": "in", "m_s": "mph", "hpa": "inhg"},
    "metric": {},
    "tenths": {},  # GHCN-Daily: tenths of the metric unit, snow depth in whole mm
}
_BRACKETS = re.compile(r"\s*[(\[]\s*(.+?)\s*[)\]]\s*$")
# names other tables use, in lower case → ours
_ALIASES: Mapping[str, str] = {
    "prcp": "precip", "snwd": "snow_depth", "tavg": "tmean", "awnd": "wind_mean",
    "rhav": "rh_mean",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class FileColumn:
    """One column that is read: where it stands, what it becomes."""

    index: int
    header: str
    variable: str
    convert: Convert
    unit: str = ""  # as `CONVERSIONS` names it


def _stems(daily: bool) -> dict[str, tuple[str, str]]:
    """Quantity without unit → (name in the schema, unit in that name)."""
    names = DAILY_VARIABLES if daily else HOURLY_VARIABLES
    stems = {}
    for name in names:
        unit = kind_of(name)
        stems[name.removesuffix(f"_{unit}") if unit else name] = (name, unit)
    # the longest first: "wind_from" is no wind in the unit "from"
    return dict(sorted(stems.items(), key=lambda item: -len(item[0])))


def kind_of(variable: str) -> str:
    """The unit in a name of the schema, a key of `CONVERSIONS`: ``temp_c`` → ``"c"``."""
    return next((x for x in CONVERSIONS if x and variable.endswith(f"_{x}")), "")


def unit_code(text: str) -> str:
    """A unit as people write it → as `CONVERSIONS` names it: ``"°F"`` → ``"f"``."""
    for dimension, codes in _ACCEPTED.values():
        unit = find_unit(text.strip(), dimension)
        if unit is not None and unit.code in codes:
            return unit.code
    return text.strip().lower().replace(" ", "_")


def variable_and_unit(header: str, daily: bool) -> tuple[str, str, str] | None:
    """``"precip_in"`` → ``("precip_mm", "mm", "in")``; None when it is no quantity of ours.

    The last item is "" where the header names no unit, and ``"?"`` followed by the text where
    the unit is not one that quantity can have.
    """
    name = header.strip().lower()
    bracket = _BRACKETS.search(name)
    name = _BRACKETS.sub("", name)
    for stem, (variable, unit) in _stems(daily).items():
        for spelling in (stem, *(a for a, ours in _ALIASES.items() if ours == stem)):
            if name != spelling and not name.startswith(f"{spelling}_"):
                continue
            written = name[len(spelling) + 1 :]
            if bracket and not written:
                written = unit_code(bracket[1])
            if written in CONVERSIONS[unit]:
                return variable, unit, written
            if not written:
                return variable, unit, ""
            if bracket:
                return variable, unit, f"?{written}"
    return None


def variable_as_said(header: str, daily: bool) -> tuple[str, str, str] | None:
    """The same for the names people use: ``"Max temp, °F"`` → ``("tmax_c", "c", "f")``."""
    found = quantity_named(header, daily=daily)
    if found is None:
        return None
    quantity, behind, bracket = found
    variable, unit = _stems(daily)[quantity]
    codes = {unit_code(unit_spelled(text)) for text in (behind, bracket) if text}
    if behind and unit_code(unit_spelled(behind)) not in CONVERSIONS[unit]:
        return None  # "Max temp inside" is another quantity
    if not codes:  # an angle has one unit
        return variable, unit, "deg" if unit == "deg" else ""
    (code, *others) = codes
    clear = code and code in CONVERSIONS[unit] and not others
    return variable, unit, code if clear else f"?{f'{behind} {bracket}'.strip()}"


def known_unit(text: str) -> bool:
    """Whether a text is a unit of any quantity."""
    code = unit_code(unit_spelled(text))
    return bool(code) and any(code in units for units in CONVERSIONS.values())


def read_columns(
    header: list[str], *, daily: bool, units: FileUnits | None, path: str
) -> tuple[list[FileColumn], list[str]]:
    """Resolve a header line into the columns to read and the names of those left out.

    Raises
    ------
    InputError
        A quantity without a unit and no declared system, an unknown unit, a quantity twice, units
        of two systems for one kind of quantity, or no quantity at all.
    """
    found: list[FileColumn] = []
    as_said: list[tuple[int, str, tuple[str, str, str]]] = []
    ignored: dict[int, str] = {}
    for index, text in enumerate(header):
        match = variable_and_unit(text, daily)
        if match is None or match[2].startswith("?"):
            said = variable_as_said(text, daily)
            if said is not None and (match is None or not said[2].startswith("?")):
                as_said.append((index, text, said))
                continue
        if match is None:
            ignored[index] = text.strip()
        else:
            found.append(_column(index, text, match, found, units=units, path=path))
    exact = bool(found)
    for index, text, match in as_said:
        try:
            found.append(_column(index, text, match, found, units=units, path=path))
        except InputError:
            if not exact:
                raise
            ignored[index] = text.strip()  # names that leave no doubt go before it
    if not found:
        raise InputError(
            "no column is a weather quantity with a unit", path=path, row=1,
            remedy="name columns as in docs/weather_csv.md, e.g. date,tmax_c,tmin_c,precip_mm",
        )  # fmt: skip
    return sorted(found, key=lambda c: c.index), [ignored[index] for index in sorted(ignored)]


def _column(
    index: int,
    text: str,
    match: tuple[str, str, str],
    found: list[FileColumn],
    *,
    units: FileUnits | None,
    path: str,
) -> FileColumn:
    """One more column to read, which agrees with those `found` before."""
    variable, kind, written = match
    if written.startswith("?"):
        raise InputError(
            f"unit {written[1:]!r} is not one of {', '.join(CONVERSIONS[kind])}",
            path=path, row=1, field=text, remedy="name the column with a known unit",
        )  # fmt: skip
    scale = _SAME
    if not written and kind:
        if units is None:
            stem = variable.removesuffix(kind)
            options = " or ".join(f"{stem}{unit}" for unit in CONVERSIONS[kind])
            raise InputError(
                "the header names no unit", path=path, row=1, field=text.strip(),
                remedy=f"rename it {options}, or declare the whole file: "
                "FILE:units=us (or metric, tenths)",
            )  # fmt: skip
        written = _SYSTEMS[units].get(kind, kind)
        if units == "tenths" and variable != "snow_depth_mm" and kind != "pct":
            scale = _times(0.1)
    if any(column.variable == variable for column in found):
        raise InputError(
            f"{variable} stands in two columns", path=path, row=1, field=text,
            remedy="keep one of them",
        )  # fmt: skip
    others = {c.unit for c in found if kind_of(c.variable) == "c"}
    if kind == "c" and others - {written}:
        raise InputError(
            "temperatures in both degrees C and degrees F", path=path, row=1, field=text,
            remedy="give all temperatures in one unit",
        )  # fmt: skip
    convert = _then(scale, CONVERSIONS[kind][written])
    return FileColumn(index, text.strip(), variable, convert, written)


def _then(first: Convert, second: Convert) -> Convert:
    return second if first is _SAME else lambda values: second(first(values))

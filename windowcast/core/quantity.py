"""Amounts as people write them, "192 fl oz/acre", read strictly into SI and written back.

The units are those of `windowcast.core.units`. A bare number is never taken for granted: it has no
unit until one is written.
"""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from windowcast.core.errors import InputError
from windowcast.core.units import (
    KG_PER_LB,
    L_PER_US_GAL,
    UNITS,
    Dimension,
    convert,
    find_unit,
)

# dimension → SI unit that values are held in
_SI: Mapping[Dimension, str] = {
    "mass": "kg",
    "volume": "L",
    "area": "m²",
    "length": "m",
    "speed": "m/s",
    "flow": "L/min",
    "pressure": "kPa",
}
_EXAMPLES: Mapping[str, str] = {
    "mass": "2.5 lb",
    "volume": "300 gal",
    "area": "12 acre",
    "length": "20 in",
    "speed": "4 mph",
    "flow": "0.4 gal/min",
    "pressure": "40 psi",
    "rate": "192 fl oz/acre",
    "carrier": "40 gal/acre",
    "density": "10 lb/gal",
}
_NUMBER = re.compile(r"\s*([-+]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][-+]?\d+)?)\s*(.*?)\s*$", re.DOTALL)
_MOST = 1e12  # an amount above it is a slip, and would overflow in what follows
_FRACTION = re.compile(r"\s*(?:\d+\s+)?\d+\s*/\s*\d")
_PER = re.compile(r"\s*/\s*|\s+per\s+")


@dataclass(frozen=True, slots=True)
class Rate:
    """An amount per area: kg or L per m²."""

    kind: Literal["mass", "volume"]
    per_m2: float

    @property
    def per_ha(self) -> float:
        """kg or L per hectare."""
        return self.per_m2 * 1e4

    def on(self, area_m2: float) -> float:
        """kg or L on an area."""
        return self.per_m2 * area_m2


def parse(text: str, dimension: Dimension, field: str | None = None) -> float:
    """Read a positive quantity of a dimension into SI: kg, L, m², m, m/s, L/min or kPa.

    Raises
    ------
    InputError
        No number, no unit, a unit of something else, or not above zero.
    """
    number, unit = _split(text, field, _EXAMPLES[dimension])
    return number * _factor(unit, dimension, text, field)


def parse_rate(text: str, field: str | None = None) -> Rate:
    """Read an amount per area, "192 fl oz/acre" or "0.5 kg per ha".

    Raises
    ------
    InputError
        As `parse`; also when the area is missing.
    """
    return _parse_rate(text, field, _EXAMPLES["rate"])


def parse_carrier(text: str, field: str = "carrier") -> float:
    """Read a carrier volume, "40 gal/acre", in L/ha.

    Raises
    ------
    InputError
        As `parse_rate`; also when it is a weight.
    """
    rate = _parse_rate(text, field, _EXAMPLES["carrier"])
    if rate.kind != "volume":
        raise _bad(text, "is a weight, not a volume of spray", field, _EXAMPLES["carrier"])
    return rate.per_ha


def parse_density(text: str, field: str = "density") -> float:
    """Read the density of a liquid product, "10 lb/gal", in kg/L."""
    mass, slash, volume = text.partition("/")
    if not slash:
        raise _bad(text, "says no volume", field, _EXAMPLES["density"])
    return parse(mass, "mass", field) / parse(f"1 {volume}", "volume", field)


def _parse_rate(text: str, field: str | None, example: str) -> Rate:
    number, unit = _split(text, field, example)
    kind, factor = _rate_unit(unit, text, field, example)
    return Rate(kind, number * factor)


def with_unit_of(text: str, like: str) -> str:
    """A bare number with the unit of an amount it stands for: ``"20"`` like ``"16 fl oz/acre"``.

    A text with a unit of its own stays as it is, and so does any where `like` has none.
    """
    number, known = _NUMBER.match(text), _NUMBER.match(like)
    if number is None or number[2] or known is None or not known[2]:
        return text
    return f"{number[1]} {known[2]}"


def write_amount(amount: float, kind: Literal["mass", "volume"]) -> str:
    """An amount of product, kg or L, in the units people measure with, US (metric)."""
    if kind == "mass":
        us_unit = "lb" if amount >= KG_PER_LB else "oz"
        metric = "kg" if amount >= 1 else "g"
    else:
        us_unit = "gal" if amount >= L_PER_US_GAL else "fl oz"
        metric = "L" if amount >= 1 else "mL"
    return f"{write(amount, us_unit, kind)} ({write(amount, metric, kind)})"


def parse_temperature(text: str, field: str | None = None) -> float:
    """Read a temperature with its unit, "66 F" or "19 °C", in °C."""
    match = _NUMBER.match(text.replace("−", "-"))
    unit = find_unit(match[2].strip(), "temperature") if match else None
    if match is None or unit is None:
        problem = "does not begin with a number" if match is None else "does not say F or C"
        raise _bad(text, problem, field, "66 F or 19 C")
    if abs(float(match[1])) > _MOST:
        raise _bad(text, "is too large a number", field, "66 F or 19 C")
    return float(convert(float(match[1]), "temperature", unit.name, "°C"))


def write(value: float, unit: str, dimension: Dimension, digits: int = 3) -> str:
    """An SI value in a unit, to a number of significant digits: ``"1.5 lb"``."""
    return f"{significant(value / _factor(unit, dimension, unit, None), digits)} {unit}"


def write_rate(rate: Rate, unit: str, digits: int = 3) -> str:
    """A rate in a unit such as ``"fl oz/acre"``; `InputError` when the unit is not of its kind."""
    kind, factor = _rate_unit(unit, unit, "unit", "fl oz/acre")
    if kind != rate.kind:
        raise _bad(unit, f"is a unit of {kind}, but the rate is a {rate.kind}", "unit",
                   "fl oz/acre" if rate.kind == "volume" else "oz/acre", "use")  # fmt: skip
    return f"{significant(rate.per_m2 / factor, digits)} {unit}"


def significant(value: float, digits: int) -> str:
    """A number to significant digits, never in powers of ten, no digit lost before the point."""
    if value == 0 or not math.isfinite(value):
        return "0" if value == 0 else "–"
    decimals = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    text = f"{value:,.{decimals}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _split(text: str, field: str | None, example: str) -> tuple[float, str]:
    match = _NUMBER.match(text)
    if match is None:
        raise _bad(text, "does not begin with a number", field, example)
    number, unit = float(match[1]), match[2]
    if _FRACTION.match(text):
        raise _bad(text, "is written as a fraction", field, f"a decimal: {example}", "write")
    if unit.startswith(","):
        raise _bad(
            text, "has a comma in its number", field, "1.5 or 1000, not 1,5 or 1,000", "write"
        )
    if not unit:
        raise _bad(text, "has no unit", field, example)
    if number <= 0:
        raise _bad(text, "is not above zero", field, example)
    if number > _MOST:
        raise _bad(text, "is too large a number", field, example)
    return number, " ".join(unit.split())


def _rate_unit(
    unit: str, text: str, field: str | None, example: str
) -> tuple[Literal["mass", "volume"], float]:
    """What a unit such as ``"fl oz/acre"`` counts, and its factor to kg or L per m²."""
    parts = _PER.split(unit)
    if len(parts) != 2:
        raise _bad(text, "says no area", field, example)
    amount, area = parts
    kinds: tuple[Literal["volume", "mass"], ...] = ("volume", "mass")
    for kind in kinds:
        if find_unit(amount, kind) is not None:
            return kind, _factor(amount, kind, text, field) / _factor(area, "area", text, field)
    names = [unit.name for kind in ("mass", "volume") for unit in UNITS[kind]]
    raise _bad(text, f"{amount!r} is no unit of weight or volume", field, ", ".join(names), "use")


def _factor(unit: str, dimension: Dimension, text: str, field: str | None) -> float:
    if find_unit(unit, dimension) is not None:
        return float(convert(1.0, dimension, unit, _SI[dimension]))
    other = next((d for d in _SI if find_unit(unit, d) is not None), None)
    what = f"{unit!r} is a unit of {other}, not of {dimension}" if other else f"{unit!r} is no unit"
    raise _bad(text, what, field, ", ".join(u.name for u in UNITS[dimension]), "use")


def _bad(
    text: str, problem: str, field: str | None, example: str, verb: str = "write it like"
) -> InputError:
    return InputError(f"{text.strip()!r}: {problem}", field=field, remedy=f"{verb} {example}")


def parse_date(text: str, field: str) -> dt.date:
    """A date such as 2025-11-06; InputError, which names the field, where it is none."""
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise InputError(
            f"{text!r} is not a date", field=field, remedy="write it as 2025-11-06"
        ) from None


def is_number(text: str) -> bool:
    """Whether a text is a number as Python writes it."""
    try:
        float(text)
    except ValueError:
        return False
    return True

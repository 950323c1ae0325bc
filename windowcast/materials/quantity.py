"""Amounts as people write them, "192 fl oz/acre", read strictly into SI and written back.

Factors are exact by definition (`windowcast.core.units`; NIST SP 811, appendix B). A bare number is
never taken for granted: it has no unit until one is written.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from windowcast.core import units
from windowcast.core.errors import InputError

Dimension = Literal["mass", "volume", "area", "length", "speed", "flow", "pressure"]

KG_PER_OZ = units.KG_PER_LB / 16
# SI units: kg, L, m², m, m/s, L/min, kPa. The first name of each is the one written back.
_TABLE: Mapping[Dimension, tuple[tuple[float, tuple[str, ...]], ...]] = {
    "mass": (
        (1.0, ("kg",)),
        (1e-3, ("g",)),
        (1e-6, ("mg",)),
        (units.KG_PER_LB, ("lb", "lbs", "pound", "pounds")),
        (KG_PER_OZ, ("oz", "oz wt", "dry oz", "ounce", "ounces")),
    ),
    "volume": (
        (1.0, ("L", "l", "liter", "liters", "litre", "litres")),
        (1e-3, ("mL", "ml", "cc")),
        (units.L_PER_US_GAL, ("gal", "gallon", "gallons", "us gal")),
        (units.L_PER_US_GAL / 4, ("qt", "quart", "quarts")),
        (units.L_PER_US_GAL / 8, ("pt", "pint", "pints")),
        (units.L_PER_US_FL_OZ, ("fl oz", "floz", "fl. oz", "fl. oz.", "fluid ounces")),
    ),
    "area": (
        (1e4, ("ha", "hectare", "hectares")),
        (units.M2_PER_ACRE, ("acre", "acres", "ac", "a")),
        (1000 * units.M2_PER_FT2, ("1000 ft²", "1000 ft2", "1000 sq ft", "1000 sqft", "1,000 ft2")),
        (units.M2_PER_FT2, ("ft²", "ft2", "sq ft", "sqft")),
        (100.0, ("100 m²", "100 m2")),
        (1.0, ("m²", "m2", "sq m")),
    ),
    "length": (
        (1.0, ("m",)),
        (0.01, ("cm",)),
        (units.MM_PER_INCH / 1000, ("in", "inch", "inches", '"')),
        (units.M_PER_FOOT, ("ft", "feet")),
    ),
    "speed": (
        (1.0, ("m/s",)),
        (units.M_S_PER_MPH, ("mph",)),
        (units.M_S_PER_KMH, ("km/h", "kph", "kmh")),
    ),
    "flow": (
        (1.0, ("L/min", "l/min")),
        (units.L_PER_US_GAL, ("gal/min", "gpm", "GPM")),
        (units.L_PER_US_FL_OZ, ("fl oz/min",)),
        (1e-3, ("mL/min", "ml/min")),
    ),
    "pressure": ((1.0, ("kPa", "kpa")), (100.0, ("bar",)), (units.KPA_PER_PSI, ("psi",))),
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
_BY_NAME: Mapping[Dimension, Mapping[str, float]] = {
    dimension: {name.lower(): factor for factor, names in rows for name in names}
    for dimension, rows in _TABLE.items()
}
_NUMBER = re.compile(r"\s*([-+]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][-+]?\d+)?)\s*(.*?)\s*$", re.DOTALL)
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
    """Read a positive quantity of a dimension into its SI unit (see `Dimension`'s table).

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


def parse_temperature(text: str, field: str | None = None) -> float:
    """Read a temperature with its unit, "66 F" or "19 °C", in °C."""
    match = _NUMBER.match(text.replace("−", "-"))
    unit = match[2].replace("°", "").strip().upper() if match else ""
    if match is None or unit not in {"F", "C"}:
        problem = "does not begin with a number" if match is None else "does not say F or C"
        raise _bad(text, problem, field, "66 F or 19 C")
    number = float(match[1])
    return units.f_to_c(number) if unit == "F" else number


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
    if not math.isfinite(number):
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
    for kind in ("volume", "mass"):
        if amount.lower() in _BY_NAME[kind]:
            return kind, _BY_NAME[kind][amount.lower()] / _factor(area, "area", text, field)
    names = [names[0] for kind in ("mass", "volume") for _, names in _TABLE[kind]]
    raise _bad(text, f"{amount!r} is no unit of weight or volume", field, ", ".join(names), "use")


def _factor(unit: str, dimension: Dimension, text: str, field: str | None) -> float:
    factor = _BY_NAME[dimension].get(unit.lower())
    if factor is not None:
        return factor
    other = next((d for d, names in _BY_NAME.items() if unit.lower() in names), None)
    what = f"{unit!r} is a unit of {other}, not of {dimension}" if other else f"{unit!r} is no unit"
    raise _bad(text, what, field, ", ".join(names[0] for _, names in _TABLE[dimension]), "use")


def _bad(
    text: str, problem: str, field: str | None, example: str, verb: str = "write it like"
) -> InputError:
    return InputError(f"{text.strip()!r}: {problem}", field=field, remedy=f"{verb} {example}")

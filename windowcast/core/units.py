"""Units: SI inside, US customary or metric where people read and write.

`UNITS` is the one table of them: what each is called, how people spell it and how large it is. How
a quantity is rounded for a reader stands in `windowcast.report.measures`. Conversion factors are
exact by definition (NIST SP 811, appendix B) unless a name says otherwise.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

System = Literal["us", "metric"]
Dimension = Literal[
    "temperature",  # on the scale
    "difference",  # between temperatures
    "degree days",
    "length",
    "area",
    "volume",
    "mass",
    "speed",
    "flow",
    "pressure",
    "radiation",  # over a day
    "mass per area",
    "volume per area",
    "number per area",
    "share",
    "angle",
]

MM_PER_INCH = 25.4
M_PER_FOOT = 0.3048
KM_PER_MILE = 1.609344
M_S_PER_MPH = 0.44704
M_S_PER_KMH = 1 / 3.6
M_S_PER_KNOT = 1852 / 3600
HPA_PER_INHG = 33.86389  # conventional, NIST SP 811
KG_PER_LB = 0.45359237
KPA_PER_PSI = 6.894757293168361  # from the exact pound, inch and standard gravity
L_PER_US_GAL = 3.785411784
L_PER_US_FL_OZ = L_PER_US_GAL / 128
M2_PER_ACRE = 4046.8564224
M2_PER_FT2 = M_PER_FOOT**2
M2_PER_HA = 1e4


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit.

    Attributes
    ----------
    name
        As it is written for people.
    size
        How large it is beside the other units of its dimension.
    zero
        What it reads where the others read 0; only scales of temperature differ.
    also
        Other spellings that people use; capitals do not count.
    code
        In names of columns and fields: ``tmax_c``, ``wind_m_s``.
    """

    name: str
    size: float
    also: tuple[str, ...] = ()
    code: str = ""
    zero: float = 0.0


def _code(name: str) -> str:
    return name.lower().replace("°", "").replace("/", "_").replace("²", "2")


def _units(*rows: Unit) -> tuple[Unit, ...]:
    return tuple(Unit(u.name, u.size, u.also, u.code or _code(u.name), u.zero) for u in rows)


_FT2 = ("ft2", "sq ft", "sqft")
UNITS: Mapping[Dimension, tuple[Unit, ...]] = {
    "temperature": _units(
        Unit("°F", 1.0, ("f", "fahrenheit", "degrees fahrenheit", "degf", "deg f"), zero=32.0),
        Unit("°C", 1.8, ("c", "celsius", "degrees celsius", "degc", "deg c")),
    ),
    "difference": _units(Unit("°F", 1.0), Unit("°C", 1.8, ("k",))),
    "degree days": _units(Unit("°F·d", 1.0), Unit("°C·d", 1.8)),
    "length": _units(
        Unit("mm", 1.0, ("millimeters", "millimetres")),
        Unit("cm", 10.0),
        Unit("m", 1000.0),
        Unit("km", 1e6),
        Unit("in", MM_PER_INCH, ("inch", "inches", '"')),
        Unit("ft", 1000 * M_PER_FOOT, ("feet",)),
        Unit("mi", 1e6 * KM_PER_MILE),
    ),
    "area": _units(
        Unit("ha", M2_PER_HA, ("hectare", "hectares")),
        Unit("acre", M2_PER_ACRE, ("acres", "ac", "a")),
        Unit("1000 ft²", 1000 * M2_PER_FT2, ("1000 ft2", "1000 sq ft", "1000 sqft", "1,000 ft2")),
        Unit("ft²", M2_PER_FT2, _FT2),
        Unit("100 m²", 100.0, ("100 m2",)),
        Unit("m²", 1.0, ("m2", "sq m")),
    ),
    "volume": _units(
        Unit("L", 1.0, ("liter", "liters", "litre", "litres")),
        Unit("mL", 1e-3, ("cc",)),
        Unit("gal", L_PER_US_GAL, ("gallon", "gallons", "us gal")),
        Unit("qt", L_PER_US_GAL / 4, ("quart", "quarts")),
        Unit("pt", L_PER_US_GAL / 8, ("pint", "pints")),
        Unit("fl oz", L_PER_US_FL_OZ, ("floz", "fl. oz", "fl. oz.", "fluid ounces")),
    ),
    "mass": _units(
        Unit("kg", 1.0),
        Unit("g", 1e-3),
        Unit("mg", 1e-6),
        Unit("lb", KG_PER_LB, ("lbs", "pound", "pounds")),
        Unit("oz", KG_PER_LB / 16, ("oz wt", "dry oz", "ounce", "ounces")),
    ),
    "speed": _units(
        Unit("m/s", 1.0),
        Unit("mph", M_S_PER_MPH, ("miles per hour",)),
        Unit("km/h", M_S_PER_KMH, ("kph", "kmh")),
        Unit("kn", M_S_PER_KNOT, ("kt", "knots")),
    ),
    "flow": _units(
        Unit("L/min", 1.0),
        Unit("gal/min", L_PER_US_GAL, ("gpm",)),
        Unit("fl oz/min", L_PER_US_FL_OZ),
        Unit("mL/min", 1e-3),
    ),
    "pressure": _units(
        Unit("kPa", 1.0),
        Unit("bar", 100.0),
        Unit("psi", KPA_PER_PSI),
        Unit("hPa", 0.1),
        Unit("inHg", HPA_PER_INHG / 10, ("inches of mercury",)),
    ),
    "radiation": _units(Unit("MJ/m²", 1.0), Unit("W/m²", 0.0864)),  # the mean over a day
    "mass per area": _units(
        Unit("kg/ha", 1.0), Unit("lb/acre", KG_PER_LB / M2_PER_ACRE * M2_PER_HA)
    ),
    "volume per area": _units(
        Unit("L/ha", 1.0), Unit("gal/acre", L_PER_US_GAL / M2_PER_ACRE * M2_PER_HA)
    ),
    "number per area": _units(Unit("per m²", 1.0), Unit("per ft²", 1 / M2_PER_FT2)),
    "share": _units(Unit("", 1.0), Unit("%", 0.01, ("percent",), code="pct")),
    "angle": _units(Unit("°", 1.0, ("degrees",), code="deg")),
}
_BY_SPELLING: Mapping[Dimension, Mapping[str, Unit]] = {
    dimension: {
        spelling.lower(): unit for unit in units for spelling in (unit.name, unit.code, *unit.also)
    }
    for dimension, units in UNITS.items()
}


def find_unit(spelling: str, dimension: Dimension) -> Unit | None:
    """The unit of a dimension that people spell so; None when it has none of that name."""
    return _BY_SPELLING[dimension].get(spelling.lower())


def scale(dimension: Dimension, inside: str, shown: str) -> tuple[float, float]:
    """Factor and offset of the way between two units: ``shown = inside * factor + offset``."""
    one, other = (_BY_SPELLING[dimension][name.lower()] for name in (inside, shown))
    factor = one.size / other.size
    return factor, other.zero - one.zero * factor


def convert(value: Any, dimension: Dimension, unit: str, to: str) -> Any:
    """A number or an array in another unit of its dimension.

    Raises
    ------
    KeyError
        The dimension has no such unit.
    """
    one, other = (_BY_SPELLING[dimension][name.lower()] for name in (unit, to))
    if one.zero:
        value = value - one.zero
    # by the exact one of the two factors: an inch is 25.4 mm, a mm is no round part of an inch
    ratio = one.size / other.size
    value = value * ratio if other.size == 1.0 or one.size != 1.0 else value / other.size
    return value + other.zero if other.zero else value


def c_to_f(temp_c: float) -> float:
    """°C to °F."""
    return float(convert(temp_c, "temperature", "°C", "°F"))

"""How each SI quantity is written in the reader's units: the one table of signs and precision.

A quantity is converted and rounded here once, from SI, by the factors of `windowcast.core.units`.
Sheets on paper have amounts in both systems, US first: ``"12 acre (4.86 ha)"``.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from windowcast.core.phrase import Quantity, Unit
from windowcast.core.quantity import significant, write
from windowcast.core.units import M2_PER_ACRE, Dimension, System, c_to_f, convert, scale


@dataclass(frozen=True, slots=True)
class Shown:
    """Unit of the reader, ``value * factor + offset`` from SI, and decimals at most.

    `figures`, where given, counts significant figures instead of decimals.
    """

    unit: str
    digits: int
    factor: float = 1.0
    offset: float = 0.0
    figures: int | None = None

    def number(self, value: float) -> str:
        """The rounded number, plain ASCII, without trailing zeros; "" where it is not finite."""
        shown = value * self.factor + self.offset
        if not math.isfinite(shown):
            return ""
        digits = self.digits
        if self.figures is not None and shown:
            digits = self.figures - 1 - math.floor(math.log10(abs(shown)))
        text = f"{round(shown, digits):.{max(0, digits)}f}"
        text = text.rstrip("0").rstrip(".") if "." in text else text
        return text.removeprefix("-") if float(text) == 0 else text


def _same(
    unit: str, digits: int, factor: float = 1.0, figures: int | None = None
) -> dict[System, Shown]:
    shown = Shown(unit, digits, factor, figures=figures)
    return {"us": shown, "metric": shown}


def _measure(
    dimension: Dimension,
    inside: str,
    *,
    us: tuple[str, int],
    metric: tuple[str, int],
    figures: int | None = None,
) -> dict[System, Shown]:
    """What is held in the unit `inside`, shown in a unit with so many decimals or figures."""

    def row(unit: str, digits: int) -> Shown:
        return Shown(unit, digits, *scale(dimension, inside, unit), figures)

    return {"us": row(*us), "metric": row(*metric)}


# unit or kind → how each system writes it
MEASURES: dict[str, dict[System, Shown]] = {
    "degC": _measure("temperature", "°C", us=("°F", 0), metric=("°C", 1)),
    "K": _measure("difference", "°C", us=("°F", 0), metric=("°C", 1)),
    "K km-1": {
        "us": Shown("°F per 1000 ft", 1, 0.3048 * 1.8),
        "metric": Shown("°C per 100 m", 2, 0.1),
    },
    "degC d": _measure("degree days", "°C·d", us=("°F·d", 0), metric=("°C·d", 0)),
    "m s-1": _measure("speed", "m/s", us=("mph", 0), metric=("km/h", 0)),
    "mm": _measure("length", "mm", us=("in", 2), metric=("mm", 1)),
    "cm": _measure("length", "cm", us=("in", 0), metric=("cm", 1)),
    "m": _measure("length", "m", us=("ft", 0), metric=("m", 1)),
    "km": _measure("length", "km", us=("mi", 0), metric=("km", 0)),
    "m2": _measure("area", "m²", us=("acre", 1), metric=("ha", 1), figures=3),
    "m-2": _measure(
        "number per area", "per m²", us=("per ft²", 1), metric=("per m²", 1), figures=3
    ),
    "ha": _measure("area", "ha", us=("acre", 1), metric=("ha", 1)),
    "ha-1": {"us": Shown("per acre", 0, 0.40468564224), "metric": Shown("per ha", 0)},
    "kg ha-1": _measure("mass per area", "kg/ha", us=("lb/acre", 2), metric=("kg/ha", 2)),
    "L ha-1": _measure("volume per area", "L/ha", us=("gal/acre", 1), metric=("L/ha", 0)),
    "L": _measure("volume", "L", us=("gal", 1), metric=("L", 0)),
    "L min-1": _measure("flow", "L/min", us=("gal/min", 2), metric=("L/min", 2)),
    "kPa": _measure("pressure", "kPa", us=("psi", 0), metric=("kPa", 0)),
    "degree": _same("°", 0),
    "%": _same("%", 1),
    "min": _same("min", 0),
    "h": _same("h", 1),
    "d": _same("d", 0),
    "1": _same("", 2),
    # kinds: what the unit alone does not tell
    "score": _same("", 0),
    "days": _same("", 1),
    "stage": _same("", 0),
    "reading": _measure("temperature", "°C", us=("°F", 1), metric=("°C", 1)),
    "points": _same("", 1),
    "typed": _same("", 6, figures=6),
    "typed_pct": _same("%", 6, figures=6),
    "depth": _measure("length", "m", us=("in", 1), metric=("cm", 1)),
    "frame": _measure("area", "m²", us=("ft²", 2), metric=("m²", 3)),
    "dose": _measure("mass per area", "kg/ha", us=("lb/acre", 2), metric=("kg/ha", 2), figures=3),
    "share_of": _same("%", 0, figures=2),
    "figures": _same("", 3, figures=3),
    "share": _same("%", 0, 100.0),
    "count": _same("", 0),
    "elevation": _measure("length", "m", us=("ft", 0), metric=("m", 0)),
}


def shown(quantity: Quantity, system: System) -> Shown:
    """The row for a quantity.

    Raises
    ------
    KeyError
        Its kind has no row.
    """
    return MEASURES[quantity.kind or quantity.unit][system]


def area(area_m2: float) -> str:
    """Acres and hectares, or ft² and m² below a quarter of an acre."""
    if area_m2 < M2_PER_ACRE / 4:
        return f"{write(area_m2, 'ft²', 'area')} ({write(area_m2, 'm²', 'area')})"
    return f"{write(area_m2, 'acre', 'area')} ({write(area_m2, 'ha', 'area')})"


def volume(volume_l: float) -> str:
    """Gallons and litres."""
    return f"{write(volume_l, 'gal', 'volume')} ({write(volume_l, 'L', 'volume')})"


def carrier(rate_l_ha: float) -> str:
    """Gallons per acre and litres per hectare."""
    gal_acre = convert(rate_l_ha, "volume per area", "L/ha", "gal/acre")
    return f"{significant(gal_acre, 3)} gal/acre ({rate_l_ha:.4g} L/ha)"


def flow(flow_l_min: float) -> str:
    """Gallons, fluid ounces and millilitres per minute."""
    return (
        f"{write(flow_l_min, 'gal/min', 'flow')}, {write(flow_l_min, 'fl oz/min', 'flow')}"
        f" ({write(flow_l_min, 'mL/min', 'flow')})"
    )


def speed(speed_m_s: float) -> str:
    """Miles and kilometres per hour."""
    return f"{write(speed_m_s, 'mph', 'speed', 2)} ({write(speed_m_s, 'km/h', 'speed', 2)})"


def temperature(temp_c: float) -> str:
    """Fahrenheit and Celsius."""
    return f"{c_to_f(temp_c):.0f} °F ({temp_c:.1f} °C)"


def _depth(depth_mm: float) -> str:
    inches = convert(depth_mm, "length", "mm", "in")
    return f"{significant(inches, 2)} in ({significant(depth_mm, 3)} mm)"


def active_rate(rate_kg_ha: float) -> str:
    """Pounds per acre and kilograms per hectare of active ingredient."""
    lb_acre = convert(rate_kg_ha, "mass per area", "kg/ha", "lb/acre")
    return f"{significant(lb_acre, 3)} lb/acre ({rate_kg_ha:.3g} kg/ha)"


_WRITERS: Mapping[Unit, Callable[[float], str]] = {
    "degC": temperature,
    "mm": _depth,
    "m2": area,
    "L": volume,
    "L ha-1": carrier,
    "kg ha-1": active_rate,
    "L min-1": flow,
    "m s-1": speed,
}


def both(quantity: Quantity) -> str:
    """A quantity in both systems.

    Raises
    ------
    KeyError
        Its unit is not one that sheets write twice.
    """
    return _WRITERS[quantity.unit](quantity.value)

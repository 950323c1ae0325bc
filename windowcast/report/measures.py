"""How each SI quantity is written in the reader's units: the one table of signs and precision.

A quantity is converted and rounded here once, from SI, by the factors of `windowcast.core.units`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from windowcast.core.phrase import Quantity
from windowcast.core.units import Dimension, System, scale


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

"""How each SI quantity is written in the reader's units: the one table of signs and precision.

A quantity is converted and rounded here once, from SI. Conversion factors are exact and come from
`windowcast.core.units`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from windowcast.core import units
from windowcast.core.phrase import Quantity
from windowcast.core.units import System


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
            digits = max(0, self.figures - 1 - math.floor(math.log10(abs(shown))))
        text = f"{shown:.{digits}f}"
        text = text.rstrip("0").rstrip(".") if "." in text else text
        return text.removeprefix("-") if float(text) == 0 else text


_LB_ACRE = units.M2_PER_ACRE / units.KG_PER_LB / 1e4
_GAL_ACRE = units.M2_PER_ACRE / units.L_PER_US_GAL / 1e4


def _same(unit: str, digits: int, factor: float = 1.0) -> dict[System, Shown]:
    return {"us": Shown(unit, digits, factor), "metric": Shown(unit, digits, factor)}


# unit or kind → how each system writes it
MEASURES: dict[str, dict[System, Shown]] = {
    "degC": {"us": Shown("°F", 0, 1.8, 32.0), "metric": Shown("°C", 1)},
    "K": {"us": Shown("°F", 0, 1.8), "metric": Shown("°C", 1)},
    "degC d": {"us": Shown("°F·d", 0, 1.8), "metric": Shown("°C·d", 0)},
    "m s-1": {"us": Shown("mph", 0, 1 / units.M_S_PER_MPH), "metric": Shown("km/h", 0, 3.6)},
    "mm": {"us": Shown("in", 2, 1 / units.MM_PER_INCH), "metric": Shown("mm", 1)},
    "cm": {"us": Shown("in", 0, 10 / units.MM_PER_INCH), "metric": Shown("cm", 1)},
    "m": {"us": Shown("ft", 0, 1 / units.M_PER_FOOT), "metric": Shown("m", 1)},
    "km": {"us": Shown("mi", 0, 1 / 1.609344), "metric": Shown("km", 0)},
    "m2": {"us": Shown("acre", 1, 1 / units.M2_PER_ACRE), "metric": Shown("ha", 1, 1e-4)},
    "m-2": {"us": Shown("per ft²", 1, units.M2_PER_FT2), "metric": Shown("per m²", 1)},
    "ha": {"us": Shown("acre", 1, 1e4 / units.M2_PER_ACRE), "metric": Shown("ha", 1)},
    "kg ha-1": {"us": Shown("lb/acre", 2, _LB_ACRE), "metric": Shown("kg/ha", 2)},
    "L ha-1": {"us": Shown("gal/acre", 1, _GAL_ACRE), "metric": Shown("L/ha", 0)},
    "kPa": {"us": Shown("psi", 0, 1 / units.KPA_PER_PSI), "metric": Shown("kPa", 0)},
    "degree": _same("°", 0),
    "%": _same("%", 1),
    "h": _same("h", 1),
    "d": _same("d", 0),
    "1": _same("", 2),
    # kinds: what the unit alone does not tell
    "score": _same("", 0),
    "days": _same("", 1),
    "stage": _same("", 0),
    "depth": {"us": Shown("in", 1, 1000 / units.MM_PER_INCH), "metric": Shown("cm", 1, 100.0)},
    "frame": {"us": Shown("ft²", 2, 1 / units.M2_PER_FT2), "metric": Shown("m²", 3)},
    "share": _same("%", 0, 100.0),
}


def shown(quantity: Quantity, system: System) -> Shown:
    """The row for a quantity.

    Raises
    ------
    KeyError
        Its kind has no row.
    """
    return MEASURES[quantity.kind or quantity.unit][system]

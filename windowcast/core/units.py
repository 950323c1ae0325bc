"""Units at the edges: SI inside, US customary or metric where people read and write.

Conversion factors are exact by definition (NIST SP 811, appendix B) unless a name says otherwise.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

System = Literal["us", "metric"]

MM_PER_INCH = 25.4
M_PER_FOOT = 0.3048
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


def f_to_c(temp_f: float) -> float:
    """°F to °C."""
    return (temp_f - 32.0) / 1.8


def c_to_f(temp_c: float) -> float:
    """°C to °F."""
    return temp_c * 1.8 + 32.0


@dataclass(frozen=True, slots=True)
class Display:
    """How numbers are written for one unit system. NaN is written as an en dash."""

    system: System = "metric"

    @property
    def us(self) -> bool:
        """True for US customary units."""
        return self.system == "us"

    @property
    def temperature_unit(self) -> str:
        """The sign of temperatures."""
        return "°F" if self.us else "°C"

    def temperature_value(self, temp_c: float) -> float:
        """°C in this system's degrees."""
        return c_to_f(temp_c) if self.us else temp_c

    def temperature(self, temp_c: float, digits: int = 0) -> str:
        """A temperature with its sign, e.g. ``54 °F``."""
        return _write(self.temperature_value(temp_c), self.temperature_unit, digits)

    def speed(self, speed_m_s: float) -> str:
        """A wind speed in mph or km/h."""
        return (
            _write(speed_m_s / M_S_PER_MPH, "mph", 0)
            if self.us
            else _write(speed_m_s / M_S_PER_KMH, "km/h", 0)
        )

    def rain(self, depth_mm: float) -> str:
        """A depth of water in inches or millimetres."""
        return _write(depth_mm / MM_PER_INCH, "in", 2) if self.us else _write(depth_mm, "mm", 1)

    def distance(self, distance_km: float) -> str:
        """A distance in miles or kilometres."""
        return _write(distance_km / 1.609344, "mi", 0) if self.us else _write(distance_km, "km", 0)

    def height(self, height_m: float) -> str:
        """A height in feet or metres."""
        return _write(height_m / M_PER_FOOT, "ft", 0) if self.us else _write(height_m, "m", 0)


def _write(value: float, unit: str, digits: int) -> str:
    if not math.isfinite(value):
        return "–"
    text = f"{value:.{digits}f}"
    if float(text) == 0:
        text = text.lstrip("-")
    return f"{text} {unit}".replace("-", "−")

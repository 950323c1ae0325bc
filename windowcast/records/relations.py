"""Timing as an explanation: control against window score, plant age and the week's warmth."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from windowcast.records.efficacy import LEVEL

FEWEST = 4  # with three points a line fits anything
EXPLANATIONS = (
    ("score", "window score", "10 points", 10.0),
    ("weeds_bbch", "stage of the weeds", "BBCH stage", 1.0),
    ("week_temp_c", "mean air of the week after", "1 K", 1.0),
)


@dataclass(frozen=True, slots=True)
class Point:
    """Control that an application gave, with what may explain it; NaN where not known."""

    label: str
    control_pct: float
    score: float
    weeds_bbch: float
    week_temp_c: float


@dataclass(frozen=True, slots=True)
class Relation:
    """A straight line of control on one explanation.

    `slope`, with its 95 % interval, is in percentage points for each `step`, `per_unit` for each
    unit of the explanation.
    """

    explanation: str
    step: str
    points: tuple[tuple[float, float], ...]
    slope: float | None
    low: float | None
    high: float | None
    per_unit: float | None
    text: str


def relations(points: Sequence[Point]) -> tuple[Relation, ...]:
    """One line for each explanation, said with the care that few points ask for."""
    return tuple(_relation(points, *row) for row in EXPLANATIONS) if points else ()


def _relation(points: Sequence[Point], key: str, name: str, step: str, size: float) -> Relation:
    pairs = tuple(
        (float(getattr(p, key)), p.control_pct)
        for p in points
        if math.isfinite(getattr(p, key)) and math.isfinite(p.control_pct)
    )
    count = f"{len(pairs)} application{'s' if len(pairs) != 1 else ''}"
    x = np.array([pair[0] for pair in pairs])
    if len(pairs) < FEWEST or np.ptp(x) == 0:
        text = f"{count}: too few, or too alike, to say whether {name} explains control"
        return Relation(name, step, pairs, None, None, None, None, text)
    from scipy.stats import linregress
    from scipy.stats import t as student

    fit = linregress(x, [pair[1] for pair in pairs])
    half = float(student.ppf(0.5 + LEVEL / 2, len(pairs) - 2)) * float(fit.stderr)
    slope, low, high = (size * float(v) for v in (fit.slope, fit.slope - half, fit.slope + half))
    sure = "the interval leaves out zero" if low > 0 or high < 0 else "it may be no relation at all"
    text = (
        f"{count}: control changes by {slope:+.1f} points for each {step} of {name}"
        f" (95 % interval {low:+.1f} to {high:+.1f}); {sure}. Other things differed too."
    ).replace("-", "−")
    return Relation(name, step, pairs, slope, low, high, float(fit.slope), text)

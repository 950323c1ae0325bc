"""Timing as an explanation: control against window score, plant age and the week's warmth."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from windowcast.core.phrase import Phrase, Quantity, say
from windowcast.trials.model import LEVEL

FEWEST = 4  # with three points a line fits anything
# what may explain control, with the step for which its slope is given
EXPLANATIONS: tuple[tuple[str, Phrase, Phrase, float], ...] = (
    ("score", say("explanation.score"), say("explanation.ten_points"), 10.0),
    ("weeds_bbch", say("explanation.stage"), say("explanation.one_stage"), 1.0),
    (
        "week_temp_c",
        say("explanation.week"),
        say("explanation.degree", step=Quantity(1.0, "K")),
        1.0,
    ),
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

    explanation: Phrase
    step: Phrase
    points: tuple[tuple[float, float], ...]
    slope: float | None
    low: float | None
    high: float | None
    per_unit: float | None
    text: Phrase


def relations(points: Sequence[Point]) -> tuple[Relation, ...]:
    """One line for each explanation, said with the care that few points ask for."""
    return tuple(_relation(points, *row) for row in EXPLANATIONS) if points else ()


def _relation(
    points: Sequence[Point], key: str, name: Phrase, step: Phrase, size: float
) -> Relation:
    pairs = tuple(
        (float(getattr(p, key)), p.control_pct)
        for p in points
        if math.isfinite(getattr(p, key)) and math.isfinite(p.control_pct)
    )
    x = np.array([pair[0] for pair in pairs])
    if len(pairs) < FEWEST or np.ptp(x) == 0:
        text = say("relation.too_few", count=len(pairs), explanation=name)
        return Relation(name, step, pairs, None, None, None, None, text)
    from scipy.stats import linregress
    from scipy.stats import t as student

    fit = linregress(x, [pair[1] for pair in pairs])
    half = float(student.ppf(0.5 + LEVEL / 2, len(pairs) - 2)) * float(fit.stderr)
    slope, low, high = (size * float(v) for v in (fit.slope, fit.slope - half, fit.slope + half))
    sure = say("relation.sure") if low > 0 or high < 0 else say("relation.unsure")
    ends = {
        end: Quantity(value, "1", "points")
        for end, value in (("slope", slope), ("low", low), ("high", high))
    }
    text = say("relation.line", count=len(pairs), explanation=name, step=step, sure=sure, **ends)
    return Relation(name, step, pairs, slope, low, high, float(fit.slope), text)

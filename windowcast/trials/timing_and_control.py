"""Timing as an explanation: control against window score, plant age and the week's warmth.

One application of a treatment at one place is one point. Treatments are kept apart, trials are
random. The first explanation is the one test; the others are looks that may give a hint.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from windowcast.core.phrase import Phrase, Quantity, say
from windowcast.core.record import FloatArray
from windowcast.trials.mixed import fit_mixed, groups
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
    """Control that an application gave, with what may explain it; NaN where not known.

    `trial` and `treatment` say which points belong together.
    """

    label: str
    control_pct: float
    score: float
    weeds_bbch: float
    week_temp_c: float
    trial: str = ""
    treatment: str = ""


@dataclass(frozen=True, slots=True)
class Relation:
    """A straight line of control on one explanation, within treatments, over trials like these.

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
    if not points:
        return ()
    first, *others = (_relation(points, *row) for row in EXPLANATIONS)
    hints = (
        replace(line, text=say("relation.hint", line=line.text)) if line.slope is not None else line
        for line in others
    )
    return (first, *hints)


def _relation(
    points: Sequence[Point], key: str, name: Phrase, step: Phrase, size: float
) -> Relation:
    used = [p for p in points if math.isfinite(getattr(p, key)) and math.isfinite(p.control_pct)]
    pairs = tuple((float(getattr(p, key)), p.control_pct) for p in used)
    line = _line(used, np.array([x for x, _ in pairs])) if len(used) >= FEWEST else None
    if line is None:
        text = say("relation.too_few", count=len(pairs), explanation=name)
        return Relation(name, step, pairs, None, None, None, None, text)
    per_unit, half = line
    slope, low, high = (size * v for v in (per_unit, per_unit - half, per_unit + half))
    sure = say("relation.sure") if low > 0 or high < 0 else say("relation.unsure")
    ends = {
        end: Quantity(value, "1", "points")
        for end, value in (("slope", slope), ("low", low), ("high", high))
    }
    text = say("relation.line", count=len(pairs), explanation=name, step=step, sure=sure, **ends)
    return Relation(name, step, pairs, slope, low, high, per_unit, text)


def _line(points: Sequence[Point], x: FloatArray) -> tuple[float, float] | None:
    """Slope within treatments and half its 95 % interval; None where points do not tell it."""
    from scipy.stats import t as student

    treatments = groups([p.treatment for p in points])
    trials = groups([p.trial for p in points])
    design = np.column_stack([treatments, x - x.mean()])
    slope = np.eye(design.shape[1])[-1:]
    if len(points) - design.shape[1] < FEWEST - 2:
        return None
    y = np.array([p.control_pct for p in points])
    try:
        fit = fit_mixed(y, design, [trials] if 1 < trials.shape[1] < len(points) else [])
        error = math.sqrt(float(fit.covariance[-1, -1]))
        half = float(student.ppf(0.5 + LEVEL / 2, fit.dfs(slope)[0])) * error
    except (ArithmeticError, np.linalg.LinAlgError):
        return None
    return (float(fit.beta[-1]), half) if math.isfinite(half) else None

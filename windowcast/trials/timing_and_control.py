"""Timing as an explanation: control against window score, plant age and the week's warmth.

One application of a treatment at one place is one point. Treatments are kept apart; trials, their
sites and the days on which a site was sprayed are random. The first explanation is the one test;
the others are looks that may give a hint. Beside that, treatments of a trial that differ in their
timing alone are compared (`only_timing_differs`).
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

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

    Points belong together by their `treatment` (what was put out at which rate, whatever it is
    called), their `trial`, their `site` within it, and their `occasion`: the day on which a site
    was sprayed, with one or several treatments; "" where each is a day of its own.
    """

    label: str
    control_pct: float
    score: float
    weeds_bbch: float
    week_temp_c: float
    trial: str = ""
    treatment: str = ""
    site: str = ""
    occasion: str = ""


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
    """Slope within treatments and half its 95 % interval; None where points do not tell it.

    An explanation is that of the day on which a site was sprayed: treatments of one day are not as
    many looks at it. So days are random, as are trials and their sites, and the slope has no more
    degrees of freedom than days tell. Where most of that is told by days of the same site, sites
    are fixed: their variance, from few of them, let a line be found in 8 of 100 sets without one.
    """
    from scipy.stats import t as student

    y = np.array([p.control_pct for p in points])
    treatments = groups([p.treatment for p in points])
    trials = groups([p.trial for p in points])
    sites = groups([p.trial for p in points], [p.site for p in points])
    days = groups(
        [p.trial for p in points],
        [p.site for p in points],
        [p.occasion or str(n) for n, p in enumerate(points)],
    )
    within = days.shape[1] - sites.shape[1] - 1
    apart = max(within, sites.shape[1] - 2) if within >= 0 else days.shape[1] - 2
    design = np.column_stack([treatments, sites[:, 1:], x - x.mean()])
    terms = [days]
    if within < max(apart, 2) or np.linalg.matrix_rank(design) < design.shape[1]:
        design = np.column_stack([treatments, x - x.mean()])
        terms = [trials, sites, days]
    left = len(points) - int(np.linalg.matrix_rank(design))
    if left < FEWEST - 2 or apart < 1:
        return None
    try:
        fit = fit_mixed(y, design, [t for t in terms if 1 < t.shape[1] < len(points)])
        error = math.sqrt(float(fit.covariance[-1, -1]))
        slope = np.eye(design.shape[1])[-1:]
        half = float(student.ppf(0.5 + LEVEL / 2, min(fit.dfs(slope)[0], left, apart))) * error
    except (ArithmeticError, np.linalg.LinAlgError):
        return None
    return (float(fit.beta[-1]), half) if math.isfinite(half) else None


def only_timing_differs(
    given: Mapping[str, tuple[Hashable, Hashable]],
) -> tuple[tuple[str, str], ...]:
    """Pairs of treatments that got the same at other times.

    Parameters
    ----------
    given
        Treatment → what it got, nothing (false) where that is not known, and when.

    Examples
    --------
    >>> from windowcast.trials.timing_and_control import only_timing_differs
    >>> only_timing_differs(
    ...     {"early": ("A 0.8", "Sep"), "late": ("A 0.8", "Oct"), "low": ("A 0.4", "Oct")}
    ... )
    (('early', 'late'),)
    """
    return tuple(
        (one, other)
        for (one, (what, when)), (other, (what_else, then)) in combinations(given.items(), 2)
        if what and what == what_else and when != then
    )

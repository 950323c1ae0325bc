"""The same contrast in several trials: effects, and how they are pooled and told.

Effects are pooled on a scale on which places add up, and told on one that people read:

- "left": the logarithm of weeds left over those of the other, told as percent less; counts, weights
  and weed cover;
- "level": the logit of a rating against a check that is rated as nothing, told as the rating;
- "beside": the difference of logits of two ratings, told as the rating where the other has its
  usual one.

Trials are taken together with random effects over years and sites.

References
----------
Paule, R.C. & Mandel, J. 1982. J. Res. Natl. Bur. Stand. 87:377-385; Hartung, J. & Knapp, G. 2001.
Stat. Med. 20:3875-3889; Higgins, J.P.T. & Thompson, S.G. 2002. Stat. Med. 21:1539-1558 (citations
from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from windowcast.core.errors import InputError
from windowcast.core.phrase import Phrase, joined, say
from windowcast.core.record import FloatArray
from windowcast.trials.links import LinkScale
from windowcast.trials.model import LEVEL, AdjustedMean, TrialAnalysis

PoolScale = Literal["left", "level", "beside"]
COVER = "cover %"
MOST_LESS = 700.0  # of an exponent
SOME_DOUBT = 1e-6  # of an error: below, a fit left a mean no doubt
TWO_ERRORS = 1.96  # within which 95 % of a normal distribution lie
FEW_PLACES = 6
LITTLE, MUCH = 0.25, 0.75  # of the spread seen: Higgins et al. 2003, BMJ 327:557-560 (from memory)
NOT_CHANCE = 0.1  # customary for this test, which rarely shows a difference (common practice)


@dataclass(frozen=True, slots=True)
class PooledEffect:
    """One effect over several trials, on the linear scale of its measure.

    Attributes
    ----------
    mean, low, high
        Over trials like these, with the 95 % interval of Hartung and Knapp.
    next_low, next_high
        Between which the effect of one more trial like these lies, 95 %; NaN for fewer than three.
    between
        Variance of the true effects between trials.
    share
        Part of the spread seen that is not chance (I²), 0..1.
    p_alike
        Chance of a spread like this if all trials had the same effect.
    """

    trials: int
    mean: float
    low: float
    high: float
    next_low: float
    next_high: float
    between: float
    share: float
    p_alike: float


def pooled_effect(effects: Sequence[float], errors: Sequence[float]) -> PooledEffect:
    """Take an effect of several trials together.

    Parameters
    ----------
    effects, errors
        A difference and its standard error from each trial, all on one linear scale.

    Raises
    ------
    InputError
        Fewer than two trials, or an error that is not above zero.
    """
    from scipy.stats import chi2
    from scipy.stats import t as student

    y, v = np.asarray(effects, dtype=np.float64), np.asarray(errors, dtype=np.float64) ** 2
    k = len(y)
    if k < 2 or len(v) != k:
        raise InputError("one trial cannot be taken together with others", field="trial")
    if not (np.isfinite(y).all() and np.isfinite(v).all() and (v > 0).all()):
        raise InputError(
            "each trial needs an effect with a standard error above zero", field="error"
        )
    q = _spread(y, v, 0.0)
    between = _between(y, v)
    weights = 1 / (v + between)
    mean = float(weights @ y / weights.sum())
    own = max(float(weights @ (y - mean) ** 2) / (k - 1), 1.0 if between == 0 else 0.0)
    error = math.sqrt(own / float(weights.sum()))
    half = float(student.ppf(0.5 + LEVEL / 2, k - 1)) * error
    reach = math.nan
    if k > 2:
        reach = float(student.ppf(0.5 + LEVEL / 2, k - 2)) * math.sqrt(between + error**2)
    return PooledEffect(
        k, mean, mean - half, mean + half, mean - reach, mean + reach, between,
        max(1 - (k - 1) / q, 0.0) if q > 0 else 0.0, float(chi2.sf(q, k - 1)),
    )  # fmt: skip


def _spread(y: FloatArray, v: FloatArray, between: float) -> float:
    """Weighted squares around the weighted mean."""
    weights = 1 / (v + between)
    mean = float(weights @ y / weights.sum())
    return float(weights @ (y - mean) ** 2)


def _between(y: FloatArray, v: FloatArray) -> float:
    """Variance between trials at which the weighted squares are what is expected."""
    if _spread(y, v, 0.0) <= len(y) - 1:
        return 0.0
    low, high = 0.0, float(np.var(y, ddof=1)) + 1e-12
    while _spread(y, v, high) > len(y) - 1:
        high *= 2
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if _spread(y, v, middle) > len(y) - 1 else (low, middle)
    return (low + high) / 2


@dataclass(frozen=True, slots=True)
class ContrastEffect:
    """One treatment against another at one place, on the scale on which places are pooled.

    `base` is the other's own logit for "beside", NaN otherwise. `bound` says that all plots of one
    of them lay at an end of the measure.
    """

    value: float
    error: float
    df: float
    base: float = math.nan
    bound: bool = False

    def interval(self) -> tuple[float, float]:
        """Its 95 % interval."""
        from scipy.stats import t as student

        half = float(student.ppf(0.5 + LEVEL / 2, max(self.df, 1.0))) * self.error
        return self.value - half, self.value + half


def scale_of(measure: str, link: str, *, check: bool) -> PoolScale | None:
    """The scale of a contrast; None where a measure has none.

    Parameters
    ----------
    link
        As the analysis says.
    check
        Whether the other treatment is an untreated or weed-free check.
    """
    if link == "log" or measure == COVER:
        return "left"
    if link != "logit":
        return None
    return "level" if check and measure.startswith(("control", "injury")) else "beside"


def effect_of(
    analysis: TrialAnalysis,
    treatment: str,
    other: str,
    scale: PoolScale,
    *,
    ends: tuple[float, float] = (0.0, 100.0),
) -> ContrastEffect | None:
    """The effect that an analysis of one place has; None where its plots do not tell its doubt.

    A mean whose plots all gave the same is right to the rounding of its plots, no better.

    Parameters
    ----------
    ends
        Lowest and highest value of the measure.
    """
    means = {m.treatment: m for m in analysis.means}
    if treatment not in means or other not in means:
        return None
    mine, theirs = means[treatment], means[other]
    pair = {treatment, other}
    between = next((c for c in analysis.of("all") if {c.first, c.second} == pair), None)
    df = between.df if between is not None else float(mine.plots - 1)
    rounded = [_rounding(mean, analysis, ends) for mean in (mine, theirs)]
    if scale == "level":
        value, error, bound, least = mine.linear, mine.error, mine.bound, rounded[0]
    else:
        value, error = mine.linear - theirs.linear, math.hypot(mine.error, theirs.error)
        if between is not None:
            error = between.error
            value = between.difference if between.first == treatment else -between.difference
        if scale == "left" and analysis.link == "logit":
            value, error = _log_ratio(mine, theirs, error)
        bound, least = mine.bound or theirs.bound, math.hypot(*rounded)
    error = max(error, least)
    base = theirs.linear if scale == "beside" else math.nan
    known = math.isfinite(value) and math.isfinite(error) and error > SOME_DOUBT
    return ContrastEffect(value, error, df, base, bound) if known else None


def _rounding(mean: AdjustedMean, analysis: TrialAnalysis, ends: tuple[float, float]) -> float:
    """The error of a mean whose bounds are those of its rounding, on the linear scale; else 0."""
    if not mean.bound or mean.error > SOME_DOUBT:
        return 0.0
    scale = LinkScale(analysis.kind)
    values = np.array([mean.low, mean.high])
    if scale.two_ends:
        values = (values - ends[0]) / (ends[1] - ends[0])
    low, high = scale.linear(values)
    return float(high - low) / 2 / TWO_ERRORS


def _log_ratio(mine: AdjustedMean, theirs: AdjustedMean, between: float) -> tuple[float, float]:
    """Logarithm of the ratio of two shares, and its error, from their logits (delta method)."""
    up, down = (1 / (1 + math.exp(m.linear)) for m in (mine, theirs))  # slopes of log share
    together = (mine.error**2 + theirs.error**2 - between**2) / 2
    variance = (up * mine.error) ** 2 + (down * theirs.error) ** 2 - 2 * up * down * together
    value = math.log1p(-up) - math.log1p(-down)
    return value, math.sqrt(max(variance, 0.0))


@dataclass(frozen=True, slots=True)
class ShownEffect:
    """An effect as it is told [percent, or the unit of the rating], with its ends."""

    middle: float
    low: float
    high: float


def told(
    scale: PoolScale, ends: tuple[float, float, float], base: float, low: float, high: float
) -> ShownEffect:
    """An effect (value, low, high) as it is told.

    Parameters
    ----------
    base
        For "beside": the other's usual logit.
    low, high
        Ends of the measure.
    """

    def of(value: float) -> float:
        if math.isnan(value):
            return math.nan
        if scale == "left":
            return -100 * math.expm1(min(value, MOST_LESS))
        at = value + (base if scale == "beside" else 0.0)
        return low + (high - low) / (1 + math.exp(-max(min(at, MOST_LESS), -MOST_LESS)))

    found = [of(value) for value in ends]
    return ShownEffect(found[0], *sorted(found[1:]))


def pooled_over(effects: Sequence[ContrastEffect]) -> PooledEffect | None:
    """Effects of several places taken together; None for fewer than two."""
    if len(effects) < 2:
        return None
    return pooled_effect([e.value for e in effects], [e.error for e in effects])


def spread_said(found: PooledEffect) -> Phrase:
    """How much places differ, in words."""
    few = found.trials < FEW_PLACES
    if found.share < LITTLE and found.p_alike > NOT_CHANCE:
        return say("pool.alike_few" if few else "pool.alike", places=found.trials)
    if found.p_alike > NOT_CHANCE:
        return say("pool.may_differ", places=found.trials)
    much = found.share > MUCH and not math.isnan(found.next_low)
    return say("pool.much" if much else "pool.some", places=found.trials)


def usual_base(effects: Sequence[ContrastEffect]) -> float:
    """The other treatment's usual logit over places; NaN where no effect has one."""
    known = [e.base for e in effects if math.isfinite(e.base)]
    return float(np.mean(known)) if known else math.nan


def listed(reasons: Sequence[Phrase]) -> Phrase:
    """Several reasons as one clause, each said once."""
    return say("pool.reasons", of=joined(*dict.fromkeys(reasons), join="clauses"))

"""The same contrast in several trials: what makes treatments the same, and effects pooled.

What was put out counts, not what a trial calls it: the same active ingredients at the same rates,
as many applications, at the same time of the season. Effects are pooled on a scale on which places
add up, and told on one that people read:

- "left": the logarithm of weeds left over those of the other, told as percent less; counts, weights
  and weed cover;
- "level": the logit of a rating against a check that is rated as nothing, told as the rating;
- "beside": the difference of logits of two ratings, told as the rating where the other has its
  usual one.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from windowcast.core.phrase import NOTHING, Name, Phrase, joined, say
from windowcast.core.phrase import Quantity as Amount
from windowcast.trials.links import LinkScale
from windowcast.trials.model import LEVEL, AdjustedMean, TrialAnalysis
from windowcast.trials.pooled import PooledEffect, pooled_effect

PoolScale = Literal["left", "level", "beside"]
COVER = "cover %"
RATE_WITHIN = 0.1  # of a rate, written in other units: what is called the same (choice)
DAYS_WITHIN = 28.0  # of the season, between years: what is called the same timing (choice)
MOST_LESS = 700.0  # of an exponent
SOME_DOUBT = 1e-6  # of an error: below, a fit left a mean no doubt
TWO_ERRORS = 1.96  # within which 95 % of a normal distribution lie
FEW_PLACES = 6
LITTLE, MUCH = 0.25, 0.75  # of the spread seen: Higgins et al. 2003, BMJ 327:557-560 (from memory)
NOT_CHANCE = 0.1  # customary for this test, which rarely shows a difference (common practice)


@dataclass(frozen=True, slots=True)
class Given:
    """What the plots of a treatment got.

    Attributes
    ----------
    name
        As the trial calls it.
    actives
        Active ingredient, in order, with its rate [kg ha-1]; None where nobody says.
    codes
        Code of each application in the trial file.
    days
        Days since the season began of each application; NaN where nobody says.
    check
        "untreated", "weed-free", "standard"; "" for none.
    """

    name: str
    actives: tuple[tuple[str, float | None], ...] = ()
    codes: tuple[str, ...] = ()
    days: tuple[float, ...] = ()
    adjuvant: str = ""
    check: str = ""


def why_other(one: Given, other: Given) -> Phrase:
    """Why two treatments are not the same; nothing where they are.

    Names tell only where no material is given, or no rate.

    Examples
    --------
    >>> from windowcast.trials.contrasts import Given, why_other
    >>> fall = Given("Fall", (("prodiamine", 0.84),), ("A",), (75.0,))
    >>> bool(why_other(fall, Given("Program 1", (("prodiamine", 0.841),), ("S",), (83.0,))))
    False
    >>> why_other(fall, Given("Fall", (("prodiamine", 0.42),), ("A",), (75.0,))).id
    'pool.other_rate'
    """
    if "untreated" in {one.check, other.check} or "weed-free" in {one.check, other.check}:
        return NOTHING if one.check == other.check else say("pool.other_actives")
    named_alike = one.name.strip().casefold() == other.name.strip().casefold()
    if [name for name, _ in one.actives] != [name for name, _ in other.actives]:
        return say("pool.other_actives")
    if not one.actives and not named_alike:
        return say("pool.no_materials")
    for (active, rate), (_, rate_there) in zip(one.actives, other.actives, strict=True):
        if rate is None or rate_there is None:
            if not (rate is rate_there and named_alike):
                return say("pool.no_rate", active=Name(active))
        elif abs(rate - rate_there) > RATE_WITHIN * max(rate, rate_there):
            rates = Amount(rate, "kg ha-1"), Amount(rate_there, "kg ha-1")
            return say("pool.other_rate", active=Name(active), rate=rates[0], other=rates[1])
    if bool(one.adjuvant) != bool(other.adjuvant):
        return say("pool.other_adjuvant")
    return _why_other_timing(one, other)


def _why_other_timing(one: Given, other: Given) -> Phrase:
    if len(one.codes) != len(other.codes):
        return say("pool.other_number", count=len(one.codes), other=len(other.codes))
    for code, code_there, day, there in zip(
        one.codes, other.codes, one.days, other.days, strict=True
    ):
        if math.isnan(day) or math.isnan(there):
            if code.casefold() != code_there.casefold():
                return say("pool.no_date")
        elif abs(day - there) > DAYS_WITHIN:
            return say("pool.other_time", days=round(abs(day - there)))
    return NOTHING


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

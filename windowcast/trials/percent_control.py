"""Percent control against the untreated check, with intervals that own up to few plots.

Over several sites plots of one site do not speak for others: there the ratio is that of the model's
means with treatment by site random (`control_over_sites`). At one site it is that of its plots, by
Fieller.

Where a ratio of means cannot be bounded by a t-test, because no plant was left or because plots did
not differ at all, the bound comes from how finely plots are counted or rated. A check that cannot
be told from zero tells of no control: the ratio could then be anything.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from windowcast.core.errors import InputError
from windowcast.core.phrase import Phrase, Share, say
from windowcast.core.record import FloatArray
from windowcast.trials.contrasts import MOST_LESS, effect_of
from windowcast.trials.links import NONE_SEEN, step_of
from windowcast.trials.model import DF_PER_SITE, LEVEL, TrialAnalysis

WIDE, VERY_WIDE = 20, 40  # of an interval, in percentage points
CHECK_ERRORS = 2.0  # so many standard errors must the mean of several checks be above zero
MOST = 100.0  # percent
LEAST = -100.0  # percent; beyond twice the weeds of the check the figure says no more


@dataclass(frozen=True, slots=True)
class MeasuredControl:
    """Percent control with its 95 % interval; an end is None where it cannot be told.

    `percent` and `low` are never below `LEAST`, which stands for all that is worse, and `high` is
    never above `MOST`: fewer weeds than none there cannot be. `method` is
    "Abbott 1925" or "Henderson-Tilton 1955"; `text` says in words how much the interval lets one
    conclude. `sites` is over how many it holds.
    """

    percent: float
    low: float | None
    high: float | None
    plots: int
    method: str
    text: Phrase
    sites: int = 1


def abbott_pct(check: float, treated: float) -> float:
    """Percent control from counts after treatment, starting populations being equal.

    Parameters
    ----------
    check, treated
        Mean counts (or cover) of untreated and treated plots after treatment.

    Raises
    ------
    InputError
        The check has no weeds, or a count is negative.

    References
    ----------
    Abbott, W.S. 1925. J. Econ. Entomol. 18:265-267.

    Examples
    --------
    >>> abbott_pct(80, 12)
    85.0
    """
    _counts("after treatment", check, treated)
    return 100.0 * (1.0 - treated / check)


def henderson_tilton_pct(
    check_before: float, check_after: float, treated_before: float, treated_after: float
) -> float:
    """Percent control from counts before and after, where starting populations differ.

    Raises
    ------
    InputError
        A plot that had nothing to control, or a negative count.

    References
    ----------
    Henderson, C.F. & Tilton, E.W. 1955. J. Econ. Entomol. 48:157-161.

    Examples
    --------
    >>> round(henderson_tilton_pct(100, 120, 90, 30), 1)
    72.2
    """
    _counts("after treatment", check_after, treated_after)
    _counts("before treatment", check_before, treated_before)
    if treated_before <= 0:
        raise InputError("treated plots had no weeds before", field="count")
    return 100.0 * (1.0 - (check_before * treated_after) / (check_after * treated_before))


def control(
    treated: Sequence[float],
    check: Sequence[float],
    *,
    treated_before: Sequence[float] | None = None,
    check_before: Sequence[float] | None = None,
    paired: bool = False,
) -> MeasuredControl:
    """Percent control of plots, by Abbott, or by Henderson-Tilton when counts before are given.

    The interval is that of a ratio (Fieller): all ratios that a t-test on the plots does not
    reject, since the variance of corrected values is not that of the counts.

    Parameters
    ----------
    treated, check
        One value for each plot, after treatment.
    treated_before, check_before
        The same plots before treatment.
    paired
        Plots stand pairwise in blocks, in the same order.

    Raises
    ------
    InputError
        The check had no weeds, a count is negative, or the checks differ so much that their mean
        may be zero.
    """
    t, c = _plots(treated), _plots(check)
    left, grown, start = t, c, 1.0
    if paired and len(t) != len(c):
        raise ValueError("paired plots must come in pairs")
    method = "Abbott 1925"
    if treated_before is not None and check_before is not None:
        tb, cb = _plots(treated_before), _plots(check_before)
        percent = henderson_tilton_pct(
            float(cb.mean()), float(c.mean()), float(tb.mean()), float(t.mean())
        )
        # plots scaled to the same start, so that the ratio of their means is the published one
        t = t - t.mean() * (tb / tb.mean() - 1.0)
        c = c - c.mean() * (cb / cb.mean() - 1.0)
        t, c = t / tb.mean(), c / cb.mean()
        method, start = "Henderson-Tilton 1955", float(cb.mean() / tb.mean())
    else:
        percent = abbott_pct(float(c.mean()), float(t.mean()))
    if too_uneven(c):
        raise InputError(
            "the untreated checks are too few or too uneven to tell control", field="count",
            remedy="leave the check where weeds grow evenly, in more plots",
        )  # fmt: skip
    plots = min(len(t), len(c))
    nothing_left = not np.any(left)
    if nothing_left:
        ratios = _none_left(len(left), grown, start)
    elif plots > 1 and not np.ptp(t) and not np.ptp(c):
        ratios = _no_spread(left, grown, start)
    else:
        ratios = fieller(t, c, paired=paired)
    high, low = (
        None if ratio is None else min(max(100.0 * (1.0 - ratio), LEAST), MOST) for ratio in ratios
    )
    said = _words(percent, low, high, plots, nothing_left=nothing_left)
    return MeasuredControl(max(percent, LEAST), low, high, plots, method, said)


def control_over_sites(
    pooled: MeasuredControl, analysis: TrialAnalysis, treatment: str, check: str, sites: int
) -> MeasuredControl:
    """Percent control over sites, by the means of a mixed model with treatment by site random.

    Parameters
    ----------
    pooled
        The same with the plots of all sites as one, whose interval takes them as independent.
    analysis
        Of all sites; where it does not tell this pair, how sure control is stays open.
    """
    found = ratio_control(analysis, treatment, check, sites)
    percent, low, high, nothing_left = found or (pooled.percent, None, None, False)
    said = _words(percent, low, high, pooled.plots, nothing_left=nothing_left, sites=sites)
    return replace(pooled, percent=max(percent, LEAST), low=low, high=high, text=said, sites=sites)


def ratio_control(
    analysis: TrialAnalysis, treatment: str, check: str, sites: int = 1
) -> tuple[float, float, float, bool] | None:
    """Percent control by the ratio of a model's means, its 95 % interval, and if none was left.

    None where the analysis does not tell it. No end is below `LEAST`.

    Parameters
    ----------
    sites
        How many the analysis is over; with several, see `DF_PER_SITE`.
    """
    against = (c for c in analysis.of("check") if (c.first, c.second) == (treatment, check))
    between = next(against, None)
    if between is not None and between.percent == MOST:  # none left anywhere: a bound
        return MOST, max(between.percent_low, LEAST), MOST, True
    effect = effect_of(analysis, treatment, check, "left")
    if effect is None:
        return None
    if sites > 1:
        effect = replace(effect, df=min(effect.df, DF_PER_SITE * (sites - 1)))
    most, least = effect.interval()
    low, high = (max(-100.0 * math.expm1(min(end, 1.0)), LEAST) for end in (least, most))
    return -100.0 * math.expm1(min(effect.value, MOST_LESS)), low, high, False


def too_uneven(check: FloatArray) -> bool:
    """Whether the mean of check plots may be zero, so that it tells of no control."""
    if len(check) < 2:
        return False
    return bool(check.mean() < CHECK_ERRORS * check.std(ddof=1) / math.sqrt(len(check)))


Ratios = tuple[float | None, float | None]


def _none_left(plots: int, check: FloatArray, start: float) -> Ratios:
    """The ratios at which plots without a plant are no rarer than 2.5 %.

    Plants lie in a plot as by chance, or as much more unevenly as in the check; against the low
    end of the check's mean. `start` is how many times more the check had before. No upper end
    where one check plot does not tell it.
    """
    if len(check) < 2:
        return 0.0, None
    from scipy.stats import t as student

    mean, variance = float(check.mean()), float(check.var(ddof=1))
    error = math.sqrt(variance / len(check))
    least = mean - float(student.ppf(0.5 + LEVEL / 2, len(check) - 1)) * error
    most = NONE_SEEN * max(variance / mean, step_of(check)) / plots
    return 0.0, (start * most / least if least > most * start else None)


def _no_spread(treated: FloatArray, check: FloatArray, start: float) -> Ratios:
    """Ratios of two means without any spread, each right to half a step of its rounding."""
    half = step_of(np.concatenate((treated, check))) / 2
    a, b = float(treated.mean()), float(check.mean())
    most = start * (a + half) / (b - half) if b > half else None
    return start * max(a - half, 0.0) / (b + half), most


def fieller(
    numerator: FloatArray, denominator: FloatArray, *, paired: bool, level: float = LEVEL
) -> tuple[float | None, float | None]:
    """Confidence limits of the ratio of two means.

    Ends are None where the plots do not bound the ratio: too few of them, or a denominator that
    cannot be told from zero.

    References
    ----------
    Fieller, E.C. 1954. J. R. Stat. Soc. B 16:175-185 (citation from memory).
    """
    n, m = len(numerator), len(denominator)
    if min(n, m) < 2:
        return None, None
    from scipy.stats import t as student

    a, b = float(numerator.mean()), float(denominator.mean())
    vaa, vbb = float(numerator.var(ddof=1)) / n, float(denominator.var(ddof=1)) / m
    vab = float(np.cov(numerator, denominator)[0, 1]) / n if paired else 0.0
    df = n - 1 if paired else min(n, m) - 1  # unpaired: the smaller sample, on the safe side
    q = float(student.ppf(0.5 + level / 2, df)) ** 2
    square, middle, constant = b * b - q * vbb, a * b - q * vab, a * a - q * vaa
    root = middle * middle - square * constant
    if square <= 0 or root < 0:
        return None, None
    spread = math.sqrt(root)
    return (middle - spread) / square, (middle + spread) / square


def _plots(values: Sequence[float]) -> FloatArray:
    array = np.asarray(values, dtype=np.float64)
    if array.ndim != 1 or not len(array) or not np.isfinite(array).all():
        raise InputError("needs at least one plot with a number", field="count")
    return array


def _counts(when: str, check: float, treated: float) -> None:
    if check < 0 or treated < 0:
        raise InputError(f"a count {when} is negative", field="count", remedy="correct it")
    if check == 0:
        raise InputError(
            f"the untreated check had no weeds {when}, so control cannot be told",
            field="count",
            remedy="leave the check where weeds grow",
        )


def _words(
    percent: float,
    low: float | None,
    high: float | None,
    plots: int,
    *,
    nothing_left: bool,
    sites: int = 1,
) -> Phrase:
    """How sure one may be."""
    if percent < LEAST:
        return say("control.worse", plots=plots)
    said = Share(percent / 100)
    if nothing_left and low is not None:
        return say("control.at_least", low=Share(low / 100), plots=plots)
    if nothing_left:
        return say("control.nothing_left", percent=said, plots=plots)
    if low is None or high is None:
        return say("control.unbounded", percent=said, plots=plots)
    ends = {"low": Share(low / 100), "high": Share(high / 100)}
    text = say("control.interval", percent=said, plots=plots, **ends)
    if sites > 1:
        text = say("control.over_sites", percent=said, plots=plots, sites=sites, **ends)
    if high - low > VERY_WIDE:
        return say("control.very_wide", control=text)
    return say("control.wide", control=text) if high - low > WIDE else text

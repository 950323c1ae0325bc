"""What an analysis of a trial is given, and what it says."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from typing import Literal

from windowcast.core.phrase import NOTHING, Phrase

LEVEL = 0.95  # of every interval
# A few sites that are alike by chance let Satterthwaite's df of a mean over places run too high:
# its interval then held 0.92 to 0.94 of the time (benchmarks/check_trials.py), with this cap 0.95.
# It is a factor of the sites less one.
DF_PER_SITE = 2.0

Kind = Literal["percent", "ordinal", "count", "biomass", "amount"]
Design = Literal["crd", "rcbd", "split-plot"]
Before = Literal["none", "covariate", "offset"]
Family = Literal["check", "all", "factor"]
Link = Literal["none", "log", "logit"]


@dataclass(frozen=True, slots=True)
class PlotRow:
    """One plot's value of one measure on one date.

    Attributes
    ----------
    site, block, plot
        Where it lies, by name; "" where a trial has no such thing.
    value
        In the unit of the measure; NaN for a plot that is missing.
    whole_plot
        The larger plot it is part of, in a split plot.
    factors
        Level of each factor, by the factor's name: (("timing", "fall"), ("active", "A")); empty
        for a plot outside the factorial, such as a check.
    before
        The same plot before treatment, in the same unit; None where it was not taken.
    """

    site: str
    block: str
    plot: str
    treatment: str
    value: float
    whole_plot: str = ""
    factors: tuple[tuple[str, str], ...] = ()
    date: dt.date | None = None
    measure: str = ""
    before: float | None = None


@dataclass(frozen=True, slots=True)
class TrialOptions:
    """How a trial is analysed.

    Attributes
    ----------
    kind
        "percent" (`low` to `high`), "ordinal" (ratings from `low` to `high`), "count", "biomass"
        (zero or more, spread grows with the mean), "amount" (any number, even spread).
    design
        "crd": plots at random on the site; "rcbd": in blocks; "split-plot": in whole plots of
        blocks.
    checks
        Names of the untreated and weed-free treatments, the one to compare with first; their plots
        keep out of the error of the others.
    standard
        The treatment with which the others are compared; "" for the first of `checks`.
    before
        What is made of counts before: nothing, a slope of its own, or the same change (offset).
    """

    kind: Kind = "amount"
    design: Design = "rcbd"
    checks: tuple[str, ...] = ()
    standard: str = ""
    low: float = 0.0
    high: float = 100.0
    before: Before = "none"


@dataclass(frozen=True, slots=True)
class AdjustedMean:
    """Mean of a treatment on the scale of the data with its 95 % interval.

    Between treatments that share one of `letters` no difference shows (Tukey, 5 % for all pairs
    together): they may still differ. `low` and `high` are the least and the most it may be; where
    every plot gave the same, or nothing was left, they are bounds and `bound` is true. NaN: no
    bound can be given. `linear` is the mean on the scale that was analysed, `error` its standard
    error there.
    """

    treatment: str
    plots: int
    mean: float
    low: float
    high: float
    letters: str = ""
    bound: bool = False
    linear: float = float("nan")
    error: float = float("nan")


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two treatments, or two levels of a factor, compared: `first` against `second`.

    Attributes
    ----------
    family
        Within which 5 % holds for all comparisons together: against the "check" (Dunnett), "all"
        pairs (Tukey), pairs of levels of a "factor" (Tukey).
    within
        For levels of a factor: what they are compared within, such as one active; "" for all.
    difference, low, high
        Of the linear scale that was analysed (`TrialAnalysis.link`), first less second.
    p
        Adjusted for the family.
    error
        Standard error of the difference.
    percent, percent_low, percent_high
        Percent less than `second`, for counts, biomass, cover: 100 (1 - first / second); NaN where
        the measure has no such thing.
    """

    family: Family
    first: str
    second: str
    difference: float
    low: float
    high: float
    df: float
    p: float
    within: str = ""
    percent: float = float("nan")
    percent_low: float = float("nan")
    percent_high: float = float("nan")
    error: float = float("nan")

    @property
    def differs(self) -> bool:
        """Whether the limits leave out zero."""
        return self.low > 0 or self.high < 0


@dataclass(frozen=True, slots=True)
class FactorTest:
    """F test of a factor or an interaction (Kenward-Roger); `term` is ``timing x active``."""

    term: str
    f: float
    df: float
    error_df: float
    p: float


@dataclass(frozen=True, slots=True)
class TrialAnalysis:
    """An analysis of one measure of a trial on one date.

    Attributes
    ----------
    problem
        Why there is none, as a clause; then all else is empty. Every analysis stands alone: one
        that fails costs no other.
    model
        What was fitted, as a clause.
    link
        The scale of differences: that of the data, their logarithm, or their logit.
    variances
        Random term → its variance on that scale: "site", "block", "treatment x site", "whole
        plot", "check", "plot". Negative where plots of a group differ more than chance.
    unit, shape
        Of counts: what one plant adds to a value, and how much more they vary than by chance.
    notes
        What to mind, as clauses.
    """

    kind: Kind
    problem: Phrase = NOTHING
    model: Phrase = NOTHING
    link: Link = "none"
    means: tuple[AdjustedMean, ...] = ()
    comparisons: tuple[Comparison, ...] = ()
    factors: tuple[FactorTest, ...] = ()
    variances: dict[str, float] = field(default_factory=dict)
    error_df: float = float("nan")
    unit: float = 1.0
    shape: float = 0.0
    notes: tuple[Phrase, ...] = ()

    def of(self, family: Family) -> tuple[Comparison, ...]:
        """The comparisons of one family."""
        return tuple(c for c in self.comparisons if c.family == family)

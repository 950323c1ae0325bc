"""Before a trial is laid out: what it and the layouts around it can show, and how surely.

The least difference and the chance of one are told in the unit of the measure.

References
----------
Stroup, W.W. 2002. J. Agric. Biol. Environ. Stat. 7:491-511 (citation from memory).
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from windowcast.core.errors import InputError
from windowcast.trials.families import all_pairs_limit, check_limit, shown
from windowcast.trials.layout import arms_of
from windowcast.trials.model import Design
from windowcast.trials.rated_measures import MEASURES
from windowcast.trials.spread import FALLS, RISES, PlotSpread, SpreadKnown
from windowcast.trials.trial_file import TrialFile

SURE = 0.8  # common practice: a difference counts as detectable where 8 of 10 trials show it
FARTHEST, STEPS = 9.0, 90  # on the linear scale: a mean further off is as good as its end

BLOCKS, SITES = (3, 4, 6, 8), (1, 2, 3, 4)  # that are worked out besides what is asked


def error_df(treatments: int, blocks: int, sites: int, design: Design) -> int:
    """Degrees of freedom that a layout leaves for the error of a difference; below 1: none."""
    if sites > 1:
        return (treatments - 1) * (sites - 1)
    return treatments * (blocks - 1) if design == "crd" else (treatments - 1) * (blocks - 1)


@dataclass(frozen=True, slots=True)
class TrialPlan:
    """A layout, with the variances that past trials had.

    Attributes
    ----------
    treatments, blocks, sites
        Numbers; the check is one of the treatments, the blocks are those of one site.
    plot_variance, treatment_site_variance
        On the linear scale of the measure, as `TrialAnalysis.variances` has them. For counts the
        first is about 1 / mean + shape, for shares factor / (mean (1 - mean)).
    """

    treatments: int
    blocks: int
    sites: int = 1
    plot_variance: float = 1.0
    treatment_site_variance: float = 0.0
    design: Design = "rcbd"

    def __post_init__(self) -> None:
        if self.treatments < 2 or self.blocks < 1 or self.sites < 1 or self.df < 1:
            raise InputError(
                "the layout leaves nothing to tell the error from", field="blocks",
                remedy="plan two treatments or more, in two blocks or sites or more",
            )  # fmt: skip

    @property
    def df(self) -> float:
        """Degrees of freedom of a difference."""
        return float(error_df(self.treatments, self.blocks, self.sites, self.design))

    @property
    def error(self) -> float:
        """Standard error of a difference of two means, on the linear scale."""
        of_site = self.treatment_site_variance if self.sites > 1 else 0.0
        return math.sqrt(2 * (of_site + self.plot_variance / self.blocks) / self.sites)

    def limit(self, *, all_pairs: bool) -> float:
        """The statistic that a difference must reach: Tukey's, or Dunnett's against a check."""
        if all_pairs:
            return all_pairs_limit(self.treatments, self.df)
        return check_limit(self.treatments - 1, round(math.sqrt(0.5), 2), self.df)

    def power(self, difference: float, *, all_pairs: bool = False) -> float:
        """Chance that a true difference, on the linear scale, is shown."""
        return shown(self.limit(all_pairs=all_pairs), abs(difference) / self.error, self.df)

    def detectable(self, *, all_pairs: bool = False, power: float = SURE) -> float:
        """The least true difference, on the linear scale, that is shown with this chance."""
        from scipy.optimize import brentq

        high = self.error
        while self.power(high, all_pairs=all_pairs) < power:
            high *= 2
        return float(
            brentq(lambda d: self.power(d, all_pairs=all_pairs) - power, 0.0, high, rtol=1e-6)
        )


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a trial is asked to show.

    Attributes
    ----------
    mean
        Expected of the treatment that another is compared with, in the unit of the measure.
    difference
        From it, in points of the measure; of counts and weights in percent. None: not asked.
    all_pairs
        Whether every treatment is compared with every other, not only with the check.
    """

    treatments: int
    design: Design
    mean: float
    difference: float | None = None
    all_pairs: bool = False


@dataclass(frozen=True, slots=True)
class Showable:
    """What one layout can show.

    Attributes
    ----------
    least
        The least difference shown in 8 of 10 such trials, in points or, of counts and weights, in
        percent; None where none is.
    least_low, least_high
        The same with plots that vary as little, and as much, as they may.
    chance
        Of showing the difference that was asked for; None where none was.
    """

    blocks: int
    sites: int
    least: float | None
    least_low: float | None
    least_high: float | None
    chance: float | None = None
    chance_low: float | None = None
    chance_high: float | None = None


def showable(
    spread: SpreadKnown, wanted: Wanted, blocks: Sequence[int], sites: Sequence[int]
) -> tuple[Showable, ...]:
    """What every layout can show, sites by sites and within them blocks by blocks.

    Layouts that leave no error are left out.

    Raises
    ------
    InputError
        The mean or the difference is beyond what the measure can be.
    """
    _check(spread, wanted)
    return tuple(
        _of_layout(spread, wanted, block, site)
        for site in sites
        for block in blocks
        if error_df(wanted.treatments, block, site, wanted.design) >= 1
    )


def other_mean(measure: str, spread: PlotSpread, mean: float, difference: float) -> float:
    """The mean that differs so much from another: above it for injury, else below."""
    if spread.scale.link == "log":
        return mean * (1 - difference / 100)
    return mean + difference if measure in RISES else mean - difference


def compared_with_all(measure: str) -> bool:
    """Whether every pair is of interest: where the check only says what 0 is."""
    return measure not in FALLS


def _check(spread: SpreadKnown, wanted: Wanted) -> None:
    usual = spread.usual
    low, high = usual.low, usual.low + usual.width if usual.scale.two_ends else float("inf")
    if not low < wanted.mean < high:
        raise InputError(
            f"{wanted.mean:g} is no mean that leaves room for a difference", field="--mean",
            remedy=f"use one above {low:g}" + (f" and below {high:g}" if high < 1e9 else ""),
        )  # fmt: skip
    if wanted.difference is None:
        return
    other = other_mean(spread.measure, usual, wanted.mean, wanted.difference)
    if wanted.difference <= 0 or not low < other < high:
        raise InputError(
            f"{wanted.difference:g} is no difference that {wanted.mean:g} leaves room for",
            field="--difference", remedy="use a smaller one above 0, or another --mean",
        )  # fmt: skip


def _of_layout(spread: SpreadKnown, wanted: Wanted, blocks: int, sites: int) -> Showable:
    usual, even, wild = (
        _Layout(s, spread.measure, wanted, blocks, sites)
        for s in (spread.usual, spread.least, spread.most)
    )
    found = Showable(blocks, sites, usual.least(), even.least(), wild.least())
    if wanted.difference is None:
        return found
    usually, best, worst = (each.chance(wanted.difference) for each in (usual, even, wild))
    return replace(found, chance=usually, chance_low=worst, chance_high=best)


@dataclass(frozen=True, slots=True)
class _Layout:
    spread: PlotSpread
    measure: str
    wanted: Wanted
    blocks: int
    sites: int

    def power(self, other: float) -> float:
        """Chance that a mean other than the expected one is told from it."""
        first, second = (self.spread.variance(mean) for mean in (self.wanted.mean, other))
        plan = TrialPlan(
            self.wanted.treatments, self.blocks, self.sites, (first + second) / 2,
            self.spread.treatment_site, self.wanted.design,
        )  # fmt: skip
        apart = self.spread.linear(other) - self.spread.linear(self.wanted.mean)
        return plan.power(apart, all_pairs=self.wanted.all_pairs)

    def chance(self, difference: float) -> float:
        return self.power(other_mean(self.measure, self.spread, self.wanted.mean, difference))

    def least(self) -> float | None:
        """The least difference that is shown surely enough; None where none is."""
        from scipy.optimize import brentq

        at = self.spread.linear(self.wanted.mean)
        way = 1.0 if self.measure in RISES else -1.0

        def power(step: float) -> float:
            return self.power(self.spread.mean(at + way * step)) - SURE

        steps = np.linspace(0.0, FARTHEST, STEPS + 1)[1:]
        below = 0.0
        for step in steps.tolist():
            if power(step) >= 0:
                other = self.spread.mean(at + way * float(brentq(power, below, step, rtol=1e-4)))
                return self._apart(other)
            below = step
        return None

    def _apart(self, other: float) -> float:
        mean = self.wanted.mean
        return 100 * (1 - other / mean) if self.spread.scale.link == "log" else abs(mean - other)


def smallest(found: Sequence[Showable], sites: int) -> Showable | None:
    """The layout with the fewest plots that shows the difference asked for; None if none does.

    Only layouts with so many sites or more count: fewer speak for fewer places.
    """
    able = [e for e in found if e.sites >= sites and e.chance is not None and e.chance >= SURE]
    return min(able, key=lambda each: (each.blocks * each.sites, each.sites), default=None)


@dataclass(frozen=True, slots=True)
class PowerAnswer:
    """What layouts can show, and where what is known of plots comes from.

    Attributes
    ----------
    blocks, sites
        The layout that was asked about.
    past, days
        The past trial and the days its ratings were of; "" and () where typical figures stand in.
    main_plots
        Whether main plots vary besides, which is not in the figures.
    """

    measure: str
    weed: str
    spread: SpreadKnown
    wanted: Wanted
    layouts: tuple[Showable, ...]
    blocks: int
    sites: int
    past: str = ""
    days: tuple[dt.date, ...] = ()
    main_plots: bool = False

    @property
    def asked(self) -> Showable | None:
        """What the layout asked about can show; None where it leaves no error."""
        return self.at(self.blocks, self.sites)

    def at(self, blocks: int, sites: int) -> Showable | None:
        """What a layout can show, if it is one of those worked out."""
        same = (each for each in self.layouts if (each.blocks, each.sites) == (blocks, sites))
        return next(same, None)

    @property
    def unit(self) -> str:
        """In what differences are counted: "points", "steps" or "percent"."""
        if self.spread.usual.scale.link == "log":
            return "percent"
        return "steps" if MEASURES[self.measure].scale == "ordinal" else "points"


def usual_layout(trial: TrialFile | None) -> dict[str, Any]:
    """What a trial file says of its layout and of what is rated; what is usual where it does not.

    Treatments are left out where there is no file.
    """
    found: dict[str, Any] = {"blocks": 4, "sites": 1, "design": "rcbd", "measure": "control %"}
    if trial is not None:
        replicates = [site.replicates or trial.replicates for site in trial.site]
        found |= {
            "treatments": len(arms_of(trial)),
            "blocks": min(replicates),
            "sites": len(trial.site),
            "design": "crd" if trial.design == "crd" else "rcbd",
            "main_plots": trial.design == "split-plot",
        }
        found |= {"measure": trial.measure[0].what} if trial.measure else {}
    return found


def power_answer(
    layout: Mapping[str, Any],
    spread: SpreadKnown,
    *,
    mean: float | None = None,
    difference: float | None = None,
    compare: str | None = None,
) -> PowerAnswer:
    """What a layout and those around it can show.

    Parameters
    ----------
    layout
        Treatments, blocks, sites, design and measure; see `usual_layout`.
    mean, difference, compare
        What is expected, in the unit of the measure, what is to be shown, and whether "all" pairs
        or each with the "check" are compared; None for what is usual.

    Raises
    ------
    InputError
        The mean or the difference is beyond what the measure can be.
    """
    measure, blocks, sites = layout["measure"], layout["blocks"], layout["sites"]
    every = compared_with_all(measure) if compare is None else compare == "all"
    expected = spread.mean if mean is None else mean
    wanted = Wanted(layout["treatments"], layout["design"], expected, difference, every)
    found = showable(spread, wanted, sorted({*BLOCKS, blocks}), sorted({*SITES, sites}))
    main_plots = bool(layout.get("main_plots"))
    return PowerAnswer(
        measure, "", spread, wanted, found, blocks, sites, main_plots=main_plots
    )  # fmt: skip

"""What layouts can show, in the unit of the measure: the least difference, the chance of one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from windowcast.core.errors import InputError
from windowcast.trials.model import Design
from windowcast.trials.power import SURE, TrialPlan, error_df
from windowcast.trials.spread import FALLS, RISES, PlotSpread, SpreadKnown

FARTHEST, STEPS = 9.0, 90  # on the linear scale: a mean further off is as good as its end


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

"""How plots of a measure vary, on the scale where treatments add up, as past trials showed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from windowcast.core.values import Table, Value
from windowcast.trials.links import LinkScale
from windowcast.trials.model import LEVEL, Kind, PlotRow, TrialAnalysis, TrialOptions
from windowcast.trials.rated_measures import MEASURES, options_for

_MEANS = {"count per m2": "count", "seedheads per m2": "count", "biomass g per m2": "biomass",
          "quality 1-9": "quality", "color 1-9": "quality"}  # fmt: skip
FALLS = frozenset({"cover %", "count per m2", "seedheads per m2", "biomass g per m2"})
RISES = frozenset({"injury %", "injury 0-10"})
Look = tuple[Sequence[PlotRow], TrialOptions, TrialAnalysis]
LEAST_PLOT = 1e-6  # below it past plots were all alike, which says nothing of others


@dataclass(frozen=True, slots=True)
class PlotSpread:
    """How plots of a measure vary.

    Attributes
    ----------
    kind, low, width
        As an analysis takes the measure: a mean is (value - low) / width. Of counts the width is
        what one plant adds.
    factor
        Of the spread that such values have at a mean (`trials.links`), as a variance.
    shape
        Of counts: how much more they vary than by chance.
    treatment_site
        Variance of treatment by site, on the linear scale.
    """

    kind: Kind
    factor: float
    treatment_site: float
    low: float = 0.0
    width: float = 1.0
    shape: float = 0.0

    @property
    def scale(self) -> LinkScale:
        """The link, and how the spread grows with the mean."""
        return LinkScale(self.kind, self.shape)

    def linear(self, mean: float) -> float:
        """A mean on the linear scale."""
        return float(self.scale.linear(np.array((mean - self.low) / self.width)))

    def mean(self, linear: float) -> float:
        """The mean of a value on the linear scale."""
        return self.low + self.width * float(self.scale.mean(np.array(linear)))

    def variance(self, mean: float) -> float:
        """Of one plot on the linear scale."""
        share = np.array((mean - self.low) / self.width)
        return self.factor * float(self.scale.spread(share) / self.scale.slope(share) ** 2)


@dataclass(frozen=True, slots=True)
class SpreadKnown:
    """A spread with its doubt.

    Attributes
    ----------
    usual, least, most
        The spread, and ends between which it lies for all that is known.
    mean
        What is expected of the treatment that others are compared with; its unit is that of the
        measure, plants on a plot for counts that nobody has made.
    values
        Where the numbers come from, as far as that is a table of values; empty for a past trial.
    """

    measure: str
    usual: PlotSpread
    least: PlotSpread
    most: PlotSpread
    mean: float
    values: tuple[Value, ...] = ()


def typical_spread(measure: str, table: Table) -> SpreadKnown:
    """How plots vary in trials like it, for one that has no forerunner."""
    options = _options(measure)
    named = "shape" if options.kind == "count" else "factor"
    own = table.value(f"{options.kind}.{named}")
    sites = table.value(f"treatment_site.{options.kind}")
    mean = table.value(f"mean.{_MEANS.get(measure) or _word(measure)}")

    def spread(plot: float, site: float) -> PlotSpread:
        low, width = _scaled(options)
        if options.kind == "count":
            return PlotSpread("count", 1.0, site, shape=plot)
        return PlotSpread(options.kind, plot, site, low, width)

    least, most = (spread(*pair) for pair in zip(own.ends, sites.ends, strict=True))
    usual = spread(float(own), float(sites))
    return SpreadKnown(measure, usual, least, most, float(mean), (own, sites))


def past_spread(
    measure: str,
    looks: Sequence[Look],
    table: Table,
    *,
    sites: int,
) -> SpreadKnown | None:
    """How plots varied in a past trial; None where none of its analyses says.

    Parameters
    ----------
    looks
        Rows, options and analysis of one measure, for each day it was rated on; their variances
        are averaged.
    table
        For treatment by site, where the trial had one site.
    sites
        How many it had.
    """
    told = [
        look
        for look in looks
        if not look[2].problem and look[2].variances.get("plot", 0.0) > LEAST_PLOT
    ]
    if not told:
        return None
    _, options, first = told[0]
    factor = _average([each.variances["plot"] for *_, each in told])
    shape = _average([each.shape for *_, each in told])
    by_site = [each.variances.get("treatment x site", 0.0) for *_, each in told]
    low, width = _scaled(options)
    width = first.unit if first.kind == "count" else width
    treatments = len(first.means)
    typical = table.value(f"treatment_site.{first.kind}")
    if sites > 1:
        site = max(_average(by_site), 0.0)
        least, most = _doubt((treatments - 1) * (sites - 1))
        # one that came out at zero by chance may be as large as it is anywhere
        least_site, most_site = site * least, max(site * most, typical.ends[0])
    else:
        site, (least_site, most_site) = float(typical), typical.ends
    usual = PlotSpread(first.kind, factor, site, low, width, shape)
    least, most = _doubt(_average([_plot_df(*look) for look in told]))
    return SpreadKnown(
        measure,
        usual,
        replace(usual, factor=factor * least, treatment_site=least_site),
        replace(usual, factor=factor * most, treatment_site=most_site),
        _expected(measure, told),
        () if sites > 1 else (typical,),
    )


def _plot_df(rows: Sequence[PlotRow], options: TrialOptions, analysis: TrialAnalysis) -> float:
    """Degrees of freedom of plots within blocks, without checks that vary on their own."""
    apart = options.checks if "check" in analysis.variances else ()
    kept = [r for r in rows if math.isfinite(r.value) and r.treatment not in apart]
    treatments = {(r.site, r.treatment) for r in kept}
    blocks = {(r.site, r.block) for r in kept} if options.design != "crd" else set()
    sites = {r.site for r in kept}
    return float(max(len(kept) - len(treatments) - max(len(blocks) - len(sites), 0), 1))


def _expected(measure: str, told: Sequence[Look]) -> float:
    """What to expect: of weeds the untreated plots, of anything else the treated ones."""
    means = []
    for _, options, each in told:
        checks = [m.mean for m in each.means if m.treatment in options.checks]
        others = [m.mean for m in each.means if m.treatment not in options.checks]
        means += (checks or others) if measure in FALLS else (others or checks)
    return _average(means)


def _doubt(df: float) -> tuple[float, float]:
    """Factors between which the true variance lies, of one estimated with so many df."""
    from scipy.stats import chi2

    tail = (1 - LEVEL) / 2
    return df / float(chi2.ppf(1 - tail, df)), df / float(chi2.ppf(tail, df))


def _average(values: Sequence[float]) -> float:
    return math.fsum(values) / len(values)


def _options(measure: str) -> TrialOptions:
    known = MEASURES[measure]
    return options_for(measure, [known.low], design="rcbd", checks=())


def _scaled(options: TrialOptions) -> tuple[float, float]:
    """The lowest value and the span of a measure that has two ends."""
    two_ends = options.kind in {"percent", "ordinal"}
    return (options.low, options.high - options.low) if two_ends else (0.0, 1.0)


def _word(measure: str) -> str:
    return measure.replace(" ", "_").replace("%", "pct").replace("-", "_")

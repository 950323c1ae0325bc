"""Before a trial is laid out: what difference it can show, and how surely.

References
----------
Stroup, W.W. 2002. J. Agric. Biol. Environ. Stat. 7:491-511 (citation from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from windowcast.core.errors import InputError
from windowcast.trials.families import all_pairs_limit, check_limit, shown
from windowcast.trials.model import Design

SURE = 0.8  # common practice: a difference counts as detectable where 8 of 10 trials show it


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

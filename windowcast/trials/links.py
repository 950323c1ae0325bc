"""What a measure is to a model: its link, and how its spread grows with its mean."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from windowcast.core.record import FloatArray
from windowcast.trials.model import LEVEL, Kind, Link

FAR = 12.0  # on the linear scale: beyond it a mean is as good as its bound
BIOMASS_POWER = 1.5  # of the mean that biomass varies with: between counts and constant share
NONE_SEEN = -math.log((1 - LEVEL) / 2)  # units expected where none at all is as rare as 2.5 %
STEPS = (10.0, 5.0, 1.0, 0.5, 0.1)  # how finely people rate
HALF_UNIT = 0.5  # that stands for nothing where a logarithm is needed


@dataclass(frozen=True, slots=True)
class LinkScale:
    """The scale on which a measure is analysed; values are 0..1 where it has two ends.

    `shape` is how much more counts vary than by chance, in shares of the mean squared.
    """

    kind: Kind
    shape: float = 0.0

    @property
    def link(self) -> Link:
        """Scale on which effects add up."""
        if self.kind in {"percent", "ordinal"}:
            return "logit"
        return "none" if self.kind == "amount" else "log"

    @property
    def two_ends(self) -> bool:
        """Whether there is a highest value."""
        return self.link == "logit"

    def linear(self, mean: FloatArray) -> FloatArray:
        """The mean on the linear scale."""
        if self.link == "none":
            return mean
        with np.errstate(divide="ignore"):
            eta = np.log(mean) - (np.log1p(-mean) if self.two_ends else 0.0)
        return np.clip(eta, -FAR, FAR)

    def mean(self, eta: FloatArray) -> FloatArray:
        """The mean of a value on the linear scale."""
        if self.link == "none":
            return eta
        eta = np.clip(eta, -FAR, FAR)
        return 1 / (1 + np.exp(-eta)) if self.two_ends else np.exp(eta)

    def slope(self, mean: FloatArray) -> FloatArray:
        """Change of the mean with the linear scale."""
        if self.link == "none":
            return np.ones_like(mean)
        return mean * (1 - mean) if self.two_ends else mean

    def spread(self, mean: FloatArray) -> FloatArray:
        """Variance of a plot at a mean, but for a factor common to all plots."""
        match self.kind:
            case "percent" | "ordinal":
                return mean * (1 - mean)
            case "count":
                return mean + self.shape * mean**2
            case "biomass":
                return mean**BIOMASS_POWER
            case "amount":
                return np.ones_like(mean)

    def at_end(self, values: FloatArray) -> bool:
        """Whether all values lie at one end, where a model on the linear scale has no place."""
        if self.link == "none":
            return False
        return not values.any() or (self.two_ends and bool((values == 1).all()))

    def nearly_end(self, end: float, units: float) -> float:
        """On the linear scale: half a unit from the end, of so many that were looked at.

        `units` is the number of plots over the plot variance: so many independent yes-or-no
        answers, or so many counts of chance, tell as much.
        """
        share = HALF_UNIT / (max(units, 1.0) if self.two_ends else units)
        eta = float(self.linear(np.array(min(share, 0.5) if self.two_ends else share)))
        return -eta if end else eta

    def furthest(self, units: float) -> float:
        """How far from its end a mean may be where all plots lay there (97.5 % sure)."""
        rare = NONE_SEEN / units
        if self.two_ends:
            return -math.expm1(-rare)
        if self.kind == "biomass":  # as many plants as by chance, each with its own weight
            return float((rare * (2 - BIOMASS_POWER)) ** (1 / (2 - BIOMASS_POWER)))
        return math.expm1(min(rare * self.shape, 50.0)) / self.shape if self.shape else rare


def shape_of(values: FloatArray, means: FloatArray, df: float) -> float:
    """How much more counts vary than by chance: squares over variance add up to their df.

    Breslow, N.E. 1984. Appl. Stat. 33:38-44 (citation from memory); 0 where chance is enough.
    """

    def excess(shape: float) -> float:
        return float(((values - means) ** 2 / (means + shape * means**2)).sum()) - df

    if excess(0.0) <= 0:
        return 0.0
    low, high = 0.0, 1.0
    while excess(high) > 0 and high < 1e4:
        high *= 4
    for _ in range(25):
        middle = (low + high) / 2
        low, high = (middle, high) if excess(middle) > 0 else (low, middle)
    return (low + high) / 2


def step_of(values: FloatArray) -> float:
    """How finely values were taken: the coarsest step of which all are multiples."""
    for step in STEPS:
        if np.allclose(values / step, np.round(values / step), atol=1e-6):
            return step
    return STEPS[-1]


def unit_of(counts: FloatArray) -> float:
    """What one plant adds to counts that were made per area or averaged; 1 where it is not clear.

    Examples
    --------
    >>> import numpy as np
    >>> from windowcast.trials.links import unit_of
    >>> unit_of(np.array([0.0, 16.0, 48.0, 80.0]))
    16.0
    """
    different = np.unique(np.append(counts, 0.0))
    if len(different) < 3:
        return 1.0
    unit = float(np.diff(different).min())
    in_units = counts / unit
    return unit if np.allclose(in_units, np.round(in_units), atol=0.01) else 1.0

"""The weed cover above which treating pays, and up to which turf stays good enough.

    cover = cost / (worth * control)

Treating an area costs `cost` and takes out the share `control` of the weeds; one percent of cover
less is worth `worth` on the same area. It pays where the weeds that it takes out are worth more
than it costs. In crops the worth follows from yield lost, which bends down at high density
(Cousens 1985). Turf yields nothing: what a percent of cover is worth is for its owner to say, at
once or as the worth of a step of quality, and it is the same at every cover.

References
----------
Coble, H.D. & Mortensen, D.A. 1992. Weed Technol. 6:191-195: the population at which the cost of
control equals the increase in value from control (abstract read). Cousens, R. 1985. Ann. Appl.
Biol. 107:239-252; Fieller, E.C. 1954. J. R. Stat. Soc. B 16:175-185 (from memory).
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from windowcast.core.record import FloatArray
from windowcast.trials.contrasts import scale_of
from windowcast.trials.model import LEVEL, PlotRow, TrialAnalysis, TrialOptions
from windowcast.trials.percent_control import ratio_control

FULL = 100.0  # % cover: nothing can cover more
RATED = frozenset({"control %", "control 0-10"})
WEEDS = (
    "control %",
    "cover %",
    "count per m2",
    "biomass g per m2",
    "control 0-10",
)  # the best first
NO_PLOTS = 3  # degrees of freedom of a line, at least


@dataclass(frozen=True, slots=True)
class ControlKnown:
    """The share of weeds a treatment takes out, with its 95 % range; 0 where it takes out none."""

    treatment: str
    control: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class PayingCover:
    """The cover [%] above which a treatment pays, with its 95 % range.

    Infinite where it pays at no cover: an end of the range beyond 100 means that it may not.
    """

    known: ControlKnown
    cover: float
    low: float
    high: float

    @property
    def pays(self) -> bool:
        """Whether there is any cover at which it pays."""
        return self.cover <= FULL

    @property
    def sure(self) -> bool:
        """Whether it pays at full cover for all that is known of its control."""
        return self.high <= FULL


def paying_cover(cost: float, worth: float, known: ControlKnown, doubt: float = 0.0) -> PayingCover:
    """The cover above which treating pays.

    Parameters
    ----------
    cost
        Of treating an area, in any money.
    worth
        Of one percent of cover less on the same area, in the same money.
    doubt
        Half the 95 % range of the logarithm of `worth`; 0 where an owner says it.

    Examples
    --------
    90 an acre, 4 for a percent of cover, 75 % control: 90 / (4 * 0.75) = 30 % cover, by hand.

    >>> from windowcast.trials.threshold import ControlKnown, paying_cover
    >>> paying_cover(90, 4, ControlKnown("A", 0.75, 0.6, 0.9)).cover
    30.0
    """

    def cover_at(control: float) -> float:
        return cost / (worth * control) if control > 0 else math.inf

    middle, low, high = (cover_at(c) for c in (known.control, known.high, known.low))
    if doubt and math.isfinite(middle):  # both doubts on the logarithm of the cover
        low = middle / math.exp(math.hypot(math.log(middle / low), doubt))
        up = math.hypot(math.log(high / middle), doubt) if math.isfinite(high) else math.inf
        high = middle * math.exp(up) if up < math.inf else math.inf
    return PayingCover(known, middle, low, high)


def controls_of(
    measure: str, options: TrialOptions, analysis: TrialAnalysis, check: str, sites: int = 1
) -> tuple[ControlKnown, ...]:
    """The control of each treatment: rated, or from how much less weed it left than the check.

    Empty where the measure says nothing of weeds, or there is no untreated check to tell it by.

    Parameters
    ----------
    check
        Name of the untreated check; "" where the trial has none.
    sites
        How many the analysis is over.
    """
    treated = [m for m in analysis.means if m.treatment not in options.checks]
    if measure in RATED:
        span = options.high - options.low
        ends = [[(v - options.low) / span for v in (m.mean, m.low, m.high)] for m in treated]
        return tuple(_known(m.treatment, *each) for m, each in zip(treated, ends, strict=True))
    if scale_of(measure, analysis.link, check=True) != "left":
        return ()
    found = ((m.treatment, ratio_control(analysis, m.treatment, check, sites)) for m in treated)
    return tuple(
        _known(treatment, *(percent / 100 for percent in control[:3]))
        for treatment, control in found
        if control is not None
    )


def _known(treatment: str, control: float, low: float, high: float) -> ControlKnown:
    return ControlKnown(treatment, _share(control), _share(low), _share(high))


def _share(value: float) -> float:
    return min(max(value, 0.0), 1.0)


@dataclass(frozen=True, slots=True)
class QualityLine:
    """How quality falls with weed cover over the plots of a trial.

    Attributes
    ----------
    fall, low, high
        Steps of quality lost for each percent of cover, with the 95 % range.
    clean
        Quality without weeds, in the mean of the sites and of the treatments.
    covariance
        Of `clean` and the slope (less than zero where quality falls) [2, 2].
    df, plots
        Degrees of freedom of the error, and plots.
    most
        Highest cover of a plot [%]: beyond it nobody saw the quality.
    """

    fall: float
    low: float
    high: float
    clean: float
    covariance: FloatArray
    df: int
    plots: int
    most: float

    @property
    def falls(self) -> bool:
        """Whether it surely falls."""
        return self.low > 0

    @property
    def doubt(self) -> float:
        """Half the range of the logarithm of the fall, wider side."""
        return math.log(self.fall / self.low) if self.falls else math.inf

    def cover_at(self, quality: float) -> tuple[float, float, float]:
        """The cover [%] up to which quality is at least so good, with Fieller's 95 % range.

        An end is infinite where the range has none, and 0 at least.
        """
        from scipy.stats import t as student

        limit = float(student.ppf(0.5 + LEVEL / 2, self.df)) ** 2
        room = self.clean - quality
        (of_clean, both), (_, of_slope) = self.covariance
        a = self.fall**2 - limit * of_slope
        b = room * self.fall + limit * both  # the slope is less the fall
        c = room**2 - limit * of_clean
        inside = b * b - a * c
        cover = max(room / self.fall, 0.0) if self.fall > 0 else math.inf
        if a <= 0 or inside < 0:
            return cover, 0.0, math.inf
        low, high = ((b + sign * math.sqrt(inside)) / a for sign in (-1, 1))
        return cover, max(low, 0.0), max(high, 0.0)


def quality_line(cover: Sequence[PlotRow], quality: Sequence[PlotRow]) -> QualityLine | None:
    """The line of quality over weed cover among plots of one block and treatment.

    Each block of a site has a level of its own, and each treatment is so much better or worse
    whatever the weeds: what a treatment does to turf is not put down to the weeds that it took out.

    Parameters
    ----------
    cover, quality
        Plots rated on the same days, with cover [%] and steps of quality.

    Returns
    -------
    None where fewer plots have both than a line needs, or cover is the same on all.
    """
    from scipy.stats import t as student

    steps = {(r.site, r.block, r.plot, r.treatment): r.value for r in quality}
    both = [
        (r, steps[key])
        for r in cover
        if (key := (r.site, r.block, r.plot, r.treatment)) in steps
        and math.isfinite(r.value) and math.isfinite(steps[key])
    ]  # fmt: skip
    x, clean_at = _design([r for r, _ in both])
    df = len(both) - x.shape[1]
    if df < NO_PLOTS or np.linalg.matrix_rank(x) < x.shape[1]:
        return None
    y = np.array([q for _, q in both])
    inverse = np.linalg.inv(x.T @ x)
    beta = inverse @ x.T @ y
    variance = float(((y - x @ beta) ** 2).sum()) / df
    both_at = np.stack([clean_at, np.eye(x.shape[1])[-1]])  # quality without weeds, and the slope
    covariance = variance * both_at @ inverse @ both_at.T
    clean, slope = both_at @ beta
    half = float(student.ppf(0.5 + LEVEL / 2, df)) * math.sqrt(float(covariance[1, 1]))
    return QualityLine(
        -float(slope), -float(slope) - half, -float(slope) + half, float(clean), covariance, df,
        len(both), max(r.value for r, _ in both),
    )  # fmt: skip


def _design(rows: Sequence[PlotRow]) -> tuple[FloatArray, FloatArray]:
    """A column for each block, each treatment but the last, and cover; what gives the mean of all.

    Treatments are coded to add up to nothing, so that the mean is over sites and their blocks.
    """
    blocks = sorted({(r.site, r.block) for r in rows})
    treatments = sorted({r.treatment for r in rows})
    of_block = np.array([[float((r.site, r.block) == b) for b in blocks] for r in rows])
    of_treatment = np.array([[float(r.treatment == t) for t in treatments] for r in rows])
    coded = of_treatment[:, :-1] - of_treatment[:, -1:]
    of_site = Counter(site for site, _ in blocks)
    mean = [1 / len(of_site) / of_site[site] for site, _ in blocks]
    x = np.column_stack([of_block, coded, [r.value for r in rows]])
    return x, np.array([*mean, *[0.0] * (len(treatments) - 1), 0.0])

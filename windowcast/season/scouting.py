"""Scouting counts update a weed's emergence curve.

Two things are unknown: how fast the season's clock runs against the publication (log-normal
prior, the weed's spread), and how many seedlings the season will bring (prior flat in its
logarithm). A count of seedlings standing on a known area is negative binomial around density
times area times emerged share. Both unknowns are laid out on a grid and weighed by the counts,
zero counts included; density is summed out, and the 10, 50 and 90 % points of the clock's speed
are what emergence goes on with. The curve before any count stays beside it.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from windowcast.core.errors import InputError
from windowcast.core.record import FloatArray
from windowcast.core.season_calendar import on_date
from windowcast.core.time_axis import day_index
from windowcast.season.clocks import ClockSpeed, Drivers, clocks
from windowcast.season.emergence import Counted, WeedCarry
from windowcast.season.weeds import Weed

GRID = 161  # points of the clock's speed, over four standard deviations either side
DENSITIES = 81


@dataclass(frozen=True)
class Count:
    """Seedlings of one weed found standing in a frame.

    Attributes
    ----------
    weed
        EPPO code.
    per_m2
        Plants on a square metre; 0 counts too.
    area_m2
        Area that was counted; None when it was not noted (a usual frame is assumed).
    where
        The part of the ground that it was counted on, "" for all of it.

    Raises
    ------
    InputError
        Negative plants or an area that is not positive.
    """

    date: dt.date
    weed: str
    per_m2: float
    area_m2: float | None = None
    where: str = ""

    def __post_init__(self) -> None:
        if not (0 <= self.per_m2 < math.inf and self.on(1.0) > 0):
            where = "" if self.area_m2 is None else f" on {self.area_m2} m²"
            raise InputError(
                f"{self.per_m2} plants a square metre{where}",
                field="count",
                remedy="give a count of 0 or more on an area above 0",
            )

    def on(self, usual_m2: float) -> float:
        """Area counted [m²]: a usual frame where it was not noted."""
        return usual_m2 if self.area_m2 is None else self.area_m2


def posterior_timings(
    weed: Weed, drivers: Drivers, carry: WeedCarry | None, counts: Sequence[Count]
) -> tuple[dict[int, ClockSpeed], tuple[Counted, ...]]:
    """Speed of the clock in each season that has new counts, and all counts of the last season.

    Parameters
    ----------
    carry
        Brings the counts of the season under way.
    counts
        Of any weed and day; those of other weeds, outside the days of the drivers, or on days that
        cannot be told are left out. With members, a day's clock is their mean.

    Returns
    -------
    dict, tuple
        ClockSpeed by the season's number as in `emergence.emerge`; and what to carry on.
    """
    season = np.cumsum(on_date(drivers.dates, weed.biofix, drivers.southern))
    found: dict[int, list[Counted]] = {0: [] if carry is None else list(carry.counted)}
    new = set()
    own = [count for count in counts if count.weed == weed.code]
    before = None if carry is None else carry.clocks
    moist = clocks(weed, drivers, before).mid if own else {}
    for count in own:
        day = day_index(drivers.dates, count.date)
        if not 0 <= day < len(drivers.dates):
            continue
        totals = {k: float(np.mean(v[..., day])) for k, v in moist.items()}
        if all(math.isfinite(total) for total in totals.values()):
            number = int(season[day])
            area = count.on(weed.common.frame_m2)
            found.setdefault(number, []).append(Counted(totals, count.per_m2 * area, area))
            new.add(number)
    spread = weed.spread_at(drivers.latitude_deg)
    timings = {number: posterior(weed, spread, found[number]) for number in new}
    return timings, tuple(found.get(int(season[-1]), ()))


def posterior(weed: Weed, spread: float, counted: Sequence[Counted]) -> ClockSpeed:
    """Speed of the clock given the counts of one season.

    Parameters
    ----------
    spread
        Standard deviation of the log speed before the counts.

    Notes
    -----
    The posterior over a grid of log speeds (normal before the counts) and of plants per square
    metre (even in the logarithm), with `log_negative_binomial` as likelihood. The plants are summed
    out.

    Examples
    --------
    Plants that come only later slow the clock down, plants that come soon speed it up:

    >>> from windowcast.season.emergence import Counted
    >>> from windowcast.season.scouting import posterior
    >>> from windowcast.season.weeds import weed
    >>> bluegrass = weed("POAAN")
    >>> def count(total, plants):
    ...     return Counted({flush.clock: total for flush in bluegrass.flushes}, plants, 1.0)
    >>> late = posterior(bluegrass, 0.3, [count(300.0, 0.0), count(500.0, 50.0)])
    >>> early = posterior(bluegrass, 0.3, [count(200.0, 50.0), count(500.0, 60.0)])
    >>> late.mid < 0.0 < early.mid
    True
    """
    common = weed.common
    shift = np.linspace(-4.0, 4.0, GRID) * spread
    density = np.geomspace(0.1, common.density_max_per_m2, DENSITIES)
    clumping = common.dispersion / common.frame_m2
    weight = np.broadcast_to(-0.5 * (shift / spread) ** 2, (DENSITIES, GRID))
    for one in counted:
        share = weed.share({k: np.array(v) for k, v in one.totals.items()}, shift)
        mean = density[:, None] * one.area_m2 * np.maximum(share, 1e-12)
        weight = weight + log_negative_binomial(one.plants, mean, clumping * one.area_m2)
    chance = np.exp(weight - weight.max()).sum(axis=0)
    cumulative = np.cumsum(chance) - 0.5 * chance
    low, mid, high = np.interp([0.1, 0.5, 0.9], cumulative / chance.sum(), shift)
    return ClockSpeed(float(low), float(mid), float(high))


def log_negative_binomial(count: float, mean: FloatArray, dispersion: float) -> FloatArray:
    """Log probability of a count with a given mean and variance ``mean + mean²/dispersion``.

    Parameters
    ----------
    count
        Plants counted.
    mean
        Plants expected, above 0, any shape.
    dispersion
        Small where plants stand in clumps; towards infinity the Poisson distribution.

    Returns
    -------
    FloatArray
        Natural logarithm, of the shape of `mean`.

    Notes
    -----
    ``log C(n + k - 1, n) + k log(k / (k + m)) + n log(m / (k + m))``

    References
    ----------
    Bliss & Fisher (1953), *Biometrics* 9:176-200.

    Examples
    --------
    >>> import numpy as np
    >>> from windowcast.season.scouting import log_negative_binomial
    >>> chances = [np.exp(log_negative_binomial(n, np.array(3.0), 1.5)) for n in range(200)]
    >>> round(float(sum(chances)), 6)
    1.0
    """
    k = dispersion
    constant = math.lgamma(count + k) - math.lgamma(k) - math.lgamma(count + 1) + k * math.log(k)
    return constant + count * np.log(mean) - (count + k) * np.log(mean + k)

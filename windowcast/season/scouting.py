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

from windowcast.errors import InputError
from windowcast.season.degree_days import on_date
from windowcast.season.emergence import Drivers, Timing, WeedCarry, clocks
from windowcast.season.weeds import Weed
from windowcast.values import load
from windowcast.weather.record import FloatArray

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
        Area that was counted; None when it was not noted (a small frame is assumed).

    Raises
    ------
    InputError
        Negative plants or an area that is not positive.
    """

    date: dt.date
    weed: str
    per_m2: float
    area_m2: float | None = None

    def __post_init__(self) -> None:
        if not (0 <= self.per_m2 < math.inf and self.frame_m2 > 0):
            raise InputError(
                f"{self.per_m2} plants a square metre on {self.frame_m2} m²",
                field="count",
                remedy="give a count of 0 or more on an area above 0",
            )

    @property
    def frame_m2(self) -> float:
        """Area counted."""
        if self.area_m2 is not None:
            return self.area_m2
        return load("weeds").number("common.frame_area")

    @property
    def plants(self) -> float:
        """Plants in the frame."""
        return self.per_m2 * self.frame_m2


def posterior_timings(
    weed: Weed, drivers: Drivers, carry: WeedCarry | None, counts: Sequence[Count]
) -> dict[int, Timing]:
    """Timing of each season that has counts, by the season's number as in `emergence.emerge`.

    Counts outside the days of the drivers, or on days that cannot be told, are left out.
    """
    season = np.cumsum(on_date(drivers.dates, weed.biofix, drivers.southern))
    moist, _, _, _ = clocks(weed, drivers, carry)
    spread = weed.spread_at(drivers.latitude_deg)
    found: dict[int, list[tuple[int, Count]]] = {}
    for count in counts:
        day = int((np.datetime64(count.date, "D") - drivers.dates[0]).astype(np.int64))
        if 0 <= day < len(drivers.dates) and np.isfinite(moist["emergence"][..., day]).all():
            found.setdefault(int(season[day]), []).append((day, count))
    return {
        number: posterior(
            weed,
            spread,
            [{k: v[..., day] for k, v in moist.items()} for day, _ in rows],
            [count for _, count in rows],
        )
        for number, rows in found.items()
    }


def posterior(
    weed: Weed, spread: float, totals: Sequence[dict[str, FloatArray]], counts: Sequence[Count]
) -> Timing:
    """Timing given counts of one season and the clocks' totals on their days.

    Parameters
    ----------
    spread
        Standard deviation of the log speed before the counts.
    totals
        For each count the weed's clocks on that day.
    """
    table = load("weeds").table("common")
    shift = np.linspace(-4.0, 4.0, GRID) * spread
    density = np.geomspace(0.1, table.number("seedling_density_max"), DENSITIES)
    clumping = table.number("count_dispersion") / table.number("frame_area")
    weight = np.broadcast_to(-0.5 * (shift / spread) ** 2, (DENSITIES, GRID))
    for total, count in zip(totals, counts, strict=True):
        share = weed.share(total, shift)
        mean = density[:, None] * count.frame_m2 * np.maximum(share, 1e-12)
        weight = weight + log_negative_binomial(count.plants, mean, clumping * count.frame_m2)
    chance = np.exp(weight - weight.max()).sum(axis=0)
    cumulative = np.cumsum(chance) - 0.5 * chance
    low, mid, high = np.interp([0.1, 0.5, 0.9], cumulative / chance.sum(), shift)
    return Timing(float(low), float(mid), float(high))


def log_negative_binomial(count: float, mean: FloatArray, dispersion: float) -> FloatArray:
    """Log probability of a count with a given mean and variance ``mean + mean²/dispersion``."""
    k = dispersion
    constant = math.lgamma(count + k) - math.lgamma(k) - math.lgamma(count + 1) + k * math.log(k)
    result: FloatArray = constant + count * np.log(mean) - (count + k) * np.log(mean + k)
    return result

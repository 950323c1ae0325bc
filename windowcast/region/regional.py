"""What a comparison says of regions: typical seasons, trends, differences, each with an interval.

The numbers are for the sentences of the report, and hold no words. Every interval is one of 95 %.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import numpy.typing as npt

from windowcast.core.record import FloatArray
from windowcast.region.columns import QUANTITIES
from windowcast.region.effects import (
    Effects,
    Interval,
    effects,
    interval,
    mean,
    slope,
    station_draws,
)
from windowcast.region.grids import Kept, SeasonRows
from windowcast.region.statistics import MIN_YEARS


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value with its 95 % interval; NaN unknown.

    A date may be infinite: it does not come in half of the seasons. It is ``inf`` where that means
    later than all others (dormancy, first frost), ``-inf`` where it means earlier (green-up, last
    safe day: a turf that never turns brown).
    """

    middle: float
    low: float
    high: float

    @classmethod
    def of(cls, found: Interval) -> Estimate:
        """One value of an interval as it was worked out."""
        return cls(float(found.middle), float(found.low), float(found.high))


UNKNOWN = Estimate(np.nan, np.nan, np.nan)


@dataclass(frozen=True, slots=True)
class RegionQuantity:
    """One quantity in one region.

    Attributes
    ----------
    typical
        Days from the season's first day, a share or an amount (`columns.units_of`): the mean over
        seasons, all of whose stations count the same. Where it did not come in some season, the
        median, in which such a season lies beyond all others (`median` is true).
    median
        Whether `typical` is a median.
    happens
        Chance in a season, 0 to 1; None for what has no such chance, as amounts.
    trend_per_decade
        Change of the season's value in ten years.
    trend_p, trend_q
        p value of no trend, and the same with the false discovery rate over all regions and
        quantities controlled.
    happens_trend
        Change of the chance in ten years; None as `happens`.
    by_season
        The region's value in each of its seasons, adjusted for the stations, ``[season]``.
    seasons
        How many seasons are known.
    """

    typical: Estimate
    median: bool
    happens: Estimate | None
    trend_per_decade: Estimate
    trend_p: float
    trend_q: float
    happens_trend: Estimate | None
    by_season: FloatArray
    seasons: int


@dataclass(frozen=True, slots=True)
class RegionWeeks:
    """Spray days on dormant turf by week of the season.

    Attributes
    ----------
    mean, low, high
        Mean over the seasons, and between what 8 of 10 seasons lie, ``[week]``.
    by_season
        ``[season, week]``. All are adjusted for the stations, 0 to 7, NaN unknown.
    """

    mean: FloatArray
    low: FloatArray
    high: FloatArray
    by_season: FloatArray


@dataclass(frozen=True, slots=True)
class FailingSeason:
    """A season in which half of a region's stations had no week with two spray days.

    Attributes
    ----------
    season
        Its first year, as in `Region.seasons`.
    reason
        What took most days: ``not_dormant``, ``cold``, ``wet``, ``windy`` or ``warm``.
    share
        Of the region's stations, 0 to 1.
    """

    season: int
    reason: str
    share: float


@dataclass(frozen=True, slots=True)
class Region:
    """A region, or a station as a region of one.

    Attributes
    ----------
    name
        Of the region; a station's id where `Regional.of_stations`; "" for all stations as one.
    stations
        How many it has.
    southern
        Whether its seasons are southern.
    seasons
        First years of its seasons, ``[season]``; every list by season has this length.
    stations_per_season
        Stations whose season counts, ``[season]``.
    quantities
        By name, as in `columns.QUANTITIES`.
    weekly
        Spray days of the weeks; None where none is known.
    failing
        Seasons that failed, in order.
    """

    name: str
    stations: int
    southern: bool
    seasons: npt.NDArray[np.int64]
    stations_per_season: npt.NDArray[np.int64]
    quantities: Mapping[str, RegionQuantity]
    weekly: RegionWeeks | None
    failing: tuple[FailingSeason, ...]


@dataclass(frozen=True, slots=True)
class Between:
    """How the first region differs from the second in a quantity.

    Attributes
    ----------
    difference
        First minus second, the mean over the seasons both have. Where a date did not come in some
        season of one of them, that season counts as one day beyond all others (`at_least` is
        true), so that the true difference is at least as large.
    seasons
        How many both have, paired by `season_calendar.paired_year`.
    p, q
        p value of no difference, and with the false discovery rate over all of them controlled.
    """

    first: str
    second: str
    quantity: str
    difference: Estimate
    at_least: bool
    seasons: int
    p: float
    q: float


@dataclass(frozen=True, slots=True)
class WeeksBetween:
    """Spray days of the weeks, first region minus second, with 95 % intervals, ``[week]``."""

    first: str
    second: str
    middle: FloatArray
    low: FloatArray
    high: FloatArray
    seasons: int


@dataclass(frozen=True, slots=True)
class Regional:
    """Regions and how they differ.

    Attributes
    ----------
    of_stations
        Whether each region is one station, compared because no region is named.
    regions
        In the order of the list of stations.
    between
        Every pair of regions, every quantity.
    weeks_between
        Every pair of regions of one hemisphere.
    """

    of_stations: bool
    regions: Sequence[Region]
    between: Sequence[Between]
    weeks_between: Sequence[WeeksBetween]


FEW = 8  # stations that are compared with one another where no regions are named


@dataclass(frozen=True, slots=True)
class _Group:
    """A region to be: its name, its stations, and the seasons in which one of them counts."""

    name: str
    stations: npt.NDArray[np.int64]
    southern: bool
    years: FloatArray  # paired, of the whole grid
    counting: npt.NDArray[np.int64]  # stations of each season of the whole grid
    drawn: FloatArray

    @property
    def seasons(self) -> npt.NDArray[np.bool_]:
        """Seasons of the grid that it has."""
        return self.counting > 0


def regional(data: Kept) -> Regional:
    """Regions of a comparison and how they differ.

    Regions are those the list of stations names. Where it names fewer than two, few stations are
    compared with one another, each as a region of one, and many are one region.
    """
    rows = SeasonRows.of(data)
    counting = rows.counting()
    names, members, of_stations = _members(data)
    groups = [
        _Group(
            name,
            stations,
            bool(data.southern[stations].all()),
            rows.years.astype(np.float64),
            counting[stations].sum(axis=0),
            station_draws(len(stations)),
        )
        for name, stations in zip(names, members, strict=True)
    ]
    told: list[dict[str, RegionQuantity]] = [{} for _ in groups]
    between: list[Between] = []
    for name in QUANTITIES:
        grid = rows.grid(name)
        found = [effects(grid[group.stations], group.drawn) for group in groups]
        for quantities, group, each in zip(told, groups, found, strict=True):
            quantities[name] = _quantity(group, each)
        between += [
            _between(name, (groups[a], found[a]), (groups[b], found[b]))
            for a, b in combinations(range(len(groups)), 2)
        ]
    regions = [_region(group, each) for group, each in zip(groups, told, strict=True)]
    return Regional(of_stations, tuple(regions), tuple(between), ())


def _members(data: Kept) -> tuple[list[str], list[npt.NDArray[np.int64]], bool]:
    """Names of the regions, their stations, and whether each is one station."""
    named = np.array(data.texts("region", range(len(data))), dtype=object)
    names = [name for name in dict.fromkeys(named.tolist()) if name]
    if len(names) > 1:
        return names, [np.flatnonzero(named == name) for name in names], False
    if 1 < len(data) <= FEW:
        return data.texts("station", range(len(data))), list(np.arange(len(data))[:, None]), True
    return ["".join(names)], [np.arange(len(data))], False


def _region(group: _Group, quantities: Mapping[str, RegionQuantity]) -> Region:
    has = group.seasons
    first = group.years[has].astype(np.int64) - (0 if group.southern else 1)
    counting = group.counting[has]
    return Region(
        group.name, len(group.stations), group.southern, first, counting, quantities, None, ()
    )


def _quantity(group: _Group, found: Effects) -> RegionQuantity:
    known = np.isfinite(found.by_year)
    by_season, count = found.by_year[group.seasons], int(known.sum())
    if count < MIN_YEARS:
        nothing = UNKNOWN, False, None, UNKNOWN, np.nan, np.nan, None
        return RegionQuantity(*nothing, by_season, count)
    values, drawn = found.by_year[known], [(found.draws[:, known], len(group.stations))]
    typical = interval(mean, values, drawn)
    trend = interval(slope(group.years[known]), values, drawn)
    return RegionQuantity(
        Estimate.of(typical), False, None, Estimate.of(trend), float(trend.p), np.nan, None,
        by_season, count,
    )  # fmt: skip


def _between(name: str, one: tuple[_Group, Effects], other: tuple[_Group, Effects]) -> Between:
    (first, a), (second, b) = one, other
    both = np.isfinite(a.by_year) & np.isfinite(b.by_year)
    count = int(both.sum())
    if count < MIN_YEARS:
        return Between(first.name, second.name, name, UNKNOWN, False, count, np.nan, np.nan)
    found = interval(
        mean,
        a.by_year[both] - b.by_year[both],
        [(a.draws[:, both], len(first.stations)), (b.draws[:, both], len(second.stations))],
    )
    return Between(
        first.name, second.name, name, Estimate.of(found), False, count, float(found.p), np.nan
    )

"""What a comparison says of regions: typical seasons, trends, differences, each with an interval.

The numbers are for the sentences of the report, and hold no words. Every interval is one of 95 %.
They are worked out in `windowcast.region.regional_fit`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from windowcast.core.record import FloatArray
from windowcast.region.effects import Interval


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
        return cls(found.middle, found.low, found.high)

    def times(self, factor: float) -> Estimate:
        """The same in a smaller unit; `factor` is above 0."""
        return Estimate(factor * self.middle, factor * self.low, factor * self.high)


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
        Change of the season's value in ten years. A season in which it did not come counts as one
        day beyond all others of the region: how far a date has moved is then unknown, and
        `happens_trend` says what has changed.
    trend_p, trend_q
        p value of no trend, and the same with the false discovery rate over all regions and
        quantities controlled.
    happens_trend
        Change of the chance in ten years; None as `happens`.
    happens_trend_p, happens_trend_q
        As `trend_p` and `trend_q`, of that change; NaN where it came as often in every season.
    by_season
        The region's value in each of its seasons, adjusted for the stations, ``[season]``.
    seasons
        How many seasons are known.
    already
        Share of its dates that fall on the first day searched: they may have come before.
    """

    typical: Estimate
    median: bool
    happens: Estimate | None
    trend_per_decade: Estimate
    trend_p: float
    trend_q: float
    happens_trend: Estimate | None
    happens_trend_p: float
    happens_trend_q: float
    by_season: FloatArray
    seasons: int
    already: float = 0.0


@dataclass(frozen=True, slots=True)
class RegionWeeks:
    """Spray days on dormant turf by week of the season.

    Attributes
    ----------
    mean, low, high
        Mean over the seasons, and between what 8 of 10 seasons lie, of the 52 whole weeks,
        ``[week]``.
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
        What took most days: ``not_dormant``, ``cold``, ``wet``, ``windy`` or ``warm``; "" unknown.
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
    judged
        Number of seasons of which it is known whether they failed.
    across
        Whether it has stations north and south of the equator; seasons and dates are northern then.
    """

    name: str
    stations: int
    southern: bool
    seasons: npt.NDArray[np.int64]
    stations_per_season: npt.NDArray[np.int64]
    quantities: Mapping[str, RegionQuantity]
    weekly: RegionWeeks | None
    failing: tuple[FailingSeason, ...]
    judged: int
    across: bool


@dataclass(frozen=True, slots=True)
class Between:
    """How the first region differs from the second in a quantity.

    Attributes
    ----------
    difference
        First minus second, the mean over the seasons both have. A season in which a date did not
        come counts as one day beyond all others of the two; unknown where it comes in half of the
        seasons of neither. Dates on the first day searched (`RegionQuantity.already`) count as that
        day where this can only make it smaller than it is; else they are left out.
    at_least
        Whether that makes the difference smaller than it is.
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
        Every pair of at most 16 regions; of more, the 120 whose spray days differ most.
    station_q
        By quantity the q value of each station's trend, ``[station]``: the rate of false
        discoveries is controlled over the stations.
    """

    of_stations: bool
    regions: Sequence[Region]
    between: Sequence[Between]
    weeks_between: Sequence[WeeksBetween]
    station_q: Mapping[str, FloatArray] = field(default_factory=dict)

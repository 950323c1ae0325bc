"""Regions worked out: effects of stations and years, intervals, differences, failing winters."""

from __future__ import annotations

import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import combinations
from typing import Any

import numpy as np
import numpy.typing as npt

from windowcast.core.record import FloatArray
from windowcast.core.season_calendar import days_into_season
from windowcast.core.values import PACKAGED, Table, Tables
from windowcast.region.columns import (
    EARLY_IF_NEVER,
    HAPPENED_COLUMNS,
    QUANTITIES,
    SPRAY_DAYS,
    WHOLE_WEEKS,
)
from windowcast.region.effects import (
    ROUNDING,
    Effects,
    chance,
    effects,
    interval,
    station_draws,
    typical_median,
)
from windowcast.region.failing import failed, failing, share_failed
from windowcast.region.grids import Kept, SeasonRows
from windowcast.region.regional import (
    UNKNOWN,
    Between,
    Estimate,
    FailingSeason,
    Region,
    Regional,
    RegionQuantity,
    RegionWeeks,
    WeeksBetween,
)
from windowcast.region.statistics import MIN_YEARS
from windowcast.region.tables import with_never
from windowcast.season.dates import SEARCHED_FROM

FEW = 8  # stations that are compared with one another where no regions are named
WEEKLY_PAIRS = 120  # of regions whose weeks are compared: all of 16 regions
_BAND = 0.8  # of seasons lie in the band of a week's spray days


@dataclass(frozen=True, slots=True)
class _Group:
    """A region to be: its name, its stations, and the seasons in which one of them counts."""

    name: str
    stations: npt.NDArray[np.int64]
    southern: bool
    across: bool  # the equator
    years: FloatArray  # paired, of the whole grid
    counting: npt.NDArray[np.int64]  # stations of each season of the whole grid
    drawn: FloatArray

    @property
    def seasons(self) -> npt.NDArray[np.bool_]:
        """Seasons of the grid that it has."""
        return self.counting > 0

    @property
    def first_years(self) -> npt.NDArray[np.int64]:
        """First years of its seasons."""
        return self.years[self.seasons].astype(np.int64) - (0 if self.southern else 1)

    def effects(self, grid: npt.NDArray[Any]) -> Effects:
        """Of a grid of all stations."""
        return effects(grid[self.stations].astype(np.float64), self.drawn)


@dataclass(frozen=True, slots=True)
class _Found:
    """Effects of a quantity in a group; a season in which it did not come is one day beyond all.

    All are those of the group, so that no other region moves its numbers.
    """

    effects: Effects
    farthest: float  # day on which it came, negative where never is early; NaN where it never came
    never: Effects | None  # what each day farther off adds; None where it came in every season

    @classmethod
    def of(cls, name: str, grid: FloatArray, group: _Group) -> _Found:
        """Of a grid of all stations, infinite where it did not come."""
        cells, sign = grid[group.stations], -1.0 if name in EARLY_IF_NEVER else 1.0
        never = np.isinf(cells)
        farthest = float((sign * cells).max(where=np.isfinite(cells), initial=-np.inf))
        farthest = farthest if np.isfinite(farthest) else np.nan
        beyond = sign * (np.nan_to_num(farthest) + 1.0)
        found = effects(np.where(never, beyond, cells), group.drawn)
        farther = np.where(np.isnan(cells), np.nan, sign * never)
        return cls(found, farthest, effects(farther, group.drawn) if never.any() else None)

    def beside(self, other: _Found) -> Effects:
        """The same with what did not come one day beyond all that did in both groups.

        Effects are linear in the values: no second fit is needed.
        """
        if self.never is None:
            return self.effects
        days = np.fmax(self.farthest, other.farthest) - np.nan_to_num(self.farthest)
        by, a, b = float(np.nan_to_num(days)), self.effects, self.never
        return replace(
            a,
            station=a.station + by * b.station,
            by_year=a.by_year + by * b.by_year,
            draws=a.draws + by * b.draws,
        )


def regional(data: Kept, tables: Tables = PACKAGED) -> Regional:
    """Regions of a comparison and how they differ.

    Regions are those the list of stations names. Where it names fewer than two, few stations are
    compared with one another, each as a region of one, and many are one region.
    """
    rows = SeasonRows.of(data)
    counting = rows.counting()
    names, members, of_stations = _members(data)
    drawn = station_draws(data.places())
    groups = [
        _Group(
            name,
            stations,
            bool(data.southern[stations].all()),
            len(np.unique(data.southern[stations])) > 1,
            rows.years.astype(np.float64),
            counting[stations].sum(axis=0),
            drawn[:, stations],
        )
        for name, stations in zip(names, members, strict=True)
    ]
    pairs = list(combinations(range(len(groups)), 2))
    told: list[dict[str, RegionQuantity]] = [{} for _ in groups]
    between: list[Between] = []
    for name in QUANTITIES:
        came = rows.grid(HAPPENED_COLUMNS[name]) if name in HAPPENED_COLUMNS else None
        grid = with_never(name, rows.grid(name), came)
        found = [_Found.of(name, grid, group) for group in groups]
        already = _already(name, grid, rows.years, data.southern)
        for quantities, group, each in zip(told, groups, found, strict=True):
            own = None if came is None else came[group.stations]
            of = _quantity(group, grid[group.stations], each.effects, own)
            known = np.isfinite(grid[group.stations]).sum()
            share = already[group.stations].sum() / max(known, 1)
            quantities[name] = replace(of, already=float(share))
        left = found
        if already.any():
            later = np.where(already, np.nan, grid)
            left = [_Found.of(name, later, group) for group in groups]
        between += [_between(name, groups, (found, left), told, pair) for pair in pairs]
    weekly = _most_apart(pairs, [b for b in between if b.quantity == f"{SPRAY_DAYS}_total"])
    regions, weeks = _weekly(rows, groups, told, weekly, tables["region"].table("failing"))
    fair = controlled([each.p for each in between]).tolist()
    between = [replace(each, q=q) for each, q in zip(between, fair, strict=True)]
    of_each = {name: controlled(data.normals(name).p_value) for name in QUANTITIES}
    return Regional(of_stations, _controlled(regions), tuple(between), weeks, of_each)


def _already(
    name: str, grid: FloatArray, years: npt.NDArray[np.int64], southern: npt.NDArray[np.bool_]
) -> npt.NDArray[np.bool_]:
    """Dates on the first day searched, which may have come before, ``[station, season]``."""
    if name not in SEARCHED_FROM:
        return np.zeros(grid.shape, dtype=bool)
    south = southern[:, None]
    first_year = years.astype(np.int64) - np.where(south, 0, 1)
    return np.asarray(grid == days_into_season(SEARCHED_FROM[name], first_year, south))


def _members(data: Kept) -> tuple[list[str], list[npt.NDArray[np.int64]], bool]:
    """Names of the regions, their stations by id, and whether each is one station.

    Where one region is named, stations in none are left out of it.
    """
    every = range(len(data))
    by_id = np.argsort(np.array(data.texts("station", every), dtype=object))
    named = np.array(data.texts("region", every), dtype=object)
    names = [name for name in dict.fromkeys(named.tolist()) if name]
    if len(names) > 1:
        return names, [by_id[named[by_id] == name] for name in names], False
    own = by_id[named[by_id] == names[0]] if names else by_id
    if 1 < len(own) <= FEW:
        own = np.sort(own)  # as they are listed
        return data.texts("station", own.tolist()), list(own[:, None]), True
    return ["".join(names)], [own], False


def _quantity(
    group: _Group, grid: FloatArray, found: Effects, came: FloatArray | None
) -> RegionQuantity:
    """One quantity in one region.

    `grid` is infinite where it did not come, what is `found` of it one beyond all others.
    """
    known = np.isfinite(found.by_year)
    by_season, count = found.by_year[group.seasons], int(known.sum())
    chances = None if came is None else effects(came, group.drawn)
    happens = happens_trend = None
    happens_p = np.nan
    if chances is not None:
        happens, happens_trend, happens_p = _chance(group, chances)
    median = count >= MIN_YEARS and bool(np.isinf(grid).any())
    typical = Estimate.of(interval(found, group.years))
    if median:
        typical = Estimate(*typical_median(grid, found, group.drawn, group.years))
    trend = interval(found, group.years, trend=True)
    return RegionQuantity(
        typical, median, happens, Estimate.of(trend), trend.p, np.nan,
        happens_trend, happens_p, np.nan, by_season, count,
    )  # fmt: skip


def _chance(group: _Group, found: Effects) -> tuple[Estimate, Estimate, float]:
    """Chance of a season in which it comes, its change per decade, and the p value of none.

    The change is a straight line's, which reads as a share; a logistic curve has no finite slope
    where it came in every season of one end, as is common in 20 or 30 seasons.
    """
    mean = interval(found, group.years)
    share = chance(mean.middle, mean.error, int(np.isfinite(found.by_year).sum()))
    change = interval(found, group.years, trend=True)
    return Estimate(*share), Estimate.of(change), change.p if change.error > 0 else np.nan


def _between(
    name: str,
    groups: Sequence[_Group],
    found: tuple[Sequence[_Found], Sequence[_Found]],
    told: Sequence[Mapping[str, RegionQuantity]],
    pair: tuple[int, int],
) -> Between:
    """A difference, of what was found or, where that can be any, without what came already."""
    one, other = (told[n][name].already > 0 for n in pair)
    sooner = {sign for sign, already in ((-1.0, one), (1.0, other)) if already}
    gap = _apart(name, groups, found[0], told, pair, pulls=sooner)
    if gap.at_least or not sooner:
        return gap
    return _apart(name, groups, found[1], told, pair, pulls=set())


def _apart(
    name: str,
    groups: Sequence[_Group],
    found: Sequence[_Found],
    told: Sequence[Mapping[str, RegionQuantity]],
    pair: tuple[int, int],
    *,
    pulls: set[float],
) -> Between:
    """A difference; `pulls` are the signs of what would be added if more were known of it."""
    (first, second), (one, other) = (groups[n] for n in pair), (told[n][name] for n in pair)
    a, b = (found[n].beside(found[m]) for n, m in (pair, pair[::-1]))
    both = np.isfinite(a.by_year) & np.isfinite(b.by_year)
    count = int(both.sum())
    nothing = Between(first.name, second.name, name, UNKNOWN, False, count, np.nan, np.nan)
    if np.isinf(one.typical.middle) and np.isinf(other.typical.middle):
        return nothing
    difference = interval(a, first.years, less=b)
    if one.happens is not None and other.happens is not None:
        rarer = other.happens.middle - one.happens.middle  # > 0: the first lacks it more often
        if abs(rarer) > ROUNDING:
            pulls = pulls | {np.sign(-rarer if name in EARLY_IF_NEVER else rarer)}
    at_least = pulls == {np.sign(difference.middle)}
    return replace(nothing, difference=Estimate.of(difference), at_least=at_least, p=difference.p)


def _most_apart(
    pairs: Sequence[tuple[int, int]], between: Sequence[Between]
) -> list[tuple[int, int]]:
    """Of more pairs than are compared by week, those whose spray days differ most, in order."""
    off = np.array([abs(each.difference.middle) for each in between])
    most = np.argsort(-off, kind="stable")[:WEEKLY_PAIRS]  # unknown ones last
    return [pairs[n] for n in np.sort(most).tolist()]


def _weekly(
    rows: SeasonRows,
    groups: Sequence[_Group],
    told: Sequence[Mapping[str, RegionQuantity]],
    pairs: Sequence[tuple[int, int]],
    marks: Table,
) -> tuple[list[Region], tuple[WeeksBetween, ...]]:
    """The regions with their spray days by week and failing winters, and the weeks' differences."""
    weeks = rows.weeks(SPRAY_DAYS, WHOLE_WEEKS)
    fails = failed(weeks, marks.number("days_a_week"))
    by_season = np.full((len(groups), len(rows.years), WHOLE_WEEKS), np.nan)
    apart = np.full((len(pairs), 3, WHOLE_WEEKS), np.nan)
    for week in range(WHOLE_WEEKS):  # the draws of one at a time
        found = [group.effects(weeks[..., week]) for group in groups]
        by_season[..., week] = np.clip([each.by_year for each in found], 0.0, 7.0)
        for n, (a, b) in enumerate(pairs):
            ends = interval(found[a], groups[a].years, less=found[b])
            apart[n, :, week] = ends.middle, ends.low, ends.high
    regions = []
    for n, group in enumerate(groups):
        own_fails = fails[group.stations]
        share_of = share_failed(own_fails, group.drawn, marks)
        share_of = np.where(group.seasons, share_of, np.nan)
        bad = failing(share_of, own_fails, partial(rows.grid, stations=group.stations), marks)
        first = group.years.astype(np.int64) - (0 if group.southern else 1)
        seasons = tuple(FailingSeason(int(first[at]), why, share) for at, why, share in bad)
        here, own = group.counting[group.seasons], group.first_years
        about = group.name, len(group.stations), group.southern, own, here
        told_of = told[n], _weeks(by_season[n, group.seasons]), seasons
        regions.append(Region(*about, *told_of, int(np.isfinite(share_of).sum()), group.across))
    between = []
    for (a, b), (middle, low, high) in zip(pairs, apart, strict=True):
        shared = int((groups[a].seasons & groups[b].seasons).sum())
        names = groups[a].name, groups[b].name
        between.append(WeeksBetween(*names, middle, low, high, shared))
    return regions, tuple(between)


def _weeks(by_season: FloatArray) -> RegionWeeks | None:
    known = np.isfinite(by_season).sum(axis=0)
    if not (known >= MIN_YEARS).any():
        return None
    enough = np.where(known >= MIN_YEARS, by_season, np.nan)
    tail = (1 - _BAND) / 2
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # weeks that are never known
        low, high = np.nanquantile(enough, [tail, 1 - tail], axis=0)
        return RegionWeeks(np.nanmean(enough, axis=0), low, high, by_season)


def _controlled(regions: Sequence[Region]) -> tuple[Region, ...]:
    """The regions with the q values of their trends."""
    every = [quantity for region in regions for quantity in region.quantities.values()]
    dates = iter(controlled([quantity.trend_p for quantity in every]).tolist())
    chances = iter(controlled([quantity.happens_trend_p for quantity in every]).tolist())

    def fair(told: RegionQuantity) -> RegionQuantity:
        return replace(told, trend_q=next(dates), happens_trend_q=next(chances))

    return tuple(
        replace(region, quantities={name: fair(told) for name, told in region.quantities.items()})
        for region in regions
    )


def controlled(p_values: npt.ArrayLike) -> FloatArray:
    """q values: a trend with q < 0.05 belongs to those of which 1 in 20 is none.

    Benjamini & Hochberg (1995, J. R. Stat. Soc. B 57:289); NaN stays NaN and does not count.
    """
    from scipy.stats import false_discovery_control

    p = np.asarray(p_values, dtype=np.float64)
    known = np.isfinite(p)
    out = np.full(p.shape, np.nan)
    if known.any():
        out[known] = false_discovery_control(p[known])
    return out

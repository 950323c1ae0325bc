"""From seasons of many stations to normals, trends, weekly odds and differences.

Everything here works on arrays ``[station, season]``; dates are days since the season's first day
(1 July, or 1 January in the southern hemisphere), so that they average and compare.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from windowcast.region.batch import (
    AMOUNT_COLUMNS,
    DATE_COLUMNS,
    SHARE_COLUMNS,
    WORKABLE_COLUMNS,
)
from windowcast.region.models import WEEKS
from windowcast.region.statistics import (
    MIN_YEARS,
    Difference,
    Normal,
    Trend,
    difference,
    normal,
    trend,
)
from windowcast.weather.record import FloatArray

if TYPE_CHECKING:
    import pyarrow as pa

QUANTITIES: Mapping[str, str] = {
    "soil_21": "soil falls through 21.1 °C",
    "poaan_10": "annual bluegrass 10 % up",
    "poaan_50": "annual bluegrass 50 % up",
    "poaan_80": "annual bluegrass 80 % up",
    "dormant": "turf dormant",
    "last_safe": "last safe non-selective day",
    "greenup": "green-up",
    "soil_13": "soil rises through 12.8 °C",
    "digis_10": "smooth crabgrass 10 % up",
    "first_frost": "first frost",
    "frost_days": "frost days",
    "degree_days": "degree days above 10 °C",
    "barrier_fall": "best fall barrier",
    "barrier_spring": "best spring barrier",
    "cover_fall": "cover of the fall barrier",
    "cover_spring": "cover of the spring barrier",
}
AT_LEAST = (1, 2, 3)
_MAX_PAIRS_OF_STATIONS = 8
_FULL = 0.9  # share of a season's days that must be known for it to count


@dataclass(frozen=True)
class WeekStatistics:
    """Workable days of the weeks of a season at each station, over its years; NaN with too few.

    Attributes
    ----------
    years
        How many years are known, ``[station, week]``.
    mean_days
        ``[station, week]``.
    odds
        Share of years with at least 1, 2, 3 workable days, ``[station, week, 3]``.
    """

    years: npt.NDArray[np.int16]
    mean_days: npt.NDArray[np.float32]
    odds: npt.NDArray[np.float32]


@dataclass(frozen=True)
class Compared:
    """Seasons of many stations side by side.

    Attributes
    ----------
    stations, names, regions
        Ids, names and region names, ``[station]``.
    places
        Latitude, longitude (degrees) and elevation (m), ``[station, 3]``.
    seasons
        First year of each season, ``[season]``.
    values
        Quantity → ``[station, season]``: days since the season's start, or shares; NaN where the
        season is not known well enough or does not tell.
    weeks
        Purpose → statistics of its weeks.
    problems
        Station id → why it could not be used.
    """

    stations: tuple[str, ...]
    names: tuple[str, ...]
    regions: tuple[str, ...]
    places: FloatArray
    seasons: npt.NDArray[np.int64]
    values: Mapping[str, FloatArray]
    weeks: Mapping[str, WeekStatistics]
    problems: Mapping[str, str]

    @property
    def southern(self) -> npt.NDArray[np.bool_]:
        """Stations whose season is turned by half a year, ``[station]``."""
        return np.asarray(self.places[:, 0] < 0)


@dataclass(frozen=True, slots=True)
class StationNormal:
    """One quantity of one station over its years."""

    station: str
    quantity: str
    normal: Normal
    trend: Trend


@dataclass(frozen=True, slots=True)
class Gap:
    """How one station or region differs from another in a quantity."""

    first: str
    second: str
    quantity: str
    difference: Difference


@dataclass(frozen=True)
class Summary:
    """Normals, trends and differences, worked out once."""

    normals: tuple[StationNormal, ...]
    gaps: tuple[Gap, ...]


def summarise(data: Compared) -> Summary:
    """Normals, trends and differences."""
    return Summary(tuple(normals(data)), tuple(gaps(data)))


@dataclass(frozen=True)
class _Part:
    """Seasons of a few stations: one row a season, and their weeks, worked out."""

    stations: list[str]
    names: list[str]
    regions: list[str]
    places: FloatArray
    row: npt.NDArray[np.int64]  # station of each row
    season: npt.NDArray[np.int64]
    values: Mapping[str, FloatArray]
    weeks: Mapping[str, WeekStatistics]
    problems: Mapping[str, str]


def compared(tables: Iterable[pa.Table]) -> Compared:
    """Side by side what `batch.compute` gave, table by table.

    Weeks are worked out table by table and only their statistics kept, so that what is held grows
    by little more than a kilobyte a station and season.
    """
    parts = [_part(table) for table in tables]
    used = np.concatenate([p.season for p in parts]) if parts else np.zeros(0, np.int64)
    seasons = np.arange(used.min(), used.max() + 1) if len(used) else used
    offsets = np.cumsum([0, *(len(p.stations) for p in parts)])
    places = np.concatenate([p.places for p in parts]) if parts else np.zeros((0, 3))
    values = {}
    for name in QUANTITIES:
        out = np.full((len(places), len(seasons)), np.nan)
        for part, offset in zip(parts, offsets, strict=False):
            out[part.row + offset, part.season - seasons[:1]] = part.values[name]
        values[name] = out
    weeks = {
        name: WeekStatistics(
            *(
                np.concatenate([getattr(p.weeks[name], field) for p in parts])
                for field in ("years", "mean_days", "odds")
            )
        )
        for name in (WORKABLE_COLUMNS if parts else ())
    }
    return Compared(
        tuple(s for p in parts for s in p.stations),
        tuple(n for p in parts for n in p.names),
        tuple(r for p in parts for r in p.regions),
        places,
        seasons,
        values,
        weeks,
        {s: text for p in parts for s, text in p.problems.items()},
    )


def _part(table: pa.Table) -> _Part:
    ids = table["station"].to_pylist()
    texts = table["problem"].to_pylist()
    problems = {s: text for s, text in zip(ids, texts, strict=True) if text}
    good = table.filter(table["problem"].is_null())
    ids = good["station"].to_pylist()
    first = {station: i for i, station in reversed(list(enumerate(ids)))}
    order = {station: i for i, station in enumerate(dict.fromkeys(ids))}
    rows = np.array([order[s] for s in ids], dtype=np.int64)
    at = [first[s] for s in order]
    place = np.stack([_numbers(good, n)[at] for n in ("latitude", "longitude", "elevation")], 1)
    season = _numbers(good, "season").astype(np.int64)
    start = _season_starts(season, place[rows, 0] < 0)
    full = _numbers(good, "complete") >= _FULL
    values = {}
    for name in QUANTITIES:
        value = _numbers(good, name) - (start if name in DATE_COLUMNS else 0.0)
        values[name] = np.where(full, value, np.nan)
    weeks = {
        purpose: _week_statistics(good[column], rows, len(order))
        for purpose, column in WORKABLE_COLUMNS.items()
    }
    names, regions = (good[n].to_pylist() for n in ("name", "region"))
    return _Part(
        list(order),
        [names[i] or ids[i] for i in at],
        [regions[i] or "" for i in at],
        place,
        rows,
        season,
        values,
        weeks,
        problems,
    )


def _numbers(table: pa.Table, name: str) -> FloatArray:
    """A column as floats, NaN where null."""
    values: FloatArray = table[name].cast("float64").to_numpy()
    return values


def _week_statistics(
    column: pa.ChunkedArray, rows: npt.NDArray[np.int64], stations: int
) -> WeekStatistics:
    """Statistics of the whole weeks (the last of a season is a day or two)."""
    flat = column.combine_chunks().flatten().to_numpy(zero_copy_only=False)
    days = flat.reshape(-1, WEEKS)[:, : WEEKS - 1]
    known = np.isfinite(days)

    def by_station(values: npt.NDArray[np.generic]) -> FloatArray:
        if not stations:
            return np.zeros((0, WEEKS - 1))
        starts = np.searchsorted(rows, np.arange(stations))  # rows of a station lie together
        return np.asarray(np.add.reduceat(values.astype(np.float64), starts, axis=0))

    years = by_station(known)
    enough = np.where(years >= MIN_YEARS, years, np.nan)
    odds = [by_station(known & (days >= least)) / enough for least in AT_LEAST]
    return WeekStatistics(
        years.astype(np.int16),
        (by_station(np.where(known, days, 0)) / enough).astype(np.float32),
        np.stack(odds, axis=-1).astype(np.float32),
    )


def _season_starts(seasons: npt.NDArray[np.int64], south: npt.NDArray[np.bool_]) -> FloatArray:
    """Day number of each season's first day, ``[row]``."""
    january = (seasons - 1970).astype("datetime64[Y]").astype("datetime64[D]").astype(np.float64)
    july = ((seasons - 1970) * 12 + 6).astype("datetime64[M]").astype("datetime64[D]").astype(float)
    return np.where(south, january, july)


def normals(data: Compared) -> Iterator[StationNormal]:
    """Normal and trend of every quantity at every station."""
    years = data.seasons.astype(np.float64)
    for i, station in enumerate(data.stations):
        for name, values in data.values.items():
            yield StationNormal(station, name, normal(values[i]), trend(years, values[i]))


def gaps(data: Compared) -> Iterator[Gap]:
    """Differences between regions; between stations where no region is named and they are few."""
    groups = _groups(data)
    for first, second in combinations(groups, 2):
        for name, values in data.values.items():
            found = difference(values[groups[first]], values[groups[second]])
            yield Gap(first, second, name, found)


def _groups(data: Compared) -> dict[str, Sequence[int]]:
    names = [region for region in dict.fromkeys(data.regions) if region]
    if len(names) > 1:
        return {n: [i for i, r in enumerate(data.regions) if r == n] for n in names}
    if len(data.stations) <= _MAX_PAIRS_OF_STATIONS:
        return {station: [i] for i, station in enumerate(data.stations)}
    return {}


def day_label(day: float, *, southern: bool) -> str:
    """A day of the season as people write it, e.g. ``12 Oct``; "" for NaN."""
    if not np.isfinite(day):
        return ""
    start = np.datetime64("2001-01-01" if southern else "2000-07-01", "D")
    date: dt.date = (start + np.timedelta64(round(day), "D")).astype(object)
    return f"{date.day} {date:%b}"


def shown(value: float, quantity: str, *, southern: bool) -> str:
    """A quantity as people read it: a day, a percentage, an amount, or "cannot tell"."""
    if not np.isfinite(value):
        return "cannot tell"
    if quantity in SHARE_COLUMNS:
        return f"{100 * value:.0f} %"
    if quantity in AMOUNT_COLUMNS:
        return f"{value:.0f}"
    return day_label(value, southern=southern)

"""From seasons of many stations to normals, trends, weekly odds and differences.

Everything here works on arrays ``[station, season]``; dates are days since the season's first day
(1 July, or 1 January in the southern hemisphere), so that they average and compare.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from windowcast.region.batch import DATE_COLUMNS, SHARE_COLUMNS, WEEKS, WORKABLE_COLUMNS
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
    "barrier_fall": "best fall barrier",
    "barrier_spring": "best spring barrier",
    "cover_fall": "cover of the fall barrier",
    "cover_spring": "cover of the spring barrier",
}
AT_LEAST = (1, 2, 3)
_MAX_PAIRS_OF_STATIONS = 8
_FULL = 0.9  # share of a season's days that must be known for it to count


@dataclass(frozen=True)
class Compared:
    """Seasons of many stations side by side.

    Attributes
    ----------
    stations, regions
        Ids and region names, ``[station]``.
    places
        Latitude, longitude (degrees) and elevation (m), ``[station, 3]``.
    seasons
        First year of each season, ``[season]``.
    complete
        Share of the season's days with temperature, ``[station, season]``.
    values
        Quantity → ``[station, season]``: days since the season's start, or shares.
    weeks
        Purpose column → workable days, ``[station, season, week]``.
    problems
        Station id → why it could not be used.
    """

    stations: tuple[str, ...]
    names: tuple[str, ...]
    regions: tuple[str, ...]
    places: FloatArray
    seasons: npt.NDArray[np.int64]
    complete: FloatArray
    values: Mapping[str, FloatArray]
    weeks: Mapping[str, FloatArray]
    problems: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class StationNormal:
    """One quantity of one station over its years."""

    station: str
    quantity: str
    normal: Normal
    trend: Trend


@dataclass(frozen=True, slots=True)
class WeekOdds:
    """Workable days of one week of the season at one station, over its years."""

    station: str
    purpose: str
    week: int  # 0 is the season's first
    years: int
    mean_days: float
    odds: tuple[float, ...]  # of at least 1, 2, 3 workable days


@dataclass(frozen=True, slots=True)
class Gap:
    """How one station or region differs from another in a quantity."""

    first: str
    second: str
    quantity: str
    difference: Difference


@dataclass(frozen=True)
class Summary:
    """All that a comparison says, worked out once."""

    normals: tuple[StationNormal, ...]
    weeks: tuple[WeekOdds, ...]
    gaps: tuple[Gap, ...]


def summarise(data: Compared) -> Summary:
    """Normals, trends, weekly odds and differences."""
    return Summary(tuple(normals(data)), tuple(week_odds(data)), tuple(gaps(data)))


def compared(table: pa.Table) -> Compared:
    """Side by side what `batch.compute` gave season by season."""
    rows = table.num_rows
    ids = table.column("station").to_pylist()
    problems = {
        station: text
        for station, text in zip(ids, table.column("problem").to_pylist(), strict=True)
        if text
    }
    stations = list(dict.fromkeys(s for s in ids if s not in problems))
    where = {station: i for i, station in enumerate(stations)}
    season = np.array([-1 if s is None else s for s in table.column("season").to_pylist()], int)
    used = np.array([s in where for s in ids], bool) & (season >= 0)
    seasons = np.arange(season[used].min(), season[used].max() + 1) if used.any() else season[:0]
    row_of = np.array([where.get(s, -1) for s in ids], int)[used]
    at = (row_of, season[used] - (seasons[0] if len(seasons) else 0))

    def spread(name: str) -> FloatArray:
        flat = table.column(name).to_numpy(zero_copy_only=False).astype(np.float64)
        out = np.full((len(stations), len(seasons)), np.nan)
        out[at] = flat[used]
        return out

    complete = spread("complete")
    south = spread("latitude") < 0
    start = _season_starts(seasons, south)
    full = complete >= _FULL
    values = {name: spread(name) - start for name in DATE_COLUMNS}
    values |= {name: spread(name) for name in SHARE_COLUMNS}
    values = {name: np.where(full, v, np.nan) for name, v in values.items()}
    weeks = {}
    for name in WORKABLE_COLUMNS:
        lists = table.column(name).to_pylist()
        out = np.full((len(stations), len(seasons), WEEKS), np.nan)
        picked = [[np.nan] * WEEKS if item is None else item for item in lists]
        if rows:
            out[at] = np.array(picked, dtype=np.float64)[used]
        weeks[name] = out

    def first_of(name: str) -> list[object]:
        column = table.column(name).to_pylist()
        return [column[ids.index(station)] for station in stations]

    places = np.array(
        [
            [np.nan if v is None else v for v in row]
            for row in zip(
                *(first_of(n) for n in ("latitude", "longitude", "elevation")), strict=True
            )
        ],
        dtype=np.float64,
    ).reshape(len(stations), 3)
    return Compared(
        tuple(stations),
        tuple(str(n) for n in first_of("name")),
        tuple(str(r or "") for r in first_of("region")),
        places,
        seasons,
        complete,
        values,
        weeks,
        problems,
    )


def _season_starts(seasons: npt.NDArray[np.int64], south: npt.NDArray[np.bool_]) -> FloatArray:
    """Day number of each season's first day, ``[station, season]``."""
    january = (seasons - 1970).astype("datetime64[Y]").astype("datetime64[D]").astype(np.float64)
    july = ((seasons - 1970) * 12 + 6).astype("datetime64[M]").astype("datetime64[D]").astype(float)
    return np.where(south, january, july)


def normals(data: Compared) -> Iterator[StationNormal]:
    """Normal and trend of every quantity at every station."""
    years = data.seasons.astype(np.float64)
    for i, station in enumerate(data.stations):
        for name, values in data.values.items():
            yield StationNormal(station, name, normal(values[i]), trend(years, values[i]))


def week_odds(data: Compared) -> Iterator[WeekOdds]:
    """Workable days and the odds of one, two or three of them, for each week of the season."""
    for name, weeks in data.weeks.items():
        known = np.isfinite(weeks)
        years = known.sum(axis=1)
        for i, station in enumerate(data.stations):
            for week in range(WEEKS - 1):  # the last is a day or two
                count = int(years[i, week])
                if count < MIN_YEARS:
                    continue
                days = weeks[i, known[i, :, week], week]
                odds = tuple(float((days >= least).mean()) for least in AT_LEAST)
                purpose = name.removeprefix("workable_").replace("_", "-")
                yield WeekOdds(station, purpose, week, count, float(days.mean()), odds)


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
    """A quantity as people read it: a calendar day, a percentage, or "cannot tell"."""
    if not np.isfinite(value):
        return "cannot tell"
    if quantity in SHARE_COLUMNS:
        return f"{100 * value:.0f} %"
    return day_label(value, southern=southern)

"""The emergence curves held against what was published and seen, on real weather records.

Seedling counts are not openly available, so what can be checked is whether the curves, run on a
station's weather, give the dates and shares that publications report for its region, and the dates
on which first plants and seedheads were seen near a station.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from os import PathLike
from typing import Literal, get_args

import numpy as np

from windowcast.core.errors import InputError
from windowcast.core.great_circle import distance_km
from windowcast.core.record import DateArray, FloatArray, Record
from windowcast.core.season_calendar import on_date, season_slices
from windowcast.core.site import site_from
from windowcast.core.time_axis import first_day
from windowcast.core.values import load
from windowcast.core.weed_codes import weed_code
from windowcast.season.dates import share_date
from windowcast.season.model import Emergence, SiteState
from windowcast.season.runs import trailing_mean
from windowcast.season.state import build
from windowcast.season.weeds import Z90, weed
from windowcast.verify.seen_rows import place_in, seen_rows

FIRST = 0.01  # share taken as "first emergence"
FALL_DAYS = 110  # from 15 August
THREE_WEEKS = 21

DAYS = 210  # that are looked at from the start of the count on
CLOSE_KM = 350.0
CRABGRASS = "DIGIS"  # what "crabgrass" means for a first date: the earlier of the two
Event = Literal["first", "usual first", "none yet", "usual none yet", "usual seedheads"]
_NEEDED = ("weed", "event", "date", "lat", "lon")


@dataclass(frozen=True)
class Check:
    """One published figure beside what the model gives.

    Attributes
    ----------
    published
        Lower and upper end as published.
    found
        One value a season.
    odd
        Whether the season begins in an odd year (held back when the curve was anchored).
    """

    name: str
    unit: str
    source: str
    station: str
    published: tuple[float, float]
    found: tuple[float, ...]
    odd: tuple[bool, ...]

    @property
    def median(self) -> float:
        """Median over the seasons."""
        return float(np.median(self.found)) if self.found else float("nan")

    @property
    def inside(self) -> float:
        """Share of the seasons within the published span; NaN without seasons."""
        low, high = self.published
        held = [low <= value <= high for value in self.found]
        return float(np.mean(held)) if held else float("nan")


def checks(records: Sequence[Record]) -> tuple[Check, ...]:
    """Every published figure that applies at a station's latitude, station by station.

    Parameters
    ----------
    records
        Daily, of northern stations, with short gaps filled. Seasons with an unknown day are left
        out.
    """
    return tuple(check for record in records for check in _station(record))


def _station(record: Record) -> list[Check]:
    place = record.place
    site = site_from(
        {
            "name": place.name,
            "latitude": place.latitude_deg,
            "longitude": place.longitude_deg,
            "weeds": ["POAAN", "DIGIS"],
        }
    )
    state, _ = build(record, site)
    rows: list[tuple[str, str, Callable[[SiteState], dict[int, float]]]] = [
        ("crabgrass_first_soil", "crabgrass_latitude", _soil_at_first),
        ("bluegrass_november", "bluegrass_maryland_latitude", _november),
        ("bluegrass_three_weeks", "bluegrass_maryland_latitude", _three_weeks),
        ("bluegrass_fastest_week", "bluegrass_mid_south_latitude", _fastest_week),
    ]
    table = load("weeds").table("check")
    out = []
    for name, where, measure in rows:
        south, north = table.value(where).value
        if not south <= place.latitude_deg <= north:
            continue
        value = table.value(name)
        seasons = {y: v for y, v in measure(state).items() if np.isfinite(v)}
        out.append(
            Check(
                name=name,
                unit=value.unit,
                source=value.source,
                station=place.name,
                published=(float(value.value[0]), float(value.value[1])),
                found=tuple(seasons.values()),
                odd=tuple(bool(y % 2) for y in seasons),
            )
        )
    return out


def _soil_at_first(state: SiteState) -> dict[int, float]:
    """7-day mean soil at 5 cm (measured where there is a probe) when crabgrass first emerges."""
    week = trailing_mean(state.soil_5cm_c, 7)
    days = share_date(state.emergence["DIGIS"], state.dates, FIRST)
    start = int(state.dates[0].astype("datetime64[D]").astype(np.int64))
    names = [int(name[:4]) for name, _ in season_slices(state.dates, southern=False)]
    return {
        year: float(week[int(day) - start])
        for year, day in zip(names, days, strict=True)
        if np.isfinite(day)
    }


def _falls(state: SiteState) -> dict[int, tuple[int, FloatArray]]:
    """Share of annual bluegrass from 15 August on in each fall that is wholly known."""
    curve: Emergence = state.emergence["POAAN"]
    out = {}
    for year in range(int(str(state.dates[0])[:4]), int(str(state.dates[-1])[:4]) + 1):
        start = int((np.datetime64(f"{year}-08-15") - state.dates[0]).astype(np.int64))
        share = curve.share[max(start, 0) : start + FALL_DAYS]
        if start >= 0 and len(share) == FALL_DAYS and np.isfinite(share).all():
            out[year] = (start, share)
    return out


def _november(state: SiteState) -> dict[int, float]:
    return {year: float(share[82]) for year, (_, share) in _falls(state).items()}


def _three_weeks(state: SiteState) -> dict[int, float]:
    return {
        year: float((share[THREE_WEEKS:] - share[:-THREE_WEEKS]).max())
        for year, (_, share) in _falls(state).items()
    }


def _fastest_week(state: SiteState) -> dict[int, float]:
    """ISO week in the middle of the seven days with most emergence."""
    found = {}
    for year, (start, share) in _falls(state).items():
        middle = state.dates[start + int((share[7:] - share[:-7]).argmax()) + 4]
        found[year] = float(middle.astype("datetime64[D]").astype(object).isocalendar().week)
    return found


@dataclass(frozen=True)
class SeenPlants:
    """One row: a date in one year, or a usual one."""

    weed: str
    event: Event
    month_day: str
    year: int | None
    latitude_deg: float
    longitude_deg: float
    place: str
    source: str


@dataclass(frozen=True)
class Beside:
    """A sighting with what the model gives at the nearest station.

    Attributes
    ----------
    early, middle, late
        Days since the count began, by a fast, the middle and a slow clock, in that year or in the
        median of all; infinite where it does not come.
    by_air
        The same by the weed's rule of air temperature for first plants, which warns; else NaN.
    days, days_by_air
        Model less observed [days]; NaN where the sighting only says that nothing was there.
    agrees
        Whether the sighting lies within the range from the earliest of both rules to the latest, or
        before the middle where nothing was there.
    """

    seen: SeenPlants
    station: str
    distance_km: float
    early: float
    middle: float
    late: float
    by_air: float
    days: float
    days_by_air: float
    agrees: bool


def read_seen(path: str | PathLike[str]) -> list[SeenPlants]:
    """Sightings from a CSV file with the columns weed, event, date, lat and lon.

    Raises
    ------
    InputError
        The file cannot be read, or a row does not say what is asked; names row and field.
    """
    return seen_rows(path, _NEEDED, _seen)


def _seen(_: int, row: Mapping[str, str]) -> SeenPlants:
    def wrong(field: str, remedy: str) -> InputError:
        return InputError(f"{row[field]!r} does not fit", field=field, remedy=remedy)

    event = row["event"]
    if event not in get_args(Event):
        raise wrong("event", f"write one of {', '.join(get_args(Event))}")
    usual = event.startswith("usual")
    try:
        date = dt.date.fromisoformat(f"2001-{row['date']}" if usual else row["date"])
    except ValueError:
        raise wrong("date", "write MM-DD" if usual else "write YYYY-MM-DD") from None
    try:
        code = CRABGRASS if row["weed"] == "crabgrass" else weed_code(row["weed"])
    except ValueError as error:
        raise wrong("weed", str(error)) from None
    place = place_in(row)
    for field, degrees in zip(("lat", "lon"), place, strict=True):
        if math.isnan(degrees):
            raise wrong(field, "write decimal degrees")
    return SeenPlants(
        code,
        event,  # type: ignore[arg-type]
        f"{date:%m-%d}",
        None if usual else date.year,
        *place,
        row.get("place", ""),
        row.get("source", ""),
    )


def beside(records: Sequence[Record], sightings: Sequence[SeenPlants]) -> list[Beside]:
    """Each sighting that has a station within `CLOSE_KM`, beside the model run there.

    Parameters
    ----------
    records
        Daily, of northern stations, with short gaps filled.
    """
    models: dict[tuple[str, str], tuple[DateArray, Emergence]] = {}
    found = []
    for seen in sightings:
        where = seen.latitude_deg, seen.longitude_deg
        near = [
            (float(distance_km(r.place.latitude_deg, r.place.longitude_deg, *where)), n)
            for n, r in enumerate(records)
        ]
        for away, number in sorted(pair for pair in near if pair[0] <= CLOSE_KM):
            record = records[number]
            key = record.place.name, seen.weed
            if key not in models:
                models[key] = _model(record, seen.weed)
            one = _beside(seen, record.place.name, away, *models[key])
            if one is not None:
                found.append(one)
                break
    return found


def _model(record: Record, code: str) -> tuple[DateArray, Emergence]:
    place = record.place
    where = {"latitude": place.latitude_deg, "longitude": place.longitude_deg}
    state, _ = build(record, site_from({"name": place.name, **where, "weeds": [code]}))
    return state.dates, state.emergence[code]


def _beside(
    seen: SeenPlants, station: str, away: float, dates: DateArray, curve: Emergence
) -> Beside | None:
    """None where the station does not know the year, or no year."""
    seeds = "seedheads" in seen.event
    start = "07-01" if curve.season == "fall" and not seeds else "01-01"
    begins = np.flatnonzero(on_date(dates, start, southern=False))
    begins = begins[begins + DAYS <= len(dates)]
    if seen.year is not None:
        begins = begins[dates[begins].astype("datetime64[Y]").astype(int) + 1970 == seen.year]

    def first(amount: FloatArray, least: float) -> float:
        parts = [amount[day : day + DAYS] for day in begins]
        days = [first_day(part >= least, np.isnan(part)) for part in parts]
        known = [float(day) for day in days if not np.isnan(day)]
        return float(np.median(known)) if known else math.nan

    rule = weed(seen.weed).sets_air
    if seeds and curve.sets_by_air is not None and rule is not None:
        speeds = (math.exp(place * Z90 * rule.spread) for place in (1.0, 0.0, -1.0))
        early, middle, late = (first(curve.sets_by_air * speed, 1.0) for speed in speeds)
    elif seeds:
        return None
    else:
        shares = (curve.share_high, curve.share, curve.share_low)
        early, middle, late = (first(share, FIRST) for share in shares)
    if math.isnan(middle):
        return None
    air = earliest = math.nan
    if not seeds and curve.first_by_air is not None:
        spread = weed(seen.weed).air_rules["first"].spread
        air = first(curve.first_by_air, 1.0)
        earliest = first(curve.first_by_air * math.exp(Z90 * spread), 1.0)
    nothing = "none yet" in seen.event
    year = seen.year or 2001
    noted, begin = (dt.date.fromisoformat(f"{year}-{md}") for md in (seen.month_day, start))
    day = (noted - begin).days
    return Beside(
        seen, station, away, early, middle, late, air,
        days=math.nan if nothing else middle - day,
        days_by_air=math.nan if nothing else air - day,
        agrees=middle > day if nothing else np.fmin(early, earliest) <= day <= late,
    )  # fmt: skip

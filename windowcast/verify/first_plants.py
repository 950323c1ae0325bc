"""First plants and first seedheads as seen, held against the models run on the nearest station."""

from __future__ import annotations

import csv
import datetime as dt
import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from os import PathLike
from typing import Literal, get_args

import numpy as np

from windowcast.core.errors import InputError
from windowcast.core.first_last import first_day
from windowcast.core.given_files import read_text
from windowcast.core.great_circle import distance_km
from windowcast.core.record import DateArray, FloatArray, Record
from windowcast.core.season_calendar import on_date
from windowcast.core.site import site_from
from windowcast.core.weed_codes import weed_code
from windowcast.season.model import Emergence
from windowcast.season.state import build
from windowcast.season.weeds import Z90, weed

FIRST = 0.01  # share taken as the first plants
DAYS = 210  # that are looked at from the start of the count on
CLOSE_KM = 350.0
CRABGRASS = "DIGIS"  # what "crabgrass" means for a first date: the earlier of the two
Event = Literal["first", "usual first", "none yet", "usual none yet", "usual seedheads"]
_NEEDED = ("weed", "event", "date", "lat", "lon")


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
    try:
        rows = list(csv.DictReader(io.StringIO(read_text(path), newline="")))
    except csv.Error as error:
        raise InputError(f"cannot be read ({error})", path=path, remedy="give a CSV file") from None
    missing = [name for name in _NEEDED if not rows or name not in rows[0]]
    if missing:
        raise InputError(
            f"lacks the column {missing[0]}", path=path, remedy=f"give {', '.join(_NEEDED)}"
        )
    return [_seen(row, number, path) for number, row in enumerate(rows, start=2)]


def _seen(row: dict[str, str], number: int, path: str | PathLike[str]) -> SeenPlants:
    def wrong(field: str, remedy: str) -> InputError:
        said = f"{row[field]!r} does not fit"
        return InputError(said, path=path, row=number, field=field, remedy=remedy)

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
    place = []
    for field in ("lat", "lon"):
        try:
            place.append(float(row[field]))
        except ValueError:
            raise wrong(field, "write decimal degrees") from None
    return SeenPlants(
        code,
        event,  # type: ignore[arg-type]
        f"{date:%m-%d}",
        None if usual else date.year,
        *(place[0], place[1]),
        row.get("place") or "",
        row.get("source") or "",
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

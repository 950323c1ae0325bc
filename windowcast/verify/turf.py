"""Turf state held against dated sightings, with the weather of the nearest station.

Each sighting is set beside what the model says for that day and place: the state with its chance,
the date the model gives for the same event, and whether a non-selective would have been permitted
on the day or in the two weeks after it. A permission where live leaf was seen is a wrong one.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from os import PathLike
from pathlib import Path
from typing import Any

import numpy as np

from windowcast.core.errors import InputError
from windowcast.core.great_circle import distance_km
from windowcast.core.record import DateArray, FloatArray, Record
from windowcast.core.season_calendar import season_start
from windowcast.core.site import site_from
from windowcast.core.time_axis import day_index
from windowcast.season.model import TurfPhase, TurfState
from windowcast.season.state import build
from windowcast.sources.files import read_weather
from windowcast.verify.turf_sightings import DATED, LIVE, Kind, Sighting, read_sightings
from windowcast.weather.gaps import filled
from windowcast.weather.join import hourly_to_daily
from windowcast.weather.quality import checked

WITHIN_KM = 150.0  # a station farther off is no weather of the place
BANDS_KM = (50.0, 100.0, 150.0)
AFTER_DAYS = 14  # a permission so long after a sighting of live leaf is a wrong one
BEFORE_DAYS, MARGIN_DAYS, SHARE_KNOWN = 240, 30, 0.9
_DAY = np.timedelta64(1, "D")
SPRING_FROM = 150  # days of the season from which green-up is looked for: late November
AUTUMN_FROM = 60
LEVELS = (0.1, 0.5, 0.9)


@dataclass(frozen=True)
class Held:
    """A sighting beside the model.

    Attributes
    ----------
    green, half
        Chance of live leaf, and of half the leaf, on the day.
    permitted
        Days of the one seen and the 14 after it on which a non-selective was permitted.
    wrong
        Live leaf was seen, and there are such days.
    days_off, early, late
        Model's date less the one seen [d], and its 10 and 90 % dates; None where the sighting dates
        no event or the model does not reach it.
    """

    sighting: Sighting
    station: str
    distance_km: float
    phase: str
    green: float
    half: float
    permitted: int
    wrong: bool
    days_off: int | None
    early: dt.date | None
    late: dt.date | None

    @property
    def inside(self) -> bool | None:
        """Whether what was seen lies within the model's 10 to 90 % dates, its precision allowed."""
        if self.days_off is None or self.early is None or self.late is None:
            return None
        assert self.sighting.date is not None
        precision = self.sighting.precision_d
        give = dt.timedelta(0 if np.isnan(precision) else precision)
        return self.early - give <= self.sighting.date <= self.late + give


def verify_turf(
    path: str | PathLike[str],
    weather: Sequence[str | PathLike[str]],
    *,
    within_km: float = WITHIN_KM,
) -> dict[str, Any]:
    """Every sighting of a file against the model, and the totals, as plain values for JSON.

    Parameters
    ----------
    path
        CSV of dated sightings; see `windowcast.verify.turf_sightings`.
    weather
        Weather files that carry a place, or folders of them.
    within_km
        How far off a station may lie [km].

    Raises
    ------
    InputError
        A row cannot be read, or there is no weather with a place.
    """
    sightings = read_sightings(path)
    stations, skipped = _stations(weather)
    states: dict[tuple[int, str], tuple[DateArray, TurfState]] = {}
    held, unused = [], []
    for sighting in sightings:
        if sighting.unusable:
            unused.append((sighting, sighting.unusable))
            continue
        near = _nearest(sighting, stations, within_km)
        if near is None:
            unused.append((sighting, f"no station within {within_km:g} km knows that season"))
            continue
        index, distance = near
        key = (index, sighting.species)
        if key not in states:
            states[key] = _state(stations[index], sighting.species)
        held.append(_held(sighting, stations[index], distance, *states[key]))
    return {
        "rows": [_plain(h) for h in held],
        "unused": [{"row": s.row, "event": s.event, "site": s.site, "why": w} for s, w in unused],
        "weather_skipped": skipped,
        "totals": {
            "all": _totals(held),
            "well_founded": _totals([h for h in held if h.sighting.well_founded]),
            **{
                f"within_{band:g}_km": _totals([h for h in held if h.distance_km <= band])
                for band in BANDS_KM
                if band <= within_km
            },
        },
    }


def _stations(paths: Sequence[str | PathLike[str]]) -> tuple[list[Record], list[str]]:
    """Daily records with a place, and the names of files in folders that gave none."""
    records, skipped = [], []
    for given in map(Path, paths):
        if not given.exists():
            raise InputError("does not exist", path=given, remedy="name a file or a folder")
        inside = sorted(p for p in given.rglob("*") if p.is_file()) if given.is_dir() else [given]
        for file in inside:
            try:
                record = read_weather(file)
                record = record if record.daily else hourly_to_daily(record)
                if not np.isfinite(record.place.latitude_deg + record.place.longitude_deg):
                    raise InputError(
                        "carries no place", path=file, remedy="give a file with coordinates"
                    )
                if not {"tmax_c", "tmin_c"} <= set(record.values):
                    raise InputError(
                        "holds no daily highest and lowest temperature", path=file,
                        remedy="give a file with both",
                    )  # fmt: skip
            except InputError:
                if not given.is_dir():
                    raise
                skipped.append(file.name)
                continue
            records.append(record)
    if not records:
        raise InputError(
            "holds no weather file that carries a place", path=paths[0] if paths else None,
            field=None if paths else "--weather", remedy="name USCRN or other files with a place",
        )  # fmt: skip
    return records, skipped


def _nearest(
    sighting: Sighting, stations: Sequence[Record], within_km: float
) -> tuple[int, float] | None:
    """Index and distance [km] of the nearest station that knows the season of a sighting."""
    places = np.array([(r.place.latitude_deg, r.place.longitude_deg) for r in stations])
    far = distance_km(places[:, 0], places[:, 1], sighting.latitude_deg, sighting.longitude_deg)
    day = np.datetime64(sighting.date, "D")
    for index in np.argsort(far, kind="stable").tolist():
        if far[index] > within_km:
            return None
        record = stations[index].between(day - BEFORE_DAYS * _DAY, day + MARGIN_DAYS * _DAY)
        known = np.isfinite(record.get("tmax_c") + record.get("tmin_c")).sum()
        if known >= SHARE_KNOWN * (BEFORE_DAYS + MARGIN_DAYS + 1):
            return index, float(far[index])
    return None


def _state(record: Record, species: str) -> tuple[DateArray, TurfState]:
    """The state of plain turf at a station: nothing said of its care, no season log."""
    place = record.place
    site = site_from(
        {
            "name": "station", "timezone": "UTC", "latitude": float(place.latitude_deg),
            "longitude": float(place.longitude_deg), "weeds": [],
            "turf": {"species": species},
        }
    )  # fmt: skip
    found, _ = build(filled(checked(record)), site)
    return found.dates.astype("datetime64[D]"), found.turf


def _held(
    sighting: Sighting, record: Record, distance: float, dates: DateArray, turf: TurfState
) -> Held:
    assert sighting.date is not None
    assert sighting.kind is not None
    at = day_index(dates, sighting.date)
    safe = turf.nonselective_safe[at : at + AFTER_DAYS + 1] == 1
    safe &= (
        not sighting.overseeded
    )  # a non-selective would kill the overseeding, whatever the state
    crossings = _crossings(sighting.kind, sighting.date, dates, turf, record.place.southern)
    early, middle, late = crossings or (None, None, None)
    return Held(
        sighting, record.place.name, distance, TurfPhase(int(turf.phase[at])).name.lower(),
        float(turf.green_probability[at]), float(turf.half_green_probability[at]),
        int(safe.sum()), bool(safe.any()) and sighting.kind in LIVE,
        None if middle is None else (middle - sighting.date).days, early, late,
    )  # fmt: skip


def _crossings(
    kind: Kind, date: dt.date, dates: DateArray, turf: TurfState, southern: bool
) -> tuple[dt.date, dt.date, dt.date] | None:
    """10, 50 and 90 % dates of the event in the season of a date; None where not all are known.

    First leaf: when live leaf first has the chance; greened up: when half the leaf has it for good;
    dormant: when half the leaf first is gone with the chance.
    """
    if kind not in DATED:
        return None
    start = np.datetime64(season_start(date, southern=southern), "D")
    begin = SPRING_FROM if kind != "dormant" else AUTUMN_FROM
    days = np.flatnonzero((dates >= start + begin * _DAY) & (dates < start + 365 * _DAY))
    chance = turf.green_probability if kind == "first leaf" else turf.half_green_probability
    found = [_day(kind, chance[days], level) for level in LEVELS]
    if any(index is None for index in found):
        return None
    early, middle, late = (dates[days[i]].astype(object) for i in found if i is not None)
    return early, middle, late


def _day(kind: Kind, chance: FloatArray, level: float) -> int | None:
    """Index of the day on which an event has come with a chance, None where it is not known."""
    event = 1.0 - chance if kind == "dormant" else chance
    if kind == "greened up":
        below = np.flatnonzero(event < level)
        index = int(below[-1]) + 1 if below.size else 0
    else:
        brown = np.flatnonzero(event < level)  # only what comes after a day without counts
        later = np.flatnonzero(event >= level)
        later = later[later > brown[0]] if brown.size else later[:0]
        index = int(later[0]) if later.size else len(event)
    return index if 0 < index < len(event) and np.isfinite(event[index]) else None


def _totals(held: Sequence[Held]) -> dict[str, Any]:
    off = np.array([h.days_off for h in held if h.days_off is not None], dtype=float)
    inside = [h.inside for h in held if h.inside is not None]
    live = [h for h in held if h.sighting.kind in LIVE]
    brown = sum(h.phase == "dormant" for h in live)
    return {
        "n": len(held),
        "live_leaf_seen": len(live),
        "called_dormant": brown,
        "wrong_permissions": sum(h.wrong for h in held),
        "dated": len(off),
        "median_abs_days_off": _rounded(np.median(np.abs(off)) if off.size else None),
        "p90_abs_days_off": _rounded(np.quantile(np.abs(off), 0.9) if off.size else None),
        "bias_days": _rounded(off.mean() if off.size else None),
        "inside_10_90": _rounded(float(np.mean(inside)) if inside else None),
    }


def _rounded(value: Any) -> float | None:
    return None if value is None or np.isnan(value) else round(float(value), 2)


def _plain(held: Held) -> dict[str, Any]:
    s = held.sighting
    return {
        "row": s.row,
        "grass": s.grass,
        "species": s.species,
        "event": s.event,
        "kind": s.kind,
        "date": str(s.date),
        "site": s.site,
        "well_founded": s.well_founded,
        "precision_d": _rounded(s.precision_d),
        "station": held.station,
        "distance_km": round(held.distance_km, 1),
        "state": held.phase,
        "green_probability": _rounded(held.green),
        "half_green_probability": _rounded(held.half),
        "permitted_days": held.permitted,
        "wrong_permission": held.wrong,
        "days_off": held.days_off,
        "early": str(held.early) if held.early else None,
        "late": str(held.late) if held.late else None,
        "inside": held.inside,
    }

"""Made-up sites, states and weather for the tests of windows: fair by default, spoilt on demand."""

from __future__ import annotations

import datetime as dt
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from windowcast.core.local_days import hours_of
from windowcast.core.record import Grade, Members, Record
from windowcast.core.site import Site, site_from
from windowcast.season.model import Emergence, SiteState, TurfPhase, TurfState

TODAY = dt.date(2023, 1, 16)  # a Monday


def site(**changes: Any) -> Site:
    raw: dict[str, Any] = {
        "name": "Test Field",
        "latitude": 41.0,
        "longitude": 2.0,
        "elevation_m": 100.0,
        "timezone": "Europe/Madrid",
        "turf": {
            "species": "hybrid bermudagrass",
            "overseeded": False,
            "irrigated": True,
            "mature": True,
        },
    }
    for key, value in changes.items():
        raw[key] = raw[key] | value if isinstance(value, dict) and key in raw else value
    return site_from(raw)


def state(
    first: dt.date = TODAY,
    days: int = 30,
    *,
    soil_c: float = 8.0,
    phase: TurfPhase = TurfPhase.DORMANT,
    safe: float = 1.0,
    to_greenup: float = 60.0,
    share: float = 0.85,
    young: float = 0.3,
    leaf: float = 14.0,
    spring_share: float = 0.0,
    frozen: bool = False,
    moisture: float = 0.5,
) -> SiteState:
    def full(value: float) -> np.ndarray:
        return np.full(days, value, dtype=np.float64)

    def weed(code: str, name: str, season: str, up: float) -> Emergence:
        return Emergence(code, name, season, full(up), full(up), full(up), full(young), full(leaf))

    return SiteState(
        dates=np.datetime64(first, "D") + np.arange(days),
        soil_5cm_c=full(soil_c),
        soil_10cm_c=full(soil_c),
        soil_moisture=full(moisture),
        soil_frozen=np.full(days, frozen),
        degree_days={},
        emergence={
            "POAAN": weed("POAAN", "annual bluegrass", "fall", share),
            "DIGIS": weed("DIGIS", "smooth crabgrass", "spring", spring_share),
        },
        turf=TurfState(
            phase=np.full(days, int(phase), dtype=np.int8),
            dormant_probability=full(1.0 if phase == TurfPhase.DORMANT else 0.0),
            green_probability=full(0.0 if phase == TurfPhase.DORMANT else 1.0),
            half_green_probability=full(0.0 if phase == TurfPhase.DORMANT else 1.0),
            greening_begun=full(1.0 if phase == TurfPhase.GREENING else 0.0),
            injury_probability=full(1.0 - safe),
            days_since_dormant=full(20.0),
            days_to_greenup=full(to_greenup),
            nonselective_safe=full(safe),
            unseen=np.zeros(days, dtype=bool),
        ),
    )


def past(today: dt.date = TODAY, days: int = 60, **changes: Any) -> SiteState:
    return state(today - dt.timedelta(days=days), days, **changes)


FAIR = {
    "temp_c": 16.0,
    "dewpoint_c": 8.0,
    "wind_m_s": 2.5,
    "gust_m_s": 4.0,
    "precip_mm": 0.0,
    "precip_prob": 0.0,
    "cloud_fraction": 0.3,
}


def weather(
    here: Site,
    *,
    today: dt.date = TODAY,
    days: int = 8,
    futures: int = 0,
    forecast_days: int = 7,
    without: tuple[str, ...] = (),
    **values: Any,
) -> Members:
    """Members with the same weather in all hours; a value may be an array ``[member, hour]``."""
    times = hours_of(ZoneInfo(here.timezone), np.datetime64(today, "D"), days)
    rows = 1 + futures
    hourly = {}
    for name, value in (FAIR | values).items():
        if name not in without:
            hourly[name] = np.array(np.broadcast_to(value, (rows, len(times))), dtype=np.float64)
    dates = np.datetime64(today, "D") + np.arange(30)
    daily = {"precip_mm": np.zeros((rows, len(dates)))}
    return Members(
        daily=_record(here, dates, daily),
        hourly=_record(here, times, hourly),
        forecast_days=forecast_days,
        past_years=10,
    )


def _record(here: Site, times: np.ndarray, values: dict[str, np.ndarray]) -> Record:
    grades = {k: np.full(len(times), Grade.FORECAST, dtype=np.uint8) for k in values}
    return Record(here.place, times, values, grades)


def local_index(here: Site, day: int, hour: int, *, today: dt.date = TODAY) -> int:
    """Index on the members' hours of a local hour `day` days after today."""
    zone = ZoneInfo(here.timezone)
    start = dt.datetime.combine(today, dt.time(), zone).astimezone(dt.UTC)
    when = dt.datetime.combine(today + dt.timedelta(days=day), dt.time(hour), zone)
    return int((when.astimezone(dt.UTC) - start) / dt.timedelta(hours=1))

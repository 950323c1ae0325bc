"""Seasons as they came, from USCRN days of tests/data/uscrn, with calm hours made of them."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from uscrn_sites import FOLDER

from windowcast.core.record import Grade, Record
from windowcast.core.site import Site, site_from
from windowcast.materials.actives import load_actives
from windowcast.season.observed import Applied
from windowcast.sources.uscrn import read_uscrn
from windowcast.verify.as_it_came import AsItCame
from windowcast.verify.sprays import Done, Tank
from windowcast.verify.worth import Worlds
from windowcast.weather.hourly import daily_to_hourly

ZONE = "America/Chicago"
PRODIAMINE: Tank = (("prodiamine", 0.84),)
FORAMSULFURON: Tank = (("foramsulfuron", 0.029),)
GLYPHOSATE: Tank = (("glyphosate", 0.42),)
WATER_MM = 12.7


@dataclass(frozen=True)
class Season:
    """A season as it came."""

    daily: Record
    hourly: Record
    season: int


def ground(record: Record, *, irrigated: bool) -> Site:
    """Mature hybrid bermudagrass that is not overseeded, at a station."""
    return site_from(
        {
            "name": "Test ground",
            "latitude": record.place.latitude_deg,
            "longitude": record.place.longitude_deg,
            "timezone": ZONE,
            "weeds": ["POAAN", "DIGIS", "DIGSA"],
            "equipment": {"wind_max_m_s": 4.5},
            "turf": {
                "species": "hybrid bermudagrass",
                "overseeded": False,
                "mature": True,
                "irrigated": irrigated,
            },
        }
    )


@cache
def station(name: str, *, irrigated: bool = True) -> AsItCame:
    """A station's whole record on such a ground."""
    record = read_uscrn(FOLDER / f"{name}.txt.gz")
    record = replace(record, place=replace(record.place, timezone=ZONE))
    return AsItCame.of(record, ground(record, irrigated=irrigated), load_actives())


@cache
def season(name: str, year: int) -> Season:
    """A season with calm hours; each day's rain falls evenly over it."""
    record = station(name).record
    daily = record.between(record.times[0], np.datetime64(f"{year + 1}-06-30"))
    hours = daily_to_hourly(daily, dt.date(year, 7, 1), 365)
    count = len(hours.times)
    made = {
        "wind_m_s": np.full(count, 2.5),
        "gust_m_s": np.full(count, 4.0),
        "cloud_fraction": np.full(count, 0.5),
        "dewpoint_c": hours.get("temp_c") - 6.0,
    }
    marks = dict.fromkeys(made, np.full(count, Grade.ESTIMATED, np.uint8))
    hourly = replace(hours, values={**hours.values, **made}, grades={**hours.grades, **marks})
    return Season(daily, hourly, year)


def worlds(name: str, year: int, *, irrigated: bool = True, draws: int = 20) -> Worlds:
    """The worlds of a season, fresh."""
    return Worlds.of(station(name, irrigated=irrigated), season(name, year), draws=draws)


def done(
    worlds: Worlds,
    purpose: str,
    tank: Tank,
    date: dt.date,
    *,
    water_mm: float | None = None,
    hour: int = 9,
) -> Done:
    """An application of two hours; watered in on the same day."""
    start = dt.datetime.combine(date, dt.time(hour), worlds.site.zone)
    on = None if water_mm is None else date
    return Done(Applied(date, purpose, tank, water_mm, on), start, start + dt.timedelta(hours=2))

"""The hours ahead as they are shown: weather, what each is worth, and what limits it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class HourStrip:
    """Hour-by-hour scores of the coming days for a purpose, for the report's strip chart."""

    times: tuple[dt.datetime, ...]
    scores: tuple[float | None, ...]  # 0..100
    limits: tuple[str, ...]  # id of the limiting criterion per hour, "" when none
    measured: tuple[float | None, ...] = ()  # its value per hour, in the criterion's unit
    bounds: tuple[Bound, ...] = ()
    checks: tuple[HourCheck, ...] = ()


@dataclass(frozen=True, slots=True)
class HourCheck:
    """What one criterion measures in each hour, and what that is worth; None: cannot be told.

    Attributes
    ----------
    unit
        Of `measured`, `low` and `high`; "" where nothing but yes or no is measured.
    low, high
        Ends of the range with the full score; None: no such end.
    yours
        Whether `high` is the site's own limit rather than the criterion's.
    measured, scores
        Of the hours in daylight (`HoursAhead.light`) alone; scores are 0..1, by the criterion's
        weight.
    """

    criterion: str
    unit: str
    low: float | None
    high: float | None
    yours: bool
    measured: tuple[float | None, ...]
    scores: tuple[float | None, ...]


@dataclass(frozen=True, slots=True)
class Bound:
    """The values of a criterion between which an hour is not a no; None: no such end."""

    criterion: str
    low: float | None
    high: float | None
    unit: str


@dataclass(frozen=True, slots=True)
class HoursAhead:
    """The weather by the hour on the days ranked, the forecast as issued; None: not known.

    Attributes
    ----------
    light
        Whether the whole hour is in daylight.
    rain_chance, day_rain_chance
        Share of the weather scenarios with measurable rain in the hour, and on the hour's day,
        0..1.
    soil_5cm_c
        Mean of the hour's day.
    """

    times: tuple[dt.datetime, ...]
    light: tuple[bool, ...]
    temp_c: tuple[float | None, ...]
    wind_m_s: tuple[float | None, ...]
    gust_m_s: tuple[float | None, ...]
    rain_mm: tuple[float | None, ...]
    rain_chance: tuple[float | None, ...]
    day_rain_chance: tuple[float | None, ...]
    soil_5cm_c: tuple[float | None, ...]

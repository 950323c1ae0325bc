"""Hours from days, and days from hours.

`daily_to_hourly` reconstructs air temperature from its daily extremes by Parton & Logan (1981):
a sine from the minimum near sunrise to sunset, an exponential fall through the night. What a
daily record cannot tell about hours stays missing: wind, gusts, humidity nobody measured, cloud.
Everything reconstructed is graded ESTIMATED.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from zoneinfo import ZoneInfo

import numpy as np

from windowcast.core.local_days import day_starts, hours_of, local_dates, utc_offset_h
from windowcast.core.record import DateArray, FloatArray, Grade, Place, Record
from windowcast.core.time_axis import extended, grades_of
from windowcast.core.values import PACKAGED, Table, Tables
from windowcast.physics.humidity import dewpoint_from_rh_c
from windowcast.physics.sun import day_length_h, day_of_year, sunrise_sunset_utc

METHOD = "hours from daily extremes, Parton & Logan 1981; rain spread evenly over its day"


@dataclass(frozen=True, slots=True)
class SolarDays:
    """Sun times of consecutive local dates, in hours after an origin, ``[day]``."""

    minimum: FloatArray  # when the minimum is expected
    sunset: FloatArray
    length_h: FloatArray


def solar_days(place: Place, dates: DateArray, origin: np.datetime64, table: Table) -> SolarDays:
    """Expected time of the minimum, sunset and day length of each local date.

    Parameters
    ----------
    dates
        Local dates, ``[day]``.
    origin
        ``datetime64[h]`` UTC from which the times are counted.
    table
        ``data/hourly.toml``.
    """
    offset = utc_offset_h(ZoneInfo(place.timezone), dates)
    # at the equator the sun crosses the horizon every day: the middle is solar noon everywhere
    rise, sunset = sunrise_sunset_utc(0.0, place.longitude_deg, dates, utc_offset_h=offset)
    noon = ((rise - origin) + (sunset - origin)).astype("timedelta64[s]").astype(float) / 7200
    floor = table.number("day_length_floor_h")
    length = np.clip(day_length_h(place.latitude_deg, day_of_year(dates)), floor, 24 - floor)
    start = noon - length / 2 + table.number("parton_logan.c")
    return SolarDays(start, noon + length / 2, length)


def diurnal_temperature_c(
    tmin_c: FloatArray, tmax_c: FloatArray, sun: SolarDays, hours: FloatArray, table: Table
) -> FloatArray:
    """Air temperature at given hours from daily extremes (Parton & Logan 1981).

    Parameters
    ----------
    tmin_c, tmax_c
        Daily extremes, ``[..., day]``.
    sun
        Sun times of the same days.
    hours
        Hours after the origin of `sun`, between the first and the last minimum, ``[hour]``.
    table
        ``data/hourly.toml``.

    Returns
    -------
    FloatArray
        ``[..., hour]``; NaN where an extreme it needs is missing.

    Notes
    -----
    By day T = Tmin + (Tmax - Tmin) sin(pi m / (N + 2a)) with m hours since the minimum and day
    length N. By night T falls exponentially from its value at sunset to the next day's minimum;
    the exponential is scaled to arrive there exactly, as crop models that use the method do, so
    that the curve has no jump.
    """
    a, b = table.number("parton_logan.a"), table.number("parton_logan.b")
    today = np.clip(np.searchsorted(sun.minimum, hours, side="right") - 1, 0, len(sun.minimum) - 2)
    since, night = hours - sun.minimum[today], sun.minimum[today + 1] - sun.sunset[today]
    daylight = sun.sunset[today] - sun.minimum[today]

    def sine(since_minimum: FloatArray) -> FloatArray:
        rise = np.sin(np.pi * since_minimum / (sun.length_h[today] + 2 * a))
        return tmin_c[..., today] + (tmax_c - tmin_c)[..., today] * rise

    fall = (np.exp(-b * (since - daylight) / night) - np.exp(-b)) / (1 - np.exp(-b))
    next_min = tmin_c[..., today + 1]
    by_night = next_min + (sine(daylight) - next_min) * fall
    return np.where(since <= daylight, sine(since), by_night)


def daily_to_hourly(daily: Record, first: dt.date, days: int, tables: Tables = PACKAGED) -> Record:
    """Hours from local midnight of `first` over `days` local days, graded ESTIMATED.

    Parameters
    ----------
    daily
        Daily record, values ``[..., day]``; the days next to the span, if there, shape its ends.
    first, days
        The span in local dates; DST days have 23 or 25 hours.
    tables
        The science values to go by: ``hourly``.

    Returns
    -------
    Record
        UTC hours with ``temp_c``, ``precip_mm`` (each day's amount spread evenly over its hours:
        nobody knows the hour, so no hour of a wet day is dry) and, where the daily record has a
        mean humidity, ``dewpoint_c`` held through the day, never above the air temperature. Wind
        and gusts stay missing, since a daily mean hides the hours that matter.
    """
    zone = ZoneInfo(daily.place.timezone)
    start = np.datetime64(first, "D")
    one = np.timedelta64(1, "D")
    times = hours_of(zone, start, days)
    dates = np.arange(start - one, start + np.timedelta64(days + 1, "D"))
    day_of = (local_dates(zone, times) - dates[0]).astype(np.int64)
    near = extended(daily, dates[0], dates[-1])
    tmin, tmax = (_ends_filled(near.get(name)) for name in ("tmin_c", "tmax_c"))

    table, since = tables["hourly"], (times - times[0]).astype(np.float64)
    sun = solar_days(daily.place, dates, times[0], table)
    temp = diurnal_temperature_c(tmin, tmax, sun, since, table)
    bounds = day_starts(zone, np.append(dates, dates[-1] + one))
    per_hour = near.get("precip_mm") / np.maximum(np.diff(bounds).astype(np.float64), 1.0)
    values = {"temp_c": temp, "precip_mm": per_hour[..., day_of]}
    values["dewpoint_c"] = np.minimum(_dewpoint_c(near)[..., day_of], temp)
    values = {name: v for name, v in values.items() if np.isfinite(v).any()}
    return Record(
        daily.place,
        times,
        values,
        {name: grades_of(v, Grade.ESTIMATED) for name, v in values.items()},
        tuple(replace(p, detail=f"{p.detail} ({METHOD})") for p in daily.provenance),
    )


def _dewpoint_c(daily: Record) -> FloatArray:
    """Dew point at the day's mean temperature and humidity; NaN unless humidity was measured."""
    middle = (daily.get("tmax_c") + daily.get("tmin_c")) / 2
    mean = np.where(np.isnan(daily.get("tmean_c")), middle, daily.get("tmean_c"))
    return dewpoint_from_rh_c(mean, daily.get("rh_mean_pct"))


def _ends_filled(values: FloatArray) -> FloatArray:
    """The first and last day, outside the span, stand in for by their neighbours if missing."""
    filled = values.copy()
    for end, neighbour in ((0, 1), (-1, -2)):
        missing = np.isnan(filled[..., end])
        filled[..., end] = np.where(missing, filled[..., neighbour], filled[..., end])
    return filled

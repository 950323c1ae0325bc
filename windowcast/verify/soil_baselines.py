"""What the soil model has to beat: estimates of soil temperature without any physics.

Coefficients come from ``data/soil_baselines.toml``, written by ``benchmarks/fit_soil.py`` from
the same stations as the soil model's own parameters.
"""

from __future__ import annotations

import numpy as np

from windowcast.core.record import DateArray, FloatArray
from windowcast.core.values import load
from windowcast.physics.soil_forcing import SoilWeather, drivers
from windowcast.physics.sun import day_of_year

MEMORY_DAYS = (0.7, 2.0, 4.0, 8.0, 16.0, 32.0, 90.0, 365.0)
RUNNING_DAYS = 11
CLIMATE_HALF_DAYS = 7


def smoothed(values: FloatArray, days: tuple[float, ...]) -> FloatArray:
    """Exponential means with several memories, ``[memory, time, station]`` from ``[time, ...]``."""
    share = (1.0 - np.exp(-1.0 / np.array(days)))[:, None]
    mean = np.repeat(values[:365].mean(axis=0)[None], len(days), axis=0)
    result = np.empty((len(days), *values.shape))
    for day, value in enumerate(values):
        mean = mean + share * (value - mean)
        result[:, day] = mean
    return result


def same_day(weather: SoilWeather) -> FloatArray:
    """Mean air temperature of the day, ``[time, station]``."""
    return 0.5 * (weather.tmax_c + weather.tmin_c)


def running_mean(weather: SoilWeather) -> FloatArray:
    """Mean air temperature of the last 11 days."""
    air = same_day(weather)
    sums = np.cumsum(air, axis=0)
    sums[RUNNING_DAYS:] = sums[RUNNING_DAYS:] - sums[:-RUNNING_DAYS].copy()
    return sums / np.minimum(np.arange(1, len(air) + 1), RUNNING_DAYS)[:, None]


def exponential(weather: SoilWeather) -> FloatArray:
    """Exponentially smoothed air temperature plus an offset, both fitted."""
    table = load("soil_baselines").table("exponential")
    memory = (table.number("memory"),)
    return np.asarray(smoothed(same_day(weather), memory)[0] + table.number("offset"))


def regression_features(weather: SoilWeather, dates: DateArray) -> FloatArray:
    """Everything the linear regression sees, ``[time, station, feature]``.

    Air temperature, its daily range, radiation and rain smoothed with several memories, the
    season in two harmonics, and the season's products with the yearly mean temperature, range
    and radiation.
    """
    driven = drivers(weather)
    air = smoothed(same_day(weather), MEMORY_DAYS)
    span = smoothed(weather.tmax_c - weather.tmin_c, (0.7, 4.0, 16.0, 90.0, 365.0))
    sun = smoothed(driven.solar_w_m2, (0.7, 4.0, 16.0, 60.0, 365.0)) / 100
    rain = smoothed(np.minimum(weather.precip_mm, 40.0), (4.0, 16.0, 90.0, 365.0))
    angle = 2 * np.pi * day_of_year(dates)[:, None] / 365.25 + np.zeros(air.shape[1:])
    season = [np.sin(angle), np.cos(angle), np.sin(2 * angle), np.cos(2 * angle)]
    climate = [air[-1] / 10, span[-1] / 10, sun[-1]]
    products = [s * c for s in season[:2] for c in climate]
    columns = [np.ones_like(angle), *air, *span, *sun, *rain, *season, *products]
    return np.stack(columns, axis=-1)


def regression(weather: SoilWeather, dates: DateArray) -> FloatArray:
    """The best linear regression, ``[time, station]``."""
    coefficients = np.array(load("soil_baselines").value("regression.coefficients").value)
    return np.asarray(regression_features(weather, dates) @ coefficients)


def own_normal(soil_c: FloatArray, dates: DateArray) -> FloatArray:
    """Each station's own mean for the time of year (15 days, all its years): needs a probe there.

    It knows the very values it is compared with, which flatters it.
    """
    number = day_of_year(dates)
    result = np.full(soil_c.shape, np.nan)
    for day in np.unique(number):
        apart = np.abs((number - day + 183) % 366 - 183)
        near = soil_c[apart <= CLIMATE_HALF_DAYS]
        known = np.isfinite(near)
        total = np.where(known, near, 0.0).sum(axis=0)
        count = known.sum(axis=0)
        mean = np.where(count > 0, total / np.maximum(count, 1), np.nan)
        result[number == day] = mean
    return result

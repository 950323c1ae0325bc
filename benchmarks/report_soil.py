"""Skill of the soil model on stations held out of its fit, beside the baselines."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from windowcast.core.values import Table
from windowcast.physics.soil_forcing import SoilForcing, columns_of
from windowcast.verify import soil_baselines as baselines
from windowcast.verify.soil import (
    PASSINGS,
    SEASON_MONTHS,
    date_errors,
    in_season,
    observed_days,
    south_east,
    with_readings,
)
from windowcast.verify.soil_stations import Stations

FloatArray = npt.NDArray[np.float64]
OURS, MEASURED = "windowcast", "windowcast, sun measured"
READINGS = 10
MONTH_DAYS = 30


def skill_report(
    data: Stations,
    first: int,
    alone: FloatArray,
    measured: FloatArray,
    *,
    regression: FloatArray,
    fitted: Table,
) -> dict:
    """Pooled and by station, all models on the same days.

    Parameters
    ----------
    first
        Day of `data` with which the predictions begin.
    alone, measured
        Held-out predictions ``[depth, time, station]`` from daily highs, lows and rain alone, and
        with measured radiation and humidity.
    regression
        Held-out predictions at 5 cm ``[time, station]``.
    fitted
        The model's values, with what probe readings are weighed by.
    """
    dates, soil = data.dates[first:], data.soil_c[0].T[first:]
    east, season = south_east(data), in_season(dates)
    air = [data.weather[k] for k in ("tmax_c", "tmin_c", "precip_mm")]
    forcing = SoilForcing(data.dates, *air, data.latitude_deg)
    weather = columns_of(forcing, east.shape, slice(0, len(east)))
    models = {
        OURS: alone[0],
        MEASURED: measured[0],
        "linear regression": regression,
        "own day-of-year mean": baselines.own_normal(soil, dates),
        "exponential smoothing": baselines.exponential(weather)[first:],
        "11-day air mean": baselines.running_mean(weather)[first:],
        "same-day air mean": baselines.same_day(weather)[first:],
    }
    known = np.all([np.isfinite(m - soil) for m in models.values()], axis=0) & season[:, None]
    errors = {k: np.where(known, m - soil, np.nan) for k, m in models.items()}
    month = dates.astype("datetime64[M]").astype(np.int64) % 12 + 1
    everyone = np.ones(len(east), np.bool_)
    model = np.pad(alone.transpose(2, 1, 0), ((0, 0), (first, 0), (0, 0)), constant_values=np.nan)
    scored = np.pad(known.T, ((0, 0), (first, 0)))
    given = with_readings(data, model, scored, readings=READINGS, draws=4, seed=0, values=fitted)

    def bias(values: FloatArray) -> float:
        return round(float(np.nanmean(values)), 2)

    ours = errors[OURS]
    return {
        "what": "5 cm daily mean, September to April, RMSE in K, stations held out of the fit;"
        " windowcast from daily highs, lows and rain alone",
        "left out together": "a station and all of its town or within 30 km",
        "all": {k: rmse(e) for k, e in errors.items()},
        "south_east": {k: rmse(e[:, east]) for k, e in errors.items()},
        "south_east_bias": bias(ours[:, east]),
        "south_east_bias_by_month": {m: bias(ours[month == m][:, east]) for m in SEASON_MONTHS},
        "south_east_bias_standard_error": {
            m: standard_error(np.nanmean(by_station, axis=0))
            for m in SEASON_MONTHS
            if (by_station := _long_enough(ours[month == m][:, east])).size
        },
        "standard_error": {
            name: standard_error(np.sqrt(np.nanmean(_long_enough(ours[:, which]) ** 2, axis=0)))
            for name, which in (("all", everyone), ("south_east", east))
        },
        "were_it_known": {
            name: {"all": rmse(left), "south_east": rmse(left[:, east])}
            for name, left in (
                ("each station's lasting bias", without_means(ours, np.zeros_like(month))),
                ("each station's bias by month", without_means(ours, month)),
            )
        },
        "with_ten_readings": {
            rule: {"all": rmse(e), "south_east": rmse(e[:, east])} for rule, e in given.items()
        },
        "dates": {
            name: _dates(data, first, models, which)
            for name, which in (("all", everyone), ("south_east", east))
        },
        "stations": {
            name: {
                "rmse_c": rmse(ours[:, i]),
                "bias_c": bias(ours[:, i]),
                "regression_rmse_c": rmse(errors["linear regression"][:, i]),
                "south_east": bool(east[i]),
            }
            for i, name in enumerate(data.names)
        },
    }


def standard_error(of_stations: FloatArray) -> float:
    """Of a mean over stations, each of which counts alike, from how far they differ."""
    return round(float(of_stations.std(ddof=1) / np.sqrt(len(of_stations))), 2)


def _long_enough(error: FloatArray) -> FloatArray:
    """Columns of stations with a month of days at least."""
    return error[:, np.isfinite(error).sum(axis=0) >= MONTH_DAYS]


def without_means(error: FloatArray, month: npt.NDArray[np.int64]) -> FloatArray:
    """Errors ``[time, station]`` less each station's own mean over all days of a month."""
    left = error.copy()
    for one in np.unique(month):
        days = month == one
        known = np.isfinite(error[days])
        means = np.where(known, error[days], 0.0).sum(axis=0) / np.maximum(known.sum(axis=0), 1)
        left[days] -= means
    return left


def rmse(error: FloatArray) -> float:
    return round(float(np.sqrt(np.nanmean(np.square(error, dtype=np.float64)))), 2)


def _dates(data: Stations, first: int, models: dict, which: npt.NDArray[np.bool_]) -> dict:
    """Passing → model → days off, mean and median, on years that all models can be judged by."""
    dates, found = data.dates[first:], {}
    soil = data.soil_c[0][:, first:]
    for passing in PASSINGS:
        seen = observed_days(soil, dates, passing)
        off = {k: date_errors(m.T, dates, passing, seen)[which] for k, m in models.items()}
        judged = np.all([np.isfinite(v) for v in off.values()], axis=0)
        found[passing.name] = {"years": int(judged.sum())} | {
            k: [round(float(f(np.abs(v[judged]))), 1) for f in (np.mean, np.median)]
            for k, v in off.items()
        }
    return found

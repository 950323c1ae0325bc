"""The soil model measured against probes, beside what it has to beat.

Every model is scored on the same days and the same station-years: by its errors, by how far off the
dates are on which it passes a temperature, and by how much a few probe readings help.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from os import PathLike
from typing import Any

import numpy as np
import numpy.typing as npt

from windowcast.core.record import DateArray, FloatArray
from windowcast.core.time_axis import first_day
from windowcast.core.values import Table
from windowcast.physics.soil import SoilForcing, SoilSite, simulate
from windowcast.physics.soil_forcing import columns_of
from windowcast.physics.soil_site import ProbeReading, fit_site_correction
from windowcast.verify import soil_baselines as baselines
from windowcast.verify.soil_stations import Stations, read_stations

WEEK = 7
LEAST_DAYS = 5  # of a week's seven, for its mean

DEPTH_M = 0.05
SEASON_MONTHS = (9, 10, 11, 12, 1, 2, 3, 4)
MODEL = "model"
PLAIN = "model_without_radiation_and_humidity"
Metrics = dict[str, float | int | None]


@dataclass(frozen=True)
class Passing:
    """A 7-day mean falling to or rising to a temperature, looked for within part of the year.

    The week ends on the day named; days are counted from `month`, day 1, for `span` days.
    """

    name: str
    temp_c: float
    falling: bool
    month: int
    span: int


PASSINGS = (
    Passing("autumn_21.1c", 21.1, falling=True, month=8, span=153),
    Passing("spring_12.8c", 12.8, falling=False, month=1, span=181),
)


def weekly_mean(temp_c: FloatArray) -> FloatArray:
    """Mean of the seven days up to each day ``[..., time]``; NaN with fewer than five known."""
    known = np.isfinite(temp_c)
    sums = np.cumsum(np.where(known, temp_c, 0.0), axis=-1)
    counts = np.cumsum(known, axis=-1)
    sums[..., WEEK:] = sums[..., WEEK:] - sums[..., :-WEEK].copy()
    counts[..., WEEK:] = counts[..., WEEK:] - counts[..., :-WEEK].copy()
    mean: FloatArray = np.where(counts >= LEAST_DAYS, sums / np.maximum(counts, 1), np.nan)
    mean[..., : WEEK - 1] = np.nan
    return mean


def _windows(weekly: FloatArray, dates: DateArray, passing: Passing) -> FloatArray:
    """Cut into the part of each year looked at: ``[..., year, day]``, NaN beyond the record."""
    years = np.unique(dates.astype("datetime64[Y]"))
    begins = years.astype("datetime64[M]") + np.timedelta64(passing.month - 1, "M")
    first = (begins.astype("datetime64[D]") - dates[0]).astype(np.int64)
    index = first[:, None] + np.arange(passing.span)
    inside = (index >= 0) & (index < len(dates))
    return np.where(inside, weekly[..., np.clip(index, 0, len(dates) - 1)], np.nan)


def _reached(windows: FloatArray, passing: Passing) -> npt.NDArray[np.bool_]:
    if passing.falling:
        return windows <= passing.temp_c
    return windows >= passing.temp_c


def _first(reached: npt.NDArray[np.bool_]) -> npt.NDArray[np.int64]:
    """Day of the first true value, the number of days when there is none."""
    return np.minimum(first_day(reached), reached.shape[-1]).astype(np.int64)


def observed_days(soil_c: FloatArray, dates: DateArray, passing: Passing) -> npt.NDArray[np.int64]:
    """Day of each year's window on which the observed mean passes, ``[..., year]``; -1 if unusable.

    A year counts when the weekly mean is known on every day from the start of the window to the
    passing, and lies on the other side of the temperature at the start.
    """
    windows = _windows(weekly_mean(soil_c), dates, passing)
    reached = _reached(windows, passing)
    day = _first(reached)
    known = np.cumsum(np.isfinite(windows), axis=-1)
    at = np.minimum(day, windows.shape[-1] - 1)
    complete = np.take_along_axis(known, at[..., None], axis=-1)[..., 0] == at + 1
    usable = (day > 0) & (day < windows.shape[-1]) & complete
    return np.where(usable, day, -1)


def date_errors(
    model_c: FloatArray,
    dates: DateArray,
    passing: Passing,
    observed: npt.NDArray[np.int64],
) -> FloatArray:
    """Days by which a model's passing is off, ``[..., year]``, positive when late.

    NaN where `observed` is unusable or the model is blind for the start of the window. A model
    that has already passed at the start counts with that day, one that never passes with the end.
    """
    windows = _windows(weekly_mean(model_c), dates, passing)
    day = _first(_reached(windows, passing))
    at = np.minimum(np.maximum(day, observed), windows.shape[-1] - 1)
    known = np.cumsum(np.isfinite(windows), axis=-1)
    complete = np.take_along_axis(known, at[..., None], axis=-1)[..., 0] == at + 1
    late_end = day == windows.shape[-1]
    complete |= late_end & (np.isfinite(windows).mean(axis=-1) > 0.9)
    return np.where((observed >= 0) & complete, day - observed, np.nan)


def with_readings(
    data: Stations,
    model_c: FloatArray,
    scored: npt.NDArray[np.bool_],
    *,
    readings: int,
    draws: int,
    seed: int,
    values: Table | None = None,
) -> dict[str, FloatArray]:
    """Errors once readings are given, rule → ``[draw, station, time]``, NaN where not scored.

    Parameters
    ----------
    model_c
        At 5 and 10 cm ``[station, time, depth]``, without readings.
    scored
        Days that count, ``[station, time]``.
    readings, draws, seed
        How many daily means are given, how often they are drawn, and the seed.
    values
        Instead of ``data/soil.toml``.
    """
    random = np.random.default_rng(seed)
    shape = (draws, *model_c.shape[:2])
    found = {rule: np.full(shape, np.nan, dtype=np.float32) for rule in ("spread", "one_season")}
    season = _season(data.dates)
    for i in range(len(data.names)):
        days = np.flatnonzero(scored[i])
        for draw in range(draws if len(days) else 0):
            one = days[season[days] == random.choice(np.unique(season[days]))]
            for rule, pool in (("spread", days), ("one_season", one)):
                if len(pool) < readings:
                    continue
                chosen = random.choice(pool, readings, replace=False)
                given = [
                    ProbeReading(data.dates[d], DEPTH_M, float(data.soil_c[0, i, d]))
                    for d in chosen
                ]
                fitted = fit_site_correction(model_c[i], data.dates, given, values=values)
                if fitted is None:
                    continue
                rest = days[~np.isin(days, chosen)]
                top, below = model_c[i, rest].T
                better = top + fitted.at(data.dates[rest], top, below)
                found[rule][draw, i, rest] = better - data.soil_c[0, i, rest]
    return found


def _season(dates: DateArray) -> npt.NDArray[np.int64]:
    """Year in which the season (July to June) of each date began."""
    months: npt.NDArray[np.int64] = dates.astype("datetime64[M]").astype(np.int64)
    return (months - 6) // 12


def in_season(dates: DateArray) -> npt.NDArray[np.bool_]:
    """September to April."""
    return np.isin(dates.astype("datetime64[M]").astype(np.int64) % 12 + 1, SEASON_MONTHS)


def south_east(data: Stations) -> npt.NDArray[np.bool_]:
    """Which stations lie in the south-east (`in_south_east`), ``[station]``."""
    return in_south_east(data.latitude_deg, data.longitude_deg)


def in_south_east(
    latitude_deg: npt.ArrayLike, longitude_deg: npt.ArrayLike
) -> npt.NDArray[np.bool_]:
    """South-eastern US and transition zone: south of 39.6° N and east of 98° W."""
    north, east = np.asarray(latitude_deg), np.asarray(longitude_deg)
    return np.asarray((north < 39.6) & (north > 24) & (east > -98.0))


def forcing_of(data: Stations) -> SoilForcing:
    """The stations' weather twice, ``[way, station, time]``: radiation and humidity as measured,
    and as if never measured.
    """
    w = data.weather
    nothing = np.full(w["tmax_c"].shape, np.nan)
    return SoilForcing(
        dates=data.dates,
        tmax_c=w["tmax_c"],
        tmin_c=w["tmin_c"],
        precip_mm=w["precip_mm"],
        latitude_deg=data.latitude_deg,
        longitude_deg=data.longitude_deg,
        solar_mj_m2=np.stack([w["solar_mj_m2"], nothing]),
        rh_mean_pct=np.stack([w["rh_mean_pct"], nothing]),
    )


def predictions(data: Stations) -> tuple[dict[str, FloatArray], dict[str, FloatArray]]:
    """5 cm by every model, name → ``[station, time]``; ours at both, ``[station, time, depth]``.

    Ours is driven in both ways of `forcing_of`.
    """
    forcing = forcing_of(data)
    measured, estimated = simulate(forcing, SoilSite()).temp_c
    shape = (2, len(data.names))
    weather = columns_of(forcing, shape, slice(0, shape[1]))  # as measured
    models = {
        MODEL: measured[..., 0],
        PLAIN: estimated[..., 0],
        "same_day_air_mean": baselines.same_day(weather).T,
        "11_day_air_mean": baselines.running_mean(weather).T,
        "exponential_smoothing": baselines.exponential(weather).T,
        "linear_regression": baselines.regression(weather, data.dates).T,
        "own_day_of_year_mean_in_situ": baselines.own_normal(data.soil_c[0].T, data.dates).T,
    }
    return models, {MODEL: measured, PLAIN: estimated}


def verify_soil(
    paths: Sequence[str | PathLike[str]], *, readings: int = 10, draws: int = 10, seed: int = 0
) -> dict[str, Any]:
    """Score the soil model on USCRN daily files.

    Parameters
    ----------
    paths
        Files or folders.
    readings, draws, seed
        Probe readings given to the model in the second part, how often they are drawn, and the
        seed of the draws. None are drawn with 0 readings.

    Returns
    -------
    dict
        Ready for JSON: ``stations``, ``pooled``, ``notes``.

    Raises
    ------
    InputError
        A file cannot be used, or no station has soil temperature.
    """
    data = read_stations(paths)
    models, ours = predictions(data)
    season = in_season(data.dates)
    known = np.isfinite(data.soil_c[0]) & np.all([np.isfinite(m) for m in models.values()], axis=0)
    errors = {k: np.where(known, m - data.soil_c[0], np.nan) for k, m in models.items()}
    deep = ours[MODEL][..., 1] - data.soil_c[1]
    passing = _date_errors(data, models)
    corrected = {
        way: with_readings(data, c, known & season, readings=readings, draws=draws, seed=seed)
        for way, c in ours.items()
        if readings
    }

    def part(which: npt.NDArray[np.bool_]) -> dict[str, Any]:
        def scores(name: str) -> Metrics:
            found = _scores(errors[name][which][:, season])
            for key, by_model in passing.items():
                found |= _date_scores(key, by_model[name][which])
            return found

        def helped(name: str) -> dict[str, Any]:
            if name not in corrected:
                return {}
            by_rule = corrected[name].items()
            return {
                "with_readings": {
                    rule: _scores(error[:, which].reshape(-1)) for rule, error in by_rule
                }
            }

        found: dict[str, Any] = dict(scores(MODEL))
        year = _scores(errors[MODEL][which])
        at_10 = _scores(deep[which][:, season])
        found |= {f"{k}_10cm": v for k, v in at_10.items()}
        found |= {f"{k}_all_year": v for k, v in year.items()}
        found |= helped(MODEL)
        found["others"] = {name: scores(name) | helped(name) for name in models if name != MODEL}
        return found

    one = np.eye(len(data.names), dtype=np.bool_)
    east = south_east(data)
    stations = [
        {
            "id": data.numbers[i],
            "name": data.names[i],
            "latitude_deg": round(float(data.latitude_deg[i]), 2),
            "longitude_deg": round(float(data.longitude_deg[i]), 2),
            "south_east": bool(east[i]),
            "screened_days": data.screened[i],
            **part(one[i]),
        }
        for i in range(len(data.names))
    ]
    pooled = {"all": part(np.ones(len(east), np.bool_)), "stations": len(east)}
    if east.any():
        pooled["south_east"] = part(east)
        pooled["south_east_stations"] = int(east.sum())
    return {
        "stations": stations,
        "pooled": pooled,
        "skipped_without_soil_temperature": list(data.skipped),
        "notes": notes(readings, draws, seed),
    }


def notes(readings: int, draws: int, seed: int) -> list[str]:
    """What the figures mean."""
    lines = [
        "n, rmse_c, bias_c: daily mean at 5 cm, September to April; bias is model minus probe.",
        f"{PLAIN}: what daily highs, lows and rain alone give, as most users have them.",
        "All models are scored on the same days and the same station-years.",
        "Sites are open grass with its climate's rain, not irrigated turf.",
        "No measured surface temperature or soil moisture is used by any model.",
        "Dates: the 7-day mean falling to 21.1 °C from 1 August, rising to 12.8 °C from 1 January.",
        "A model past it before that counts with the first day, one never past it with the last.",
        "own_day_of_year_mean_in_situ needs years of a probe at the very site; scored on them.",
    ]
    if readings:
        lines.append(
            f"with_readings: {readings} daily means at 5 cm given to the model, {draws} draws"
            f" (seed {seed}); 'spread' draws them at random from all scored days of the station,"
            " 'one_season' from one season (July to June) drawn at random; the days of the"
            " readings are not scored."
        )
    return lines


def _scores(error: FloatArray) -> Metrics:
    values = error[np.isfinite(error)]
    if not values.size:
        return {"n": 0, "rmse_c": None, "bias_c": None}
    return {
        "n": int(values.size),
        "rmse_c": round(float(np.sqrt(np.mean(values**2))), 3),
        "bias_c": round(float(values.mean()), 3),
    }


def _date_errors(
    data: Stations, models: Mapping[str, FloatArray]
) -> dict[str, dict[str, FloatArray]]:
    """Passing → model → days off ``[station, year]``, NaN unless every model can be judged."""
    found = {}
    for passing in PASSINGS:
        seen = observed_days(data.soil_c[0], data.dates, passing)
        off = {k: date_errors(m, data.dates, passing, seen) for k, m in models.items()}
        judged = np.all([np.isfinite(v) for v in off.values()], axis=0)
        found[passing.name] = {k: np.where(judged, v, np.nan) for k, v in off.items()}
    return found


def _date_scores(key: str, days: FloatArray) -> Metrics:
    off = np.abs(days[np.isfinite(days)])
    if not off.size:
        return {f"{key}_years": 0, f"{key}_mean_abs_days": None, f"{key}_median_abs_days": None}
    return {
        f"{key}_years": int(off.size),
        f"{key}_mean_abs_days": round(float(off.mean()), 2),
        f"{key}_median_abs_days": float(np.median(off)),
    }

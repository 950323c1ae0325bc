"""Parts of the soil model's error, by maximum likelihood on stations held out of the fit."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.linalg import cho_factor, cho_solve
from scipy.optimize import minimize, nnls

from windowcast.core.values import Table
from windowcast.physics.soil_error import mild_and_humid
from windowcast.physics.soil_site import ProbeReading, fit_site_correction, site_parts
from windowcast.verify.soil import in_season
from windowcast.verify.soil_stations import Stations

FloatArray = npt.NDArray[np.float64]
DAYS = 80  # of a station, drawn at random
READINGS = (0, 1, 3, 10, 30)
YEAR_DAYS = 365.2425


def drawn_days(error: FloatArray, dates: FloatArray, random: np.random.Generator) -> FloatArray:
    """Some days of the season on which the error is known, in order."""
    days = np.flatnonzero(np.isfinite(error) & in_season(dates))
    return np.sort(random.choice(days, min(DAYS, len(days)), replace=False))


def days_apart(dates: FloatArray) -> FloatArray:
    return np.abs((dates[:, None] - dates[None]).astype("timedelta64[D]").astype(np.float64))


def most_likely(cases: list, covariance, start: list, bounds: list) -> FloatArray:
    """Variances under which the errors of the cases are likeliest, as `covariance` has them."""

    def unlikely(logs: FloatArray) -> float:
        variances, total = np.exp(logs), 0.0
        for error, *about in cases:
            factor = cho_factor(covariance(variances, *about), lower=True)
            total += 2 * np.log(np.diag(factor[0])).sum() + error @ cho_solve(factor, error)
        return total

    options = {"maxiter": 25}
    found = minimize(unlikely, np.log(start), method="L-BFGS-B", bounds=bounds, options=options)
    return np.exp(found.x)


def fit_variances(data: Stations, first: int, predicted: FloatArray) -> dict[str, float]:
    """What probe readings are weighed by (`soil_site`), ``[depth, time, station]`` held out."""
    dates, soil = data.dates[first:], data.soil_c[0].T[first:]
    random, cases = np.random.default_rng(0), []
    for i in range(soil.shape[1]):
        error = soil[:, i] - predicted[0, :, i]
        days = drawn_days(error, dates, random)
        if not len(days):
            continue
        parts = site_parts(dates[days], predicted[0, days, i], predicted[1, days, i])
        cases.append((error[days], parts, days_apart(dates[days])))

    def covariance(v: FloatArray, parts: FloatArray, apart: FloatArray) -> FloatArray:
        lasting = np.array([v[0], v[1], v[1], v[2], v[3]])
        drift = v[4] * np.exp(-apart / v[5])
        return (parts * lasting) @ parts.T + drift + v[6] * np.eye(len(parts))

    best = most_likely(cases, covariance, [0.2, 0.25, 0.1, 0.3, 0.5, 20.0, 0.6], [(-6, 6)] * 7)
    names = ("offset", "annual", "warmth", "heat_flow", "drift")
    found = {f"{name}_variance": v for name, v in zip(names, best[:5].round(4), strict=True)}
    return found | {"drift_days": round(best[5], 2), "reading_variance": round(best[6], 4)}


def three_parts(errors: FloatArray, dates: FloatArray, stations: FloatArray) -> FloatArray:
    """SD of the lasting bias, the slow part and the fast one [K], and the slow one's days.

    The bias is an offset and a part that returns every year. A station with few days is left out.
    """
    random, cases = np.random.default_rng(0), []
    for i in np.flatnonzero(stations):
        days = drawn_days(errors[:, i], dates, random)
        if len(days) < DAYS:
            continue
        apart = days_apart(dates[days])
        cases.append((errors[days, i], apart, np.cos(2 * np.pi * apart / YEAR_DAYS)))

    def covariance(v: FloatArray, apart: FloatArray, yearly: FloatArray) -> FloatArray:
        slow = v[2] * np.exp(-apart / v[3])
        return v[0] + v[1] * yearly + slow + v[4] * np.eye(len(apart))

    bounds = [(-7, 3), (-7, 3), (-7, 3), (np.log(15), np.log(40)), (-5, 3)]
    v = most_likely(cases, covariance, [0.3, 0.3, 0.5, 25.0, 0.2], bounds)
    return np.array([np.sqrt(v[0] + v[1]), np.sqrt(v[2]), np.sqrt(v[4]), v[3]])


def with_last_season(
    data: Stations, first: int, predicted: FloatArray, readings: int, fitted: Table
) -> FloatArray:
    """Errors at 5 cm outside one season of each station, in which so many readings were taken."""
    dates, soil = data.dates[first:], data.soil_c[0].T[first:]
    errors = soil - predicted[0]
    if not readings:
        return errors
    season = (dates.astype("datetime64[M]").astype(np.int64) - 6) // 12
    random, left = np.random.default_rng(1), np.full(errors.shape, np.nan)
    for i in range(soil.shape[1]):
        known = np.flatnonzero(np.isfinite(errors[:, i]) & in_season(dates))
        full = [s for s in np.unique(season[known]) if (season[known] == s).sum() >= readings]
        if len(full) < 3:
            continue
        one = random.choice(full)
        chosen = random.choice(known[season[known] == one], readings, replace=False)
        given = [ProbeReading(dates[d], 0.05, float(soil[d, i])) for d in chosen]
        top, below = predicted[:, :, i]
        found = fit_site_correction(predicted[:, :, i].T, dates, given, values=fitted)
        corrected = errors[:, i] - found.at(dates, top, below)
        left[:, i] = np.where(season == one, np.nan, corrected)
    return left


def humid_stations(data: Stations) -> npt.NDArray[np.bool_]:
    """Stations whose climate is mild and humid."""
    air = (data.weather["tmax_c"] + data.weather["tmin_c"]) / 2
    month = data.dates.astype("datetime64[M]").astype(np.int64) % 12
    coldest = np.min([np.nanmean(air[:, month == m], axis=1) for m in range(12)], axis=0)
    rain = np.nanmean(data.weather["precip_mm"], axis=1) * YEAR_DAYS
    return np.array([mild_and_humid(r, c) for r, c in zip(rain, coldest, strict=True)])


def error_sizes(
    data: Stations, first: int, predicted: FloatArray, fitted: Table
) -> dict[str, float]:
    """The table ``error`` of ``data/soil.toml``; `fitted` has the model's values."""
    dates = data.dates[first:]
    humid, everyone = humid_stations(data), np.ones(len(data.names), np.bool_)
    plain = with_last_season(data, first, predicted, 0, fitted)
    parts = three_parts(plain, dates, everyone)
    slow = {k: three_parts(plain, dates, w)[1] for k, w in (("h", humid), ("e", ~humid))}
    biases = [
        three_parts(with_last_season(data, first, predicted, n, fitted), dates, everyone)[0]
        for n in READINGS
    ]
    half, before, least = shrinking(np.array(READINGS, dtype=np.float64), np.array(biases))
    return {
        "bias_sd": before,
        "bias_sd_many_readings": least,
        "half_readings": half,
        "slow_sd_humid": slow["h"],
        "slow_sd_elsewhere": slow["e"],
        "slow_days": parts[3],
        "fast_sd": parts[2],
    }


def shrinking(readings: FloatArray, sd: FloatArray) -> tuple[float, float, float]:
    """Half, start and end of ``sd**2 = end + (start - end) / (1 + readings / half)``."""
    best = (np.inf, 1.0, 1.0, 1.0)
    for half in np.arange(0.5, 12.0, 0.25):
        share = 1 / (1 + readings / half)
        (end, start), miss = nnls(np.stack([1 - share, share], axis=1), sd**2)
        best = min(best, (float(miss), float(half), float(np.sqrt(start)), float(np.sqrt(end))))
    return best[1:]

"""From daily weather to what the soil scheme is driven by.

Radiation is estimated from the temperature range where it was not measured (Hargreaves &
Samani form, FAO-56 eq. 50), vapour pressure from the minimum temperature where there is no
humidity (FAO-56 eq. 48), net long-wave loss follows FAO-56 eq. 39 and evaporative demand
Priestley & Taylor (1972).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from windowcast.physics.sun import day_of_year, extraterrestrial_radiation_mj_m2
from windowcast.values import load
from windowcast.weather.record import DateArray, FloatArray

MJ_PER_DAY_TO_W = 1e6 / 86400
LONGEST_BLIND_DAYS = 60


@dataclass(frozen=True)
class SoilForcing:
    """Daily weather at one or many places, ``[..., time]``.

    Attributes
    ----------
    dates
        ``datetime64[D] [time]``, without gaps.
    tmax_c, tmin_c, precip_mm
        Air temperature extremes and precipitation. NaN where missing.
    latitude_deg
        Scalar, or an array that broadcasts with the leading axes.
    solar_mj_m2, rh_mean_pct, snow_depth_mm
        Used day by day where finite, estimated or modelled elsewhere.
    """

    dates: DateArray
    tmax_c: FloatArray
    tmin_c: FloatArray
    precip_mm: FloatArray
    latitude_deg: npt.ArrayLike
    solar_mj_m2: FloatArray | None = None
    rh_mean_pct: FloatArray | None = None
    snow_depth_mm: FloatArray | None = None


@dataclass(frozen=True)
class Drivers:
    """What each day of the column model needs, time first: ``[time, columns]``."""

    air_c: FloatArray
    range_k: FloatArray
    precip_mm: FloatArray
    solar_w_m2: FloatArray
    longwave_w_m2: FloatArray
    demand_mm: FloatArray
    snow_depth_mm: FloatArray | None
    blind: npt.NDArray[np.bool_]  # no answer: air temperature missing now or too recently


def saturation_kpa(temp_c: FloatArray) -> FloatArray:
    """Saturation vapour pressure (FAO-56 eq. 11)."""
    result: FloatArray = 0.6108 * np.exp(17.27 * temp_c / (temp_c + 237.3))
    return result


def estimate_solar_mj_m2(
    tmax_c: FloatArray, tmin_c: FloatArray, precip_mm: FloatArray, outside_mj_m2: FloatArray
) -> FloatArray:
    """Daily solar radiation from the temperature range, lower on wet days, MJ/m²."""
    table = load("soil").table("radiation")
    span = np.sqrt(np.maximum(tmax_c - tmin_c, 0.5))
    wet = np.minimum(precip_mm, 10.0) / 10.0
    share = table.number("base") + table.number("per_sqrt_range") * span
    share = share - table.number("wet_day") * np.sqrt(wet)
    result: FloatArray = outside_mj_m2 * np.clip(share, 0.08, 0.78)
    return result


def prepare(forcing: SoilForcing, shape: tuple[int, ...]) -> Drivers:
    """Fill, estimate and flatten to ``[time, columns]``; `shape` is that of the leading axes."""
    days = len(forcing.dates)

    def columns(values: npt.ArrayLike) -> FloatArray:
        full = np.broadcast_to(np.asarray(values, dtype=np.float64), (*shape, days))
        return np.ascontiguousarray(full.reshape(-1, days).T)

    tmax, tmin = columns(forcing.tmax_c), columns(forcing.tmin_c)
    missing = ~(np.isfinite(tmax) & np.isfinite(tmin))
    blind = _blind(missing)
    if missing.any():
        tmax, tmin = _carry(tmax, missing), _carry(tmin, missing)
    latitude = np.broadcast_to(np.asarray(forcing.latitude_deg, dtype=np.float64), shape)
    outside = extraterrestrial_radiation_mj_m2(
        latitude.reshape(1, -1), day_of_year(forcing.dates)[:, None]
    )
    precip = columns(forcing.precip_mm)
    unknown = ~np.isfinite(precip)
    mean = (tmax + tmin) / 2

    wet = np.where(unknown, 0.0, precip)
    solar = estimate_solar_mj_m2(tmax, tmin, wet, outside)
    if forcing.solar_mj_m2 is not None:
        measured = columns(forcing.solar_mj_m2)
        solar = np.where(np.isfinite(measured), measured, solar)
    vapour = saturation_kpa(tmin)
    if forcing.rh_mean_pct is not None:
        humidity = columns(forcing.rh_mean_pct)
        vapour = np.where(np.isfinite(humidity), saturation_kpa(mean) * humidity / 100, vapour)

    clearness = np.clip(solar / (0.75 * outside + 0.1), 0.25, 1.0)  # FAO-56 eq. 36
    longwave = 4.903e-9 * (mean + 273.16) ** 4 * (0.34 - 0.14 * np.sqrt(vapour))
    longwave = longwave * (1.35 * clearness - 0.35)
    slope = 4098 * saturation_kpa(mean) / (mean + 237.3) ** 2
    net = np.maximum(0.77 * solar - longwave, 0.0)
    demand = 1.26 * slope / (slope + 0.066) * net / 2.45
    if unknown.any():  # the mean of what is known, else what keeps the soil half wet
        usual = np.where(unknown, 0, precip).sum(0) / np.maximum((~unknown).sum(0), 1)
        precip = np.where(unknown, np.where(unknown.all(0), 0.8 * demand, usual), precip)
    return Drivers(
        air_c=mean,
        range_k=np.maximum(tmax - tmin, 0.0),
        precip_mm=precip,
        solar_w_m2=solar * MJ_PER_DAY_TO_W,
        longwave_w_m2=longwave * MJ_PER_DAY_TO_W,
        demand_mm=demand,
        snow_depth_mm=None if forcing.snow_depth_mm is None else columns(forcing.snow_depth_mm),
        blind=blind,
    )


def _blind(missing: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Missing days, and as many days after a gap as the gap was long (at most 60)."""
    if not missing.any():
        return missing
    blind = np.zeros_like(missing)
    owed = np.zeros(missing.shape[1])
    for day in range(len(missing)):
        blind[day] = missing[day] | (owed > 0)
        owed = np.where(
            missing[day], np.minimum(owed + 1, LONGEST_BLIND_DAYS), np.maximum(owed - 1, 0)
        )
    return blind


def _carry(values: FloatArray, missing: npt.NDArray[np.bool_]) -> FloatArray:
    """Stand-in for missing days: the same day a year or more before, else the last day known.

    Only keeps the state of the column sensible; results of these days are withheld.
    """
    filled = np.where(missing, np.nan, values)
    for years in (1, 2, 3):
        lag = round(365.25 * years)
        if lag < len(filled):
            filled[lag:] = np.where(np.isnan(filled[lag:]), values[:-lag], filled[lag:])
    days = np.arange(len(filled))[:, None]
    last = np.maximum.accumulate(np.where(np.isfinite(filled), days, 0), axis=0)
    filled = np.take_along_axis(filled, last, axis=0)
    first = np.argmax(np.isfinite(filled), axis=0)
    start = filled[first, np.arange(filled.shape[1])]
    filled = np.where(np.isnan(filled), start, filled)
    return np.where(np.isnan(filled), 10.0, filled)  # nothing known at all: all results withheld

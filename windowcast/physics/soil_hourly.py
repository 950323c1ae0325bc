"""Soil temperature by the hour in the top of the soil, from the daily model.

The day's course is the steady response of a uniform half-space below a resistance to a driving
temperature that repeats every day (Carslaw & Jaeger 1959, *Conduction of Heat in Solids*, section
2.6): air temperature between its extremes, and the sun's gain between sunrise and sunset. Gain,
resistance and conductivity are those of the daily model. There are no hourly probes to fit it on:
the daily mean is the model's, the swing about it is derived.
"""

from __future__ import annotations

import numpy as np

from windowcast.core.record import FloatArray
from windowcast.physics.soil import SoilForcing, SoilResult, SoilSite
from windowcast.physics.soil_forcing import columns_of, drivers
from windowcast.physics.soil_properties import (
    conductivity_w_m_k,
    heat_capacity_j_m3_k,
    texture,
)
from windowcast.physics.soil_stepper import DAY_S
from windowcast.physics.soil_surface import parameters, sward_closed
from windowcast.physics.sun import day_length_h, day_of_year

HOURS = np.arange(24) + 0.5  # middle of each hour of the local solar day
WARMEST_HOUR = 15.0
DEEPEST_M = 0.10


def hourly_top_c(
    forcing: SoilForcing, site: SoilSite, result: SoilResult, *, depth_m: float = 0.05
) -> FloatArray:
    """Hourly means of soil temperature near the surface, ``[..., time, 24]``.

    Parameters
    ----------
    forcing, site, result
        What `simulate` was given, and gave; `depth_m` must be one of its depths.
    depth_m
        Down to 0.10 m.

    Returns
    -------
    FloatArray
        Hours of the local solar day, from midnight; their mean is the daily mean. NaN where the
        daily mean is.

    Raises
    ------
    ValueError
        The depth is too large or was not simulated.

    Notes
    -----
    Each harmonic of the day's driving temperature, of angular frequency w, is damped by
    ``exp(-z / d)`` and delayed by ``z / d`` at a depth z, with ``d = sqrt(2 k / (C w))``, beside
    what the resistance above the soil takes from it.

    References
    ----------
    Carslaw & Jaeger (1959), *Conduction of Heat in Solids*, section 2.6.

    Examples
    --------
    >>> import numpy as np
    >>> from windowcast.physics.soil import SoilForcing, SoilSite, simulate
    >>> from windowcast.physics.soil_hourly import hourly_top_c
    >>> days = np.arange("2022-01-01", "2024-01-01", dtype="datetime64[D]")
    >>> even = np.ones(len(days))
    >>> weather = SoilForcing(days, 25 * even, 10 * even, 2 * even, latitude_deg=30.0)
    >>> soil = simulate(weather, SoilSite("loam"))
    >>> summer = hourly_top_c(weather, SoilSite("loam"), soil)[-180]
    >>> int(summer.argmin()) < 10 < int(summer.argmax())
    True
    >>> bool(abs(summer.mean() - soil.temp_c[-180, 0]) < 1e-9)
    True
    """
    if not 0 < depth_m <= DEEPEST_M or depth_m not in result.depths_m:
        raise ValueError(f"depth must be one of {result.depths_m} and at most {DEEPEST_M} m")
    daily = result.temp_c[..., result.depths_m.index(depth_m)]
    shape, days = daily.shape[:-1], daily.shape[-1]
    weather = columns_of(forcing, shape, slice(None))
    driven = drivers(weather, site.values)
    p, soil = parameters(site.values), texture(site.texture, site.values).thermal()

    def by_column(values: FloatArray) -> FloatArray:
        return values.reshape(-1, days).T

    wet = by_column(result.moisture)
    closed = sward_closed(p, *np.moveaxis(result.state.surface[..., -2:], -1, 0)).reshape(-1)
    closed = closed * float(site.turf)
    gain = p.solar + p.solar_sward * closed + p.solar_wet * wet
    resistance = p.resistance + p.resistance_sward * closed
    conductivity = conductivity_w_m_k(soil, wet) * p.conductivity_top
    capacity = heat_capacity_j_m3_k(soil, wet)

    latitude = np.broadcast_to(np.asarray(forcing.latitude_deg, np.float64), shape).reshape(-1)
    length = np.maximum(day_length_h(latitude, day_of_year(forcing.dates)[:, None]), 1.0)
    since_rise = HOURS - 12 + length[..., None] / 2
    up = (since_rise > 0) & (since_rise < length[..., None])
    sun = np.where(up, np.sin(np.pi * since_rise / length[..., None]), 0.0)
    sun *= (driven.solar_w_m2 / np.maximum(sun.mean(axis=-1), 1e-3))[..., None]
    air = (weather.tmax_c - weather.tmin_c)[..., None] / 2
    air = air * np.cos(2 * np.pi * (HOURS - WARMEST_HOUR) / 24)
    driving = np.fft.rfft(air + gain[..., None] * sun, axis=-1)

    omega = 2 * np.pi * np.arange(1, driving.shape[-1]) / DAY_S
    wave = (1 + 1j) * np.sqrt(omega * capacity[..., None] / (2 * conductivity[..., None]))
    through = resistance * conductivity
    driving[..., 1:] *= np.exp(-wave * depth_m) / (1 + through[..., None] * wave)
    driving[..., 0] = 0.0
    swing = np.fft.irfft(driving, n=24, axis=-1)
    course = np.moveaxis(swing, 1, 0).reshape(*shape, days, 24)
    return daily[..., None] + _drift(daily) + course


def _drift(daily: FloatArray) -> FloatArray:
    """Hourly course of the daily means from noon to noon, less its own mean of each day."""
    before = np.concatenate([daily[..., :1], daily[..., :-1]], axis=-1)
    after = np.concatenate([daily[..., 1:], daily[..., -1:]], axis=-1)
    before = np.where(np.isfinite(before), before, daily)
    after = np.where(np.isfinite(after), after, daily)
    share = (HOURS - 12) / 24
    slope = np.where(share < 0, (daily - before)[..., None], (after - daily)[..., None]) * share
    result: FloatArray = slope - slope.mean(axis=-1, keepdims=True)
    return result

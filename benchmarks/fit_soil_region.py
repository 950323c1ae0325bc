"""What the soil model's errors at stations have in common over a region, by simple kriging."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from windowcast.core.great_circle import distance_km
from windowcast.core.values import load
from windowcast.physics.soil_region import PARTS, YEAR_DAYS, regional_c, regional_parts
from windowcast.verify.soil import in_season
from windowcast.verify.soil_stations import Stations

FloatArray = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]
REACH_KM = 600.0
SHARED = (0.10, 0.05, 0.05)  # variance of offset, cosine and sine that a region shares, K2
OWN = (0.20, 0.10, 0.10)  # of each station's own
DAY_VARIANCE = 0.9 * 20  # K2: what is left from day to day, and lasts some twenty days
WEST_DEG = -104.0  # in the mountains beyond, stations have no errors in common
WARM_HALF = 0.25  # weight of May to August


def station_parts(data: Stations, first: int, predicted: FloatArray) -> tuple[FloatArray, ...]:
    """Each station's error as offset, cosine and sine, ``[station, part]``, and its variance."""
    dates, soil = data.dates[first:], data.soil_c[0].T[first:]
    days = (dates - np.datetime64("2000-01-01")).astype(np.float64)
    angle = 2 * np.pi * days / YEAR_DAYS
    wave = np.stack([np.ones_like(angle), np.cos(angle), np.sin(angle)], axis=1)
    weight = np.where(in_season(dates), 1.0, WARM_HALF)
    found, variance = np.zeros((soil.shape[1], 3)), np.zeros((soil.shape[1], 3))
    for i in range(soil.shape[1]):
        error = soil[:, i] - predicted[0, :, i]
        known = np.isfinite(error)
        scaled = wave[known].T * (weight[known] / DAY_VARIANCE)
        spread = np.linalg.inv(scaled @ wave[known] + 1e-3 * np.eye(3))
        found[i], variance[i] = spread @ (scaled @ error[known]), np.diag(spread)
    return found, variance


def apart_km(data: Stations) -> FloatArray:
    """Distance of each station from each other, ``[station, station]``."""
    places = list(zip(data.latitude_deg, data.longitude_deg, strict=True))
    return np.array([distance_km(data.latitude_deg, data.longitude_deg, *at) for at in places])


def kriging_weights(data: Stations, parts: FloatArray, noise: FloatArray, used: Mask) -> dict:
    """The table ``region`` of ``data/soil.toml`` from the stations used."""
    used = used & (data.longitude_deg > WEST_DEG)
    away = apart_km(data)[np.ix_(used, used)] / REACH_KM
    table = {
        "reach": REACH_KM,
        "latitude": data.latitude_deg[used].round(3).tolist(),
        "longitude": data.longitude_deg[used].round(3).tolist(),
    }
    for j, name in enumerate(PARTS):
        covariance = SHARED[j] * np.exp(-0.5 * away * away) + np.diag(OWN[j] + noise[used, j])
        weights = SHARED[j] * np.linalg.solve(covariance, parts[used, j])
        table[name] = weights.round(4).tolist()
    return table


def with_region(
    data: Stations, first: int, alone: FloatArray, used: Mask, number: npt.NDArray[np.int64]
) -> tuple[dict, FloatArray]:
    """The table, and what it adds to each station without that station, ``[depth, time, station]``.

    `alone` are held-out predictions from daily highs, lows and rain.
    """
    parts, noise = station_parts(data, first, alone)
    dates, packaged, added = data.dates[first:], load("soil"), np.zeros(alone.shape)
    for one in np.unique(number):
        left = number == one
        without = kriging_weights(data, parts, noise, used & ~left)
        values = packaged.varied({f"region.{k}": v for k, v in without.items()})
        there = regional_parts(data.latitude_deg[left], data.longitude_deg[left], values)
        for depth in range(2):
            added[depth][:, left] = regional_c(dates, there, alone[depth][:, left])
    return kriging_weights(data, parts, noise, used), added

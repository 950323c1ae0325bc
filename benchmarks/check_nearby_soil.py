"""What soil measured nearby wins: each station kept apart, its neighbours as the network.

    python benchmarks/check_nearby_soil.py USCRN_FOLDER... [--share C] [--reach KM]

The model runs at every station with its own highs, lows and rain. What a region shares is spread
from the stations left over: without the station itself and those of its town. For each pair up to
300 km apart: how the drifts of the two errors (the error without its mean and yearly wave) go
together. Then for each station, first with each neighbour alone, then with the nearest two as the
program takes them: RMSE against the probe from September to April, with and without their soil,
told on every day up to which the neighbour has measured, and a week after. The correction is
`windowcast.physics.soil_site.fit_site_correction` on readings made as in
`windowcast.season.observed.readings_at`; the files tell no heights. Figures: docs/soil.md.
"""

from __future__ import annotations

import argparse
import warnings
from itertools import combinations

import numpy as np
from cost_of_unknown_rain import stations_around
from fit_soil_region import apart_km, with_region

from windowcast.core.great_circle import EARTH_RADIUS_KM
from windowcast.core.values import load
from windowcast.physics.soil import ProbeReading, SoilForcing, SoilSite, simulate
from windowcast.physics.soil_site import fit_site_correction
from windowcast.physics.usual_rain import filled_rain
from windowcast.season.observed import thinned
from windowcast.verify.soil import in_season, south_east
from windowcast.verify.soil_stations import Stations, read_stations

FAR_KM = 300.0
TOWN_KM = 40.0
LEAST_DAYS = 300
LOOK_BACK = 365  # days of the neighbour's soil that a correction has
EVERY = 40  # a correction is worked out on every so many days
AHEAD = 7
BANDS = ((0, 10), (10, 60), (60, 130), (130, 200), (200, 300))
GAIN_KM = 200.0


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("folders", nargs="+")
    parser.add_argument("--share", type=float)
    parser.add_argument("--reach", type=float)
    asked = parser.parse_args()
    warnings.simplefilter("ignore", RuntimeWarning)
    data = read_stations(asked.folders)
    away = apart_km(data)
    model = held_out(data, away)
    error = data.soil_c[0] - model[0].T
    correlations(data, away, error)
    changed = {"nearby_share": asked.share, "nearby_reach": asked.reach}
    values = load("soil").varied({f"site.{k}": v for k, v in changed.items() if v is not None})
    rows = [
        (away[i, j], *gain(data, model, values, i, [j]))
        for i in range(len(away))
        for j in np.flatnonzero((away[i] < GAIN_KM) & (np.arange(len(away)) != i))
    ]
    table = np.array([row for row in rows if np.isfinite(row).all()])
    print(
        "one neighbour: km, ways, RMSE without, with, a week later without, with, ways made worse"
    )
    for low, high in BANDS:
        band = table[(table[:, 0] >= low) & (table[:, 0] < high)]
        if len(band):
            print(f"{low:4d} to {high:4d}", len(band), summed(band))
    reach, most = load("sources").number("soil_network.reach"), 2
    both = []
    for i in range(len(away)):
        near = [j for j in np.argsort(away[i])[1:] if away[i, j] <= reach][:most]
        if near:
            both.append((south_east(data)[i], *gain(data, model, values, i, near)))
    both = np.array([row for row in both if np.isfinite(row).all()])
    print("as the program takes them: all", len(both), summed(both))
    east = both[both[:, 0] == 1]
    if len(east):
        print("south-east", len(east), summed(east))


def held_out(data: Stations, away: np.ndarray) -> np.ndarray:
    """The model at 5 and 10 cm ``[depth, day, station]``, its region without the station's town."""
    weather, count = data.weather, len(data.names)
    rain = np.stack(
        [
            filled_rain(
                data.dates,
                weather["tmax_c"][i],
                weather["tmin_c"][i],
                weather["precip_mm"][i],
                climate=stations_around(float(data.latitude_deg[i]), float(data.longitude_deg[i])),
            )
            for i in range(count)
        ]
    )
    nowhere = np.full(count, np.nan)  # nothing is added for the region
    forcing = SoilForcing(
        data.dates,
        weather["tmax_c"],
        weather["tmin_c"],
        rain,
        data.latitude_deg,
        longitude_deg=nowhere,
    )
    temp = simulate(forcing, SoilSite(), depths_m=(0.05, 0.10), compiled=True).temp_c
    alone = temp.transpose(2, 1, 0)
    town = np.arange(count)
    for i, j in combinations(range(count), 2):
        if away[i, j] < TOWN_KM:
            town[j] = town[i]
    return alone + with_region(data, 0, alone, np.ones(count, dtype=bool), town)[1]


def correlations(data: Stations, away: np.ndarray, error: np.ndarray) -> None:
    """How errors of two stations go together: what lasts, and what drifts."""
    season = in_season(data.dates)
    angle = 2 * np.pi * (data.dates - data.dates[0]).astype(float) / 365.2425
    wave = np.stack([np.ones_like(angle), np.cos(angle), np.sin(angle)], axis=1)
    rows = []
    for i, j in combinations(range(len(away)), 2):
        known = np.isfinite(error[i]) & np.isfinite(error[j]) & season
        if away[i, j] > FAR_KM or known.sum() < LEAST_DAYS:
            continue
        fit = [np.linalg.lstsq(wave[known], e[known], rcond=None)[0] for e in (error[i], error[j])]
        drift = [e[known] - wave[known] @ f for e, f in zip((error[i], error[j]), fit, strict=True)]
        lasting = float(np.mean((wave[known] @ fit[0]) * (wave[known] @ fit[1])))
        rows.append((away[i, j], np.corrcoef(*drift)[0, 1], lasting))
    table = np.array(rows)
    print("km, pairs, correlation of the drifts, covariance of what lasts [K2]")
    for low, high in BANDS:
        band = table[(table[:, 0] >= low) & (table[:, 0] < high)]
        if len(band):
            km, drift, lasting = band.mean(axis=0)
            print(f"{low:4d} to {high:4d} {len(band):3d} {km:4.0f} km {drift:.2f} {lasting:+.2f}")
    share = np.exp(-table[:, :1] / np.arange(100, 500, 10))
    fits = [np.linalg.lstsq(s[:, None], table[:, 1], rcond=None) for s in share.T]
    best = int(np.argmin([fit[1][0] for fit in fits]))
    print(f"best: {fits[best][0][0]:.2f} exp(-d / {np.arange(100, 500, 10)[best]} km)")


def gain(
    data: Stations, model: np.ndarray, values: object, site: int, neighbours: list[int]
) -> tuple[float, ...]:
    """RMSE at a site without and with the soil of its neighbours, on the day and a week later."""
    error = data.soil_c[0] - model[0].T
    season, dates = in_season(data.dates), data.dates
    latitude = np.radians(data.latitude_deg[site])
    places = [
        (
            EARTH_RADIUS_KM * np.radians(data.longitude_deg[j] - data.longitude_deg[site])
            * np.cos(latitude),
            EARTH_RADIUS_KM * np.radians(data.latitude_deg[j] - data.latitude_deg[site]),
            0.0,
        )
        for j in neighbours
    ]  # fmt: skip
    known = np.isfinite(error[site]) & season
    told = np.isfinite(error[neighbours]).any(axis=0)
    ends = np.flatnonzero(known & told)[::EVERY]
    off: list[tuple[float, float, float, float]] = []
    for end in ends[ends >= LOOK_BACK]:
        days = np.arange(end - LOOK_BACK + 1, end + 1)
        readings = [
            ProbeReading(dates[d], 0.05, model[0][d, site] + error[j, d], None, str(j), place)
            for j, place in zip(neighbours, places, strict=True)
            for d in days[np.isfinite(error[j, days]) & thinned(end - days)]
        ]
        later = end + AHEAD
        if len(readings) < 60 or later >= len(dates) or not np.isfinite(error[site, later]):
            continue
        both = model[:, :, site].T
        found = fit_site_correction(both, dates, readings, values=values)
        if found is None:
            continue
        at = np.array([end, later])
        left = error[site, at] - found.at(dates[at], *model[:, at, site])
        off.append((error[site, end], left[0], error[site, later], left[1]))
    if len(off) < 10:
        return (np.nan,) * 4
    return tuple(np.sqrt(np.mean(np.square(off), axis=0)))


def summed(rows: np.ndarray) -> str:
    """Root mean square over rows, and how many got worse by more than 0.02 K."""
    now, better, later, eased = np.sqrt(np.mean(np.square(rows[:, 1:]), axis=0))
    worse = int((rows[:, 2] > rows[:, 1] + 0.02).sum())
    return f"{now:.3f} {better:.3f}; {later:.3f} {eased:.3f}; {worse}"


if __name__ == "__main__":
    main()

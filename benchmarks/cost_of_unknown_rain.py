"""What it costs not to know the rain: soil temperature and its dates with and without it.

    python benchmarks/cost_of_unknown_rain.py FOLDER... [--every N]

FOLDER holds USCRN daily01 files with soil probes. Each station's soil is modelled with its rain,
with none at all, and with usual rain from each origin (the stations around leave out the station
itself and those of its town). Then rain is taken away for 5, 30, 90 and 365 days. The figures are
those of ``windowcast/data/usual_rain.toml``, ``cost``, and of ``docs/unknowns.md``.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass

import numpy as np

from windowcast.core.record import DateArray, FloatArray
from windowcast.physics.soil import SoilForcing, SoilSite, simulate
from windowcast.physics.usual_rain import (
    RainClimate,
    climate_by_range,
    filled_rain,
    own_climate,
)
from windowcast.verify.soil import PASSINGS, in_season, south_east
from windowcast.verify.soil_dates import date_errors, observed_days
from windowcast.verify.soil_stations import read_stations
from windowcast.weather.rain_climate import distance_km, nearby, packaged

SAME_TOWN_KM = 40
HUMID_MM = 2.0  # mean rain a day
FIRST = np.datetime64("2011-01-01")


@dataclass(frozen=True)
class Data:
    """Weather and probes, ``[station, day]``."""

    dates: DateArray
    tmax_c: FloatArray
    tmin_c: FloatArray
    rain_mm: FloatArray
    soil_c: FloatArray
    latitude_deg: FloatArray
    longitude_deg: FloatArray

    def soil(self, rain_mm: FloatArray) -> FloatArray:
        """Modelled 5 cm temperature in a given rain."""
        weather = SoilForcing(self.dates, self.tmax_c, self.tmin_c, rain_mm, self.latitude_deg)
        found: FloatArray = simulate(weather, SoilSite(), compiled=True).temp_c[..., 0]
        return found

    def filled(self, rain_mm: FloatArray, climates: list[RainClimate]) -> FloatArray:
        """Rain with usual amounts where it is missing."""
        return np.stack(
            [
                filled_rain(self.dates, self.tmax_c[i], self.tmin_c[i], rain_mm[i], climate=usual)
                for i, usual in enumerate(climates)
            ]
        )


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("folders", nargs="+")
    parser.add_argument("--every", type=int, default=1, help="only each N-th station")
    asked = parser.parse_args()
    data, east = read(asked.folders, asked.every)
    plain, own, around = [], [], []
    for i, rain in enumerate(data.rain_mm):
        plain.append(climate_by_range(data.dates, data.tmax_c[i], data.tmin_c[i]))
        own.append(own_climate(data.dates, rain))
        near = stations_around(float(data.latitude_deg[i]), float(data.longitude_deg[i]))
        around.append(near or plain[i])
    known = data.soil(data.filled(data.rain_mm, own))
    humid = np.array([np.nanmean(row) >= HUMID_MM for row in data.rain_mm])
    groups = {"all": humid | True, "south-east": east, "humid": humid, "dry": ~humid}
    nothing = np.full(data.rain_mm.shape, np.nan)
    print(f"{len(east)} stations, {east.sum()} in the south-east, {humid.sum()} humid")
    for name, rain in (
        ("rain", data.filled(data.rain_mm, own)),
        ("taken as none", np.zeros(data.rain_mm.shape)),
        ("own years", data.filled(nothing, own)),
        ("stations", data.filled(nothing, around)),
        ("range", data.filled(nothing, plain)),
    ):
        report(name, data, data.soil(rain), known, groups)
    gaps(data, own, known)


def read(folders: list[str], every: int) -> tuple[Data, np.ndarray]:
    stations = read_stations(folders)
    days = stations.dates >= FIRST

    def cut(values: FloatArray) -> FloatArray:
        return values[::every, days]

    data = Data(
        stations.dates[days],
        *(cut(stations.weather[name]) for name in ("tmax_c", "tmin_c", "precip_mm")),
        cut(stations.soil_c[0]),
        stations.latitude_deg[::every],
        stations.longitude_deg[::every],
    )
    return data, south_east(stations)[::every]


def stations_around(latitude_deg: float, longitude_deg: float) -> RainClimate | None:
    """From the packaged stations but those of the same town."""
    stations = packaged()
    near = distance_km(latitude_deg, longitude_deg, stations) < SAME_TOWN_KM
    return nearby(latitude_deg, longitude_deg, stations.but(near))


def report(
    name: str, data: Data, soil: FloatArray, known: FloatArray, groups: dict[str, np.ndarray]
) -> None:
    """Error against the probes, distance from the run with rain, and days by which dates move."""
    season = in_season(data.dates)
    off = np.where(season & np.isfinite(data.soil_c), soil - data.soil_c, np.nan)
    apart = np.where(season, soil - known, np.nan)
    for group, which in groups.items():
        parts = [
            f"{name:14s} {group:10s} rmse {rms(off[which]):.2f} bias {np.nanmean(off[which]):+.2f}",
            f"against the run with rain {rms(apart[which]):.2f}",
        ]
        for passing in PASSINGS:
            with_rain = observed_days(known, data.dates, passing)
            seen = observed_days(data.soil_c, data.dates, passing)
            moved = date_errors(soil, data.dates, passing, with_rain)[which]
            moved = moved[np.isfinite(moved)]
            error = np.abs(date_errors(soil, data.dates, passing, seen)[which])
            parts.append(
                f"{passing.name} moves {moved.mean():+.1f} (median {np.median(moved):+.0f}, "
                f"90 % within {np.quantile(np.abs(moved), 0.9):.0f}, "
                f"{np.mean(np.abs(moved) <= 3):.0%} within 3), off {np.nanmean(error):.1f} d"
            )
        print("; ".join(parts), flush=True)


def gaps(data: Data, own: list[RainClimate], known: FloatArray) -> None:
    """Rain missing for some days before the 15th of each other month."""
    ends = np.arange("2013-02", "2017-01", 5, dtype="datetime64[M]").astype("datetime64[D]") + 14
    for length in (5, 30, 90, 365):
        rain = data.rain_mm.copy()
        back = []
        for end in ends if length < 100 else ends[::3]:
            at = int((end - data.dates[0]).astype(int))
            rain[:, at - length : at] = np.nan
            back.append(at)
        apart = data.soil(data.filled(rain, own)) - known
        shown = [
            f"{days:+d} d {rms(apart[:, np.array(back) + days]):.2f}"
            for days in (-1, 5, 15, 30, 60, 90)
        ]
        print(f"gap of {length} days, soil apart after its end:", ", ".join(shown), flush=True)


def rms(values: FloatArray) -> float:
    return float(np.sqrt(np.nanmean(values**2)))


if __name__ == "__main__":
    main()

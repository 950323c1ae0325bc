"""What it costs not to know the rain: soil temperature and its dates with and without it.

    python benchmarks/cost_of_unknown_rain.py FOLDER... [--every N]

FOLDER holds USCRN daily01 files with soil probes. Each station's soil is modelled with its rain,
with none at all, and with usual rain from each origin (the stations around leave out the station
itself and those of its town). Then rain is taken away for 5, 30, 90 and 365 days, and the emergence
of annual bluegrass at south-eastern stations is compared with and without rain. The figures are
those of ``windowcast/data/usual_rain.toml``, ``cost``, and of ``docs/unknowns.md``.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, replace

import numpy as np

from windowcast.core.great_circle import distance_km
from windowcast.core.record import DateArray, FloatArray, Record
from windowcast.core.site import site_from
from windowcast.physics.soil import SoilForcing, SoilSite, simulate
from windowcast.physics.usual_rain import (
    RainClimate,
    climate_by_range,
    filled_rain,
    own_climate,
)
from windowcast.season.state import build
from windowcast.sources.uscrn import read_uscrn
from windowcast.verify.soil import PASSINGS, date_errors, in_season, observed_days, south_east
from windowcast.verify.soil_stations import find_files, read_stations
from windowcast.weather.gaps import filled
from windowcast.weather.quality import checked
from windowcast.weather.rain_filled import FILLED, nearby, packaged

SAME_TOWN_KM = 40
HUMID_MM = 2.0  # mean rain a day
WEED_DAYS = 3000  # of record that a station needs for its weeds to be looked at
WEED_YEARS = range(2012, 2020)
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
        weather = SoilForcing(
            self.dates,
            self.tmax_c,
            self.tmin_c,
            rain_mm,
            self.latitude_deg,
            longitude_deg=self.longitude_deg,
        )
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
    weeds(asked.folders)


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
    near = (
        distance_km(stations.latitude_deg, stations.longitude_deg, latitude_deg, longitude_deg)
        < SAME_TOWN_KM
    )
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


def weeds(folders: list[str]) -> None:
    """Dates of annual bluegrass without any rain, and its share after gaps of 30 days in autumn."""
    moved, risen, apart = [], [], []
    for files in list(find_files(folders).values()):
        whole = checked(read_uscrn(files)).between(FIRST, np.datetime64("2020-12-31"))
        place = whole.place
        lies_in = 24 < place.latitude_deg < 39.6 and place.longitude_deg > -100
        if not lies_in or len(whole.times) < WEED_DAYS:
            continue
        around = stations_around(place.latitude_deg, place.longitude_deg)
        rain = whole.get("precip_mm")
        autumn = [np.datetime64(f"{y}-10-{1 + y % 3 * 14:02d}") for y in WEED_YEARS]
        ends = np.searchsorted(whole.times, np.array(autumn))
        gappy = rain.copy()
        for end in ends:
            gappy[end - 30 : end] = np.nan
        known, none, gap = (
            emerged(whole, values, around) for values in (rain, np.full(len(rain), np.nan), gappy)
        )
        for year in WEED_YEARS:
            ends_of = np.array([f"{year}-08-01", f"{year + 1}-03-01"], "M8[D]")
            season = slice(*np.searchsorted(whole.times, ends_of))
            for share in (0.1, 0.5):
                both = [np.flatnonzero(up[season] >= share) for up in (known, none)]
                if all(len(days) for days in both):
                    moved.append(int(both[1][0] - both[0][0]))
        for end in ends:
            step = (gap - known)[end - 30 : end + 60]
            if np.isnan(step).all():
                continue  # the curve is not used there
            risen.append(np.nanmax(step))
            apart.append(np.nanmean(step))
    days = np.array(moved)
    print(
        f"annual bluegrass, 10 and 50 %, without rain: {len(days)} dates move {days.mean():+.1f} "
        f"(median {np.median(days):+.0f}, 90 % within {np.quantile(np.abs(days), 0.9):.0f}); after "
        f"a gap of 30 days the share is off by {np.mean(apart):+.3f} in the mean, highest "
        f"{np.quantile(risen, 0.9):.2f} in nine of ten, {max(risen):.2f} at worst"
    )


def emerged(whole: Record, rain_mm: FloatArray, climate: RainClimate | None) -> FloatArray:
    """Emerged share of annual bluegrass in a given rain, usual rain as of stations not its own."""
    extremes = whole.get("tmax_c"), whole.get("tmin_c")
    usual = filled_rain(whole.times, *extremes, rain_mm, climate=climate)
    values = {**whole.values, "precip_mm": rain_mm, FILLED: usual}
    grades = {**whole.grades, FILLED: whole.grade("tmax_c")}
    place = whole.place
    site = site_from(
        {
            "name": place.name,
            "latitude": place.latitude_deg,
            "longitude": place.longitude_deg,
            "timezone": "UTC",
            "turf": {
                "species": "hybrid bermudagrass",
                "overseeded": False,
                "mature": True,
                "irrigated": False,
            },
            "soil": {"texture": "unknown"},
            "weeds": ["POAAN"],
        }
    )
    record = filled(replace(whole, values=values, grades=grades))
    return build(record, site)[0].emergence["POAAN"].share


def rms(values: FloatArray) -> float:
    return float(np.sqrt(np.nanmean(values**2)))


if __name__ == "__main__":
    main()

"""Make ``windowcast/data/rain_climate.csv``: monthly rain of the US Climate Reference Network.

    python benchmarks/make_rain_climate.py FOLDER...

FOLDER holds USCRN daily01 files. A row of the result is one station: mean rain a day, share of wet
days, and how highs and lows go with rain for each month, over all years of its record. Stations
with too few days in some month are left out. Prints how far off the other stations are at a place
(one left out, with those of the same town), and the fit of monthly rain by the temperature range,
which ``windowcast/data/usual_rain.toml`` takes for places far from every station.
"""

from __future__ import annotations

import sys
from pathlib import Path
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

from windowcast.core.great_circle import distance_km
from windowcast.core.record import FloatArray, Record
from windowcast.physics.usual_rain import MONTHS, month_of
from windowcast.sources.uscrn import read_uscrn
from windowcast.verify.soil_stations import find_files
from windowcast.weather.ensemble_years import TEMPERATURES, normal_course
from windowcast.weather.rain_filled import RainStations, nearby, with_temperature_nearby

TARGET = Path(__file__).parents[1] / "windowcast" / "data" / "rain_climate.csv"
LEAST_DAYS = 110  # of a month, over all years
WET_MM = 0.254
SAME_TOWN_KM = 40
KINDS = ("mm", "wet", "high", "low")
HALF_WIDTH_D = 45
HEADER = """\
# Mean rain a day (mm), share of days with 0.254 mm or more, and correlation of the departure of the
# high and of the low with the normal score of such a day (within 45 days of the month's middle),
# January to December, by station of the US Climate Reference Network, product daily01, all years of
# each record to 2020 or 2024.
# Origin: NOAA NCEI; work of the US Government, public domain.
# Made by benchmarks/make_rain_climate.py.
"""


def main(folders: list[str]) -> None:
    rows, ranges = [], []
    for files in find_files(folders).values():
        record = read_uscrn(files)
        rain, wet, spread = by_month(record)
        if np.isfinite(rain).all():
            pairs = with_temperature(record)
            rows.append(
                (record.place.latitude_deg, record.place.longitude_deg, *rain, *wet, *pairs)
            )
            ranges.append(spread)
    table = np.array(rows)
    order = np.lexsort((table[:, 1], table[:, 0]))
    table, ranges = table[order], [ranges[i] for i in order]
    names = ["latitude_deg", "longitude_deg"]
    names += [f"{kind}_{month:02d}" for kind in KINDS for month in range(1, 13)]
    lines = [",".join(names)]
    for row in table:
        amounts = [f"{v:.2f}" for v in row[:14]]
        lines.append(",".join([*amounts, *(f"{v:.3f}" for v in row[14:])]))
    TARGET.write_text(HEADER + "\n".join(lines) + "\n", "utf-8")
    print(f"{len(table)} stations written to {TARGET.name}")
    leave_one_out(RainStations.of(table))
    by_range(table[:, 2:14], table[:, 14:26], np.array(ranges))


def by_month(record: Record) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Mean rain, share of wet days, and mean range of the air temperature, each ``[month]``."""
    rain = record.get("precip_mm")
    spread = record.get("tmax_c") - record.get("tmin_c")
    month = month_of(record.times)
    found = np.full((3, MONTHS), np.nan)
    for m in range(MONTHS):
        known = rain[(month == m) & np.isfinite(rain)]
        if len(known) >= LEAST_DAYS:
            found[0, m], found[1, m] = known.mean(), (known >= WET_MM).mean()
        found[2, m] = np.nanmean(spread[month == m])
    return found[0], found[1], found[2]


def with_temperature(record: Record) -> list[float]:
    """Correlation of the high's departures with rain in each month, then of the low's."""
    rain = record.get("precip_mm")
    wet, known = rain >= WET_MM, np.isfinite(rain)
    days = (record.times - record.times.astype("datetime64[Y]")).astype(int)
    found = []
    for name in TEMPERATURES:
        off = record.get(name) - normal_course(record, name, record.times)
        for m in range(MONTHS):
            near = np.abs((days - (m + 0.5) * 365.25 / MONTHS + 183) % 366 - 183) <= HALF_WIDTH_D
            found.append(biserial(off[near], wet[near], known[near]))
    return found


def biserial(
    values: FloatArray, event: npt.NDArray[np.bool_], known: npt.NDArray[np.bool_]
) -> float:
    """Correlation of a variable with the normal score behind an event.

    The biserial correlation: mean difference with and without the event over the spread, times
    ``p (1 - p) / φ(z)`` at the event's share p.

    References
    ----------
    Pearson 1909, *Biometrika* 7:96-105.
    """
    ok = known & np.isfinite(values)
    value, came = values[ok], event[ok]
    share = float(came.mean())
    normal = NormalDist()
    height = normal.pdf(normal.inv_cdf(share))
    gap = float(value[came].mean() - value[~came].mean())
    return float(np.clip(gap / value.std() * share * (1 - share) / height, -0.9, 0.9))


def leave_one_out(stations: RainStations) -> None:
    off, pairs = [], []
    for i, here in enumerate(zip(stations.latitude_deg, stations.longitude_deg, strict=True)):
        others = stations.but(
            distance_km(stations.latitude_deg, stations.longitude_deg, *here) < SAME_TOWN_KM
        )
        found = nearby(*here, others)
        if found is not None:
            off.append(np.log((found.mean_mm + 0.05) / (stations.mean_mm[i] + 0.05)))
        together = with_temperature_nearby(*here, others)
        if together is not None:
            own = [stations.with_high[i], stations.with_low[i]]
            pairs.append([together[name] for name in TEMPERATURES] - np.array(own))
    year = np.array(off).mean(axis=1)
    print(
        f"one left out: factor {np.exp(np.std(off)):.2f} a month, {np.exp(np.std(year)):.2f} a year"
    )
    error = np.sqrt(np.mean(np.square(pairs), axis=(0, 2)))
    print("correlation of high and low with rain off by", error.round(2))


def by_range(mean_mm: FloatArray, wet_share: FloatArray, ranges_k: FloatArray) -> None:
    root = np.column_stack([np.ones(ranges_k.size), np.sqrt(ranges_k).ravel()])
    for name, y in (("log mm", np.log(mean_mm + 0.05)), ("wet share", wet_share)):
        fit, left, *_ = np.linalg.lstsq(root, y.ravel(), rcond=None)
        print(name, fit.round(3), "off by", round(float(np.sqrt(left[0] / y.size)), 3))


if __name__ == "__main__":
    main(sys.argv[1:])

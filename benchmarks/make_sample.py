"""Build sample_weather/ from a NOAA USCRN daily01 file; see sample_weather/ORIGIN.md.

    python benchmarks/make_sample.py NC_Durham_11_W.txt.gz

Days before TODAY are the station's real values. Hours from TODAY on are made here: temperature
and rain from the real days that followed, by the package's own daily-to-hourly method; wind,
gusts, dew point, cloud and probability of rain are invented by the rules below.
"""

from __future__ import annotations

import datetime as dt
import gzip
import io
import sys
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from windowcast.core.local_days import local_dates
from windowcast.core.record import FloatArray, Place, Record
from windowcast.weather.hourly import daily_to_hourly

TODAY = dt.date(2018, 1, 18)
DAYS = 10
PLACE = Place("Quarry Bend Sports Fields", 36.0, -79.1, 171.0, "America/New_York")
OUT = Path(__file__).parent.parent / "sample_weather"
FIELDS = {  # USCRN daily01 field (from 0) → our column
    "tmax_c": 5, "tmin_c": 6, "tmean_c": 8, "precip_mm": 9, "rh_mean_pct": 17,
    "solar_mj_m2": 10, "soil_5cm_c": 23, "soil_10cm_c": 24,
}  # fmt: skip
HEAD = """# name: {name}
# latitude: {lat}
# longitude: {lon}
# elevation_m: {elev:g}
# timezone: {zone}
# licence: public domain (NOAA USCRN); see ORIGIN.md
"""
HOURLY_HEADER = (
    "time,temp_c,dewpoint_c,wind_m_s,gust_m_s,wind_from_deg,precip_mm,precip_prob,cloud_fraction"
)
# invented, one per day: mean wind m/s, wind direction, hours of rain (local, first and last), cloud
INVENTED = {
    "2018-01-18": (3.2, 310, None, 0.15),
    "2018-01-19": (2.0, 220, None, 0.10),
    "2018-01-20": (1.8, 200, None, 0.25),
    "2018-01-21": (2.2, 190, None, 0.20),
    "2018-01-22": (3.4, 180, None, 0.45),
    "2018-01-23": (5.2, 210, (5, 13), 0.95),
    "2018-01-24": (4.4, 300, None, 0.20),
    "2018-01-25": (2.6, 330, None, 0.10),
    "2018-01-26": (1.7, 160, None, 0.15),
    "2018-01-27": (2.8, 170, (19, 22), 0.60),
}
RAIN_PROBABILITY_BY_LEAD = (0.02, 0.03, 0.04, 0.06, 0.09, 0.11, 0.13, 0.15, 0.17, 0.2)  # dry day


def read_rows(path: str) -> tuple[list[str], FloatArray]:
    """ISO dates and the values of FIELDS, ``[row, field]``, missing as NaN."""
    with gzip.open(path, "rt", encoding="ascii") as stream:
        rows = [line.split() for line in stream]
    dates = [f"{r[1][:4]}-{r[1][4:6]}-{r[1][6:]}" for r in rows]
    values = np.array([[float(r[i]) for i in FIELDS.values()] for r in rows])
    return dates, np.where(values <= -99, np.nan, values)


def cell(value: float, digits: int = 1) -> str:
    """A number as the sample's files write it; "" when missing."""
    return "" if np.isnan(value) else f"{value + 0.0:.{digits}f}".replace("-0.0", "0.0")


def hourly_rows(days: Record) -> list[str]:
    """The forecast-like hours, one CSV row each."""
    zone = ZoneInfo(PLACE.timezone)
    hours = daily_to_hourly(days, TODAY, DAYS)
    local = local_dates(zone, hours.times)
    temp = hours.get("temp_c")
    clocks = [t.item().replace(tzinfo=dt.UTC).astimezone(zone) for t in hours.times]
    since_noon = [(c.date() - TODAY).days * 24 + c.hour - 12 for c in clocks]
    noons = np.arange(DAYS) * 24
    mean_wind, direction, cloud = (
        np.interp(since_noon, noons, [INVENTED[str(d)][k] for d in np.unique(local)])
        for k in (0, 1, 3)
    )
    rows = []
    for i, (time, clock) in enumerate(zip(hours.times, clocks, strict=True)):
        rain = INVENTED[str(local[i])][2]
        total = float(days.get("precip_mm")[np.searchsorted(days.times, local[i])])
        noonish = np.exp(-(((clock.hour - 14.0) / 4.5) ** 2))
        wind = mean_wind[i] * (0.55 + 0.85 * noonish)
        gust = wind * (1.35 + 0.35 * noonish)
        wet = rain is not None and rain[0] <= clock.hour < rain[1]
        near = rain is not None and rain[0] - 3 <= clock.hour < rain[1] + 3
        amount = total / (rain[1] - rain[0]) if wet else 0.0
        chance = (0.9 if total > 5 else 0.5) if wet else (0.35 if near else 0)
        chance = max(chance, RAIN_PROBABILITY_BY_LEAD[(clock.date() - TODAY).days])
        coldest = temp[local == local[i]].min()
        dew = min(coldest - (0.5 if total > 5 else 1.5) + noonish, temp[i] - 0.4)
        cells = (
            f"{time}:00Z", cell(temp[i]), cell(dew), cell(wind), cell(gust),
            f"{direction[i]:.0f}", cell(amount, 2), cell(chance, 2),
            cell(0.95 if wet else cloud[i], 2),
        )  # fmt: skip
        rows.append(",".join(cells))
    return rows


def main() -> None:
    """Write daily.csv.gz and hourly.csv.gz."""
    dates, values = read_rows(sys.argv[1])
    head = HEAD.format(
        name=PLACE.name, lat=PLACE.latitude_deg, lon=PLACE.longitude_deg,
        elev=PLACE.elevation_m, zone=PLACE.timezone,
    )  # fmt: skip
    start = next(i for i, row in enumerate(values) if np.isfinite(row[:2]).all())
    end = dates.index(TODAY.isoformat())
    lines = ["date," + ",".join(FIELDS)]
    for date, row in zip(dates[start:end], values[start:end], strict=True):
        lines.append(",".join([date, *(cell(v, 2 if k == 5 else 1) for k, v in enumerate(row))]))
    write("daily.csv.gz", head + "\n".join(lines) + "\n")

    around = slice(end - 2, end + DAYS + 2)
    columns = {name: values[around, k] for k, name in enumerate(FIELDS)}
    grades = {name: np.zeros(len(v), np.uint8) for name, v in columns.items()}
    days = Record(PLACE, np.array(dates[around], "datetime64[D]"), columns, grades)
    write("hourly.csv.gz", head + "\n".join([HOURLY_HEADER, *hourly_rows(days)]) + "\n")


def write(name: str, text: str) -> None:
    """Write a gzip file whose bytes depend on its contents only."""
    buffer = io.BytesIO()
    with gzip.GzipFile(fileobj=buffer, mode="wb", mtime=0, filename="") as stream:
        stream.write(text.encode())
    (OUT / name).write_bytes(buffer.getvalue())


if __name__ == "__main__":
    main()

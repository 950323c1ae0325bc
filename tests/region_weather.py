"""Made-up daily records with every kind of hole, for tests of many stations side by side."""

from __future__ import annotations

import numpy as np

from windowcast.core.record import FloatArray, Grade, Place, Record
from windowcast.weather.gaps import filled
from windowcast.weather.quality import checked

HOLES_DAYS = (1, 3, 10, 30, 60, 200)
EDGES = ("1999-12-31", "2000-01-01", "2000-02-28", "2000-02-29", "2000-03-01", "2000-06-30",
         "2000-07-01", "2001-01-01")  # fmt: skip


def gappy(draw: np.random.Generator, *, southern: bool, years: tuple[float, float]) -> Record:
    """A record as a station might have kept it, checked and filled as a comparison does it.

    It begins on any day or on one that calendars turn on, ends on any day, lacks whole columns,
    and has holes within, before and after what it knows.

    Parameters
    ----------
    years
        Least and greatest length.
    """
    start = np.datetime64("1998-01-01") + np.timedelta64(int(draw.integers(0, 1200)), "D")
    if draw.random() < 0.5:
        start = np.datetime64(str(draw.choice(EDGES)), "D")
    count = int(365.25 * draw.uniform(*years))
    if draw.random() < 0.2:  # to a day that calendars turn on
        count = int((np.datetime64("2003-07-01") - start).astype(int)) - int(draw.integers(0, 2))
    dates = start + np.arange(count)
    day = (dates - dates.astype("datetime64[Y]")).astype(float)
    latitude = draw.uniform(28, 44)
    wave = (10 + 0.2 * (latitude - 30)) * np.cos(2 * np.pi * (day - 20) / 365.25)
    mean = 30 - 0.55 * (latitude - 25) - 8 + wave * (1 if southern else -1)
    mean = mean + np.convolve(draw.normal(0, 2.2, count + 6), np.ones(7) / 7**0.5, "valid")
    half = 4 + draw.gamma(4, 0.8, count)
    values: dict[str, FloatArray] = {
        "tmax_c": (mean + half).round(1),
        "tmin_c": (mean - half).round(1),
    }
    rain = np.where(draw.random(count) < 0.28, draw.gamma(0.7, 11, count), 0.0)
    for name, often, series in (
        ("precip_mm", 0.85, rain),
        ("wind_mean_m_s", 0.2, draw.gamma(3, 1.2, count)),
        ("solar_mj_m2", 0.2, np.abs(draw.normal(15, 5, count))),
        ("rh_mean_pct", 0.2, draw.uniform(40, 100, count)),
        ("soil_5cm_c", 0.2, mean + 1),
    ):
        if draw.random() < often:
            values[name] = series.round(1)
    for series in values.values():
        for _ in range(draw.integers(0, 5)):
            first = int(draw.integers(0, count))
            series[first : first + int(draw.choice(HOLES_DAYS))] = np.nan
        if draw.random() < 0.2:
            series[: int(draw.integers(1, 120))] = np.nan
        if draw.random() < 0.2:
            series[-int(draw.integers(1, 120)) :] = np.nan
    grades = {name: np.full(count, Grade.OBSERVED, np.uint8) for name in values}
    place = Place("made up", -latitude if southern else latitude, -90.0)
    return filled(checked(Record(place, dates, values, grades)))

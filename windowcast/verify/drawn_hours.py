"""Hours of a season drawn once from its days: what a daily record does not tell, from real days.

The course of temperature comes from each day's highest and lowest. Rain's hours, wind, gusts, dew
point and cloud are borrowed from hours measured elsewhere (``data/hourly_days.csv.gz``): three
days in a row of the same part of the year, as wet and as dry, as clear and as changeable. A dew
point keeps its distance from the night's low, unless the day's humidity was measured.
"""

from __future__ import annotations

import gzip
from dataclasses import dataclass
from functools import cache
from importlib import resources
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

from windowcast.core.local_days import hours_of, local_dates
from windowcast.core.record import DateArray, FloatArray, Grade, Record
from windowcast.core.time_axis import extended, grades_of
from windowcast.physics.humidity import relative_humidity_pct
from windowcast.weather.hourly import daily_to_hourly

BLOCK_D = 3
AROUND_D = 30  # of the year, on either side
NEAREST = 8  # alike blocks or days of which one is drawn
WET_MM = 0.254
HOURS = 24
YEAR_D = 365
MONTHS = 12
_STEPS = (0.5, 0.5, 0.5, 0.5, 0.1, 0.1)
MOST_FACTOR = 2.0
_MATCH_RH = 12  # rounds of a secant towards a day's mean humidity
IntArray = npt.NDArray[np.int64]


@dataclass(frozen=True)
class RealDays:
    """Hours of real days, ``[day, hour]`` in local standard time.

    Attributes
    ----------
    place, day_of_year
        ``[day]``.
    temp_c, dewpoint_c, wind_m_s, gust_m_s, cloud_fraction, precip_mm
        As their names say.
    """

    place: IntArray
    day_of_year: IntArray
    temp_c: FloatArray
    dewpoint_c: FloatArray
    wind_m_s: FloatArray
    gust_m_s: FloatArray
    cloud_fraction: FloatArray
    precip_mm: FloatArray

    @property
    def month(self) -> IntArray:
        """Month from 0, ``[day]``."""
        return months_of(self.day_of_year)

    def features(self) -> FloatArray:
        """What days are compared by, ``[day, feature]``."""
        return _features(
            self.temp_c.min(axis=1),
            self.temp_c.max(axis=1),
            self.precip_mm.sum(axis=1),
            self.wind_m_s.mean(axis=1),
        )

    def by_month(self, values: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Mean ``[month, hour]`` and spread about it ``[month]`` of values ``[day, hour]``."""
        mean = np.stack([values[self.month == m].mean(axis=0) for m in range(MONTHS)])
        spread = np.array(
            [np.sqrt(((values[self.month == m] - mean[m]) ** 2).mean()) for m in range(MONTHS)]
        )
        return mean, spread


def months_of(day_of_year: IntArray) -> IntArray:
    """Month from 0 of days of the year from 1; within a day of the calendar's."""
    return np.minimum((day_of_year - 1) * MONTHS // YEAR_D, MONTHS - 1)


@cache
def real_days() -> RealDays:
    """The packaged days."""
    packed = resources.files("windowcast.data").joinpath("hourly_days.csv.gz").read_bytes()
    lines = gzip.decompress(packed).decode("ascii").splitlines()
    table = np.loadtxt(lines, delimiter=",", dtype=np.int64)
    hours = table[:, 2:].reshape(len(table), len(_STEPS), HOURS).astype(np.float64)
    values: list[FloatArray] = [hours[:, n] * step for n, step in enumerate(_STEPS)]
    return RealDays(table[:, 0], table[:, 1], *values)


@dataclass(frozen=True)
class DrawnHours:
    """Hours of some days.

    Attributes
    ----------
    record
        Hours UTC: temp_c, dewpoint_c, wind_m_s, gust_m_s, precip_mm, cloud_fraction.
    dates
        The local dates, ``[day]``.
    day, hour
        Day (from 0) and hour of the local day (at most 23) of each, ``[hour]``.
    starts
        First hour of each day, and the end of the last, ``[day + 1]``.
    """

    record: Record
    dates: DateArray
    day: IntArray
    hour: IntArray
    starts: IntArray

    @property
    def month(self) -> IntArray:
        """Month of each day, from 0, ``[day]``."""
        return months_of(_day_of_year(self.dates))


def drawn_hours(daily: Record, dates: DateArray, seed: list[int]) -> DrawnHours:
    """The hours of whole local days as they may have come.

    Parameters
    ----------
    daily
        With highs, lows and rain on all `dates`; where it has ``rh_mean_pct`` or ``wind_mean_m_s``
        these are the means of the hours.
    dates
        Local dates in a row, ``[day]``.
    seed
        Of the draw.
    """
    real, count = real_days(), len(dates)
    rng = np.random.default_rng(seed)
    near = extended(daily, dates[0], dates[-1])
    tmin, tmax, rain = (near.get(n) for n in ("tmin_c", "tmax_c", "precip_mm"))
    windy = near.get("wind_mean_m_s")
    year_day = _day_of_year(dates)
    alike = _blocks(real, _features(tmin, tmax, rain, windy), year_day, rng.random(count))
    wet_alike = _wet_days(real, alike, rain, year_day, rng.random(count))

    zone = ZoneInfo(daily.place.timezone)
    times = hours_of(zone, dates[0], count)
    day = (local_dates(zone, times) - dates[0]).astype(np.int64)
    bounds = np.searchsorted(day, np.arange(count + 1))
    starts = bounds[:-1]
    hour = np.minimum(np.arange(len(times)) - starts[day], HOURS - 1)

    made = daily_to_hourly(daily, dates[0].astype(object), count)
    temp = made.get("temp_c")
    own_low = real.temp_c.min(axis=1)
    above = (real.dewpoint_c - own_low[:, None])[alike[day], hour]
    dew = _with_humidity(temp, tmin[day] + above, near.get("rh_mean_pct"), day, starts)
    wind, gust = real.wind_m_s[alike[day], hour], real.gust_m_s[alike[day], hour]
    by, more = (part[day] for part in _to_mean(windy, wind, starts))
    pattern = real.precip_mm[wet_alike[day], hour]
    total = np.add.reduceat(pattern, starts)
    fallen = np.where(rain[day] > 0, rain[day] * pattern / np.maximum(total, 1e-9)[day], 0.0)
    values = {
        "temp_c": temp,
        "dewpoint_c": dew,
        "wind_m_s": wind * by + more,
        "gust_m_s": gust * by + more,
        "precip_mm": fallen,
        "cloud_fraction": real.cloud_fraction[alike[day], hour],
    }
    grades = {name: grades_of(value, Grade.OBSERVED) for name, value in values.items()}
    record = Record(daily.place, times, values, grades, daily.provenance)
    return DrawnHours(record, dates, day, hour, bounds)


def _day_of_year(dates: DateArray) -> IntArray:
    """From 1 to 365, the last day of a leap year like the one before."""
    since = (dates - dates.astype("datetime64[Y]")).astype(np.int64)
    return np.asarray(np.minimum(since, YEAR_D - 1) + 1)


def _features(tmin: FloatArray, tmax: FloatArray, rain: FloatArray, wind: FloatArray) -> FloatArray:
    """Wet or dry above all; then how much rain, how clear, how much warmer or colder, how windy.

    Wind is NaN where it was not measured.
    """
    middle = (tmin + tmax) / 2
    change = np.diff(middle, prepend=middle[:1])
    wet = rain >= WET_MM
    amount = np.log1p(np.where(wet, rain, 0.0))
    return np.stack([10.0 * wet, amount, (tmax - tmin) / 5, change / 5, 2 * np.sqrt(wind)], axis=1)


def _blocks(real: RealDays, wanted: FloatArray, year_day: IntArray, draws: FloatArray) -> IntArray:
    """A real day for each, in blocks of days in a row, ``[day]``."""
    own, last = real.features(), len(real.place) - BLOCK_D
    begins = np.arange(last + 1)
    whole = (real.place[begins] == real.place[begins + BLOCK_D - 1]) & (
        real.day_of_year[begins + BLOCK_D - 1] - real.day_of_year[begins] == BLOCK_D - 1
    )
    begins = begins[whole]
    rows = np.stack([own[begins + n] for n in range(BLOCK_D)], axis=1)
    chosen = np.empty(len(wanted), dtype=np.int64)
    for first in range(0, len(wanted), BLOCK_D):
        size = min(BLOCK_D, len(wanted) - first)
        close = _apart(real.day_of_year[begins], year_day[first]) <= AROUND_D
        among = np.flatnonzero(close)
        off = np.nansum(np.square(rows[among, :size] - wanted[first : first + size]), axis=(1, 2))
        pick = begins[among[_one_of_nearest(off, draws[first])]]
        chosen[first : first + size] = pick + np.arange(size)
    return chosen


def _wet_days(
    real: RealDays, alike: IntArray, rain: FloatArray, year_day: IntArray, draws: FloatArray
) -> IntArray:
    """The days whose rain's hours are taken: another where rain fell here and not there."""
    total = real.precip_mm.sum(axis=1)
    wet = np.flatnonzero(total >= WET_MM)
    chosen = alike.copy()
    for at in np.flatnonzero((rain > 0) & (total[alike] <= 0)):
        among = wet[_apart(real.day_of_year[wet], year_day[at]) <= AROUND_D]
        off = np.abs(np.log1p(total[among]) - np.log1p(rain[at]))
        chosen[at] = among[_one_of_nearest(off, draws[at])]
    return chosen


def _one_of_nearest(off: FloatArray, draw: float) -> int:
    count = min(NEAREST, len(off))
    nearest = np.argsort(off, kind="stable")[:count]
    return int(nearest[int(draw * count)])


def _apart(days: IntArray, day: np.int64) -> IntArray:
    """Days of the year between days, around the new year too."""
    gap = np.abs(days - day)
    return np.asarray(np.minimum(gap, YEAR_D - gap))


def _with_humidity(
    temp: FloatArray, dew: FloatArray, rh_pct: FloatArray, day: IntArray, starts: IntArray
) -> FloatArray:
    """The dew point, at most the temperature, moved by the day to a measured mean humidity."""
    wanted = np.clip(rh_pct, 5.0, 99.0)
    known = np.isfinite(wanted)
    counts = np.diff(np.append(starts, len(temp)))
    moved = np.minimum(dew, temp)
    if not known.any():
        return moved
    low, high = np.full(len(starts), -40.0), np.full(len(starts), 40.0)
    for _ in range(_MATCH_RH):
        middle = (low + high) / 2
        rh = relative_humidity_pct(temp, np.minimum(dew + middle[day], temp))
        too_moist = np.add.reduceat(rh, starts) / counts > wanted
        low, high = np.where(too_moist, low, middle), np.where(too_moist, middle, high)
    shift = np.where(known, (low + high) / 2, 0.0)
    return np.minimum(dew + shift[day], temp)


def _to_mean(
    wanted: FloatArray, hours: FloatArray, starts: IntArray
) -> tuple[FloatArray, FloatArray]:
    """By what the hours of days are multiplied, and what is added, to have a mean, ``[day]``.

    A calm day makes no windy one by gusts: what a moderate factor leaves is added.
    """
    counts = np.diff(np.append(starts, len(hours)))
    mean = np.add.reduceat(hours, starts) / counts
    factor = np.clip(wanted / np.maximum(mean, 0.1), 0.0, MOST_FACTOR)
    by = np.where(np.isfinite(wanted), factor, 1.0)
    more: FloatArray = np.where(np.isfinite(wanted), wanted - by * mean, 0.0)
    return by, np.maximum(more, 0.0)

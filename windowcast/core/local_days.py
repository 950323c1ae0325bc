"""Local days on a UTC axis: days of 23, 24 and 25 hours, and zones off the full hour.

An hourly value belongs to the local day in which its hour begins. Where local midnight is not a
full UTC hour (zones such as +05:30), the day starts with the next full UTC hour.
"""

from __future__ import annotations

import datetime as dt
from functools import cache
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

from windowcast.core.record import DateArray

_EPOCH = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)
_HOUR = dt.timedelta(hours=1)


@cache
def _first_hour(zone: ZoneInfo, ordinal: int) -> int:
    """Hours since 1970 of the first full UTC hour of a local date (days since 1970)."""
    date = dt.date(1970, 1, 1) + dt.timedelta(days=ordinal)
    midnight = dt.datetime.combine(date, dt.time(), tzinfo=zone)
    return -((_EPOCH - midnight) // _HOUR)


def day_starts(zone: ZoneInfo, dates: DateArray) -> DateArray:
    """The first UTC hour of each local date, ``datetime64[h]``, same shape as `dates`."""
    ordinals = dates.astype("datetime64[D]").astype(np.int64)
    hours = [_first_hour(zone, int(day)) for day in ordinals.ravel()]
    return np.array(hours, dtype="datetime64[h]").reshape(dates.shape)


def midnights_s(zone: ZoneInfo, dates: DateArray) -> npt.NDArray[np.int64]:
    """When each local date begins, and when the last one ends, POSIX seconds, ``[date + 1]``."""
    more = np.append(dates, dates[-1:] + np.timedelta64(1, "D"))
    return 3600 * day_starts(zone, more).astype(np.int64)


def local_dates(zone: ZoneInfo, times_utc: DateArray) -> DateArray:
    """The local date of each hour, ``datetime64[D]``."""
    if times_utc.size == 0:
        return times_utc.astype("datetime64[D]")
    day = np.timedelta64(1, "D")
    first = times_utc.min().astype("datetime64[D]") - day
    dates = np.arange(first, times_utc.max().astype("datetime64[D]") + 3 * day)
    index = np.searchsorted(day_starts(zone, dates), times_utc, side="right") - 1
    return dates[index]


def hours_of(zone: ZoneInfo, first: np.datetime64, days: int) -> DateArray:
    """UTC hours from the local midnight of `first` over `days` local days."""
    ends = np.array([first, first + np.timedelta64(days, "D")], dtype="datetime64[D]")
    start, stop = day_starts(zone, ends)
    return np.arange(start, stop)


def utc_offset_h(zone: ZoneInfo, dates: DateArray) -> npt.NDArray[np.float64]:
    """Clock time minus UTC at the start of each local date, hours (whole hours, rounded down)."""
    starts = day_starts(zone, dates)
    return (dates.astype("datetime64[h]") - starts).astype(np.float64)


def on_clock(zone: ZoneInfo, times: DateArray) -> DateArray:
    """UTC hours on a zone's clock, ``datetime64[m]``, same shape."""
    hours = times.astype(np.int64)
    days, at = np.unique(hours // 24, return_inverse=True)
    whole = np.empty((len(days), 24), dtype=np.int64)
    for row, day in zip(whole, days.tolist(), strict=True):
        row[:] = _offset_min(zone, 24 * day)
        if row[0] != _offset_min(zone, 24 * day + 24):  # the clock changes on that day
            row[:] = [_offset_min(zone, 24 * day + hour) for hour in range(24)]
    minutes = whole[at.reshape(hours.shape), hours % 24]
    local: DateArray = times.astype("datetime64[m]") + minutes.astype("timedelta64[m]")
    return local


def _offset_min(zone: ZoneInfo, hour: int) -> int:
    """Clock time minus UTC [min] at a UTC hour since 1970."""
    offset = (_EPOCH + hour * _HOUR).astimezone(zone).utcoffset() or dt.timedelta()
    return offset // dt.timedelta(minutes=1)


def local_today(zone: ZoneInfo) -> dt.date:
    """Today's date on the site's clock."""
    return dt.datetime.now(zone).date()

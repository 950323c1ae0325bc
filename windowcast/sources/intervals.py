"""ISO 8601 intervals and the exact way from values on intervals to values on hours.

Times are POSIX seconds in float64 (exact to the second).
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from windowcast.core.record import DateArray, FloatArray

_DURATION = re.compile(
    r"P(?:(?P<weeks>\d+)W)?(?:(?P<days>\d+)D)?"
    r"(?:T(?=\d)(?:(?P<hours>\d+)H)?(?:(?P<minutes>\d+)M)?(?:(?P<seconds>\d+)S)?)?"
)
HOUR_S = 3600.0


def instant_s(text: str) -> float:
    """``"2024-02-23T12:00:00+00:00"`` → POSIX seconds.

    Raises
    ------
    ValueError
        Not an ISO 8601 date-time, or one without an offset from UTC.
    """
    moment = dt.datetime.fromisoformat(text.strip())
    if moment.tzinfo is None:
        raise ValueError(f"{text!r} does not say its offset from UTC")
    return moment.timestamp()


def duration_s(text: str) -> float:
    """``"P2DT18H"`` → seconds. Years and months have no fixed length and are refused.

    Raises
    ------
    ValueError
        Not a duration of weeks, days, hours, minutes and seconds, or empty.
    """
    match = _DURATION.fullmatch(text.strip())
    parts = {k: int(v) for k, v in match.groupdict().items() if v} if match else {}
    try:
        length = dt.timedelta(**parts)
    except OverflowError:
        parts = {}
    if not parts:
        raise ValueError(f"{text!r} is not an ISO 8601 duration of fixed length")
    return length.total_seconds()


def interval_s(text: str) -> tuple[float, float]:
    """An ISO 8601 interval (start/duration, start/end or duration/end) → start and end.

    Raises
    ------
    ValueError
        Not an interval, or one that ends before it starts.
    """
    first, slash, second = text.partition("/")
    if not slash:
        raise ValueError(f"{text!r} is not an ISO 8601 interval")
    if first.strip().startswith("P"):
        end = instant_s(second)
        start = end - duration_s(first)
    else:
        start = instant_s(first)
        has_duration = second.strip().startswith("P")
        end = start + duration_s(second) if has_duration else instant_s(second)
    if end <= start:
        raise ValueError(f"{text!r} ends before it starts")
    return start, end


@dataclass(frozen=True, slots=True)
class Steps:
    """Values on intervals in order, without overlap; unknown ones are left out.

    Attributes
    ----------
    start, end
        POSIX seconds, ``[interval]``.
    value
        ``[interval]``, finite; an amount belongs to the interval as it was written.
    share
        What is left of the interval as it was written, 0..1, ``[interval]``.
    contested_s
        Seconds for which two values were given. Neither is taken.
    """

    start: FloatArray
    end: FloatArray
    value: FloatArray
    share: FloatArray
    contested_s: float = 0.0

    @classmethod
    def of(cls, items: Iterable[tuple[str, float | None]]) -> Steps:
        """Steps from pairs of an interval's text and its value (None where unknown).

        Raises
        ------
        ValueError
            A malformed interval.
        """
        known = [(*interval_s(text), float(v)) for text, v in items if v is not None]
        rows = np.array(sorted(known), dtype=np.float64).reshape(-1, 3)
        start, end, value = rows[np.isfinite(rows[:, 2])].T
        if (start[1:] >= end[:-1]).all():
            return cls(start, end, value, np.ones(len(value)))
        edges = np.unique(np.concatenate([start, end]))
        low, high = edges[:-1], edges[1:]
        covers = (start <= low[:, None]) & (high[:, None] <= end)  # [piece, interval]
        single = covers.sum(axis=1) == 1
        owner = covers[single].argmax(axis=1)
        length = high - low
        return cls(
            low[single],
            high[single],
            value[owner],
            length[single] / (end - start)[owner],
            float(length[covers.sum(axis=1) > 1].sum()),
        )


def hour_axis(first_s: float, last_s: float) -> DateArray:
    """UTC hours from the one that holds `first_s` to the last that ends by `last_s`."""
    first, stop = int(first_s // HOUR_S), int(last_s // HOUR_S)
    return np.arange(first, max(stop, first)).astype("datetime64[h]")


def _seconds(hours: DateArray) -> FloatArray:
    return hours.astype("datetime64[s]").astype(np.float64)


def in_force(steps: Steps, hours: DateArray) -> FloatArray:
    """The value in force at the start of each hour, NaN where there is none, ``[hour]``."""
    if not len(steps.value):
        return np.full(len(hours), np.nan)
    at = _seconds(hours)
    index = np.searchsorted(steps.start, at, side="right") - 1
    inside = (index >= 0) & (at < steps.end[index])
    return np.where(inside, steps.value[index], np.nan)


def amount_in(steps: Steps, hours: DateArray) -> FloatArray:
    """Amounts split evenly over their intervals and summed by hour, ``[hour]``.

    The sum over all hours is the sum of the amounts. An hour that is not wholly covered by
    intervals is NaN: what fell in the rest of it is unknown.
    """
    if not len(steps.value):
        return np.full(len(hours), np.nan)
    edges = np.column_stack([steps.start, steps.end]).ravel()
    zero = np.zeros_like(steps.value)
    amount = np.cumsum(np.column_stack([zero, steps.value * steps.share]).ravel())
    cover = np.cumsum(np.column_stack([zero, steps.end - steps.start]).ravel())
    at = _seconds(hours)
    gained = np.interp(at + HOUR_S, edges, amount) - np.interp(at, edges, amount)
    covered = np.interp(at + HOUR_S, edges, cover) - np.interp(at, edges, cover)
    return np.where(covered > HOUR_S - 0.5, np.maximum(gained, 0.0), np.nan)

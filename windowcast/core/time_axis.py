"""The complete, regular time axis a `Record` has: bringing values onto it, finding days on it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from windowcast.core.phrase import Phrase
from windowcast.core.record import (
    DateArray,
    Flag,
    FloatArray,
    Grade,
    Place,
    Provenance,
    Record,
)


def day_index(dates: DateArray, date: dt.date) -> int:
    """Place of a date on an axis of days in a row, ``[day]``; negative before it."""
    return int((np.datetime64(date, "D") - dates[0]) // np.timedelta64(1, "D"))


def grades_of(
    values: FloatArray, grade: Grade | npt.NDArray[np.uint8] = Grade.OBSERVED
) -> npt.NDArray[np.uint8]:
    """`grade` where there is a value, MISSING elsewhere; members share the grade, ``[time]``."""
    known = np.isfinite(values).any(axis=tuple(range(values.ndim - 1)))
    return np.where(known, grade, Grade.MISSING).astype(np.uint8)


def steps(first: np.datetime64, last: np.datetime64) -> DateArray:
    """Every step of a time's own unit from the first to the last, both included, ``[time]``.

    Examples
    --------
    >>> from windowcast.core.time_axis import steps
    >>> steps(np.datetime64("2026-02-27"), np.datetime64("2026-03-01")).astype(str).tolist()
    ['2026-02-27', '2026-02-28', '2026-03-01']
    """
    return np.arange(first, last + _step(last))


def step_before(time: np.datetime64) -> np.datetime64:
    """The day before a day, the hour before an hour."""
    before: np.datetime64 = time - _step(time)
    return before


def _step(time: np.datetime64) -> Any:
    """One of the time's own unit."""
    return np.ones((), f"timedelta64[{np.datetime_data(time.dtype)[0]}]")[()]


def on_regular_axis(
    times: DateArray, columns: Mapping[str, FloatArray]
) -> tuple[DateArray, dict[str, FloatArray]]:
    """Put strictly increasing `times` on an axis without missing steps; new steps are NaN.

    Parameters
    ----------
    times
        ``datetime64[D]`` or ``datetime64[h]``, ``[row]``.
    columns
        Name → values ``[..., row]``.
    """
    axis = steps(times[0], times[-1])
    if len(axis) == len(times):
        return axis, dict(columns)
    rows = (times - times[0]).astype(np.int64)
    regular = {}
    for name, values in columns.items():
        regular[name] = np.full((*values.shape[:-1], len(axis)), np.nan)
        regular[name][..., rows] = values
    return axis, regular


def extended(record: Record, first: np.datetime64, last: np.datetime64) -> Record:
    """The record on the axis `first` to `last`: cut, or lengthened with missing steps."""
    axis = steps(*np.array([first, last], record.times.dtype))
    at = (record.times - axis[0]).astype(np.int64) if len(axis) else np.zeros(0, np.int64)
    inside = (at >= 0) & (at < len(axis)) if len(axis) else np.zeros(len(record.times), bool)
    values, grades = {}, {}
    for name, old in record.values.items():
        values[name] = np.full((*old.shape[:-1], len(axis)), np.nan)
        values[name][..., at[inside]] = old[..., inside]
        grades[name] = np.full(len(axis), Grade.MISSING, dtype=np.uint8)
        grades[name][at[inside]] = record.grades[name][inside]
    return Record(record.place, axis, values, grades, record.provenance, record.flags)


def record_of(
    place: Place,
    times: DateArray,
    columns: Mapping[str, FloatArray],
    *,
    grade: Grade = Grade.OBSERVED,
    provenance: tuple[Provenance, ...] = (),
) -> Record:
    """A record from rows in order: regular axis, one grade for every value there is."""
    axis, values = on_regular_axis(times, columns)
    grades = {name: grades_of(v, grade) for name, v in values.items()}
    return Record(place, axis, values, grades, provenance)


def span_flag(check: str, variable: str, times: DateArray, action: str, text: Phrase) -> Flag:
    """A `Flag` over the times it concerns (in order, at least one)."""
    return Flag(check, variable, str(times[0]), str(times[-1]), len(times), action, text)


def by_day_of_year(
    times: DateArray, values: FloatArray
) -> tuple[FloatArray, npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """Daily values as a table ``[year, 366]``, and the row and column of each day.

    Column 0 is 1 January; column 365 has values in leap years only. NaN where there is no day.
    `times` are complete, as in a `Record`.
    """
    first, last = times[[0, -1]].astype("datetime64[Y]").astype(np.int64)
    new_years = np.arange(first, last + 2).astype("datetime64[Y]").astype("datetime64[D]")
    starts = (new_years - times[0]).astype(np.int64)
    row = np.repeat(np.arange(len(starts) - 1), np.diff(starts))[-starts[0] :][: len(times)]
    column = np.arange(len(times)) - starts[row]
    table = np.full((len(starts) - 1, 366), np.nan)
    table[row, column] = values
    return table, row, column


def around_day_of_year(table: npt.NDArray[Any], half: int) -> npt.NDArray[Any]:
    """Sums over the `half` days of the year before and after each, and itself, ``[..., 366]``.

    The year is taken as a ring of 366 days.
    """
    ring = np.concatenate([table[..., -half:], table, table[..., :half]], axis=-1)
    total = ring[..., 2 * half :].copy()
    for start in range(2 * half - 1, -1, -1):
        total += ring[..., start : start + table.shape[-1]]
    return total


def first_day(
    reached: npt.NDArray[np.bool_], unknown: npt.NDArray[np.bool_] | None = None
) -> FloatArray:
    """Index of the first day on which something is reached, ``[...]``.

    Infinite if it never is. NaN if a day before it is unknown, or any day when it never is.

    Parameters
    ----------
    reached, unknown
        ``[..., day]``; without `unknown` every day is known.
    """
    first = _first_true(reached)
    if unknown is None:
        return first
    return np.where(_first_true(unknown) < first, np.nan, first)


def last_day(
    holds: npt.NDArray[np.bool_], unknown: npt.NDArray[np.bool_] | None = None
) -> FloatArray:
    """Index of the last day on which something holds, ``[...]``; as `first_day` seen backwards."""
    back = first_day(holds[..., ::-1], None if unknown is None else unknown[..., ::-1])
    return np.where(np.isinf(back), np.inf, holds.shape[-1] - 1 - back)


def _first_true(condition: npt.NDArray[np.bool_]) -> FloatArray:
    """Index of the first True, ``[...]``; infinite where there is none."""
    if not condition.shape[-1]:
        return np.full(condition.shape[:-1], np.inf)
    return np.where(condition.any(axis=-1), condition.argmax(axis=-1).astype(np.float64), np.inf)

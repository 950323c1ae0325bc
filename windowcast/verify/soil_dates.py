"""Dates on which the soil passes a temperature: how far a model's are off."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from windowcast.core.first_last import first_day
from windowcast.core.record import DateArray, FloatArray

WEEK = 7
LEAST_DAYS = 5  # of a week's seven, for its mean


@dataclass(frozen=True)
class Passing:
    """A 7-day mean falling to or rising to a temperature, looked for within part of the year.

    The week ends on the day named; days are counted from `month`, day 1, for `span` days.
    """

    name: str
    temp_c: float
    falling: bool
    month: int
    span: int


def weekly_mean(temp_c: FloatArray) -> FloatArray:
    """Mean of the seven days up to each day ``[..., time]``; NaN with fewer than five known."""
    known = np.isfinite(temp_c)
    sums = np.cumsum(np.where(known, temp_c, 0.0), axis=-1)
    counts = np.cumsum(known, axis=-1)
    sums[..., WEEK:] = sums[..., WEEK:] - sums[..., :-WEEK].copy()
    counts[..., WEEK:] = counts[..., WEEK:] - counts[..., :-WEEK].copy()
    mean: FloatArray = np.where(counts >= LEAST_DAYS, sums / np.maximum(counts, 1), np.nan)
    mean[..., : WEEK - 1] = np.nan
    return mean


def _windows(weekly: FloatArray, dates: DateArray, passing: Passing) -> FloatArray:
    """Cut into the part of each year looked at: ``[..., year, day]``, NaN beyond the record."""
    years = np.unique(dates.astype("datetime64[Y]"))
    begins = years.astype("datetime64[M]") + np.timedelta64(passing.month - 1, "M")
    first = (begins.astype("datetime64[D]") - dates[0]).astype(np.int64)
    index = first[:, None] + np.arange(passing.span)
    inside = (index >= 0) & (index < len(dates))
    cut: FloatArray = np.where(inside, weekly[..., np.clip(index, 0, len(dates) - 1)], np.nan)
    return cut


def _reached(windows: FloatArray, passing: Passing) -> npt.NDArray[np.bool_]:
    if passing.falling:
        return windows <= passing.temp_c
    return windows >= passing.temp_c


def _first(reached: npt.NDArray[np.bool_]) -> npt.NDArray[np.int64]:
    """Day of the first true value, the number of days when there is none."""
    return np.minimum(first_day(reached), reached.shape[-1]).astype(np.int64)


def observed_days(soil_c: FloatArray, dates: DateArray, passing: Passing) -> npt.NDArray[np.int64]:
    """Day of each year's window on which the observed mean passes, ``[..., year]``; -1 if unusable.

    A year counts when the weekly mean is known on every day from the start of the window to the
    passing, and lies on the other side of the temperature at the start.
    """
    windows = _windows(weekly_mean(soil_c), dates, passing)
    reached = _reached(windows, passing)
    day = _first(reached)
    known = np.cumsum(np.isfinite(windows), axis=-1)
    at = np.minimum(day, windows.shape[-1] - 1)
    complete = np.take_along_axis(known, at[..., None], axis=-1)[..., 0] == at + 1
    usable = (day > 0) & (day < windows.shape[-1]) & complete
    return np.where(usable, day, -1)


def date_errors(
    model_c: FloatArray,
    dates: DateArray,
    passing: Passing,
    observed: npt.NDArray[np.int64],
) -> FloatArray:
    """Days by which a model's passing is off, ``[..., year]``, positive when late.

    NaN where `observed` is unusable or the model is blind for the start of the window. A model
    that has already passed at the start counts with that day, one that never passes with the end.
    """
    windows = _windows(weekly_mean(model_c), dates, passing)
    day = _first(_reached(windows, passing))
    at = np.minimum(np.maximum(day, observed), windows.shape[-1] - 1)
    known = np.cumsum(np.isfinite(windows), axis=-1)
    complete = np.take_along_axis(known, at[..., None], axis=-1)[..., 0] == at + 1
    late_end = day == windows.shape[-1]
    complete |= late_end & (np.isfinite(windows).mean(axis=-1) > 0.9)
    return np.where((observed >= 0) & complete, day - observed, np.nan)

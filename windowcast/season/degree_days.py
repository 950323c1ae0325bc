"""Degree days by the published methods, and their running totals from a biofix date.

All functions take arrays ``[..., day]`` (or anything that broadcasts) in °C and return °C·d. A
missing temperature gives a missing degree day, and a total that is missing from there to the next
biofix: a gap is never counted as zero.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Literal

import numpy as np
import numpy.typing as npt

from windowcast.weather.record import DateArray, FloatArray

Cutoff = Literal["horizontal", "intermediate", "vertical"]


def heating(mean_c: FloatArray, base_c: float, ceiling_c: float | None = None) -> FloatArray:
    """Degree days of a day's mean temperature above a base, ``[..., day]``.

    Parameters
    ----------
    mean_c
        Daily mean temperature [°C].
    base_c
        Below it nothing accumulates [°C].
    ceiling_c
        Warmer means count as this (horizontal cutoff) [°C]; None for no ceiling.
    """
    top = mean_c if ceiling_c is None else np.minimum(mean_c, ceiling_c)
    return np.maximum(top - base_c, 0.0)


def chilling(mean_c: FloatArray, base_c: float) -> FloatArray:
    """Degree days by which a day's mean falls short of a base (cooling degree days)."""
    return np.maximum(base_c - mean_c, 0.0)


def simple_average(
    tmax_c: FloatArray, tmin_c: FloatArray, base_c: float, ceiling_c: float | None = None
) -> FloatArray:
    """Degree days by the averaging method: (max + min) / 2 less the base, not below zero."""
    return heating((tmax_c + tmin_c) / 2.0, base_c, ceiling_c)


def single_sine(
    tmax_c: FloatArray,
    tmin_c: FloatArray,
    base_c: float,
    ceiling_c: float | None = None,
    cutoff: Cutoff = "horizontal",
) -> FloatArray:
    """Degree days by the single-sine method, ``[..., day]``.

    The day's temperature is one sine wave between minimum and maximum; the degree days are its
    mean excess over the base.

    Parameters
    ----------
    tmax_c, tmin_c
        Daily extremes [°C]; NaN in, NaN out.
    base_c, ceiling_c
        Lower and upper threshold [°C].
    cutoff
        What happens above the ceiling: ``horizontal``, development goes on at the ceiling's rate;
        ``intermediate``, it slows by as much as the ceiling is passed; ``vertical``, it stops.

    References
    ----------
    Baskerville & Emin 1969, Ecology 50:514-517; Allen 1976, Environmental Entomology 5:388-396
    (upper threshold); Zalom et al. 1983 (cutoff methods).
    """
    mean, half = (tmax_c + tmin_c) / 2.0, (tmax_c - tmin_c) / 2.0
    total = _sine_excess(mean, half, base_c)
    if ceiling_c is None:
        return total
    over = _sine_excess(mean, half, ceiling_c)
    if cutoff == "horizontal":
        return total - over
    if cutoff == "intermediate":
        return np.maximum(total - 2.0 * over, 0.0)
    time_over = np.arccos(_share_of_wave(mean, half, ceiling_c)) / np.pi
    return np.maximum(total - over - (ceiling_c - base_c) * time_over, 0.0)


def _share_of_wave(mean: FloatArray, half: FloatArray, level: float) -> FloatArray:
    """Height of a level on the wave, from -1 (at or below its foot) to 1 (at or above its top)."""
    flat = half <= 0
    height = (level - mean) / np.where(flat, 1.0, half)
    return np.clip(np.where(flat, np.where(mean > level, -1.0, 1.0), height), -1.0, 1.0)


def _sine_excess(mean: FloatArray, half: FloatArray, level: float) -> FloatArray:
    """Mean over a sine wave of its excess over a level."""
    angle = np.arcsin(_share_of_wave(mean, half, level))
    excess = ((mean - level) * (np.pi / 2 - angle) + half * np.cos(angle)) / np.pi
    return np.maximum(np.where(np.isnan(mean), np.nan, excess), 0.0)


def accumulate(
    daily: FloatArray, reset: npt.NDArray[np.bool_], start: FloatArray | float = np.nan
) -> FloatArray:
    """Running total of daily values that begins anew on each reset day, ``[..., day]``.

    Parameters
    ----------
    daily
        Daily degree days, ``[..., day]``.
    reset
        True on biofix days, ``[day]``; that day's own value is the first of the new total.
    start
        Total carried in from the day before the first, ``[...]``. The default NaN says that the
        record begins after the biofix, so the total cannot be told until the next one.

    Notes
    -----
    Summed strictly in order of time, so that a run split in two gives the same bits as one run.
    """
    leading = np.broadcast_shapes(daily.shape[:-1], np.shape(start))
    total = np.array(np.broadcast_to(daily, (*leading, daily.shape[-1])), dtype=float)
    if total.shape[-1] == 0:
        return total
    if not reset[0]:
        total[..., 0] = start + total[..., 0]
    edges = [0, *(i for i in np.flatnonzero(reset) if i), total.shape[-1]]
    for first, stop in pairwise(edges):
        total[..., first:stop] = np.cumsum(total[..., first:stop], axis=-1)
    return total


def month_day(dates: DateArray) -> npt.NDArray[np.int64]:
    """Calendar day as month * 100 + day, ``[day]``."""
    months = dates.astype("datetime64[M]")
    month = months.astype(np.int64) % 12 + 1
    day = (dates.astype("datetime64[D]") - months.astype("datetime64[D]")).astype(np.int64) + 1
    code: npt.NDArray[np.int64] = month * 100 + day
    return code


def northern_month_day(text: str, southern: bool) -> int:
    """A northern ``"MM-DD"`` as month * 100 + day, half a year later in the south."""
    month, day = (int(part) for part in text.split("-"))
    if southern:
        month = (month + 5) % 12 + 1
        day = min(day, 28) if month == 2 else min(day, 30)
    return month * 100 + day


def on_date(dates: DateArray, text: str, southern: bool) -> npt.NDArray[np.bool_]:
    """True on a (northern) calendar day of each year, ``[day]``."""
    return np.asarray(month_day(dates) == northern_month_day(text, southern))

"""Degree days of daily means, and their running totals from a biofix date.

All functions take arrays ``[..., day]`` (or anything that broadcasts) in °C and return °C·d. A
missing temperature gives a missing degree day, and a total that is missing from there to the next
biofix: a gap is never counted as zero.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import numpy.typing as npt

from windowcast.core.record import FloatArray


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

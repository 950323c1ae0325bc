"""Sums, counts and first days of seasons over many stations, in one pass through memory.

Arrays are ``[row, day]``, seasons are slices of the days. Some rows of a season are worked on at a
time, in buffers that stay in the processor's cache, so that each value is fetched from memory
once. A season with a missing day gives NaN: a gap is never counted as nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import numpy.typing as npt

from windowcast.weather.record import FloatArray

_ROWS = 64  # with a year of days: 190 kB a buffer

Block = tuple[slice, int, FloatArray]  # rows, number of the season, its values


def warmth(
    mean_c: FloatArray, base_c: float, seasons: Sequence[slice]
) -> tuple[FloatArray, FloatArray]:
    """Degree days above a base and the first day below it, both ``[row, season]``.

    Parameters
    ----------
    mean_c
        Daily mean temperature [°C].
    base_c
        Base of the degree days (`windowcast.season.degree_days.heating`) [°C].

    Returns
    -------
    FloatArray, FloatArray
        °C·d; and days from the season's start, NaN where no day is below.
    """
    total, first = (np.empty((len(mean_c), len(seasons))) for _ in range(2))
    above, below = _buffers(seasons)
    for rows, season, block in _blocks(mean_c, seasons):
        height, width = block.shape
        more, less = above[:height, :width], below[:height, :width]
        np.maximum(block, base_c, out=more)  # what lies above the base is what this adds to it
        total[rows, season] = more.sum(axis=-1) - base_c * width
        first[rows, season] = _first(np.less(block, base_c, out=less))
    first[np.isnan(total)] = np.nan
    return total, first


def frost(
    tmin_c: FloatArray, limit_c: float, seasons: Sequence[slice]
) -> tuple[FloatArray, FloatArray]:
    """Number of days below a limit and the first of them, both ``[row, season]``; as `warmth`."""
    count, first = (np.empty((len(tmin_c), len(seasons))) for _ in range(2))
    _, below = _buffers(seasons)
    for rows, season, block in _blocks(tmin_c, seasons):
        height, width = block.shape
        less = np.less(block, limit_c, out=below[:height, :width])
        days = less.view(np.uint8).sum(axis=-1, dtype=np.uint16)
        count[rows, season] = np.where(np.isnan(block.sum(axis=-1)), np.nan, days)
        first[rows, season] = _first(less)
    first[np.isnan(count)] = np.nan
    return count, first


def _first(truth: npt.NDArray[np.bool_]) -> FloatArray:
    day = truth.argmax(axis=-1)
    return np.where(truth[np.arange(len(day)), day], day, np.nan)


def _buffers(seasons: Sequence[slice]) -> tuple[FloatArray, npt.NDArray[np.bool_]]:
    shape = _ROWS, max((part.stop - part.start for part in seasons), default=0)
    return np.empty(shape), np.empty(shape, dtype=np.bool_)


def _blocks(values: FloatArray, seasons: Sequence[slice]) -> Iterator[Block]:
    for start in range(0, len(values), _ROWS):
        rows = slice(start, start + _ROWS)
        for season, part in enumerate(seasons):
            yield rows, season, values[rows, part]

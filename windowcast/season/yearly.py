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

_ROWS = 256  # with a year of days: 750 kB a buffer; large enough that threads seldom meet
_SPAN = 32  # days searched at a time for the first

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
    above = np.empty(_buffer_shape(seasons))
    for rows, season, block in _blocks(mean_c, seasons):
        height, width = block.shape
        more = np.maximum(block, base_c, out=above[:height, :width])
        total[rows, season] = more.sum(axis=-1) - base_c * width  # what lies above adds to the base
        first[rows, season] = _first_below(block, base_c)
    first[np.isnan(total)] = np.nan
    return total, first


def frost(
    tmin_c: FloatArray, limit_c: float, seasons: Sequence[slice]
) -> tuple[FloatArray, FloatArray]:
    """Number of days below a limit and the first of them, both ``[row, season]``; as `warmth`."""
    count, first = (np.empty((len(tmin_c), len(seasons))) for _ in range(2))
    below = np.empty(_buffer_shape(seasons), dtype=np.bool_)
    for rows, season, block in _blocks(tmin_c, seasons):
        height, width = block.shape
        less = np.less(block, limit_c, out=below[:height, :width])
        days = less.view(np.uint8).sum(axis=-1, dtype=np.uint16)
        count[rows, season] = np.where(np.isnan(block.sum(axis=-1)), np.nan, days)
        first[rows, season] = _first(less)
    first[np.isnan(count)] = np.nan
    return count, first


def _first_below(block: FloatArray, limit: float) -> FloatArray:
    """First day below a limit; looks no further once every row has one."""
    found = np.full(len(block), np.nan)
    for start in range(0, block.shape[-1], _SPAN):
        day = _first(block[:, start : start + _SPAN] < limit) + start
        found = np.where(np.isnan(found), day, found)
        if not np.isnan(found).any():
            break
    return found


def _first(truth: npt.NDArray[np.bool_]) -> FloatArray:
    day = truth.argmax(axis=-1)
    return np.where(truth[np.arange(len(day)), day], day, np.nan)


def _buffer_shape(seasons: Sequence[slice]) -> tuple[int, int]:
    return _ROWS, max((part.stop - part.start for part in seasons), default=0)


def _blocks(values: FloatArray, seasons: Sequence[slice]) -> Iterator[Block]:
    for start in range(0, len(values), _ROWS):
        rows = slice(start, start + _ROWS)
        for season, part in enumerate(seasons):
            yield rows, season, values[rows, part]

"""Sums, counts and first days of seasons over many stations, compiled.

Arrays are ``[row, day]``, seasons are slices of the days. A season is short enough to stay in the
processor's cache, so that each value is fetched from memory once. A season with a missing day
gives NaN: a gap is never counted as nothing.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from windowcast.core.compiled import compiled
from windowcast.core.record import FloatArray


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

    Examples
    --------
    >>> import numpy as np
    >>> from windowcast.season.yearly import warmth
    >>> warmth(np.array([[12.0, 9.0, 15.0]]), 10.0, [slice(0, 3)])
    (array([[7.]]), array([[1.]]))
    """
    return _by_season(mean_c, base_c, seasons, False)


def frost(
    tmin_c: FloatArray, limit_c: float, seasons: Sequence[slice]
) -> tuple[FloatArray, FloatArray]:
    """Number of days below a limit and the first of them, both ``[row, season]``; as `warmth`.

    Examples
    --------
    >>> import numpy as np
    >>> from windowcast.season.yearly import frost
    >>> frost(np.array([[3.0, -1.0, -4.0]]), 0.0, [slice(0, 3)])
    (array([[2.]]), array([[1.]]))
    """
    return _by_season(tmin_c, limit_c, seasons, True)


def _by_season(
    values: FloatArray, limit: float, seasons: Sequence[slice], count: bool
) -> tuple[FloatArray, FloatArray]:
    edges = np.array([(part.start, part.stop) for part in seasons], np.int64).reshape(-1, 2)
    found = np.empty((2, len(values), len(seasons)))
    _fill(values, float(limit), edges, count, found)
    return found[0], found[1]


@compiled()
def _fill(
    values: FloatArray, limit: float, edges: npt.NDArray[np.int64], count: bool, found: FloatArray
) -> None:
    for row in range(values.shape[0]):
        for season in range(edges.shape[0]):
            days = values[row, edges[season, 0] : edges[season, 1]]
            amount = _number_below(days, limit) if count else _sum_above(days, limit)
            found[0, row, season] = amount
            found[1, row, season] = np.nan if np.isnan(amount) else _first_below(days, limit)


@compiled(fastmath={"reassoc"})  # several sums side by side
def _sum_above(days: FloatArray, base: float) -> float:
    total = 0.0
    for value in days:
        above = value - base
        total += 0.0 if above < 0.0 else above  # NaN goes into the sum
    return total


@compiled()
def _number_below(days: FloatArray, limit: float) -> float:
    below = missing = 0
    for value in days:
        below += value < limit
        missing += np.isnan(value)
    return np.nan if missing else float(below)


@compiled()
def _first_below(days: FloatArray, limit: float) -> float:
    for day, value in enumerate(days):
        if value < limit:
            return float(day)
    return np.nan

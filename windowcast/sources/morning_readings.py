"""Daily records that were read in the morning, recognised from the temperatures themselves.

A thermometer read and reset in the morning shows the high of the afternoon before. Where it is
written under the day of the reading, highs stand a day late beside the lows, and so does the rain.
"""

from __future__ import annotations

import numpy as np

from windowcast.core.record import FloatArray
from windowcast.core.values import PACKAGED, Table, Tables


def dated_a_day_late(tmax_c: FloatArray, tmin_c: FloatArray, tables: Tables = PACKAGED) -> bool:
    """Whether the daily highs look dated a day late. False where too few days are known.

    Parameters
    ----------
    tmax_c, tmin_c
        Daily highs and lows [degC] of consecutive days, ``[day]``; NaN where unknown.
    tables
        The science values to go by: ``quality``, table ``morning``.

    Notes
    -----
    A low follows the high of the afternoon before by half a day, and comes before the next high
    by as much or less. Weather persists, and a mild afternoon goes on as a mild night, so a high
    has more in common with the next day's low than a low has with the next day's high. Highs
    moved by a day turn that round. Only the last years are judged: a station may change its habit.

    Examples
    --------
    Air that follows the weather of the hour, with nights that remember the afternoon:

    >>> import numpy as np
    >>> from windowcast.sources.morning_readings import dated_a_day_late
    >>> half_days = np.random.default_rng(1).normal(size=2000)
    >>> for half in range(1, 2000):
    ...     half_days[half] += 0.7 * half_days[half - 1]
    >>> low, high = half_days[::2], half_days[1::2]
    >>> dated_a_day_late(high, low), dated_a_day_late(np.roll(high, 1), low)
    (False, True)
    """
    table = tables["quality"].table("morning")
    judged = slice(-int(table.number("judged")), None)
    high, low = (_anomaly_k(values[judged], table) for values in (tmax_c, tmin_c))
    enough = int(table.number("least"))
    low_after = _correlation(high[:-1], low[1:], enough)
    high_after = _correlation(high[1:], low[:-1], enough)
    return low_after - high_after < table.number("difference")


def _anomaly_k(values_c: FloatArray, table: Table) -> FloatArray:
    """Departure from the mean of the known days around each day [K], ``[day]``."""
    reach = int(table.number("window")) // 2
    day = np.arange(len(values_c))
    first, end = np.maximum(day - reach, 0), np.minimum(day + reach + 1, len(values_c))
    known = np.isfinite(values_c)
    total = np.concatenate([[0.0], np.cumsum(np.where(known, values_c, 0.0))])
    count = np.concatenate([[0], np.cumsum(known)])
    days = count[end] - count[first]
    mean = (total[end] - total[first]) / np.maximum(days, 1)
    return np.asarray(np.where(days > reach, values_c - mean, np.nan))


def _correlation(one: FloatArray, other: FloatArray, enough: int) -> float:
    """Pearson's correlation over the days that both know; NaN where these are too few or even."""
    both = np.isfinite(one) & np.isfinite(other)
    if both.sum() < enough or min(np.ptp(one[both]), np.ptp(other[both])) == 0:
        return float("nan")
    return float(np.corrcoef(one[both], other[both])[0, 1])

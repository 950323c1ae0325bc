"""Trends over years of many series at once: Theil–Sen with Sen's limits, and Mann–Kendall.

Compiled; a test holds the results to those of ``scipy.stats.theilslopes`` and ``kendalltau``, which
take a hundred times as long for so short series.

Theil (1950), Proc. Royal Netherlands Academy of Sciences 53; Sen (1968), J. Am. Stat. Assoc. 63,
equation 2.6 for the limits; Mann (1945), Econometrica 13; Kendall (1970), Rank Correlation Methods.
Citations from memory.
"""

from __future__ import annotations

import math
from functools import cache
from statistics import NormalDist

import numpy as np

from windowcast.core.compiled import compiled
from windowcast.core.record import FloatArray

CONFIDENCE = 0.95  # of the limits
EXACT_YEARS = 33  # up to here p is exact where no two values are equal; beyond, normal
_DECADE = 10.0
_REACH = NormalDist().inv_cdf((1.0 + CONFIDENCE) / 2.0)  # standard deviations


def trends(years: FloatArray, values: FloatArray, least_years: int) -> FloatArray:
    """Slope per decade, its 95 % limits and the p value of the trend, ``[4, series]``.

    Parameters
    ----------
    years
        Rising, ``[year]``.
    values
        ``[series, year]``; NaN years are left out.
    least_years
        With fewer known years all four are NaN.

    Returns
    -------
    FloatArray
        In the unit of `values` per ten years; p of 1 and slopes of 0 where all values are equal.

    Examples
    --------
    >>> import numpy as np
    >>> from windowcast.region.trends import trends
    >>> slope, low, high, p = trends(np.arange(2001.0, 2011), np.arange(10.0)[None] / 2, 5)
    >>> slope, low, high, p.round(7)
    (array([5.]), array([5.]), array([5.]), array([6.e-07]))
    """
    from scipy.special import ndtr

    out = np.full((5, len(values)), np.nan)
    _fill(years, np.ascontiguousarray(values), least_years, _exact(len(years)), out)
    score = out[4]  # where p is not exact
    return np.vstack([out[:3], np.where(np.isnan(score), out[3], 2.0 * ndtr(-score))])


@compiled()
def _fill(
    years: FloatArray, values: FloatArray, least_years: int, exact: FloatArray, out: FloatArray
) -> None:
    most = len(years)
    when, value = np.empty(most), np.empty(most)
    slopes = np.empty(most * (most - 1) // 2)
    for row in range(len(values)):
        count = 0
        for year in range(most):
            if np.isfinite(values[row, year]):
                when[count], value[count] = years[year], values[row, year]
                count += 1
        if count < least_years:
            continue
        pairs = discordant = 0
        for later in range(1, count):
            for earlier in range(later):
                slope = (value[later] - value[earlier]) / (when[later] - when[earlier])
                slopes[pairs] = slope
                pairs += 1
                discordant += slope < 0.0
        tied, of_ties = _ties(value[:count])
        if tied == pairs:
            out[:3, row], out[3, row] = 0.0, 1.0
            continue
        ordered = np.sort(slopes[:pairs])
        half = pairs // 2
        middle = ordered[half] if pairs % 2 else (ordered[half - 1] + ordered[half]) / 2.0
        squares = count * (count - 1) * (2 * count + 5) - of_ties
        reach = _REACH * math.sqrt(1 / 18.0 * squares)
        low = max(int(np.rint((pairs - reach) / 2.0)) - 1, 0)
        high = min(int(np.rint((pairs + reach) / 2.0)), pairs - 1)
        out[0, row] = _DECADE * middle
        out[1, row] = _DECADE * ordered[low]
        out[2, row] = _DECADE * ordered[high]
        fewest = min(discordant, pairs - discordant)
        if tied == 0 and (count <= EXACT_YEARS or fewest <= 1):
            out[3, row] = exact[count, fewest]
        else:
            out[4, row] = abs(pairs - tied - 2 * discordant) / math.sqrt(squares / 18.0)


@compiled()
def _ties(values: FloatArray) -> tuple[int, int]:
    """Pairs of equal values, and what groups of them take off eighteen times the variance."""
    ordered = np.sort(values)
    pairs = taken = 0
    run = 1
    for n in range(1, len(ordered) + 1):
        if n < len(ordered) and ordered[n] == ordered[n - 1]:
            run += 1
        else:
            pairs += run * (run - 1) // 2
            taken += run * (run - 1) * (2 * run + 5)
            run = 1
    return pairs, taken


@cache
def _exact(most_years: int) -> FloatArray:
    """Chance of at most so many, or at least all but so many, discordant pairs, ``[year, pair]``.

    Of years in random order (Kendall 1970): shares of the orders with each number of inversions,
    to `EXACT_YEARS`; beyond, of none and one.
    """
    pairs = EXACT_YEARS * (EXACT_YEARS - 1) // 4 + 1
    chance = np.ones((max(most_years, EXACT_YEARS) + 1, pairs))
    orders = np.zeros(pairs)  # by inversions
    orders[:2] = 1.0  # of two years
    for count in range(3, EXACT_YEARS + 1):
        orders = np.cumsum(orders)
        orders[count:] -= orders[:-count]
        for fewest in range(-(-count * (count - 1) // 4)):
            chance[count, fewest] = 2.0 * np.sum(orders[: fewest + 1]) / math.factorial(count)
    for count in range(3, len(chance)):  # a float holds the factorial of 170
        none, one = (math.factorial(n) if n <= 170 else math.inf for n in (count, count - 1))
        chance[count, :2] = 2.0 / none, 2.0 / one
    return chance

"""Chances and medians of what does not come in every season, with 95 % intervals.

Citations from memory.
"""

from __future__ import annotations

import numpy as np

from windowcast.core.record import FloatArray
from windowcast.region.effects import Effects, effects, interval

_Z = 1.959964


def chance(share: float, error: float, years: int) -> tuple[float, float, float]:
    """A share of seasons with its interval (Wilson 1927, J. Am. Stat. Assoc. 22:209).

    The number of seasons is the one whose binomial error is as large as that found by drawing
    years and stations anew, as for shares in surveys (Korn & Graubard 1998, Surv. Methodol.
    24:193); where all seasons are alike, and no error shows, it is the number of years.

    Parameters
    ----------
    share, error
        Mean over years and stations, and its standard error.

    Examples
    --------
    >>> from windowcast.region.chances import chance
    >>> [round(v, 2) for v in chance(1.0, 0.0, 22)]
    [1.0, 0.85, 1.0]
    """
    if np.isnan(share):
        return np.nan, np.nan, np.nan
    p = min(max(share, 0.0), 1.0)
    spread = p * (1 - p)
    n = spread / error**2 if error > 0 and spread > 0 else float(years)
    middle = (p + _Z**2 / (2 * n)) / (1 + _Z**2 / n)
    half = _Z / (1 + _Z**2 / n) * np.sqrt(spread / n + _Z**2 / (4 * n**2))
    return p, max(float(middle - half), 0.0), min(float(middle + half), 1.0)


def typical_median(
    grid: FloatArray, found: Effects, drawn: FloatArray, years: FloatArray
) -> tuple[float, float, float]:
    """Median over stations and seasons, in which what did not come lies beyond all others.

    A season in which a station was not there has the value that its effects give; beyond all that
    was seen, and at a station where it never came, it does not come in that season. The interval is
    where the share of seasons below the median may lie (Woodruff 1952, J. Am. Stat. Assoc. 47:635).

    Parameters
    ----------
    grid
        ``[station, year]``; infinite where it did not come, NaN where it is not known.
    found
        Effects of the stations and years, of the grid with finite values.
    drawn
        Of `effects.station_draws`.
    years
        ``[year]``.
    """
    told = np.isfinite(found.by_year)
    stations = np.isfinite(found.station)
    fitted = found.station[stations, None] + (found.by_year - np.nanmean(found.station))[None, told]
    cells = grid[stations][:, told]
    never = cells[np.isinf(cells)]
    if never.size:  # all of one sign
        sign, seen = np.sign(never[0]), np.isfinite(cells)
        farthest = (sign * cells).max(where=seen, initial=-np.inf)
        beyond = (sign * fitted > farthest) | ~seen.any(axis=1, keepdims=True)
        fitted = np.where(beyond, never[0], fitted)
    whole = np.where(np.isnan(cells), fitted, cells)
    ordered = np.sort(whole, axis=None)
    middle = _at(ordered, 0.5)
    shares = effects((whole <= middle).astype(np.float64), drawn[:, stations])
    around = interval(shares, years[told])
    half = 0.5 * float(around.high - around.low)
    return middle, _at(ordered, 0.5 - half), _at(ordered, 0.5 + half)


def _at(ordered: FloatArray, share: float) -> float:
    """The value below which a share of ordered values lies, at most the first or the last."""
    place = min(max(share * len(ordered) - 0.5, 0.0), len(ordered) - 1.0)
    low, high = ordered[int(np.floor(place))], ordered[int(np.ceil(place))]
    part = place - np.floor(place)
    return float(low if low == high else (1 - part) * low + part * high)

"""Normals, weeks and trends of a station over its years, and how sure these are.

Trends are those of `windowcast.region.trends`, their interval and p value widened as one year
resembles the next. Differences between regions are those of `windowcast.region.regional_fit`.

Positive autocorrelation makes trends look surer than they are. Here the variance of trend and mean
is enlarged as that of a first-order autoregressive series is (Yue & Wang 2004, Water Resour. Manag.
18:201; Santer et al. 2000, J. Geophys. Res. 105:7337). The correlation is that of the residuals,
with the bias of short series taken out (Marriott & Pope 1954, Biometrika 41:390). It was chosen by
``benchmarks/check_regions.py``: the correction by all lags that look significant (Hamed & Rao 1998,
J. Hydrol. 204:182) finds a trend in 14 of 100 series of 22 years that have none and resemble the
year before by 0.2, this one in 5. Citations from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from windowcast.core.record import FloatArray

_MOST = 0.6  # correlation; more cannot be told from a trend in records as short as these

MIN_YEARS = 5
AT_LEAST = (1, 2, 3)  # workable days a week for which odds are given


def lag_one(residuals: FloatArray, fitted: int) -> FloatArray:
    """Correlation of a year with the next, ``[...]``: 0 to 0.6, 0 where a series never changes.

    Parameters
    ----------
    residuals
        Values less their mean or trend, ``[..., year]``; years follow one another, NaN unknown.
    fitted
        How many numbers were fitted: 1 for a mean, 2 for a trend.
    """
    known = np.isfinite(residuals)
    off = np.where(known, residuals, 0.0)
    count, pairs = known.sum(axis=-1), (known[..., 1:] & known[..., :-1]).sum(axis=-1)
    spread = total(off * off) / np.maximum(count, 1)
    together = total(off[..., 1:] * off[..., :-1]) / np.maximum(pairs, 1)
    plain = np.divide(together, spread, out=np.zeros_like(spread), where=spread > 1e-12)
    unbiased = np.where(spread > 1e-12, (count * plain + fitted) / np.maximum(count - 4, 1), 0.0)
    return np.clip(unbiased, 0.0, _MOST)


def total(values: FloatArray) -> FloatArray:
    """Sum over the last axis, one after the other: zeros around the values change no bit of it."""
    sums: FloatArray = np.cumsum(values, axis=-1)
    return sums[..., -1] if sums.shape[-1] else np.zeros(values.shape[:-1])


def variance_factor(correlation: FloatArray, count: npt.ArrayLike) -> FloatArray:
    """By what the variance of the mean of `count` years is larger than if they were independent.

    1 + 2 Σ (1 − k/n) r^k over the lags k, summed in closed form; ``[...]``.

    Examples
    --------
    >>> import numpy as np
    >>> from windowcast.region.statistics import variance_factor
    >>> variance_factor(np.array([0.0, 0.5]), 3).round(3).tolist()
    [1.0, 1.833]
    """
    r, n = correlation, np.asarray(count)
    return np.asarray((1 + r) / (1 - r) - 2 * r * (1 - r**n) / (np.maximum(n, 1) * (1 - r) ** 2))


def widened(trends: FloatArray, factor: FloatArray) -> FloatArray:
    """A trend's slope, low and high end and p value with its variance enlarged, ``[4, ...]``."""
    from scipy.special import ndtr, ndtri

    slope, low, high, p = trends
    by = np.sqrt(factor)
    fair = 2 * ndtr(ndtri(np.clip(p, 1e-300, 1.0) / 2) / by)
    return np.stack([slope, slope - (slope - low) * by, slope + (high - slope) * by, fair])


@dataclass(frozen=True, slots=True)
class Normals:
    """Middle, spread and trend of quantities over years, arrays of one shape ``[...]``.

    All but `years` are NaN with fewer than `MIN_YEARS` years.

    Attributes
    ----------
    years
        How many years are known.
    happens
        Share of them in which it came: 1 for what always does.
    median, p10, p90
        Quantiles over the years. One in which it did not come lies beyond all others, so that a
        quantile may be infinite: then it does not come so often.
    trend_per_decade, trend_low, trend_high
        Change per decade and its 95 % interval, autocorrelation counted.
    p_value
        Of the Mann–Kendall test; 1 where every year is the same.
    """

    years: npt.NDArray[np.int16]
    happens: FloatArray
    median: FloatArray
    p10: FloatArray
    p90: FloatArray
    trend_per_decade: FloatArray
    trend_low: FloatArray
    trend_high: FloatArray
    p_value: FloatArray


@dataclass(frozen=True, slots=True)
class WeekStatistics:
    """Workable days of the weeks of a season over years; NaN with fewer than `MIN_YEARS` years.

    Attributes
    ----------
    years
        How many years are known, ``[..., week]``.
    mean_days
        ``[..., week]``.
    odds
        Share of years with at least 1, 2, 3 workable days, ``[3, ..., week]``.
    """

    years: npt.NDArray[np.int16]
    mean_days: npt.NDArray[np.float32]
    odds: npt.NDArray[np.float32]


def normals(years: FloatArray, values: FloatArray) -> Normals:
    """Normals and trends of many series at once.

    Parameters
    ----------
    years
        ``[year]``.
    values
        ``[..., year]``; NaN years are left out. Infinite where it did not come: in trends such a
        year lies one day beyond all others.
    """
    from windowcast.region.trends import trends  # compiled code loads slowly

    series = values.reshape(-1, values.shape[-1])
    counts = (~np.isnan(series)).sum(axis=-1)
    came = np.where(counts >= MIN_YEARS, np.isfinite(series).sum(axis=-1), np.nan)
    series, low, high = within_reach(series)
    spread = _quantiles(series, counts)
    spread = np.select([spread > high, spread < low], [np.inf, -np.inf], spread)
    happens = came / np.maximum(counts, 1)
    change = trends(years, series, MIN_YEARS)
    since = years - years[np.argmax(~np.isnan(series), axis=-1)][:, None]
    off = series - change[0][:, None] * since / 10
    off -= (total(np.nan_to_num(off)) / np.maximum(counts, 1))[:, None]
    change = widened(change, variance_factor(lag_one(off, 2), counts))
    found = np.concatenate([happens[None], spread, change])
    shape = values.shape[:-1]
    return Normals(counts.astype(np.int16).reshape(shape), *(f.reshape(shape) for f in found))


def within_reach(series: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Series with what is infinite one beyond all that is not, and their lowest and highest.

    Of ``[..., year]`` and ``[...]``. Where nothing is finite, they are nothing but -1, 0 or 1.
    """
    finite = np.where(np.isfinite(series), series, np.nan)
    low, high = np.fmin.reduce(finite, axis=-1), np.fmax.reduce(finite, axis=-1)
    low, high = (np.where(np.isnan(end), 0.0, end) for end in (low, high))
    return np.clip(series, (low - 1.0)[..., None], (high + 1.0)[..., None]), low, high


def _quantiles(series: FloatArray, counts: npt.NDArray[np.int64]) -> FloatArray:
    """Median, 10 % and 90 %, ``[3, series]``; series of one length are taken together."""
    ordered = np.sort(series, axis=-1)  # unknown years come last
    out = np.full((3, len(series)), np.nan)
    for count in np.unique(counts[counts >= MIN_YEARS]):
        rows = counts == count
        out[:, rows] = np.quantile(ordered[rows, :count], (0.5, 0.1, 0.9), axis=-1)
    return out


def week_statistics(days: npt.NDArray[np.float32]) -> WeekStatistics:
    """Statistics of workable days, ``[..., year, week]``, over the years that are known."""
    known = np.isfinite(days)
    years = known.sum(axis=-2)
    enough = np.where(years >= MIN_YEARS, years, np.nan)
    total = np.nansum(days, axis=-2, dtype=np.float64)
    odds = [(known & (days >= least)).sum(axis=-2) / enough for least in AT_LEAST]
    return WeekStatistics(
        years.astype(np.int16),
        (total / enough).astype(np.float32),
        np.stack(odds).astype(np.float32),
    )

"""Normals, trends and differences over years, with intervals that respect what years share.

Trends: Theil–Sen slope (Theil 1950; Sen 1968) with the Mann–Kendall test (Mann 1945; Kendall
1975), both from SciPy: Mann–Kendall is Kendall's tau of the values against time.
Differences: two places live through the same years, so the years are resampled jointly (a paired
bootstrap over years), which keeps good years good at both.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from windowcast.weather.record import FloatArray

MIN_YEARS = 5
_DRAWS = 2000
_SEED = 20_250_101


@dataclass(frozen=True, slots=True)
class Normal:
    """Middle and spread of a quantity over years; NaN with fewer than `MIN_YEARS` years."""

    years: int
    median: float
    p10: float
    p90: float


@dataclass(frozen=True, slots=True)
class Trend:
    """Change per decade with its 95 % interval and the Mann–Kendall p value."""

    years: int
    per_decade: float
    low: float
    high: float
    p_value: float


@dataclass(frozen=True, slots=True)
class Difference:
    """Median difference a − b over shared years with its 90 % bootstrap interval."""

    shared_years: int
    median: float
    low: float
    high: float


def normal(values: FloatArray) -> Normal:
    """The normal of `values`, one per year, shape ``[year]``; NaN years are left out."""
    known = values[np.isfinite(values)]
    if len(known) < MIN_YEARS:
        return Normal(len(known), np.nan, np.nan, np.nan)
    p10, median, p90 = np.quantile(known, (0.1, 0.5, 0.9))
    return Normal(len(known), float(median), float(p10), float(p90))


def trend(years: FloatArray, values: FloatArray) -> Trend:
    """The trend of `values` over `years`, both ``[year]``; NaN years are left out."""
    from scipy.stats import kendalltau, theilslopes

    known = np.isfinite(values)
    count = int(known.sum())
    if count < MIN_YEARS:
        return Trend(count, np.nan, np.nan, np.nan, np.nan)
    slope, _, low, high = theilslopes(values[known], years[known], alpha=0.95)
    constant = np.ptp(values[known]) == 0
    p_value = 1.0 if constant else float(kendalltau(years[known], values[known]).pvalue)
    return Trend(count, 10 * float(slope), 10 * float(low), 10 * float(high), p_value)


def difference(a: FloatArray, b: FloatArray) -> Difference:
    """How `a` differs from `b` over the years both have.

    Parameters
    ----------
    a, b
        One value a year on the same year axis, ``[..., year]``; leading axes (the stations of a
        region) are averaged within each year over those that have it.
    """
    delta = _yearly_mean(a) - _yearly_mean(b)
    delta = delta[np.isfinite(delta)]
    if len(delta) < MIN_YEARS:
        return Difference(len(delta), np.nan, np.nan, np.nan)
    draws = np.random.default_rng(_SEED).integers(0, len(delta), (_DRAWS, len(delta)))
    low, high = np.quantile(np.median(delta[draws], axis=1), (0.05, 0.95))
    return Difference(len(delta), float(np.median(delta)), float(low), float(high))


def _yearly_mean(values: FloatArray) -> FloatArray:
    """Mean over all axes but the last; NaN where no station has the year."""
    flat = values.reshape(-1, values.shape[-1])
    count = np.isfinite(flat).sum(axis=0)
    total = np.nansum(flat, axis=0)
    mean: FloatArray = np.full(flat.shape[-1], np.nan)
    np.divide(total, count, out=mean, where=count > 0)
    return mean

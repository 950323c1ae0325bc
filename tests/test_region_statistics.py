"""Normals and trends against published examples and a reference library."""

from __future__ import annotations

import numpy as np
import pymannkendall
import pytest
from scipy.stats import kendalltau, norm, theilslopes

from windowcast.core.record import FloatArray
from windowcast.region.statistics import MIN_YEARS, normals, week_statistics


def as_sure_as(years: FloatArray, values: FloatArray, slope: float) -> float:
    """By what a trend's error is larger as one year resembles the next, summed lag by lag."""
    off = values - slope * (years - years[0])
    off -= off.mean()
    if off.var() < 1e-12:
        return 1.0
    pairs = [a * b for a, b, d in zip(off, off[1:], np.diff(years), strict=False) if d == 1]
    n = len(values)
    plain = sum(pairs) / max(len(pairs), 1) / np.mean(off**2)
    r = min(max((n * plain + 2) / max(n - 4, 1), 0.0), 0.6)
    return float(np.sqrt(1 + 2 * sum((1 - k / n) * r**k for k in range(1, n))))


def test_trend_agrees_with_a_reference_library() -> None:
    # pymannkendall (Hussain & Mahmud 2019, JOSS 4(39):1556) as an independent implementation
    rng = np.random.default_rng(4)
    years = np.arange(1990, 2020, dtype=float)
    values = 0.3 * (years - 1990) + rng.normal(0, 3, len(years))
    ours = normals(years, values)
    theirs = pymannkendall.original_test(values)
    assert ours.trend_per_decade == pytest.approx(10 * theirs.slope, rel=1e-9)
    # tau's exact p value against the continuity-corrected normal approximation, once widened
    by = as_sure_as(years, values, theirs.slope)
    assert ours.p_value == pytest.approx(2 * norm.sf(abs(theirs.z) / by), abs=2e-3)
    assert ours.trend_low < 3.0 < ours.trend_high
    assert ours.years == 30


def test_sen_slope_is_the_median_of_pairwise_slopes_over_years_present() -> None:
    # definition in Sen 1968, J. Am. Stat. Assoc. 63:1379
    values = np.array([10.0, 15, 14, 20, np.nan, 23])
    slopes = [
        (values[j] - values[i]) / (j - i)
        for i in range(6)
        for j in range(i + 1, 6)
        if np.isfinite(values[i]) and np.isfinite(values[j])
    ]
    found = normals(np.arange(6.0), values)
    assert found.trend_per_decade == pytest.approx(10 * np.median(slopes))


def test_a_constant_series_has_no_trend() -> None:
    still = normals(np.arange(10.0), np.full(10, 280.0))
    assert (still.trend_per_decade, still.trend_low, still.trend_high) == (0, 0, 0)
    assert still.p_value == 1.0


def test_too_few_years_tell_nothing() -> None:
    few = np.array([1.0, 2, np.nan, 3, 4])
    found = normals(np.arange(5.0), few)
    assert found.years == MIN_YEARS - 1
    assert np.isnan([found.median, found.p10, found.trend_per_decade, found.p_value]).all()


def test_many_series_at_once_give_what_each_gives_alone() -> None:
    """Against NumPy's quantiles and SciPy's trends called for one series without its gaps."""
    rng = np.random.default_rng(2)
    years = np.arange(1990.0, 2020)
    days = rng.integers(200, 240, (2, 20, 30)).astype(float)  # with ties, as dates have them
    amounts = rng.normal(size=(2, 20, 30))  # without
    values = np.concatenate([days, amounts])
    values[rng.random(values.shape) < 0.1] = np.nan
    values[0, 0], values[0, 1], values[0, 2, 4:], values[0, 3, 5:] = 7.0, np.nan, np.nan, np.nan
    found = normals(years, values)
    assert found.years.shape == found.p_value.shape == (4, 20)
    told = 0
    for at in np.ndindex(4, 20):
        known = np.isfinite(values[at])
        assert found.years[at] == known.sum()
        if known.sum() < MIN_YEARS:
            assert np.isnan([found.median[at], found.trend_low[at], found.p_value[at]]).all()
            continue
        told += 1
        x, y = years[known], values[at][known]
        spread = found.p10[at], found.median[at], found.p90[at]
        np.testing.assert_array_equal(spread, np.quantile(y, (0.1, 0.5, 0.9)))
        slope, _, low, high = theilslopes(y, x, alpha=0.95)
        by = as_sure_as(x, y, slope)
        ends = 10 * (slope - by * (slope - low)), 10 * (slope + by * (high - slope))
        trend = found.trend_per_decade[at], found.trend_low[at], found.trend_high[at]
        np.testing.assert_allclose(trend, (10 * slope, *ends), rtol=1e-9, atol=1e-9)
        if np.ptp(y):
            sure = 2 * norm.sf(norm.isf(kendalltau(x, y).pvalue / 2) / by)
            assert found.p_value[at] == pytest.approx(sure, rel=1e-6)
    assert told >= 75


def test_weeks_are_shares_of_the_years_that_are_known() -> None:
    days = np.array([[0, 1], [1, 2], [2, 3], [7, 7], [1, np.nan], [np.nan, 4]], np.float32)
    found = week_statistics(days[None])
    assert found.years.tolist() == [[5, 5]]
    np.testing.assert_allclose(found.mean_days, [[11 / 5, 17 / 5]], rtol=1e-6)
    np.testing.assert_allclose(found.odds[:, 0], [[0.8, 1], [0.4, 0.8], [0.2, 0.6]], rtol=1e-6)
    few = week_statistics(days[None, :5])
    assert few.years.tolist() == [[5, 4]]
    assert np.isnan(few.mean_days[0, 1])
    assert np.isnan(few.odds[:, 0, 1]).all()

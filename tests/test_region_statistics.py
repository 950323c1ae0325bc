"""Normals, trends and differences against published examples and a reference library."""

from __future__ import annotations

import numpy as np
import pymannkendall
import pytest

from windowcast.region.statistics import MIN_YEARS, difference, normal, trend


def test_trend_agrees_with_a_reference_library() -> None:
    # pymannkendall (Hussain & Mahmud 2019, JOSS 4(39):1556) as an independent implementation
    rng = np.random.default_rng(4)
    years = np.arange(1990, 2020, dtype=float)
    values = 0.3 * (years - 1990) + rng.normal(0, 3, len(years))
    ours = trend(years, values)
    theirs = pymannkendall.original_test(values)
    assert ours.per_decade == pytest.approx(10 * theirs.slope, rel=1e-9)
    # tau's exact p value against the continuity-corrected normal approximation
    assert ours.p_value == pytest.approx(theirs.p, abs=2e-3)
    assert ours.low < 3.0 < ours.high
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
    assert trend(np.arange(6.0), values).per_decade == pytest.approx(10 * np.median(slopes))


def test_a_constant_series_has_no_trend() -> None:
    still = trend(np.arange(10.0), np.full(10, 280.0))
    assert still.per_decade == 0
    assert still.p_value == 1.0


def test_too_few_years_tell_nothing() -> None:
    few = np.array([1.0, 2, np.nan, 3, 4])
    assert np.isnan(normal(few).median)
    assert normal(few).years == MIN_YEARS - 1
    assert np.isnan(trend(np.arange(5.0), few).per_decade)
    assert np.isnan(difference(few, few + 1).median)


def test_shared_years_narrow_the_interval_of_a_difference() -> None:
    rng = np.random.default_rng(1)
    year_effect = rng.normal(0, 10, 30)
    a = year_effect + 5 + rng.normal(0, 1, 30)
    b = year_effect + rng.normal(0, 1, 30)
    paired = difference(a, b)
    assert paired.low < 5 < paired.high
    assert paired.high - paired.low < 2.5  # unpaired: about 10·√(2/30)·1.25·3.3 ≈ 10


def test_regions_are_averaged_within_each_year() -> None:
    a = np.array([[1.0, 2, 3, 4, 5, 6], [3.0, 4, 5, 6, 7, np.nan]])
    b = np.zeros(6)
    assert difference(a, b).median == pytest.approx(np.median([2, 3, 4, 5, 6, 6]))


def test_bootstrap_interval_covers_as_often_as_it_says() -> None:
    rng = np.random.default_rng(8)
    hits = 0
    for _ in range(200):
        sample = rng.normal(2.0, 3.0, 25)
        interval = difference(sample, np.zeros(25))
        hits += interval.low <= 2.0 <= interval.high
    assert 0.83 <= hits / 200 <= 0.97  # nominal 0.90, binomial sampling of 200 draws

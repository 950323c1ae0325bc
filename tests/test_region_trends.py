"""Trends are those of SciPy: Theil–Sen slope and limits, Mann–Kendall p."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import kendalltau, theilslopes

from windowcast.core.record import FloatArray
from windowcast.region.trends import EXACT_YEARS, trends

LEAST = 5


def of_scipy(years: FloatArray, values: FloatArray) -> list[float]:
    known = np.isfinite(values)
    when, value = years[known], values[known]
    if len(value) < LEAST:
        return [np.nan] * 4
    if np.ptp(value) == 0:
        return [0.0, 0.0, 0.0, 1.0]
    sen = theilslopes(value, when, alpha=0.95)
    slopes = [10 * float(s) for s in (sen.slope, sen.low_slope, sen.high_slope)]
    return [*slopes, float(kendalltau(when, value).pvalue)]


def drawn(draw: np.random.Generator, count: int) -> list[FloatArray]:
    """Series of so many years: noise, drift, days that tie, two values, a line, few are moved."""
    line = np.arange(float(count))
    nearly = line.copy()
    nearly[[1, 2]] = nearly[[2, 1]]
    noise = draw.normal(0, 8, count)
    found = [
        noise,
        noise + line * draw.normal(0, 0.5),
        noise.round(),
        (noise > 0).astype(float),
        line,
        -nearly,
        np.full(count, 3.25),
    ]
    gaps = [np.where(draw.random(count) < share, np.nan, each)
            for each in found for share in (0.1, 0.5)]  # fmt: skip
    return found + gaps


@pytest.mark.parametrize("count", [5, 6, 7, 12, 22, 30, EXACT_YEARS, EXACT_YEARS + 1, 55, 80])
def test_trends_are_those_of_scipy(count: int) -> None:
    draw = np.random.default_rng(count)
    years = np.arange(1940.0, 1940 + count)
    values = np.stack([series for _ in range(2) for series in drawn(draw, count)])
    found = trends(years, values, LEAST)
    expected = np.array([of_scipy(years, series) for series in values]).T
    np.testing.assert_array_equal(found[:3], expected[:3])
    np.testing.assert_array_equal(found[3], expected[3])
    assert np.isfinite(found[3]).sum() >= 10


def test_years_that_are_missing_from_the_axis_count_as_years() -> None:
    years = np.array([1990.0, 1991, 1995, 1996, 2003, 2004, 2020])
    values = np.array([[3.0, 5, 4, 8, 8, 7, 11]])
    expected = of_scipy(years, values[0])
    np.testing.assert_array_equal(trends(years, values, LEAST)[:, 0], expected)


def test_a_series_tells_the_same_beside_any_other() -> None:
    draw = np.random.default_rng(1)
    years = np.arange(2000.0, 2026)
    values = np.stack(drawn(draw, 26))
    whole = trends(years, values, LEAST)
    for row, series in enumerate(values):
        np.testing.assert_array_equal(trends(years, series[None], LEAST)[:, 0], whole[:, row])

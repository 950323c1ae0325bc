"""Yearly sums and first days against a reference library, and where days are missing."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from windowcast.season.degree_days import heating
from windowcast.season.yearly import frost, warmth

PARTS = (slice(0, 181), slice(181, 547), slice(547, 912))


@pytest.fixture(scope="module")
def values() -> np.ndarray:
    days = np.arange(912)
    wave = 12 - 11 * np.cos(2 * np.pi * days / 365.25)
    return wave + np.random.default_rng(3).normal(0, 4, (70, 912))  # more rows than a block


@pytest.mark.slow
def test_against_xclim(values: np.ndarray) -> None:
    # xclim indices (Bourgault et al. 2023, JOSS 8(85):5415), frequency of calendar years
    import xarray as xr
    import xclim.indices as xci

    time = np.datetime64("2019-07-04") + np.arange(912)  # ends with 2021
    data = xr.DataArray(
        values,
        dims=("station", "time"),
        coords={"time": time.astype("datetime64[ns]")},
        attrs={"units": "degC"},
    )
    total, first = warmth(values, 10.0, PARTS)
    theirs = xci.growing_degree_days(data, thresh="10 degC", freq="YS")
    np.testing.assert_allclose(total, theirs.values, rtol=1e-12)
    count, first_frost = frost(values, 0.0, PARTS)
    np.testing.assert_array_equal(count, xci.frost_days(data, thresh="0 degC", freq="YS").values)
    for ours, limit in ((first, "10 degC"), (first_frost, "0 degC")):
        day = xci.first_day_temperature_below(
            data, thresh=limit, after_date="01-01", window=1, freq="YS"
        )
        np.testing.assert_array_equal(ours[:, 1:], day.values[:, 1:] - 1)


def test_a_missing_day_makes_its_season_unknown_and_no_other(values: np.ndarray) -> None:
    gaps = values.copy()
    gaps[5, 200] = np.nan
    for function, limit in ((warmth, 10.0), (frost, 0.0)):
        whole, holed = function(values, limit, PARTS), function(gaps, limit, PARTS)
        for a, b in zip(whole, holed, strict=True):
            assert np.isnan(b[5, 1])
            b[5, 1] = a[5, 1]
            np.testing.assert_array_equal(a, b)


def test_no_day_below_is_nan_and_none_is_zero() -> None:
    warm = np.full((1, 10), 20.0)
    total, first = warmth(warm, 10.0, [slice(0, 10)])
    assert total.tolist() == [[100.0]]
    assert np.isnan(first).all()
    count, first = frost(warm, 0.0, [slice(0, 10)])
    assert count.tolist() == [[0.0]]
    assert np.isnan(first).all()


@settings(max_examples=40, deadline=None)
@given(arrays(np.float64, (3, 40), elements=st.floats(-40, 45)), st.floats(-5, 20))
def test_agrees_with_the_daily_function(values: np.ndarray, base: float) -> None:
    parts = [slice(0, 13), slice(13, 40)]
    total, first = warmth(values, base, parts)
    for s, part in enumerate(parts):
        np.testing.assert_allclose(
            total[:, s], heating(values[:, part], base).sum(axis=1), atol=1e-9
        )
        for row in range(3):
            below = np.flatnonzero(values[row, part] < base)
            assert first[row, s] == below[0] if len(below) else np.isnan(first[row, s])

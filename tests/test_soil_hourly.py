"""Hourly soil temperature: it keeps the daily mean and swings as conduction says."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from windowcast.physics.soil import SoilForcing, SoilSite, simulate
from windowcast.physics.soil_hourly import HOURS, hourly_top_c

ANY = SoilSite()
DEPTHS = (0.02, 0.05, 0.10)


def steady(solar: float | None = None, days: int = 500) -> SoilForcing:
    """The same dry spring day again and again, at 35° N."""
    dates = np.arange("2001-01-01", "2010-01-01", dtype="datetime64[D]")[:days]
    same = np.full(days, 1.0)
    sun = None if solar is None else solar * same
    return SoilForcing(dates, 24 * same, 10 * same, 2.0 * same, 35.0, solar_mj_m2=sun)


def test_mean_of_the_hours_is_the_daily_mean() -> None:
    forcing = steady()
    random = np.random.default_rng(0).normal(0, 4, len(forcing.dates))
    forcing = replace(forcing, tmax_c=forcing.tmax_c + random, tmin_c=forcing.tmin_c + random)
    result = simulate(forcing, ANY, depths_m=DEPTHS)
    for i, depth in enumerate(DEPTHS):
        hourly = hourly_top_c(forcing, ANY, result, depth_m=depth)
        np.testing.assert_allclose(hourly.mean(axis=-1), result.temp_c[:, i], atol=1e-9)


def test_swing_shrinks_and_lags_with_depth_as_conduction_says() -> None:
    forcing = steady()
    result = simulate(forcing, ANY, depths_m=DEPTHS)
    top, middle, low = (hourly_top_c(forcing, ANY, result, depth_m=d)[-1] for d in DEPTHS)
    ranges = [np.ptp(x) for x in (top, middle, low)]
    assert ranges[0] > ranges[1] > ranges[2] > 0.5
    # between two depths the first harmonic falls by exp(-dz/d) and lags by dz/d / ω, with the
    # same d (Carslaw & Jaeger 1959, section 2.6)
    first = [np.fft.rfft(x)[1] for x in (middle, low)]
    shrink = -np.log(abs(first[1]) / abs(first[0]))
    lag = -np.angle(first[1] / first[0])
    assert lag == pytest.approx(shrink, rel=0.01)
    assert 0.05 / shrink == pytest.approx(0.09, abs=0.04)  # d, m: 7 to 14 cm in science tables
    assert HOURS[middle.argmax()] > 13.5


def test_sun_widens_the_swing() -> None:
    dull, bright = steady(4.0), steady(24.0)
    small = hourly_top_c(dull, ANY, simulate(dull, ANY))[-1]
    large = hourly_top_c(bright, ANY, simulate(bright, ANY))[-1]
    assert np.ptp(large) > 1.5 * np.ptp(small)
    bare = SoilSite(turf=False)
    assert np.ptp(hourly_top_c(bright, bare, simulate(bright, bare))[-1]) > np.ptp(large)


def test_members_and_unknown_days() -> None:
    forcing = steady()
    tmax = np.stack([forcing.tmax_c, forcing.tmax_c + 3])
    tmax[0, 450:455] = np.nan
    forcing = replace(forcing, tmax_c=tmax)
    result = simulate(forcing, ANY)
    hourly = hourly_top_c(forcing, ANY, result)
    assert hourly.shape == (2, 500, 24)
    np.testing.assert_array_equal(np.isnan(hourly).all(axis=-1), np.isnan(result.temp_c[..., 0]))
    with pytest.raises(ValueError, match="depth must be one of"):
        hourly_top_c(forcing, ANY, result, depth_m=0.03)

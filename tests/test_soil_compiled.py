"""The compiled day loop gives what the interpreted one gives, to the bit."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from windowcast.physics.soil import FEW, SoilForcing, SoilResult, SoilSite, simulate

DAYS = 800
COLUMNS = FEW + 2  # more than run one by one


def weather() -> SoilForcing:
    """Invented cold and wet winters at some latitudes, with gaps."""
    random = np.random.default_rng(5)
    dates = np.datetime64("2001-01-01") + np.arange(DAYS)
    latitude = np.linspace(28, 46, COLUMNS)
    season = np.cos(2 * np.pi * (np.arange(DAYS) - 20) / 365.25)
    mean = (30 - 0.6 * latitude)[:, None] - 14 * season + random.normal(0, 4, (COLUMNS, DAYS))
    half = random.uniform(2, 9, (COLUMNS, DAYS))
    rain = np.where(
        random.random((COLUMNS, DAYS)) < 0.3, random.exponential(8, (COLUMNS, DAYS)), 0.0
    )
    high = mean + half
    high[random.random(high.shape) < 0.02] = np.nan
    return SoilForcing(dates, high, mean - half, rain, latitude)


def some_snow(forcing: SoilForcing) -> SoilForcing:
    random = np.random.default_rng(6)
    depth = random.gamma(1, 30, forcing.tmax_c.shape)
    depth[random.random(depth.shape) < 0.5] = np.nan
    return replace(forcing, snow_depth_mm=depth)


def same(a: SoilResult, b: SoilResult) -> None:
    for name in ("temp_c", "moisture", "frozen", "snow_water_mm"):
        np.testing.assert_array_equal(getattr(a, name), getattr(b, name), err_msg=name)
    np.testing.assert_array_equal(a.state.temp_c, b.state.temp_c)
    np.testing.assert_array_equal(a.state.surface, b.state.surface)


@pytest.mark.parametrize(
    ("site", "snow"),
    [
        (SoilSite(), False),
        (SoilSite(texture="sand", irrigated=True), False),
        (SoilSite(texture="clay", turf=False), True),
    ],
)
def test_same_as_interpreted(site: SoilSite, snow: bool) -> None:
    forcing = some_snow(weather()) if snow else weather()
    depths = (0.0, 0.025, 0.1, 2.0)
    plain = simulate(forcing, site, depths_m=depths)
    assert plain.frozen.any()
    assert (plain.snow_water_mm > 0).any()
    same(plain, simulate(forcing, site, depths_m=depths, compiled=True))


def test_carries_on_from_a_state_and_a_single_column() -> None:
    forcing = weather()

    def part(first: int, last: int, row: int | slice = slice(None)) -> SoilForcing:
        cut = {n: getattr(forcing, n)[row, first:last] for n in ("tmax_c", "tmin_c", "precip_mm")}
        latitude = np.asarray(forcing.latitude_deg)[row]
        return replace(forcing, dates=forcing.dates[first:last], latitude_deg=latitude, **cut)

    before = simulate(part(0, 500), SoilSite(), compiled=True)
    after = part(500, DAYS)
    same(
        simulate(after, SoilSite(), state=before.state),
        simulate(after, SoilSite(), state=before.state, compiled=True),
    )
    alone = part(0, DAYS, row=4)
    same(simulate(alone, SoilSite()), simulate(alone, SoilSite(), compiled=True))

"""What stations around add to the soil model, and how its error is sized."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from windowcast.core.great_circle import EARTH_RADIUS_KM
from windowcast.core.values import Table, load
from windowcast.physics.soil import SoilForcing, SoilSite, simulate
from windowcast.physics.soil_error import mild_and_humid, soil_error
from windowcast.physics.soil_region import regional_c, regional_parts

DAYS = np.arange("2017-01-01", "2019-01-01", dtype="datetime64[D]")
ANGLE = 2 * np.pi * np.arange(len(DAYS)) / 365.25
HIGH = 20 - 12 * np.cos(ANGLE - 0.4)


def one_station(offset: float = 1.0, cosine: float = 0.0) -> Table:
    """A single station at 33° N 87° W."""
    changed = {"latitude": [33.0], "longitude": [-87.0], "offset": [offset]}
    changed |= {"cosine": [cosine], "sine": [0.0]}
    return load("soil").varied({f"region.{name}": value for name, value in changed.items()})


def forcing(longitude: object = None, latitude: object = 33.0) -> SoilForcing:
    rain = np.where(np.arange(len(DAYS)) % 5 == 0, 12.0, 0.0)
    return SoilForcing(DAYS, HIGH, HIGH - 11, rain, latitude, longitude_deg=longitude)


def test_weight_falls_with_distance_as_the_kernel_says() -> None:
    values = one_station()
    reach = values.number("region.reach")
    north = np.degrees(reach / EARTH_RADIUS_KM)  # one reach further north
    at, near, far = regional_parts([33.0, 33.0 + north, -33.0], [-87.0, -87.0, 87.0], values)[0]
    assert at == pytest.approx(1.0)
    assert near == pytest.approx(np.exp(-0.5), rel=1e-6)
    assert far == 0.0
    assert regional_parts([33.0, np.nan], [np.nan, -87.0], values).tolist() == [[0, 0]] * 3


def test_wave_peaks_in_january_and_frozen_soil_is_left_alone() -> None:
    parts = np.array([[0.5], [0.25], [0.0]])
    year = DAYS[:365]
    warm = regional_c(year, parts, np.full((365, 1), 20.0))[:, 0]
    assert warm[0] == pytest.approx(0.75, abs=0.01)
    assert warm[182] == pytest.approx(0.25, abs=0.01)
    soil = np.full((365, 1), 20.0)
    soil[:3, 0] = -1.0, 0.0, 2.0
    cold = regional_c(year, parts, soil)
    assert cold[:2].tolist() == [[0.0], [0.0]]
    assert cold[2, 0] == pytest.approx(warm[2] / 2, rel=1e-3)


def test_added_to_the_model_only_where_it_is_known_to_lie() -> None:
    site = SoilSite(values=one_station())
    plain, near = simulate(forcing(), site), simulate(forcing(-87.0), site)
    warm = plain.temp_c > 5
    np.testing.assert_allclose((near.temp_c - plain.temp_c)[warm], 1.0)
    np.testing.assert_array_equal(near.state.temp_c, plain.state.temp_c)  # carries on as before
    np.testing.assert_array_equal(simulate(forcing(10.0), site).temp_c, plain.temp_c)
    np.testing.assert_array_equal(simulate(forcing(np.nan), site).temp_c, plain.temp_c)


def test_alone_among_many_and_compiled_are_the_same_to_the_bit() -> None:
    pytest.importorskip("numba")
    site = SoilSite(values=one_station(cosine=0.4))
    north, east = np.linspace(30.0, 36.0, 12), np.linspace(-90.0, -80.0, 12)
    many = forcing(east, north)
    among = simulate(many, site).temp_c
    np.testing.assert_array_equal(simulate(many, site, compiled=True).temp_c, among)
    alone = simulate(forcing(east[7], north[7]), site).temp_c
    np.testing.assert_array_equal(alone, among[7])
    own_days = replace(many, dates=np.broadcast_to(DAYS, (12, len(DAYS))))
    np.testing.assert_array_equal(simulate(own_days, site).temp_c, among)


def test_error_shrinks_with_readings_and_grows_without_rain() -> None:
    sizes = [soil_error(n, humid=True).bias_sd_c for n in (0, 1, 3, 10, 1000)]
    assert sizes == sorted(sizes, reverse=True)
    table = load("soil").table("error")
    assert sizes[0] == pytest.approx(table.number("bias_sd"))
    assert sizes[-1] == pytest.approx(table.number("bias_sd_many_readings"), abs=0.01)
    unknown, humid, dry = (soil_error(humid=h) for h in (None, True, False))
    assert unknown == dry
    assert humid.slow_sd_c < dry.slow_sd_c
    assert soil_error(humid=True, unknown_rain_sd_c=0.5).slow_sd_c > humid.slow_sd_c
    assert mild_and_humid(1400, 7)
    assert not mild_and_humid(1400, -9)


def test_error_grows_with_the_distance_of_the_weather() -> None:
    near, far, further = (soil_error(humid=True, distance_km=d).bias_sd_c for d in (0, 70, 140))
    added = load("soil").number("error.far_sd") ** 2
    assert far**2 - near**2 == pytest.approx(added)
    assert further**2 - near**2 == pytest.approx(2 * added)

"""Regions: effects of stations and years against a library, intervals, differences."""

from __future__ import annotations

import numpy as np
import pytest
from region_fixtures import data

from windowcast.core.season_calendar import paired_year
from windowcast.region.effects import effects, interval, mean, slope, station_draws


def test_seasons_pair_across_hemispheres_by_the_year_they_end_in() -> None:
    assert paired_year(np.array([2020, 2021]), np.array([False, True])).tolist() == [2021, 2021]


def test_effects_are_those_of_a_regression_on_both_factors() -> None:
    rng = np.random.default_rng(3)
    values = rng.normal(0, 9, (7, 1)) + rng.normal(0, 5, 12) + rng.normal(0, 3, (7, 12))
    values[rng.random(values.shape) < 0.4] = np.nan
    row, year = np.nonzero(np.isfinite(values))
    design = np.hstack([np.eye(7)[row], np.eye(12)[year][:, 1:]])
    fit = np.linalg.lstsq(design, values[row, year])[0]
    theirs = fit[:7].mean() + np.concatenate([[0.0], fit[7:]])
    found = effects(values, station_draws(7))
    np.testing.assert_allclose(found.by_year, theirs, atol=1e-9)
    together = effects(np.stack([values, 2 * values], axis=-1), station_draws(7))
    np.testing.assert_allclose(together.by_year[:, 1], 2 * theirs, atol=1e-9)


def test_a_network_replaced_at_once_keeps_the_part_that_hangs_together() -> None:
    values = np.full((4, 8), np.nan)
    values[:2, :5] = np.arange(5.0)
    values[2:, 5:] = 40.0
    found = effects(values, station_draws(4))
    np.testing.assert_allclose(found.by_year[:5], np.arange(5.0))
    assert np.isnan(found.by_year[5:]).all()
    assert np.isnan(found.station[2:]).all()


def test_interval_of_one_station_is_that_of_a_mean() -> None:
    # Student's t of a sample of 25
    values = np.random.default_rng(5).normal(3.0, 2.0, 25)
    found = interval(mean, values, [(np.repeat(values[None], 400, axis=0), 1)])
    half = 2.0639 * values.std(ddof=1) / 5
    assert found.high - found.middle == pytest.approx(half, rel=0.1)
    change = interval(slope(np.arange(25.0)), values + 0.5 * np.arange(25), [])
    assert change.low < 5.0 < change.high


def test_regions_say_seasons_stations_and_differences_as_their_climates_do() -> None:
    found = data().regional()
    south, north = found.regions
    assert (south.name, south.stations, north.name, north.stations) == ("south", 1, "north", 2)
    assert not found.of_stations
    opens = next(b for b in found.between if b.quantity == "soil_21")
    assert opens.difference.low > 0  # 5 degrees further south
    assert opens.seasons == len(set(south.seasons) & set(north.seasons))
    typical = south.quantities["soil_21"].typical
    assert typical.low < typical.middle < typical.high
    assert south.stations_per_season.tolist() == [1] * len(south.seasons)
    for quantity in north.quantities.values():
        assert quantity.by_season.shape == north.seasons.shape

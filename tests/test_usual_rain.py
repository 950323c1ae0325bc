"""Usual rain for days on which it is unknown: never zero, never in place of what is known."""

from __future__ import annotations

import numpy as np
import pytest

from windowcast.core.great_circle import distance_km
from windowcast.core.record import Grade, Place, Record
from windowcast.core.time_axis import record_of
from windowcast.physics.usual_rain import (
    RainClimate,
    climate_by_range,
    filled_rain,
    month_of,
    own_climate,
)
from windowcast.weather.gaps import filled
from windowcast.weather.rain_filled import nearby, packaged

ATHENS = Place("Athens, Georgia", 33.95, -83.38, timezone="America/New_York")
ALICE = Place("Alice Springs", -23.7, 133.9, timezone="Australia/Darwin")
DAYS = np.arange("2015-01-01", "2021-01-01", dtype="datetime64[D]")


def climate_of(place: Place) -> RainClimate:
    found = nearby(place.latitude_deg, place.longitude_deg)
    assert found is not None
    return found


def weather(place: Place = ATHENS, seed: int = 1, **gaps: slice) -> Record:
    """Six years whose days with a narrow range are wet; `gaps` take days of a variable away."""
    rng = np.random.default_rng(seed)
    middle = 17 - 11 * np.cos(2 * np.pi * np.arange(len(DAYS)) / 365.25)
    wet = rng.random(len(DAYS)) < 0.3
    spread = np.where(wet, rng.uniform(4, 8, len(DAYS)), rng.uniform(9, 16, len(DAYS)))
    columns = {
        "tmax_c": middle + spread / 2,
        "tmin_c": middle - spread / 2,
        "precip_mm": np.where(wet, rng.gamma(0.6, 18.0, len(DAYS)), 0.0),
    }
    for name, days in gaps.items():
        columns[name][days] = np.nan
    return record_of(place, DAYS, columns)


def test_known_rain_is_left_and_unknown_rain_is_beside_it() -> None:
    gap = slice(800, 830)
    after = filled(weather(precip_mm=gap))
    assert np.isnan(after.get("precip_mm")[gap]).all()
    made, known = after.get("rain_filled_mm"), np.isfinite(after.get("precip_mm"))
    np.testing.assert_array_equal(made[known], after.get("precip_mm")[known])
    assert np.isfinite(made).all()
    assert (after.grade("rain_filled_mm")[gap] == Grade.CLIMATOLOGY).all()
    assert "rain_filled_mm" not in filled(weather()).values


def test_the_records_own_years_come_first() -> None:
    truth = weather()
    gap = slice(0, 4 * 31)
    made = filled(weather(precip_mm=gap)).get("rain_filled_mm")
    usual = own_climate(DAYS, truth.get("precip_mm"))
    for month in range(4):
        own = made[gap][month_of(DAYS[gap]) == month].mean()
        assert own == pytest.approx(usual.mean_mm[month], rel=0.9)


def test_wet_days_are_those_of_narrow_range() -> None:
    truth = weather().get("precip_mm")
    made = filled(weather(precip_mm=slice(None))).get("rain_filled_mm")
    agree = (made > 0) == (truth > 0)
    assert agree.mean() > 0.85


def test_without_any_rain_the_stations_around_tell_it() -> None:
    made = filled(weather(precip_mm=slice(None))).get("rain_filled_mm")
    here = climate_of(ATHENS)
    for month in range(12):
        days = month_of(DAYS) == month
        assert made[days].mean() == pytest.approx(here.mean_mm[month], rel=0.1)


def test_far_from_every_station_the_temperature_range_tells_it() -> None:
    assert nearby(ALICE.latitude_deg, ALICE.longitude_deg) is None
    dry, humid = (
        climate_by_range(DAYS, np.full(len(DAYS), 20.0 + k), np.full(len(DAYS), 20.0))
        for k in (18.0, 8.0)
    )
    assert (humid.mean_mm > 2 * dry.mean_mm).all()
    assert (dry.mean_mm > 0).all()
    made = filled(weather(ALICE, precip_mm=slice(None))).get("rain_filled_mm")
    assert made.mean() > 0.3


@pytest.mark.parametrize("known", [0, 1, 40, 400])
def test_never_a_desert(known: int) -> None:
    record = weather(precip_mm=slice(known, None))
    made = filled(record).get("rain_filled_mm")[known:]
    months = DAYS[known:].astype("datetime64[M]")
    years = [
        made[months.astype("datetime64[Y]") == y].sum() for y in np.unique(months.astype("M8[Y]"))
    ]
    assert min(years[1:-1]) > 100


def test_days_without_temperature_get_the_months_mean() -> None:
    nothing = np.full(len(DAYS), np.nan)
    climate = RainClimate(np.full(12, 2.0), np.full(12, 0.25))
    np.testing.assert_array_equal(
        filled_rain(DAYS, nothing, nothing, nothing, climate=climate), 2.0
    )
    assert (filled_rain(DAYS, nothing, nothing, nothing) > 0).all()


def test_too_few_own_years_tell_nothing() -> None:
    rain = np.ones(len(DAYS))
    rain[730:] = np.nan
    assert np.isnan(own_climate(DAYS, rain).mean_mm).all()
    rain[:1100] = 1.0
    assert (own_climate(DAYS, rain).mean_mm == 1.0).all()


def test_a_station_tells_most_of_the_rain_beside_it() -> None:
    stations = packaged()
    row = int(np.argmax(stations.mean_mm.mean(axis=1)))
    here = float(stations.latitude_deg[row]), float(stations.longitude_deg[row])
    assert distance_km(stations.latitude_deg, stations.longitude_deg, *here)[row] == 0
    found = nearby(*here)
    assert found is not None
    np.testing.assert_allclose(found.mean_mm, stations.mean_mm[row], rtol=0.02)
    assert nearby(float("nan"), 0.0) is None


def test_the_packaged_stations_are_whole() -> None:
    stations = packaged()
    assert len(stations.latitude_deg) > 90
    assert (stations.mean_mm >= 0).all()
    assert ((stations.wet_share > 0) & (stations.wet_share < 1)).all()

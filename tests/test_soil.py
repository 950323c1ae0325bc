"""The soil model as a whole: start-up, hand-over, gaps, what snow, water and cover do."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from windowcast.core.values import load
from windowcast.physics.soil import (
    FEW,
    ProbeReading,
    SoilForcing,
    SoilSite,
    fit_site_correction,
    simulate,
)
from windowcast.physics.soil_forcing import columns_of, drivers
from windowcast.physics.soil_hourly import hourly_top_c
from windowcast.physics.soil_properties import texture
from windowcast.physics.soil_stepper import GRID, STATE_SIZE, Setup, Stepper
from windowcast.physics.soil_surface import Cover, parameters
from windowcast.sources.uscrn import read_uscrn

FOLDER = Path(__file__).parent / "data" / "uscrn"
ANY = SoilSite()


def invented(years: float = 3, latitude: float = 36.0, seed: int = 1) -> SoilForcing:
    """A mid-latitude climate with weather in it."""
    dates = np.arange("2001-01-01", "2040-01-01", dtype="datetime64[D]")[: int(365.25 * years)]
    random = np.random.default_rng(seed)
    day = np.arange(len(dates))
    noise = random.normal(0, 3, len(dates))
    for i in range(1, len(noise)):
        noise[i] += 0.7 * noise[i - 1]
    mean = 14 - 12 * np.cos(2 * np.pi * (day - 20) / 365.25) + noise
    span = random.uniform(6, 16, len(dates))
    rain = np.where(random.random(len(dates)) < 0.3, random.exponential(9, len(dates)), 0.0)
    return SoilForcing(dates, mean + span / 2, mean - span / 2, rain, latitude)


def cut(forcing: SoilForcing, first: int, last: int | None = None) -> SoilForcing:
    """Some of the days."""
    part = slice(first, last)
    return replace(
        forcing,
        dates=forcing.dates[part],
        tmax_c=forcing.tmax_c[..., part],
        tmin_c=forcing.tmin_c[..., part],
        precip_mm=forcing.precip_mm[..., part],
    )


@cache
def plain() -> np.ndarray:
    """Three invented years at 5 and 10 cm."""
    return simulate(invented(), ANY).temp_c


def test_result_does_not_depend_on_the_initial_profile() -> None:
    forcing = invented(1.5)
    year = drivers(columns_of(forcing, (), slice(0, 1)).between(0, 365))
    ends = []
    for start_c in (-20.0, 12.0, 45.0):
        stepper = Stepper(
            1, Setup(parameters(), texture(None).thermal(), Cover(turf=True, irrigated=False))
        )
        begin = np.zeros((1, STATE_SIZE))
        begin[0, : len(GRID.node_m)] = start_c
        begin[0, len(GRID.node_m) :] = [0, 0.2, 0.5, 0.5, 0.5, start_c, 3.0, 3.0]
        stepper.load(begin)
        stepper.settle(year)
        ends.append(stepper.dump()[0])
    top, deep = GRID.node_m.index(0.05), GRID.node_m.index(1.0)
    assert np.ptp([e[top] for e in ends]) < 0.15  # of 65 K
    assert np.ptp([e[deep] for e in ends]) < 0.8


def test_carrying_on_from_a_state_changes_nothing() -> None:
    forcing = invented()
    whole = simulate(forcing, ANY)
    first = simulate(cut(forcing, 0, 700), ANY)
    second = simulate(cut(forcing, 700), ANY, state=first.state)
    np.testing.assert_allclose(second.temp_c, whole.temp_c[700:], rtol=0, atol=1e-12)
    np.testing.assert_allclose(second.moisture, whole.moisture[700:], rtol=0, atol=1e-12)
    with pytest.raises(ValueError, match="the state is of"):
        simulate(cut(forcing, 701), ANY, state=first.state)


def test_members_and_stations_broadcast_and_equal_single_runs() -> None:
    forcing = invented(1.6)
    now = simulate(cut(forcing, 0, 400), ANY)
    ahead = cut(forcing, 400)
    shift = np.linspace(-3.0, 6.0, FEW + 2)[:, None]
    members = replace(ahead, tmax_c=ahead.tmax_c + shift, tmin_c=ahead.tmin_c + shift)
    together = simulate(members, ANY, state=now.state)
    assert together.temp_c.shape == (len(shift), len(ahead.dates), 2)
    assert together.moisture.shape == together.frozen.shape == (len(shift), len(ahead.dates))
    for i, by in enumerate(shift[:, 0]):
        alone = replace(ahead, tmax_c=ahead.tmax_c + by, tmin_c=ahead.tmin_c + by)
        one = simulate(alone, ANY, state=now.state)
        np.testing.assert_array_equal(together.temp_c[i], one.temp_c)
    again = simulate(cut(members, 0, 5), ANY, state=now.state)
    assert again.state.temp_c.shape == (len(shift), len(GRID.node_m))


def test_two_latitudes_and_members_make_a_grid() -> None:
    forcing = replace(invented(1.2), latitude_deg=np.array([[30.0], [45.0]]))
    grid = replace(forcing, tmax_c=np.stack([forcing.tmax_c, forcing.tmax_c + 1]))
    assert simulate(grid, ANY).temp_c.shape == (2, 2, len(forcing.dates), 2)


def test_southern_hemisphere_mirrors_the_north() -> None:
    north = invented(3)
    half = 182
    south = replace(cut(north, half), dates=north.dates[:-half], latitude_deg=-north.latitude_deg)
    off = np.abs(simulate(south, ANY).temp_c[400:, 0] - plain()[half + 400 :, 0])
    assert off.mean() < 0.25  # the sun is nearer in January
    assert np.quantile(off, 0.99) < 1.0


def test_missing_air_temperature_is_never_papered_over() -> None:
    forcing = invented()
    tmax = forcing.tmax_c.copy()
    tmax[500:510] = np.nan
    result = simulate(replace(forcing, tmax_c=tmax), ANY).temp_c
    assert np.isnan(result[500:520]).all()  # the gap, and as many days after it
    assert np.isfinite(result[520:]).all()
    np.testing.assert_array_equal(result[:500], plain()[:500])
    assert np.abs(result[520:] - plain()[520:]).max() < 1.5
    nothing = simulate(replace(forcing, tmax_c=np.full_like(tmax, np.nan)), ANY)
    assert np.isnan(nothing.temp_c).all()


def test_long_gap_blinds_for_two_months_at_most() -> None:
    forcing = invented()
    tmin = forcing.tmin_c.copy()
    tmin[400:600] = np.nan
    result = simulate(replace(forcing, tmin_c=tmin), ANY).temp_c[:, 0]
    assert np.isnan(result[400:660]).all()
    assert np.isfinite(result[660:]).all()
    off = np.abs(result[660:] - plain()[660:, 0])
    assert off.mean() < 0.2
    assert np.quantile(off, 0.99) < 1.0


def test_short_record_is_withheld_until_the_start_is_forgotten() -> None:
    short = simulate(cut(invented(), 0, 200), ANY).temp_c
    assert np.isnan(short[:90]).all()
    assert np.isfinite(short[90:]).all()


def test_unknown_rain_is_not_a_drought() -> None:
    forcing = invented()
    dry = simulate(replace(forcing, precip_mm=np.zeros_like(forcing.precip_mm)), ANY)
    unknown = forcing.precip_mm.copy()
    unknown[600:] = np.nan
    some = simulate(replace(forcing, precip_mm=unknown), ANY)
    assert some.moisture[700:].mean() > dry.moisture[700:].mean() + 0.2
    assert np.isfinite(some.temp_c).all()


def test_swings_shrink_and_lag_with_depth() -> None:
    depths = (0.02, 0.05, 0.10, 0.35, 1.0, 3.0)
    temps = simulate(invented(), ANY, depths_m=depths).temp_c[365:]
    ranges = np.ptp(temps, axis=0)
    assert (np.diff(ranges) < 0).all()
    warmest = temps[365:730].argmax(axis=0)
    assert warmest[-2] > warmest[1]
    with pytest.raises(ValueError, match="between 0 and 3 m"):
        simulate(invented(1), ANY, depths_m=(3.5,))


def test_snow_keeps_the_soil_from_the_cold() -> None:
    # Sports field in Indianapolis, 2014: soil at 10 cm stayed above freezing under a turf cover
    # with 28 cm of snow at -24 °C (sportsfieldmanagementonline.com); bare ground would not.
    forcing = invented(2)
    cold = replace(forcing, tmax_c=forcing.tmax_c - 12, tmin_c=forcing.tmin_c - 12)
    depth = np.zeros(len(forcing.dates))
    depth[330:430] = 280.0
    snow = simulate(replace(cold, snow_depth_mm=depth), ANY)
    bare = simulate(replace(cold, snow_depth_mm=np.zeros_like(depth)), ANY)
    winter = slice(345, 425)
    assert snow.temp_c[winter, 0].min() > bare.temp_c[winter, 0].min() + 2
    assert snow.temp_c[winter, 0].std() < bare.temp_c[winter, 0].std() / 2
    assert snow.snow_water_mm[400] > 30
    assert bare.frozen[winter].any()


def test_freezing_water_slows_the_cold() -> None:
    forcing = invented()
    cold = replace(
        forcing,
        tmax_c=forcing.tmax_c - 10,
        tmin_c=forcing.tmin_c - 10,
        snow_depth_mm=np.zeros_like(forcing.tmax_c),
    )
    weather = columns_of(cold, (), slice(0, 1))

    def run(freezing_water: float) -> np.ndarray:
        changed = parameters()._replace(freezing_water_wet=freezing_water)
        stepper = Stepper(
            1, Setup(changed, texture(None).thermal(), Cover(turf=False, irrigated=False))
        )
        stepper.spin_up(drivers(weather.between(0, 365)))
        out = np.empty((len(cold.dates), 4, 1))
        stepper.run(drivers(weather), [[(GRID.node_m.index(0.05), 1.0)]], out)
        return out[:, 0, 0]

    moist, dry = run(0.3), run(0.0)
    winter = dry < -1
    assert winter.sum() > 60
    assert moist.min() > dry.min() + 1
    assert simulate(cold, SoilSite(turf=False)).frozen.sum() > 20


def test_irrigation_and_cover() -> None:
    forcing = replace(invented(), precip_mm=np.zeros_like(invented().precip_mm))
    summer = slice(880, 960)
    dry = simulate(forcing, ANY)
    watered = simulate(forcing, SoilSite(irrigated=True))
    assert watered.moisture[summer].min() > dry.moisture[summer].max()
    assert watered.temp_c[summer, 0].mean() < dry.temp_c[summer, 0].mean() - 0.5
    turf = simulate(invented(), ANY).temp_c[365:, 0]
    bare = simulate(invented(), SoilSite(turf=False)).temp_c[365:, 0]
    assert np.diff(bare).std() > 1.2 * np.diff(turf).std()


def test_texture_changes_little_but_something() -> None:
    sand = simulate(invented(2), SoilSite(texture="sand")).temp_c[400:, 1]
    clay = simulate(invented(2), SoilSite(texture="clay")).temp_c[400:, 1]
    assert 0.02 < np.abs(sand - clay).mean() < 1.0


@cache
def bowling_green():
    """Real station that the fit never saw, with its weather as forcing."""
    record = read_uscrn(FOLDER / "KY_Bowling_Green_21_NNE.txt.gz")
    forcing = SoilForcing(
        record.times,
        record.get("tmax_c"),
        record.get("tmin_c"),
        record.get("precip_mm"),
        record.place.latitude_deg,
        solar_mj_m2=record.get("solar_mj_m2"),
        rh_mean_pct=record.get("rh_mean_pct"),
    )
    return record, forcing, simulate(forcing, ANY).temp_c


def test_readings_shrink_an_offset() -> None:
    _, forcing, model = bowling_green()
    days = np.arange(800, 1100, 30)
    for offset in (-2.0, 1.5):
        readings = [ProbeReading(forcing.dates[d], 0.05, model[d, 0] + offset) for d in days]
        found = fit_site_correction(model, forcing.dates, readings)
        corrected = simulate(forcing, SoilSite(correction=found)).temp_c[:, 0]
        gained = (corrected - model[:, 0])[1100:]
        assert 0.3 < np.nanmean(gained) / offset < 1.0  # towards the readings, never past them
        assert found.readings == 10
        assert found.rmse_after_c < found.rmse_before_c == pytest.approx(abs(offset))
        assert 0.5 < found.shrinkage < 1.0
        one = fit_site_correction(model, forcing.dates, readings[:1])
        assert one.shrinkage < found.shrinkage


def test_scattered_readings_are_reported_as_disagreement() -> None:
    _, forcing, model = bowling_green()
    days = np.arange(800, 830, 3)  # too close for a drift of the model to explain the scatter
    calm = [ProbeReading(forcing.dates[d], 0.05, model[d, 0] + 1.0) for d in days]
    wild = [
        ProbeReading(forcing.dates[d], 0.10, model[d, 1] + 1.0 + (-1) ** i * 3.0)
        for i, d in enumerate(days)
    ]
    steady = fit_site_correction(model, forcing.dates, calm)
    torn = fit_site_correction(model, forcing.dates, wild)
    assert steady.disagreement_c < 0.3
    assert torn.disagreement_c > 1.5


def test_readings_outside_the_record_or_unknown_days_do_not_count() -> None:
    _, forcing, model = bowling_green()
    model = model.copy()
    model[900] = np.nan
    useless = [
        ProbeReading(np.datetime64("1990-01-01"), 0.05, 10.0),
        ProbeReading(forcing.dates[900], 0.05, 10.0),
    ]
    assert fit_site_correction(model, forcing.dates, useless) is None


def test_reading_at_a_time_of_day_is_held_against_its_hour() -> None:
    _, forcing, model = bowling_green()
    hourly = np.stack(
        [hourly_top_c(forcing, ANY, simulate(forcing, ANY), depth_m=z) for z in (0.05, 0.10)], -1
    )
    days = np.arange(800, 1100, 30)
    afternoon = [ProbeReading(forcing.dates[d], 0.05, hourly[d, 15, 0], 15.5) for d in days]
    right = fit_site_correction(model, forcing.dates, afternoon, hourly_c=hourly)
    naive = fit_site_correction(model, forcing.dates, afternoon)
    assert right.rmse_before_c < 1e-9
    assert naive.rmse_before_c > 0.4


def test_a_parameter_of_the_model_can_be_varied() -> None:
    values = load("soil")
    darker = values.varied({"surface.solar": 1.5 * values.number("surface.solar")})
    usual = simulate(invented(), ANY).temp_c[365:, 0].mean()
    assert simulate(invented(), SoilSite(values=darker)).temp_c[365:, 0].mean() > usual + 0.1
    assert simulate(invented(), ANY).temp_c[365:, 0].mean() == usual

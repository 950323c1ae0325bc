"""Errors of the models in the futures: dates and shares carry them, readings lessen them."""

from __future__ import annotations

import dataclasses
import functools

import numpy as np
import pytest
from windows_fixtures import site

from windowcast.core.record import Grade, Place, Provenance, Record
from windowcast.core.site import Site
from windowcast.core.values import PACKAGED
from windowcast.physics.soil_error import SoilError, soil_error
from windowcast.season.clocks import ClockSpeed, Drivers
from windowcast.season.emergence import emerge, emerge_in_futures
from windowcast.season.errors import even_scores, model_errors, soil_doubt, soil_error_at
from windowcast.season.model import SiteState, Substitute
from windowcast.season.state import Carry, build
from windowcast.season.unknown_rain import substitute_of
from windowcast.season.weeds import weed
from windowcast.weather.rain_filled import with_rain_filled
from windowcast.windows.season_axis import SeasonAxis

DAYS = np.arange("2022-01-01", "2024-07-01", dtype="datetime64[D]")
TODAY = int(np.searchsorted(DAYS, np.datetime64("2023-10-10")))
COUNT = 40
HERE = Place("here", 37.0, -86.0)
SIZE = soil_error(humid=True)


def _record(days: np.ndarray, rows: int = 0, **changed: np.ndarray) -> Record:
    """Weather that is the same each year, with a little noise; `rows` members of it."""
    number = days.astype(np.int64).astype(float)
    noise = np.array([np.random.default_rng(int(n)).standard_normal() for n in number])
    mean = 15.0 - 12.0 * np.cos(2 * np.pi * (number % 365.25 - 20.0) / 365.25) + 2.0 * noise
    values = {
        "tmax_c": mean + 6.0,
        "tmin_c": mean - 6.0,
        "precip_mm": np.where(number % 4 == 0, 9.0, 0.0),
    } | changed
    if rows:
        values = {name: np.broadcast_to(v, (rows, len(days))) for name, v in values.items()}
    grades = {name: np.full(len(days), Grade.OBSERVED, np.uint8) for name in values}
    return Record(HERE, days, values, grades)


def _site() -> Site:
    return site().model_copy(update={"weeds": ("POAAN", "DIGIS")})


@functools.cache
def _past(probe_c: float | None = None) -> tuple[SiteState, Carry]:
    changed = {} if probe_c is None else {"soil_5cm_c": np.full(TODAY, probe_c)}
    return build(_record(DAYS[:TODAY], **changed), _site())


@functools.cache
def _futures(probe_c: float | None = None) -> tuple[SiteState, SiteState, Carry]:
    past, carry = _past(probe_c)
    errors = model_errors(HERE, past.emergence, DAYS[TODAY:], COUNT, SIZE)
    ahead, _ = build(_record(DAYS[TODAY:], COUNT + 1), _site(), start=carry, errors=errors)
    return past, ahead, carry


def test_the_forecast_as_issued_has_no_error_and_the_draw_is_repeatable() -> None:
    past, ahead, carry = _futures()
    plain, _ = build(_record(DAYS[TODAY:], 1), _site(), start=carry)
    np.testing.assert_array_equal(ahead.soil_5cm_c[0], plain.soil_5cm_c[0])
    for code, curve in ahead.emergence.items():
        np.testing.assert_array_equal(curve.share[0], plain.emergence[code].share[0])
        np.testing.assert_array_equal(
            curve.youngest_share[0], plain.emergence[code].youngest_share[0]
        )
        so_far = ahead.so_far.emergence[code].share[0]
        np.testing.assert_array_equal(so_far, past.emergence[code].share[-len(so_far) :])
    one, two = (model_errors(HERE, ["POAAN"], DAYS[TODAY:], COUNT, SIZE) for _ in range(2))
    np.testing.assert_array_equal(one.soil.error_c, two.soil.error_c)


def test_the_same_future_errs_alike_the_day_after() -> None:
    one, two = (model_errors(HERE, ["POAAN"], DAYS[TODAY + n :], COUNT, SIZE) for n in (0, 1))
    days = DAYS[TODAY + 1 : TODAY + 6]
    np.testing.assert_array_equal(one.soil_c(days), two.soil_c(days))
    np.testing.assert_array_equal(one.clock("POAAN"), two.clock("POAAN"))


def test_shares_of_the_season_so_far_carry_the_clocks_doubt() -> None:
    past, ahead, _ = _futures()
    axis = SeasonAxis.of(past, ahead, southern=False, overseeded=False)
    share = axis.state.emergence["POAAN"].share
    assert share.shape == axis.state.soil_5cm_c.shape
    yesterday = share[:, axis.gone - 1]
    low, high = (getattr(past.emergence["POAAN"], n)[-1] for n in ("share_low", "share_high"))
    assert np.quantile(yesterday, 0.1) == pytest.approx(low, abs=0.03)
    assert np.quantile(yesterday, 0.9) == pytest.approx(high, abs=0.03)
    # one future's curve goes on without a jump, and rises
    assert (np.diff(share[:, 1 : axis.gone + 60], axis=1) >= 0).all()


def test_soil_of_the_season_so_far_carries_the_models_doubt_but_a_probe_has_none() -> None:
    past, ahead, _ = _futures()
    axis = SeasonAxis.of(past, ahead, southern=False, overseeded=False)
    assert axis.state.soil_5cm_c[:, axis.gone - 1].std() > 0.8
    past, ahead, _ = _futures(16.0)
    axis = SeasonAxis.of(past, ahead, southern=False, overseeded=False)
    assert (axis.state.soil_5cm_c[:, : axis.gone] == 16.0).all()
    assert axis.state.soil_5cm_c[:, axis.gone].std() > 0.8


def test_readings_draw_the_futures_together_and_taking_them_away_widens() -> None:
    record, spreads = _record(DAYS[:TODAY]), []
    for count in (0, 1, 3, 10):
        size = soil_error_at(record, count, PACKAGED["soil"])
        drawn = model_errors(HERE, [], DAYS[TODAY:], COUNT, size)
        spreads.append(drawn.soil_c(DAYS[TODAY : TODAY + 30])[1:].std(axis=0).mean())
    assert spreads == sorted(spreads, reverse=True)
    assert spreads[-1] < 0.95 * spreads[0]


def test_rain_taken_away_widens_the_error_of_the_soil() -> None:
    known = _record(DAYS[:TODAY])
    sizes = []
    for days in (0, 5, 30, TODAY):
        rain = known.get("precip_mm").copy()
        rain[TODAY - days :] = np.nan
        record = with_rain_filled(_record(DAYS[:TODAY], precip_mm=rain))
        found = substitute_of(record, irrigated=False, tables=PACKAGED)
        stand_ins = () if found is None else (found,)
        size = soil_error_at(record, 0, PACKAGED["soil"], stand_ins)
        plain = soil_error_at(record, 0, PACKAGED["soil"])
        told = 0.0 if found is None else found.soil_sd_c  # what is told is what futures carry
        assert size.slow_sd_c == pytest.approx(np.hypot(plain.slow_sd_c, told))
        sizes.append(size.slow_sd_c)
    assert sizes == sorted(set(sizes))


def test_futures_carry_the_cost_of_unknown_rain_that_the_answer_tells() -> None:
    record = _record(DAYS[:TODAY])
    stand_in = Substitute("precip_mm", "stations", 30, 180, False, 2.0, 5)
    spreads = [
        model_errors(HERE, [], DAYS[TODAY:], COUNT, size).soil.error_c.std()
        for size in (soil_error_at(record, 0, PACKAGED["soil"], s) for s in ((), (stand_in,)))
    ]
    assert spreads[1] ** 2 - spreads[0] ** 2 == pytest.approx(4.0, rel=0.25)


def test_the_turf_and_the_futures_go_by_the_same_error_of_the_soil() -> None:
    _, carry = _past()
    record, values = _record(DAYS[:TODAY]), PACKAGED["soil"]
    assert carry.soil_error == soil_error_at(record, 0, values)
    unread = build(_record(DAYS[:TODAY], precip_mm=np.full(TODAY, np.nan)), _site())[1].soil_error
    assert unread.mean_sd_c(7) > carry.soil_error.mean_sd_c(7)
    drawn = model_errors(HERE, [], DAYS[TODAY:], 400, carry.soil_error)
    week = np.lib.stride_tricks.sliding_window_view(drawn.soil.error_c, 7, axis=-1).mean(axis=-1)
    assert week.std() == pytest.approx(carry.soil_error.mean_sd_c(7), rel=0.03)


def test_a_humid_climate_has_the_smaller_error_and_an_unknown_one_the_greater() -> None:
    wet = _record(DAYS[:TODAY])
    dry = _record(DAYS[:TODAY], precip_mm=wet.get("precip_mm") / 3)
    values = PACKAGED["soil"]
    assert soil_error_at(wet, 0, values) == soil_error(humid=True)
    assert soil_error_at(dry, 0, values) == soil_error(humid=False)
    assert soil_error_at(wet.between(DAYS[0], DAYS[200]), 0, values) == soil_error(humid=False)


def _from(distance_km: float | None, height_m: float | None, site_m: float | None) -> Record:
    files = Provenance(
        "file", "a.csv", ("tmax_c", "tmin_c"), first="2022-01-01",
        distance_km=distance_km, elevation_m=height_m,
    )  # fmt: skip
    forecast = Provenance("forecast", "grid cell", ("temp_c",), first=str(DAYS[TODAY]))
    here = dataclasses.replace(HERE, elevation_m=site_m)
    return dataclasses.replace(_record(DAYS[:TODAY]), place=here, provenance=(files, forecast))


@pytest.mark.parametrize("site_m", [120.0, None])
@pytest.mark.parametrize("height_m", [80.0, None])
@pytest.mark.parametrize("readings", [0, 10])
def test_a_place_or_height_taken_away_widens_the_error_of_the_soil(
    site_m: float | None, height_m: float | None, readings: int
) -> None:
    def week_sd_c(*about: float | None) -> float:
        return soil_error_at(_from(*about), readings, PACKAGED["soil"]).mean_sd_c(7)

    def air_sd_c(*about: float | None) -> float:
        return soil_error_at(_from(*about), readings, PACKAGED["soil"]).air_sd_c

    untold = week_sd_c(None, None, site_m)
    assert air_sd_c(None, None, site_m) >= air_sd_c(60.0, height_m, site_m) > 0.5
    assert air_sd_c(60.0, None, site_m) >= air_sd_c(60.0, height_m, site_m)
    assert air_sd_c(0.0, height_m, site_m) == 0.0
    for away in (0.0, 1.0, 8.0, 60.0, 120.0):
        known = week_sd_c(away, height_m, site_m)
        assert week_sd_c(None, height_m, site_m) >= known
        assert untold >= known
        assert week_sd_c(away, None, site_m) >= known
        assert week_sd_c(away, height_m, None) >= known
    assert week_sd_c(8.0, None, site_m) > week_sd_c(8.0, 80.0, 120.0)
    assert untold > week_sd_c(0.0, None, site_m) == week_sd_c(0.0, 80.0, 120.0)


def test_a_draw_has_the_spread_and_the_memory_that_were_asked_for() -> None:
    days = np.arange("2024-01-01", "2024-05-01", dtype="datetime64[D]")
    size = SoilError(bias_sd_c=0.9, slow_sd_c=0.8, slow_days=20.0, fast_sd_c=0.5)
    drawn = soil_doubt(np.random.default_rng(0), 4000, days[0], days[-1], size).at(days)
    assert drawn.std() == pytest.approx(np.sqrt(0.9**2 + 0.8**2 + 0.5**2), rel=0.03)
    assert np.mean(drawn[:, 0] * drawn[:, 20]) == pytest.approx(0.9**2 + 0.8**2 / np.e, rel=0.1)
    assert np.mean(drawn[:, 0] * drawn[:, 119]) == pytest.approx(0.9**2, rel=0.1)
    assert abs(drawn.mean()) < 0.05


def test_scores_are_spread_evenly() -> None:
    scores = even_scores(np.random.default_rng(1), 100)
    assert abs(scores.mean()) < 1e-9
    assert scores.std() == pytest.approx(1.0, abs=0.02)
    assert (scores < 0).sum() == 50


def test_a_clock_that_counts_made_faster_is_drawn_within_what_they_leave() -> None:
    speed = ClockSpeed(-0.1, 0.2, 0.3)
    at = speed.at(np.array([-1.2815515655446004, 0.0, 1.2815515655446004]))
    np.testing.assert_allclose(at, [-0.1, 0.2, 0.3])


def _drivers(days: np.ndarray, rain: float) -> Drivers:
    air = 30.0 - 0.16 * (days - days[0]).astype(float)
    wet = np.full(len(days), np.nan if np.isnan(rain) else 0.8)
    return Drivers(days, air, air, wet, np.full(len(days), rain), southern=False, latitude_deg=37.0)


def test_unknown_water_lowers_the_slow_futures_and_none_of_the_others() -> None:
    days = np.arange("2023-06-21", "2023-12-01", dtype="datetime64[D]")
    cut = 80
    scores = np.array([0.0, -1.5, 0.5])
    shares = []
    for rain in (30.0, np.nan):
        before, ahead = (_drivers(days, rain) for _ in range(2))
        before = before.last(len(days))
        first = dataclasses.replace(before, **_part(before, slice(0, cut)))
        rest = dataclasses.replace(ahead, **_part(ahead, slice(cut, None)))
        _, _, carry = emerge(weed("POAAN"), first)
        _, curve, _ = emerge_in_futures(weed("POAAN"), first, rest, carry, scores=scores)
        shares.append(curve.share[:, -1])
    known, unknown = shares
    assert unknown[1] < known[1] - 0.2
    np.testing.assert_array_equal(unknown[[0, 2]], known[[0, 2]])


def _part(drivers: Drivers, part: slice) -> dict[str, np.ndarray]:
    names = ("dates", "air_c", "soil_c", "water", "rain_7d_mm")
    return {name: getattr(drivers, name)[part] for name in names}


def test_a_gap_in_the_season_so_far_is_bridged_as_in_the_record() -> None:
    days = np.arange("2015-01-01", "2023-10-10", dtype="datetime64[D]")
    number = (days.astype(np.int64) % 365.25).astype(float)
    air = 16.0 - 10.0 * np.cos(2 * np.pi * (number - 20.0) / 365.25)
    holes = air.copy()
    holes[-12:-9] = np.nan
    rain = np.full(len(days), 20.0)
    past = Drivers(days, holes, air, rain / 25, rain, southern=False, latitude_deg=37.0)
    curve, _, carry = emerge(weed("POAAN"), past)
    rest = dataclasses.replace(_drivers(DAYS[TODAY : TODAY + 30], 20.0))
    scores = np.array([0.0, -1.0, 1.0])
    so_far, _, _ = emerge_in_futures(weed("POAAN"), past.last(366), rest, carry, scores=scores)
    assert np.isfinite(so_far.share).all()
    np.testing.assert_array_equal(so_far.share[0], curve.share[-so_far.share.shape[1] :])


def test_steps_of_a_season_are_carried_over_two_runs() -> None:
    days = np.arange("2023-06-01", "2023-12-01", dtype="datetime64[D]")
    whole = _drivers(days, 20.0)
    _, _, one = emerge(weed("POAAN"), whole)
    _, _, half = emerge(weed("POAAN"), dataclasses.replace(whole, **_part(whole, slice(0, 90))))
    _, _, two = emerge(
        weed("POAAN"), dataclasses.replace(whole, **_part(whole, slice(90, None))), half
    )
    assert one.season_steps.mid["emergence"].shape[-1] == one.season_share.shape[-1]
    np.testing.assert_array_equal(
        one.season_steps.mid["emergence"], two.season_steps.mid["emergence"]
    )


def test_a_soil_model_without_error_has_futures_that_agree() -> None:
    parts = ("bias_sd", "bias_sd_many_readings", "slow_sd_humid", "fast_sd")
    exact = PACKAGED.varied({f"soil.error.{part}": 0.0 for part in parts})
    size = soil_error_at(_record(DAYS[:TODAY]), 0, exact["soil"])
    drawn = model_errors(HERE, [], DAYS[TODAY:], COUNT, size)
    assert not drawn.soil_c(DAYS[TODAY : TODAY + 9]).any()


@pytest.mark.parametrize("readings", [0, 10])
def test_weeds_that_go_by_air_are_less_sure_with_weather_from_far_off(readings: int) -> None:
    _, carry = _past()
    ahead, found = _record(DAYS[TODAY:], COUNT + 1), {}
    for away in (0.0, 60.0, None):
        size = soil_error(readings, humid=True, distance_km=away, known_height=away is not None)
        errors = model_errors(HERE, ["POAAN", "DIGIS"], DAYS[TODAY:], COUNT, size)
        # clocks all alike: what is left is weather and soil
        errors = dataclasses.replace(errors, clocks=dict.fromkeys(errors.clocks, np.zeros(COUNT)))
        share = build(ahead, _site(), start=carry, errors=errors)[0].emergence["POAAN"].share
        half = (share < 0.5).sum(axis=1)  # days until half is up
        found[away] = half[0], np.median(half[1:]), np.subtract(*np.quantile(half[1:], [0.9, 0.1]))
    issued, middles, widths = zip(*found.values(), strict=True)
    assert len(set(issued)) == 1
    assert widths[0] + 3 < widths[1] < widths[2]
    assert np.ptp(middles) <= 2

"""Hours of the past: measured ones over estimated ones, and what a day's rain leaves untold."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from test_hours_ahead import GOOD
from windows_fixtures import site, state

from windowcast.core.record import FloatArray, Grade, Place, Record, Weather
from windowcast.records.model import Application, Material
from windowcast.records.past_windows import with_entered
from windowcast.weather.hourly import daily_to_hourly
from windowcast.windows.criteria import FALLING, HOUR_CRITERIA
from windowcast.windows.grade import ScoreCurve
from windowcast.windows.hindsight import _rain_bounds, decided, season_context, season_hours
from windowcast.windows.hours import LEAD_H, HourContext
from windowcast.windows.judge import HourScores
from windowcast.windows.purposes import purpose_of
from windowcast.windows.score import Block

HERE = site()
PLACE = Place("Test Field", 41.0, 2.0, 100.0, "Europe/Madrid")
FIRST, LAST = dt.date(2023, 1, 16), dt.date(2023, 1, 18)
MIDNIGHT = np.datetime64("2023-01-15T23", "h")  # of the first day, in UTC
NEEDS = purpose_of("post-early").generic


def days(rain_mm: tuple[float, ...] = (2.4, 0.0, 4.8)) -> Record:
    """Ten days, of which the rain of the three looked at is given."""
    dates = np.datetime64("2023-01-12", "D") + np.arange(10)
    rain = np.zeros(10)
    rain[4:7] = rain_mm
    values = {"tmax_c": np.full(10, 14.0), "tmin_c": np.full(10, 4.0), "precip_mm": rain}
    grades = {name: np.full(10, Grade.OBSERVED, dtype=np.uint8) for name in values}
    return Record(PLACE, dates, values, grades)


def measured(first: int, **values: FloatArray) -> Record:
    """Hours that begin so many after the first midnight."""
    count = len(next(iter(values.values())))
    grades = {n: np.full(count, Grade.OBSERVED, dtype=np.uint8) for n in values}
    return Record(PLACE, MIDNIGHT + first + np.arange(count), values, grades)


def weather(hourly: Record | None = None, **known: Any) -> Weather:
    return Weather(days(**known), hourly, dt.date(2023, 1, 20))


# --- hours of a season ----------------------------------------------------------------------------


def test_without_measured_hours_they_are_estimated_from_the_days() -> None:
    found = season_hours(weather(), FIRST, LAST)
    expected = daily_to_hourly(days(), FIRST, 3)
    assert found.times.tolist() == (MIDNIGHT + np.arange(72)).tolist()
    assert found.values.keys() == expected.values.keys()
    for name, values in expected.values.items():
        np.testing.assert_array_equal(found.values[name], values)


def test_measured_hours_stand_where_there_are_some() -> None:
    """From an hour before midnight on, of which one is missing; wind is known from nowhere else."""
    temp = np.array([-9.0, 10.0, np.nan, 12.0])
    wind = np.array([1.0, 2.0, 3.0, np.nan])
    found = season_hours(weather(measured(-1, temp_c=temp, wind_m_s=wind)), FIRST, LAST)
    estimated = daily_to_hourly(days(), FIRST, 3)
    expected = estimated.values["temp_c"].copy()
    expected[0], expected[2] = 10.0, 12.0
    np.testing.assert_array_equal(found.values["temp_c"], expected)
    grades = np.full(72, Grade.ESTIMATED)
    grades[[0, 2]] = Grade.OBSERVED
    np.testing.assert_array_equal(found.grades["temp_c"], grades)
    np.testing.assert_array_equal(found.values["wind_m_s"], [2.0, 3.0, *[np.nan] * 70])
    assert found.grades["wind_m_s"][:3].tolist() == [
        Grade.OBSERVED, Grade.OBSERVED, Grade.MISSING,
    ]  # fmt: skip
    np.testing.assert_array_equal(found.values["precip_mm"], estimated.values["precip_mm"])
    late = season_hours(weather(measured(70, temp_c=temp)), FIRST, LAST)
    assert late.values["temp_c"][[70, 71]].tolist() == [-9.0, 10.0]


def context(hourly: Record | None = None, **known: Any) -> HourContext:
    return season_context(HERE, weather(hourly, **known), state(FIRST, 5), FIRST, LAST)


def test_a_season_is_looked_at_as_an_ensemble_of_one() -> None:
    found = context(measured(0, wind_m_s=np.full(72, 2.0)))
    assert found.lead == LEAD_H
    assert found.temp_c.shape == (1, LEAD_H + 72)
    assert np.isnan(found.temp_c[0, :LEAD_H]).all()
    assert found.wind_m_s[0, LEAD_H:].tolist() == [2.0] * 72
    assert found.daily["precip_mm"][0, :3].tolist() == pytest.approx([2.4, 0.0, 4.8])
    assert found.now is None


# --- when a day's rain fell -----------------------------------------------------------------------


def test_rain_of_a_day_may_have_fallen_in_any_hour_that_nobody_measured() -> None:
    """2.4, 0 and 4.8 mm; of the third day six hours were measured, with 1.8 mm."""
    gauge = np.zeros(6)
    gauge[2] = 1.8
    ctx = context(measured(48, precip_mm=gauge))
    least, most = _rain_bounds(ctx)
    known = np.zeros(LEAD_H + 72)
    known[:LEAD_H] = np.nan  # before the days looked at nothing is known
    known[LEAD_H + 50] = 1.8
    np.testing.assert_array_equal(least.rain_mm[0], known)
    assert least.unplaced_mm is None
    assert most.unplaced_mm is not None
    rest = most.unplaced_mm[0, LEAD_H:]
    assert rest[:24].tolist() == pytest.approx([2.4] * 24)
    assert rest[24:48].tolist() == [0.0] * 24
    assert rest[48:].tolist() == pytest.approx([3.0] * 24)
    np.testing.assert_array_equal(most.rain_mm, least.rain_mm)


def test_a_gauge_that_caught_more_than_the_day_leaves_nothing_unplaced() -> None:
    gauge = np.zeros(6)
    gauge[2] = 9.0
    _, most = _rain_bounds(context(measured(48, precip_mm=gauge)))
    assert most.unplaced_mm is not None
    assert most.unplaced_mm[0, LEAD_H + 48 :].tolist() == [0.0] * 24
    # a day measured in all hours is as its hours say, whatever its total
    _, most = _rain_bounds(context(measured(48, precip_mm=np.zeros(24))))
    assert most.unplaced_mm is not None
    assert most.unplaced_mm[0, LEAD_H + 48 :].tolist() == [0.0] * 24


@pytest.mark.parametrize("lacks", ["grade", "daily"])
def test_without_a_days_amount_the_hours_stand_as_they_are(lacks: str) -> None:
    ctx = context()
    parts = {k: v for k, v in getattr(ctx, lacks).items() if k != "precip_mm"}
    change: Any = {lacks: parts}
    blind = replace(ctx, **change)
    assert _rain_bounds(blind) == (blind, blind)


def scored(ctx: HourContext) -> HourScores:
    """Rain now is a no from 1 mm on, rain after from 3 mm; wind is no matter of it."""
    curves = {
        "rain_now": ScoreCurve((0.5, 1.0), (1.0, 0.0)),
        "rain_after": ScoreCurve((2.0, 3.0), (1.0, 0.0)),
        "wind": GOOD["wind"],
    }
    measures = {n: np.atleast_2d(HOUR_CRITERIA[n](ctx, NEEDS))[..., ctx.lead :] for n in curves}
    scores = {n: curves[n](values) for n, values in measures.items()}
    return HourScores(ctx, curves, dict.fromkeys(curves, 1.0), measures, scores)


def test_a_score_stands_where_it_is_the_same_whenever_the_rain_fell() -> None:
    assert {"rain_now", "rain_after"} <= set(FALLING)
    wind = np.full(72, 2.5)
    # on the first day 0.4 mm and on the third 9 mm of which nobody knows when
    ctx = context(measured(0, wind_m_s=wind), rain_mm=(0.4, 0.0, 9.0))
    found = decided(scored(ctx), NEEDS)
    now, after, of_wind = (found.scores[n][0] for n in ("rain_now", "rain_after", "wind"))
    assert now[:48].tolist() == [1.0] * 48  # too little to matter, or dry
    assert np.isnan(now[48:]).all()
    free = int(NEEDS.rain_free_h or 0)
    assert after[: 48 - free].tolist() == [1.0] * (48 - free)
    assert np.isnan(after[48 - free : 72 - free]).all()
    assert of_wind.tolist() == [1.0] * 72
    np.testing.assert_array_equal(found.measured["rain_now"], scored(ctx).measured["rain_now"])
    gauge = np.zeros(24)
    gauge[12] = 9.0  # measured hour by hour, all of it stands
    ctx = context(measured(48, precip_mm=gauge), rain_mm=(0.4, 0.0, 9.0))
    exact = decided(scored(ctx), NEEDS).scores["rain_now"][0]
    assert exact[48:].tolist() == [*[1.0] * 12, 0.0, *[1.0] * 11]


def test_humidity_that_was_noted_takes_the_dew_point_away_from_its_hours_alone() -> None:
    ctx = context(measured(0, temp_c=np.full(72, 9.0), dewpoint_c=np.full(72, 5.0)))
    noted = Application(
        dt.datetime(2017, 11, 14, 9, tzinfo=dt.UTC), (Material("glyphosate"),), rh_pct=60.0
    )
    found = with_entered(ctx, noted, Block(10, 12))
    assert found.hourly["rh_pct"][0, LEAD_H + 10 : LEAD_H + 12].tolist() == [60.0, 60.0]
    hours = found.hourly["dewpoint_c"][0, LEAD_H:]
    assert np.isnan(hours[10:12]).all()
    assert np.delete(hours, [10, 11]).tolist() == [5.0] * 70
    assert ctx.hourly["dewpoint_c"][0, LEAD_H + 10] == 5.0, "what was given is left as it was"

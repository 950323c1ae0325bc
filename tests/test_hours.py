"""The hour axis: local days through clock changes, the hours before today, chances."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from windows_fixtures import TODAY, local_index, past, site, state, weather

from windowcast.core.record import Grade, Members, Record, Weather
from windowcast.core.values import load
from windowcast.windows.hours import LEAD_H, HourContext, chance, hour_context, sliding
from windowcast.windows.judge import Judge
from windowcast.windows.purposes import purpose_of
from windowcast.windows.score import Block, Rule

RULE = Rule.of(load("criteria"))


def context(today: dt.date = TODAY, **values: Any) -> HourContext:
    here = site()
    members = weather(here, today=today, **values)
    return hour_context(here, state(today), members)


@pytest.mark.parametrize(
    ("today", "hours"),
    [
        (dt.date(2023, 3, 26), 23),  # clocks forward in Madrid
        (dt.date(2023, 10, 29), 25),  # clocks back
        (dt.date(2023, 1, 16), 24),
    ],
)
def test_days_of_23_and_25_hours(today: dt.date, hours: int) -> None:
    ctx = context(today)
    dates = ctx.local.astype("datetime64[D]")
    assert (dates == np.datetime64(today)).sum() == hours
    assert (ctx.day[ctx.lead :][:hours] == 0).all()
    assert ctx.day[ctx.lead + hours] == 1
    assert ctx.local[ctx.lead] == np.datetime64(today, "m")  # local midnight


def test_a_zone_off_the_full_hour() -> None:
    here = site(timezone="Asia/Kolkata", latitude=18.5, longitude=73.9)
    ctx = hour_context(here, state(), weather(here))
    minutes = (ctx.local - ctx.local.astype("datetime64[h]")).astype(int)
    assert set(minutes.tolist()) == {30}
    assert ctx.local[ctx.lead].astype("datetime64[D]") == np.datetime64(TODAY)


def test_sun_height_is_the_lower_end_of_the_hour() -> None:
    """Sunrise at 41 N, 2 E on 16 January 2023 is 08:14 CET (NOAA solar calculator, from memory)."""
    ctx = context()
    sun = ctx.sun_deg[ctx.lead :]
    assert sun[local_index(ctx.site, 0, 8)] < -0.833  # the hour begins before sunrise
    assert sun[local_index(ctx.site, 0, 9)] > 0


def test_the_hours_before_today_come_from_the_record() -> None:
    here = site()
    members = weather(here)
    start = members.hourly.times[0]
    times = start - np.arange(30, 0, -1).astype("timedelta64[h]")
    known = np.where(np.arange(30) == 28, 3.0, 0.0)
    hourly = Record(
        here.place, times, {"precip_mm": known}, {"precip_mm": np.zeros(30, dtype=np.uint8)}
    )
    dates = np.datetime64(TODAY, "D") + np.arange(-5, 3)
    daily = Record(
        here.place,
        dates,
        {"precip_mm": np.full(8, 12.0)},
        {"precip_mm": np.zeros(8, dtype=np.uint8)},
    )
    ctx = hour_context(here, state(), members, weather=Weather(daily, hourly, TODAY))
    assert ctx.rain_mm[0, ctx.lead - 2] == 3.0
    by_day = hour_context(here, state(), members, weather=Weather(daily, None, TODAY))
    assert by_day.rain_mm[0, : ctx.lead] == pytest.approx(12.0 / 24)
    unknown = hour_context(here, state(), members)
    assert np.isnan(unknown.rain_mm[0, : ctx.lead]).all()


def test_unplaced_rain_counts_once_for_each_date_a_run_touches() -> None:
    ctx = context()
    dates = ctx.local.astype("datetime64[D]")
    ahead = (dates - np.datetime64(TODAY)).astype(int)
    second = ahead == 1
    rest = np.where(second, 5.0, np.where(ahead == 2, 2.0, 0.0))[None]
    most = replace(ctx, unplaced_mm=rest).rain_around(0, 6).sum(axis=-1)[0]
    midnight = int(np.flatnonzero(second)[0])
    assert [most[midnight + h] for h in (-7, -6, 0, 17, 18, 24)] == [0, 5, 5, 5, 7, 2]
    before = replace(ctx, unplaced_mm=rest).rain_around(2, 0)[..., :-1].sum(axis=-1)[0]
    assert [before[midnight + h] for h in (0, 1, 24, 26)] == [0, 5, 5, 2]
    assert np.array_equal(ctx.rain_around(0, 0)[..., 0], ctx.rain_mm, equal_nan=True)


def test_humidity_from_whichever_is_given() -> None:
    by_dew = context()
    by_rh = context(without=("dewpoint_c",), rh_pct=by_dew.rh_pct[0, LEAD_H])
    assert by_rh.dewpoint_c[0, LEAD_H] == pytest.approx(8.0, abs=0.01)
    neither = context(without=("dewpoint_c",))
    assert np.isnan(neither.delta_t_c).all()


def test_gusts_are_not_guessed_from_the_wind() -> None:
    assert (context().get("gust_m_s")[0, LEAD_H:] == 4.0).all()
    assert np.isnan(context(without=("gust_m_s",)).get("gust_m_s")).all()


def test_sliding_windows_know_nothing_beyond_the_ends() -> None:
    got = sliding(np.array([1.0, 2.0, 4.0]), 0, 1).sum(axis=-1)
    assert got[:2].tolist() == [3.0, 6.0]
    assert np.isnan(got[2])
    assert sliding(np.array([[1.0, 2.0, 4.0]]), 1, 0).shape == (1, 3, 2)


def test_chance_counts_the_members_for_the_forecast_row_only() -> None:
    event = np.zeros((41, 2))
    event[1:11, 0] = 1.0
    event[0] = 1.0
    got = chance(event, RULE)
    assert got[0].tolist() == [0.25, 0.0]
    assert (got[1:] == event[1:]).all()
    few = np.zeros((3, 2))
    assert chance(few, RULE) is few  # too few members to count


def test_grade_words_name_the_worst() -> None:
    here = site()
    members = weather(here)
    grades = {k: g.copy() for k, g in members.hourly.grades.items()}
    grades["temp_c"][10:20] = Grade.ESTIMATED
    worse = Members(
        members.daily,
        Record(here.place, members.hourly.times, members.hourly.values, grades),
        7,
    )
    ctx = hour_context(here, state(), worse)
    assert ctx.grade_of(ctx.lead, ctx.lead + 5).id == "hours.forecast"
    assert ctx.grade_of(ctx.lead + 12, ctx.lead + 14).id == "hours.estimated"


def test_members_are_scored_as_one_alone_would_be() -> None:
    """Leading axis: every row of an ensemble gets what it gets by itself."""
    here = site()
    rng = np.random.default_rng(1)
    hours = len(weather(here).hourly.times)
    wind = rng.uniform(0, 6, (4, hours))
    rain = np.where(rng.random((4, hours)) < 0.1, 1.0, 0.0)
    together = weather(here, futures=3, wind_m_s=wind, precip_mm=rain)
    purpose = purpose_of("dormant")
    ahead = state()
    all_rows = Judge(hour_context(here, ahead, together), past()).scores(purpose, purpose.generic)
    for row in range(4):
        alone = weather(here, wind_m_s=wind[row], precip_mm=rain[row])
        single = Judge(hour_context(here, ahead, alone), past()).scores(purpose, purpose.generic)
        np.testing.assert_allclose(all_rows.score[row], single.score[0])


# --- the axis in full -----------------------------------------------------------------------------


def hourly_before(first: int, **values: list[float]) -> Record:
    """Hours on record that begin so many before today's midnight."""
    start = weather(site()).hourly.times[0]
    count = len(next(iter(values.values())))
    times = start - np.timedelta64(first, "h") + np.arange(count)
    grades = {n: np.zeros(count, dtype=np.uint8) for n in values}
    return Record(site().place, times, {n: np.array(v) for n, v in values.items()}, grades)


def daily_about(rain_mm: list[float], first: int = -2) -> Record:
    dates = np.datetime64(TODAY, "D") + first + np.arange(len(rain_mm))
    grades = {"precip_mm": np.zeros(len(dates), dtype=np.uint8)}
    return Record(site().place, dates, {"precip_mm": np.array(rain_mm)}, grades)


@pytest.mark.parametrize(
    "name",
    ["temp_c", "dewpoint_c", "rh_pct", "wind_m_s", "gust_m_s", "precip_mm", "cloud_fraction"],
)
def test_what_the_record_knows_of_the_hours_before_stands_before_today(name: str) -> None:
    """Three hours on record, one of which lies before the 24 looked at; the others are unknown."""
    given: dict[str, Any] = {name: 50.0}
    members = weather(site(), **given)
    known = hourly_before(LEAD_H + 1, **{name: [7.0, 5.0, 6.0]})
    ctx = hour_context(
        site(), state(), members, weather=Weather(daily_about([np.nan]), known, TODAY)
    )
    lead = ctx.hourly[name][0, : ctx.lead]
    assert lead[:2].tolist() == [5.0, 6.0]
    assert np.isnan(lead[2:]).all()
    assert (ctx.hourly[name][0, ctx.lead :] == 50.0).all()
    late = hourly_before(1, **{name: [7.0, 5.0]})  # reaches into today, which the members know
    ctx = hour_context(
        site(), state(), members, weather=Weather(daily_about([np.nan]), late, TODAY)
    )
    assert ctx.hourly[name][0, ctx.lead - 1 :].tolist()[:2] == [7.0, 50.0]


def test_what_the_hours_before_do_not_matter_to_is_not_looked_up() -> None:
    members = weather(site(), pressure_hpa=1000.0, wind_from_deg=90.0, soil_5cm_c=8.0)
    known = hourly_before(2, pressure_hpa=[990.0, 991.0], precip_prob=[0.5, 0.5])
    ctx = hour_context(
        site(), state(), members, weather=Weather(daily_about([np.nan]), known, TODAY)
    )
    assert np.isnan(ctx.hourly["pressure_hpa"][0, : ctx.lead]).all()
    assert (ctx.hourly["pressure_hpa"][0, ctx.lead :] == 1000.0).all()
    assert (ctx.hourly["wind_from_deg"][0, ctx.lead :] == 90.0).all()
    assert np.isnan(ctx.hourly["precip_prob"][0, : ctx.lead]).all()
    assert "soil_5cm_c" not in ctx.hourly
    assert ctx.grade.keys() == ctx.hourly.keys()
    assert (ctx.grade["temp_c"][: ctx.lead] == Grade.MISSING).all()
    assert (ctx.grade["temp_c"][ctx.lead :] == Grade.FORECAST).all()


def test_rain_of_yesterday_is_spread_over_the_hours_that_nobody_measured() -> None:
    members = weather(site())
    gauge = hourly_before(3, precip_mm=[np.nan, 2.0])
    for hourly, expected in ((None, [0.5] * 24), (gauge, [*[0.5] * 22, 2.0, 0.5])):
        known = Weather(daily_about([99.0, 12.0, 48.0]), hourly, TODAY)
        ctx = hour_context(site(), state(), members, weather=known)
        assert ctx.rain_mm[0, : ctx.lead].tolist() == expected
    # a record that ends the day before yesterday knows nothing of it
    old = Weather(daily_about([99.0], first=-2), None, TODAY)
    ctx = hour_context(site(), state(), members, weather=old)
    assert np.isnan(ctx.rain_mm[0, : ctx.lead]).all()


def test_daily_values_stand_on_the_states_dates() -> None:
    """Members whose days begin two before the state's, and end before its last."""
    members = weather(site(), futures=1)
    rain = np.array([np.arange(1.0, 12), np.arange(21.0, 32)])
    dates = np.datetime64(TODAY, "D") - 2 + np.arange(11)
    marks = {n: np.full(11, Grade.FORECAST, dtype=np.uint8) for n in ("precip_mm", "tmax_c")}
    daily = Record(site().place, dates, {"precip_mm": rain, "tmax_c": rain[0]}, marks)
    ctx = hour_context(site(), state(days=11), replace(members, daily=daily))
    unknown = [np.nan, np.nan]
    np.testing.assert_array_equal(
        ctx.daily["precip_mm"], [[*range(3, 12), *unknown], [*range(23, 32), *unknown]]
    )
    np.testing.assert_array_equal(ctx.daily["tmax_c"], [[*range(3, 12), *unknown]])


def test_hours_beyond_the_state_are_of_its_first_and_last_day() -> None:
    ctx = hour_context(site(), state(days=2), weather(site()))
    assert ctx.day[: ctx.lead].tolist() == [0] * ctx.lead
    assert ctx.day[ctx.lead :].tolist() == [0] * 24 + [1] * (len(ctx.day) - ctx.lead - 24)
    assert ctx.on_hours(np.array([5, 7]))[0, ctx.lead + 23 :][:2].tolist() == [5.0, 7.0]
    assert ctx.times[ctx.lead] == weather(site()).hourly.times[0]
    assert (np.diff(ctx.times) == np.timedelta64(1, "h")).all()


def test_a_block_begins_and_ends_on_the_sites_clock() -> None:
    ctx = context()
    start, end = ctx.span(Block(9, 12))
    assert start == dt.datetime.combine(TODAY, dt.time(9), ctx.site.zone)
    assert end == dt.datetime.combine(TODAY, dt.time(12), ctx.site.zone)
    assert start.tzinfo is end.tzinfo is ctx.site.zone


def test_the_air_cannot_be_drier_than_nothing_or_wetter_than_full() -> None:
    """At 20 °C and 50 % the dew point is 9.3 °C (Magnus; WMO-No. 8, annex 4.B)."""
    ctx = context(temp_c=20.0, dewpoint_c=np.nan, rh_pct=50.0)
    assert ctx.dewpoint_c[0, LEAD_H] == pytest.approx(9.3, abs=0.05)
    assert ctx.rh_pct[0, LEAD_H] == pytest.approx(50.0)
    wet = context(temp_c=20.0, dewpoint_c=21.0)
    assert wet.dewpoint_c[0, LEAD_H] == 20.0
    assert wet.rh_pct[0, LEAD_H] == pytest.approx(100.0)
    given_both = context(temp_c=20.0, dewpoint_c=5.0, rh_pct=50.0)
    assert given_both.dewpoint_c[0, LEAD_H] == 5.0


def test_wet_bulb_by_the_pressure_of_the_sites_height() -> None:
    """Lower pressure lets more evaporate: Delta T grows with height and falls with pressure."""

    def delta(height_m: float, **more: Any) -> float:
        here = site(elevation_m=height_m)
        ctx = hour_context(here, state(), weather(here, temp_c=30.0, dewpoint_c=10.0, **more))
        return float(ctx.delta_t_c[0, LEAD_H])

    assert delta(2000.0) > delta(0.0) > delta(0.0, pressure_hpa=1040.0)
    assert delta(0.0) == pytest.approx(delta(0.0, pressure_hpa=1013.25), abs=0.01)
    assert delta(0.0) == pytest.approx(30.0 - 17.8, abs=0.3)  # psychrometric chart, from memory
    unsaid = site(elevation_m=None)
    ctx = hour_context(unsaid, state(), weather(unsaid, temp_c=30.0, dewpoint_c=10.0))
    assert ctx.delta_t_c[0, LEAD_H] == pytest.approx(delta(0.0))


@pytest.mark.parametrize(
    ("marks", "said"),
    [
        ({}, "hours.forecast"),
        ({"wind_m_s": Grade.ESTIMATED}, "hours.estimated"),
        ({"precip_mm": Grade.MISSING}, "hours.missing"),
        ({"precip_mm": Grade.OBSERVED, "temp_c": Grade.OBSERVED}, "hours.forecast"),
        ({"cloud_fraction": Grade.MISSING}, "hours.forecast"),  # matters less
    ],
)
def test_hours_are_as_well_known_as_their_worst_variable(
    marks: dict[str, Grade], said: str
) -> None:
    ctx = context()
    grades = {n: g.copy() for n, g in ctx.grade.items()}
    for name, mark in marks.items():
        grades[name][40] = mark
    graded = replace(ctx, grade=grades)
    assert graded.grade_of(40, 41).id == graded.grade_of(38, 42).id == said
    assert graded.grade_of(41, 42).id == "hours.forecast"
    assert replace(ctx, grade={}).grade_of(40, 41).id == "hours.missing"


def test_steps_before_and_after() -> None:
    got = sliding(np.array([1.0, 2.0, 4.0]), 1, 2)
    nan = np.nan
    np.testing.assert_array_equal(got, [[nan, 1, 2, 4], [1, 2, 4, nan], [2, 4, nan, nan]])

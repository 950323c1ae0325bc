"""The hour axis: local days through clock changes, the hours before today, chances."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
from windows_fixtures import TODAY, local_index, past, site, state, weather

from windowcast.core.record import Grade, Members, Record, Weather
from windowcast.core.values import load
from windowcast.windows.hours import LEAD_H, HourContext, chance, hour_context, sliding
from windowcast.windows.judge import Judge
from windowcast.windows.purposes import purpose_of
from windowcast.windows.score import Rule

RULE = Rule.of(load("criteria"))


def context(today: dt.date = TODAY, **values: object) -> HourContext:
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
    assert (context().gust_m_s[0, LEAD_H:] == 4.0).all()
    assert np.isnan(context(without=("gust_m_s",)).gust_m_s).all()


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

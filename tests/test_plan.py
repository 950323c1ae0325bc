"""The season plan on the sample's real record: what it says must follow from the record."""

from __future__ import annotations

import datetime as dt
import html
import json
import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import jsonschema
import numpy as np
import pytest
from click.testing import CliRunner
from icalendar import Calendar
from spoken import render, voice_of, written
from uscrn_sites import DEEP_SOUTH, MID_ATLANTIC, MID_SOUTH, record
from uscrn_sites import site as site_at

from windowcast.cli import cli
from windowcast.core.phrase import NOTHING, Share, about, say
from windowcast.core.record import FloatArray, Weather
from windowcast.core.site import Site
from windowcast.core.time_axis import first_day, last_day
from windowcast.core.turf import Sensitive
from windowcast.core.values import PACKAGED, Value, load
from windowcast.limits.model import Permission, TurfSpan
from windowcast.materials.actives import load_actives
from windowcast.materials.needs import ActiveNeeds
from windowcast.programme import season_plan as planning
from windowcast.programme.answer import Answer, answer, greenup_by_futures
from windowcast.programme.key_dates import Event, key_dates
from windowcast.programme.model import Decision, PurposePlan, SeasonPlan
from windowcast.programme.now_or_wait import Later, decision, later_value
from windowcast.programme.season_plan import season_plan
from windowcast.programme.season_today import season_today
from windowcast.programme.workable_days import day_scores, fewest_workable, open_days, workable
from windowcast.report import wording
from windowcast.report.board import message_text
from windowcast.report.calendar import calendar_text
from windowcast.report.page import render_page
from windowcast.report.season import from_to, plan_json, plan_schema, plan_text, status_words
from windowcast.report.tables import shipped_schema
from windowcast.report.terminal import table_text
from windowcast.weather.ensemble import members
from windowcast.weather.sample import sample_site, sample_weather
from windowcast.windows.barrier import cover
from windowcast.windows.cover_plan import cover_plan, season_of
from windowcast.windows.decision_model import Decided
from windowcast.windows.odds import DateRange
from windowcast.windows.opening import Opening
from windowcast.windows.opening import when as day_of
from windowcast.windows.purposes import Purpose, purpose_of
from windowcast.windows.rank import rank
from windowcast.windows.residual import Laying, ResidualActive, material_of
from windowcast.windows.running_season import RunningSeason
from windowcast.windows.score import Rule
from windowcast.windows.season_axis import SeasonAxis
from windowcast.windows.timing import Timing, timing_of
from windowcast.windows.trials import Met

AUGUST = dt.date(2017, 8, 20)
RULE = Rule.of(load("criteria"))
WATERED, DRY = Laying(load("barrier"), irrigated=True), Laying(load("barrier"))


def answer_on(today: dt.date, forecast_days: int = 7) -> Answer:
    """The sample's record on an earlier day; what then came stands as a daily forecast."""
    weather = sample_weather()
    daily = weather.daily.between(
        weather.daily.times[0], np.datetime64(today) + np.timedelta64(forecast_days - 1, "D")
    )
    return answer(sample_site(), Weather(daily, None, today))


@pytest.fixture(scope="module")
def august() -> Answer:
    return answer_on(AUGUST)


@pytest.fixture(scope="module")
def sample() -> Answer:
    return answer(sample_site(), sample_weather())


def plan_for(a: Answer, **more: object) -> SeasonPlan:
    decided = {o.purpose: o.decision for o in a.ranking.purposes}
    return season_plan(a.running, a.weather, decided=decided, **more)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def plan(august: Answer) -> SeasonPlan:
    return plan_for(august)


def purpose(plan: SeasonPlan, name: str) -> PurposePlan:
    return next(p for p in plan.purposes if p.purpose == name)


def test_where_the_season_stands(august: Answer) -> None:
    axis = SeasonAxis.of(august.past, august.ahead, southern=False, overseeded=False)
    assert axis.start == dt.date(2017, 7, 1)
    assert axis.gone == 50
    assert len(axis.state.soil_5cm_c) == 100
    starts = [start for start, _ in axis.past_seasons(southern=False)]
    assert starts == [dt.date(year, 7, 1) for year in range(2007, 2017)]


def test_dates_of_past_seasons_are_those_of_the_record(august: Answer, plan: SeasonPlan) -> None:
    """First 7-day mean of the station's own soil below 21.1 °C from August on, by hand."""
    key = next(k for k in plan.key_dates if k.name == "soil_fall")
    soil, dates = august.past.soil_5cm_c, august.past.dates
    for year, seen in zip(range(2007, 2017), key.years, strict=True):
        begin = int(np.flatnonzero(dates == np.datetime64(f"{year}-08-01"))[0])
        day = next(d for d in range(begin, begin + 120) if soil[d - 6 : d + 1].mean() < 21.1)
        assert seen.season == f"{year}/{(year + 1) % 100:02d}"
        assert seen.date == dates[day].astype(object)


def test_key_dates_hold_what_then_came() -> None:
    """Half of a dozen dates foretold in August fall within 10 to 90 %; few far outside.

    Checked on two seasons of the record that lie after the days the answer knows.
    """
    inside, total = 0, 0
    for year in (2015, 2016):
        today = dt.date(year, 8, 20)
        foretold = answer_on(today)
        axis = SeasonAxis.of(foretold.past, foretold.ahead, southern=False, overseeded=False)
        later = answer_on(dt.date(year + 1, 6, 25))
        seen_axis = SeasonAxis.of(later.past, later.ahead, southern=False, overseeded=False)
        seen = {k.name: k for k in key_dates(seen_axis, southern=False)}
        for key in key_dates(axis, southern=False):
            came = seen[key.name].passed
            if key.ahead is None or came is None:
                continue
            assert key.ahead.early is not None
            assert key.ahead.late is not None
            slack = dt.timedelta(days=21)
            assert key.ahead.early - slack <= came <= key.ahead.late + slack
            inside += key.ahead.early <= came <= key.ahead.late
            total += 1
    assert total >= 10
    assert inside / total >= 0.5


def test_dates_come_in_order(plan: SeasonPlan) -> None:
    by = {k.name: k.ahead for k in plan.key_dates}
    order = ["soil_fall", "POAAN_10", "POAAN_50", "POAAN_80", "DIGIS_10", "DIGIS_50"]
    medians = [by[name].median for name in order]  # type: ignore[union-attr]
    assert medians == sorted(medians)  # type: ignore[type-var]
    for when in by.values():
        assert when is not None
        assert when.early is None or when.late is None or when.early <= when.late


def test_past_window_is_the_one_ranking_saw(plan: SeasonPlan) -> None:
    """The barrier window in August: opened by the ranking's own timing, closes in October."""
    fall = purpose(plan, "pre-fall")
    assert fall.status == "open"
    assert fall.opened is not None
    assert fall.opened < AUGUST
    assert fall.closes is not None
    assert fall.closes.median is not None
    assert dt.date(2017, 9, 15) < fall.closes.median < dt.date(2017, 11, 1)
    assert len(fall.years) == 10
    assert purpose(plan, "dormant").status == "ahead"


def check_one_opening(asked: Answer) -> None:
    """The ranking names the plan's opening; of a job that is over, when past seasons opened.

    A job that has opened and is on hold opens again on a day ahead.
    """
    today = asked.ranking.today
    plans = {made.purpose: made for made in plan_for(asked).purposes}
    for outlook in asked.ranking.purposes:
        made = plans[outlook.purpose]
        this = made.opened or (made.opens and made.opens.median)
        on_hold = this is not None and this < today and not outlook.in_season
        if made.status != "over" and this is not None and not on_hold:
            assert outlook.opens == this, (outlook.purpose, today)
        elif made.status != "over" and on_hold:
            assert outlook.opens is None or outlook.opens >= today, (outlook.purpose, today)
            again = outlook.advice.id == "advice.not_now.again"
            assert made.paused == (outlook.advice.value("opening") if again else NOTHING)
        elif outlook.opens is not None and not outlook.in_season:
            assert made.normal_opens is not None
            usual = made.normal_opens.median
            assert usual is not None
            assert outlook.opens.year in (usual.year, usual.year + 1)
            apart = outlook.opens.replace(year=usual.year) - usual
            assert abs(apart) <= dt.timedelta(days=1)  # the leap day


def test_a_job_that_pauses_is_not_called_open(
    sample: Answer, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The season says of it what the ranking says: when it opens again, in the same words."""
    again = dt.date(2018, 2, 5)

    def shut(job: Purpose, needs: ActiveNeeds, *, running: RunningSeason, days: int) -> Timing:
        found = timing_of(job, needs, running=running, days=days)
        back = DateRange(again, again, again, never=0.0, unknown=0.0, count=10)
        closed = dt.date(2018, 1, 10)
        return replace(found, in_season=False, closed=closed, opens=back)

    assert not purpose(plan_for(sample), "dormant").paused
    monkeypatch.setattr(planning, "timing_of", shut)
    plan = plan_for(sample)
    dormant = purpose(plan, "dormant")
    assert dormant.status == "open"
    assert dormant.paused == say("opening.about", day=again, basis=NOTHING)
    assert render(status_words(dormant)) == "paused, opens again about 5 Feb"
    standing = [render(text) for text in plan.standing]
    assert "Paused: dormant application opens again about 5 Feb." in standing
    assert not [text for text in standing if text.startswith("Open now")]


def test_ranking_and_plan_name_one_opening(august: Answer, sample: Answer) -> None:
    check_one_opening(august)
    check_one_opening(sample)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("station", "overseeded"), [(DEEP_SOUTH, False), (MID_ATLANTIC, True), (MID_SOUTH, None)]
)
def test_ranking_and_plan_name_one_opening_at_stations(
    station: str, overseeded: bool | None
) -> None:
    """Days without a known state of the turf, and futures that differ on whether it has opened."""
    days = record(station)
    turf = {"species": "hybrid bermudagrass", "mature": True, "overseeded": overseeded}
    here = site_at(turf={key: value for key, value in turf.items() if value is not None})
    for year, month, day in ((2016, 9, 15), (2016, 12, 30), (2017, 2, 1), (2017, 3, 15)):
        today = dt.date(year, month, day)
        known = days.between(days.times[0], np.datetime64(today) + 6)
        check_one_opening(answer(here, Weather(known, None, today), futures=40))


def test_a_last_day_before_a_gap_is_not_the_last() -> None:
    holds = np.array([[0, 1, 1, 0, 0, 0], [0, 1, 1, 0, 0, 0], [0, 0, 0, 0, 0, 0]], dtype=bool)
    unknown = np.array([[0, 0, 0, 1, 1, 0], [0, 0, 0, 0, 1, 0], [0, 1, 0, 0, 0, 0]], dtype=bool)
    assert day_of(first_day, holds, unknown)[:2].tolist() == [1, 1]
    last = day_of(last_day, holds, unknown)
    assert np.isnan(last[[0, 2]]).all()
    assert last[1] == 2


def test_normals_rest_on_the_last_thirty_seasons(august: Answer) -> None:
    # WMO-No. 1203: climatological standard normals are means over 30 years
    days = np.arange(np.datetime64("1950-01-01"), np.datetime64("2017-07-01"))
    past = replace(august.past, dates=days)
    axis = replace(
        SeasonAxis.of(august.past, august.ahead, southern=False, overseeded=False), past=past
    )
    starts = [start for start, _ in axis.past_seasons(southern=False)]
    assert len(starts) == 30
    assert starts[-1] == dt.date(2016, 7, 1)


def test_workable_weeks_count_the_members(august: Answer, plan: SeasonPlan) -> None:
    week = purpose(plan, "post-early").weeks[3]
    chosen = purpose_of("post-early")
    scores = day_scores(
        august.members.daily,
        chosen,
        chosen.generic,
        site=august.site,
        frozen=august.ahead.soil_frozen,
    )[1:]
    first = int((np.datetime64(week.start) - august.ahead.dates[0]).astype(int))
    counts = workable(scores, chosen.rule)[:, first : first + 7].sum(axis=1)
    assert week.days == pytest.approx(counts.mean())
    assert week.low is not None
    assert week.high is not None
    assert week.low <= week.days <= week.high
    assert week.start.weekday() == 0
    assert week.open_days == 6  # the sample's calendar leaves Sundays out


def test_site_calendar_closes_days() -> None:
    site = sample_site()
    dates = np.arange(np.datetime64("2018-01-14"), np.datetime64("2018-01-28"))
    allowed = open_days(dates, site, RULE)
    assert [str(d) for d in dates[~allowed]] == ["2018-01-14", "2018-01-21"]
    narrow = site.model_copy(
        update={"calendar": site.calendar.model_copy(update={"spray_hours": "03:00-07:30"})}
    )
    assert not open_days(dates, narrow, RULE).any()  # sunrise there is near 7:25 in January


def test_dry_warm_day_is_workable_and_rain_is_not() -> None:
    weather = sample_weather()
    chosen = purpose_of("dormant")
    daily = weather.daily
    score = workable(day_scores(daily, chosen, chosen.generic), chosen.rule)
    high, rain = daily.get("tmax_c"), daily.get("precip_mm")
    low = daily.get("tmin_c")
    mild = (high > 16) & (high < 26) & (rain == 0) & (low > 5)
    mild[:-1] &= low[1:] > 5
    mild[-1] = False
    assert (score[mild] == 1).all()
    assert (score[rain > 3] == 0).all()
    assert (score[(high < 1.7)] != 1).all()
    assert np.isnan(score[np.isnan(high)]).all()


def test_cover_curve_agrees_with_the_barrier(august: Answer) -> None:
    """A point of the plan is the mean of `cover` over the futures, each with its own loss."""
    axis = SeasonAxis.of(august.past, august.ahead, southern=False, overseeded=False)
    weed = axis.state.emergence["POAAN"]
    sure = replace(weed, share_low=weed.share, share_high=weed.share)
    rain = np.zeros_like(weed.share)
    open_ = (axis.number >= 50) & (axis.number < 120)
    season = season_of(axis, [sure], rain, first=0, candidates=open_)
    assert season is not None
    life = replace(load_actives()["dithiopyr"].soil_dt50_d, low=None, high=None)  # type: ignore[type-var]
    plan = cover_plan(
        season,
        ResidualActive("dithiopyr", life, 12.7, 7),  # type: ignore[arg-type]
        "pre-fall",
        codes=["POAAN"],
        today=AUGUST,
        on=WATERED,
    )
    usual = ResidualActive("dithiopyr", life, 12.7, 7)  # type: ignore[arg-type]
    drawn = usual.drawn(len(season.share), WATERED)
    direct = cover(season.share, season.soil_c, season.rain_mm, drawn)
    day = int(np.flatnonzero(season.candidates)[10])
    assert plan.curve[10].caught == pytest.approx(direct.caught[:, day].mean())
    assert plan.best is not None
    assert plan.best.caught is not None
    most = max(p.caught or 0 for p in plan.curve)
    assert plan.best.caught == pytest.approx(most, abs=0.01)  # of days as good the later one
    assert plan.week_early is not None
    assert plan.week_late is not None
    assert plan.week_early <= plan.best.caught + 0.005
    assert plan.week_late <= plan.best.caught
    assert "A week earlier" in render(plan.text)
    assert "a week later" in render(plan.text)


def test_longer_half_life_catches_more_and_dry_ground_nothing(august: Answer) -> None:
    axis = SeasonAxis.of(august.past, august.ahead, southern=False, overseeded=False)
    weed = axis.state.emergence["POAAN"]
    open_ = (axis.number >= 50) & (axis.number < 120)
    rain = np.zeros_like(weed.share)
    season = season_of(axis, [weed], rain, first=0, candidates=open_)
    assert season is not None
    actives = load_actives()
    best = {}
    for name in ("pendimethalin", "dithiopyr", "prodiamine"):
        material = material_of(actives[name])
        assert material is not None
        made = cover_plan(season, material, "pre-fall", codes=["POAAN"], today=AUGUST, on=WATERED)
        assert made.best is not None
        best[name] = made.best.caught or 0
        assert made.best.low <= made.best.caught <= made.best.high  # type: ignore[operator]
        dry = cover_plan(season, material, "pre-fall", codes=["POAAN"], today=AUGUST, on=DRY)
        assert dry.curve[20].watered == 0
        assert dry.curve[20].caught == 0
    assert best["dithiopyr"] < best["pendimethalin"] < best["prodiamine"]
    assert material_of(actives["glyphosate"]) is None


def test_best_dates_lie_in_the_published_windows(plan: SeasonPlan, sample: Answer) -> None:
    """The sample's station lies at 36° N in the Carolina piedmont.

    Fall: last week of August to 20 September in Georgia's north and piedmont (Murphy; McCullough
    2009), mid September to mid October in its south. Spring: 1 to 20 March in north Georgia (Univ.
    Georgia Extension 2019), 1 March to 1 April in Delaware (Univ. Delaware 2009), so 25 February to
    5 April between the two.
    """
    fall = purpose(plan, "pre-fall").covers[0].best
    assert fall is not None
    assert dt.date(2017, 8, 24) <= fall.date <= dt.date(2017, 10, 1)
    spring = purpose(plan_for(sample), "pre-spring").covers[0].best
    assert spring is not None
    assert dt.date(2018, 2, 25) <= spring.date <= dt.date(2018, 4, 5)


def test_a_short_lived_barrier_gains_by_a_split(august: Answer) -> None:
    axis = SeasonAxis.of(august.past, august.ahead, southern=False, overseeded=False)
    weed = axis.state.emergence["POAAN"]
    open_ = (axis.number >= 50) & (axis.number < 140)
    rain = np.zeros_like(weed.share)
    season = season_of(axis, [weed], rain, first=0, candidates=open_)
    life = load_actives()["pendimethalin"].soil_dt50_d
    assert season is not None
    assert life is not None
    made = cover_plan(
        season,
        ResidualActive("short", replace(life, value=12.0, low=None, high=None), 12.7, 7),
        "pre-fall",
        codes=["POAAN"],
        today=AUGUST,
        on=WATERED,
    )
    assert made.best is not None
    assert made.split is not None
    assert made.split_caught is not None
    assert made.split_caught >= (made.best.caught or 0) + 0.03
    assert (made.split[1] - made.split[0]).days >= 14


def test_futures_that_cannot_be_told_never_make_the_answer_firmer(august: Answer) -> None:
    axis = SeasonAxis.of(august.past, august.ahead, southern=False, overseeded=False)
    weed = axis.state.emergence["POAAN"]
    open_ = (axis.number >= 50) & (axis.number < 140)
    season = season_of(axis, [weed], np.zeros_like(weed.share), first=0, candidates=open_)
    assert season is not None
    soil, share = season.soil_c.copy(), season.share.copy()
    soil[::3] = share[::3] = np.nan
    material = ResidualActive("", Value("x", 12.0, "d", "x", "choice"), 12.7, 7)
    known, partly = (
        cover_plan(it, material, "pre-fall", codes=["POAAN"], today=AUGUST, on=WATERED)
        for it in (season, season._replace(soil_c=soil, share=share))
    )
    for all_told, told in zip(known.curve, partly.curve, strict=True):
        assert told.caught is not None
        assert told.low == 0  # of a third of the futures nothing is known
        assert told.low <= told.caught <= told.high <= (all_told.high or 0) + 1e-9  # type: ignore[operator]
        assert told.up == pytest.approx(all_told.up, abs=0.03)
    assert known.split is not None
    assert partly.split is None or (partly.split_caught or 0) < (known.split_caught or 0)


def test_what_waiting_is_worth_and_risks(sample: Answer) -> None:
    """The numbers beside a decision; what to do is the ranking's word, whatever they are."""
    chosen = purpose_of("dormant")
    rng = np.random.default_rng(1)
    kwargs: dict[str, Any] = {"today": dt.date(2018, 1, 18), "closes": dt.date(2018, 3, 20)}
    nothing = Later(np.zeros(100), np.zeros(100, dtype=bool))
    now = Decided("go", "act", (), NOTHING, say("decide.now_best"))

    def decide(
        offers: FloatArray, decided: Decided | None = now, later: Later = nothing
    ) -> Decision:
        return decision(chosen, offers, later, sample.members, decided=decided, **kwargs)

    none = np.zeros((101, 10))
    good_now = none.copy()
    good_now[:, 0] = 0.9
    act = decide(good_now)
    assert act.choice == "act"
    assert act.act_on == dt.date(2018, 1, 18)
    assert (act.act_score, act.wait_score) == (pytest.approx(90), pytest.approx(0))
    assert act.none_risk == 1.0
    said = render(act.advice)
    assert said.startswith(render(now.text))
    assert "is very likely (more than 99 in 100)" in said
    better = none.copy()
    better[:, 0] = 0.4
    better[:, 6] = 0.5 + 0.4 * rng.random(101)
    wait = decide(better)
    assert wait.wait_score == pytest.approx(70, abs=5)
    assert wait.choice == "act"  # as the ranking has it
    assert wait.none_risk == 0.0
    assert "another spray day" in render(wait.advice)
    shut = Decided("do not spray", "neither", (), NOTHING, say("decide.now_only"))
    assert decide(better, shut).advice == shut.text  # no word on waiting
    unranked = decide(better, None)
    assert (unranked.choice, unranked.advice) == ("cannot tell", NOTHING)


def test_the_days_ahead_stand_beside_the_decision(sample: Answer) -> None:
    """The best as forecast and the surest, where they differ."""
    offers = np.zeros((101, 10))
    offers[0, 2], offers[1:41, 2] = 0.8, 0.8  # the 20th: 80 as forecast, holds in 40 of 100
    offers[0, 4], offers[1:91, 4] = 0.6, 0.6  # the 22nd: 60, holds in 90
    later = Later(np.full(100, 0.5), np.ones(100, dtype=bool))
    purpose_, today = purpose_of("dormant"), dt.date(2018, 1, 18)
    made = decision(purpose_, offers, later, sample.members, today=today, closes=None, decided=None)
    assert made.best_ahead is not None
    assert made.surest is not None
    assert (made.best_ahead.date, made.surest.date) == (dt.date(2018, 1, 20), dt.date(2018, 1, 22))
    assert made.best_ahead.forecast_score == pytest.approx(80)
    assert made.best_ahead.expected_score == pytest.approx(32)
    assert made.surest.odds is not None
    assert made.surest.odds.share == 0.9


def test_plan_and_ranking_name_the_same_day(sample: Answer) -> None:
    best = next(p for p in sample.ranking.purposes if p.purpose == "dormant").windows[0]
    made = purpose(plan_for(sample), "dormant").decision
    assert made is not None
    assert made.best_ahead is not None
    assert made.best_ahead.date == best.date
    assert made.best_ahead.forecast_score == pytest.approx(best.score, abs=1)
    # two odds, told apart in words: those of the hours named, and of any hours of that day
    assert made.best_ahead.odds is not None
    assert best.odds is not None
    assert best.odds.share <= made.best_ahead.odds.share
    outlook = next(p for p in sample.ranking.purposes if p.purpose == "dormant")
    these = written(Share(best.odds.share), form="chance")
    assert f"Chance the weather stays fit: {these}." in render(outlook.advice)
    assert outlook.decision is not None
    assert render(made.advice).startswith(render(outlook.decision.text))
    assert made.choice == outlook.decision.now


def test_fewer_days_asked_for_change_no_odds(sample: Answer) -> None:
    def windows(a: Answer) -> dict[dt.date, object]:
        return {w.date: w for p in a.ranking.purposes for w in p.windows}

    few, all_ = windows(answer(sample.site, sample.weather, days=4)), windows(sample)
    assert len(few) >= 1
    assert few == {date: all_[date] for date in few}


def test_the_futures_end_in_the_next_season_and_do_not_open_it(sample: Answer) -> None:
    # they run to the end of August; when the next autumn opens is told by whole past seasons
    assert sample.ahead.dates[-1] == np.datetime64("2018-08-31")
    autumn = next(p for p in sample.ranking.purposes if p.purpose == "pre-fall")
    assert "from past years" in render(autumn.advice)
    assert "not at all" not in render(autumn.advice)


@pytest.fixture(scope="module")
def september() -> Answer:
    return answer_on(dt.date(2017, 9, 6))


def test_ranking_and_plan_tell_one_cover(september: Answer, sample: Answer) -> None:
    """What a barrier catches is worked out once: to the last digit the same in both."""
    outlook = next(p for p in september.ranking.purposes if p.purpose == "pre-fall")
    plan = plan_for(september)
    assert outlook.in_season
    assert outlook.covers == purpose(plan, "pre-fall").covers
    (cover,) = outlook.covers
    assert cover.best is not None
    assert not any(p.covers for p in sample.ranking.purposes)  # its barriers are over or far ahead
    assert wording.covers(outlook) == [cover.text]  # no window, so no day to lay it on
    # laid on the days of two windows: read off the plan's own curve
    window = next(p for p in sample.ranking.purposes if p.purpose == "dormant").windows[0]
    dates = (cover.best.date, dt.date(2017, 9, 14))
    moved = [
        replace(window, start=window.start.replace(year=d.year, month=d.month, day=d.day))
        for d in dates
    ]
    shown = replace(outlook, windows=tuple(moved))
    by_date = {p.date: p.caught or 0.0 for p in cover.curve}
    (said,) = map(render, wording.covers(shown))
    best = f"{cover.best.date.day} {cover.best.date:%b}"
    day = f"{cover.best.date:%a} {best}"
    assert said.startswith(f"With a typical pre-emergent applied {day}, ")
    share = f"{100 * by_date[dates[0]]:.0f} % of the season's annual bluegrass emerges while"
    assert f"{share} the residual holds" in said
    assert f" Applied Thu 14 Sep: {100 * by_date[dates[1]]:.0f} %." in said
    assert f"Best day: about {best}, {100 * (cover.best.caught or 0):.0f} %" in said
    ranking = replace(sample.ranking, purposes=(shown,))
    for text in (
        table_text(ranking, width=100, voice=voice_of(ranking)),
        message_text(ranking, voice=voice_of(ranking)),
    ):
        assert said in " ".join(text.split())
    entry = Calendar.from_ical(
        calendar_text(
            replace(sample, ranking=ranking), voice=voice_of(replace(sample, ranking=ranking))
        )
    )
    assert said in entry.walk("VEVENT")[0]["description"]
    shown_too = replace(sample, ranking=ranking)
    page = render_page(shown_too, plans=[plan_for(shown_too)], voice=voice_of(shown_too))
    assert said in html.unescape(page).replace("\N{NO-BREAK SPACE}", " ")


def test_a_chosen_active_has_its_own_cover(september: Answer) -> None:
    materials = load_actives()
    made = answer(
        september.site, september.weather, purposes=("pre-fall",), actives="prodiamine+glyphosate",
        materials=materials,
    )  # fmt: skip
    assert [c.active for c in made.ranking.purposes[0].covers] == ["prodiamine"]
    stocked = replace_stock(september.site, ("prodiamine + diquat", "pendimethalin"))
    made = answer(stocked, september.weather, materials=materials)
    assert [m.name for m in made.barriers] == ["prodiamine", "pendimethalin"]


def replace_stock(site: Site, stock: tuple[str, ...]) -> Site:
    return site.model_copy(update={"stock": stock})


def test_what_is_left_later_ends_with_the_season() -> None:
    day_score, timing = np.full((5, 60), 0.8), np.ones((5, 60))
    timing[1, 12:] = 0.0
    timing[2, 8:] = 0.0
    timing[3, :40] = 0.0  # opens a month later: that is no loss
    day_score[4, 30:] = 0.1  # its fortnight is what counts
    left = later_value(day_score, timing, np.full((5, 10), 0.8), 10, PACKAGED)
    assert left.value == pytest.approx([0.8, 0.8, 0.0, 0.8, 0.8])
    assert left.comes.tolist() == [True, True, False, True, True]


def test_a_date_ahead_on_which_all_futures_agree_is_still_about(sample: Answer) -> None:
    day = dt.date(2018, 2, 10)
    dormant = replace(
        purpose(plan_for(sample), "dormant"),
        closed=None,
        closes=DateRange(day, day, day, 0, 0, 100),
    )
    assert "closes about 10 Feb" in render(from_to(dormant, dt.date(2018, 1, 18)))


@pytest.mark.parametrize(
    ("turf", "said"),
    [
        ("yes", "Open now: dormant application."),
        ("cannot tell", "In season, but nobody can tell yet whether the turf takes it: dormant"),
        ("no", "In season, but the turf does not take it now: dormant application."),
    ],
)
def test_what_the_turf_does_not_surely_take_is_not_called_open(
    sample: Answer, turf: Permission, said: str
) -> None:
    plan = plan_for(sample)
    span = TurfSpan(plan.today, plan.today, turf, "new-turf", "", None, NOTHING, NOTHING, "", None)
    dormant = replace(purpose(plan, "dormant"), turf=(span,))
    axis: Any = SimpleNamespace(
        gone=0, dates=np.array([plan.today], "datetime64[D]"), state=SimpleNamespace(emergence={})
    )
    lines = [render(line) for line in season_today(axis, (), (dormant,))]
    assert any(line.startswith(said) for line in lines)
    assert any(line.startswith("Open now") for line in lines) is (turf == "yes")


def test_a_purpose_most_futures_have_done_with_is_over() -> None:
    """After a false spring frost does not re-open it: only a look into the canopy could."""
    made = plan_for(answer_on(dt.date(2016, 3, 10)))
    dormant = purpose(made, "dormant")
    assert dormant.status == "over"
    assert dormant.closed is not None
    assert dormant.closed < made.today
    assert dormant.reopens == 0
    assert dormant.decision is None
    assert "a second opening" not in plan_text(made, voice_of(made))
    coming = [line for line in made.standing if render(line).startswith("Next")]
    assert coming
    assert all(_after(render(line), made) for line in coming)


def _after(line: str, plan: SeasonPlan) -> bool:
    """Whether the date a sentence names as coming lies ahead."""
    when = line.split("about ")[1].split(" (", maxsplit=1)[0].rstrip(".")
    day = dt.datetime.strptime(f"{when} {plan.today.year}", "%d %b %Y").replace(tzinfo=dt.UTC)
    return day.date() >= plan.today


def test_what_opened_on_days_the_futures_differ_on_has_opened(sample: Answer) -> None:
    axis = SeasonAxis.of(sample.past, sample.ahead, southern=False, overseeded=False)
    gone = axis.gone
    first = np.where(np.arange(100) < 60, gone - 40, gone - 37)
    found = made_opening(axis, first, np.full(100, gone + 3))
    assert found.opened == axis.dates[gone - 40].astype(object)
    assert found.closed is None
    assert made_opening(axis, first, first, unknown=[99]).opened is None


def made_opening(
    axis: SeasonAxis, first: np.ndarray, last: np.ndarray, unknown: Sequence[int] = ()
) -> Opening:
    """An opening whose futures are open from a day to a day, or cannot be told."""
    day = np.arange(len(axis.dates))
    score = ((day >= first[:, None]) & (day <= last[:, None])).astype(float)
    score[list(unknown)] = np.nan
    chosen = purpose_of("dormant")
    return Opening(sample_site(), axis, chosen, chosen.generic, score)


def test_last_days_that_are_past_have_come() -> None:
    made = plan_for(answer_on(dt.date(2016, 6, 10)))
    by = {key.name: key for key in made.key_dates}
    for name in ("last_safe", "green_up", "soil_spring"):
        assert by[name].ahead is None
        assert by[name].passed is not None
        assert by[name].passed < made.today
    assert not any("Next" in render(line) for line in made.standing)


def test_fewest_workable_days_are_counted_over_members() -> None:
    dates = np.arange(np.datetime64("2017-10-01"), np.datetime64("2017-11-10"))
    scores = np.ones((10, 40))
    scores[:, 20:34] = 0.0
    scores[:5, 20:26] = 1.0
    open_ = np.ones(40, dtype=bool)
    allowed = open_.copy()
    allowed[22] = False
    lean = fewest_workable(scores, open_, dates, allowed, RULE)
    assert lean is not None
    assert lean.start == dt.date(2017, 10, 21)
    assert (lean.days, lean.low, lean.high, lean.open_days) == (3.0, 0.0, 6.0, 13)
    assert fewest_workable(scores, np.arange(40) < 13, dates, allowed, RULE) is None
    assert fewest_workable(np.full((10, 40), np.nan), open_, dates, allowed, RULE) is None


def test_a_week_that_is_past_is_no_choice(august: Answer) -> None:
    """A best day within the week is set beside today, not beside a day gone by."""
    axis = SeasonAxis.of(august.past, august.ahead, southern=False, overseeded=False)
    weed = axis.state.emergence["POAAN"]
    rain = np.zeros_like(weed.share)
    rain[:, axis.gone + 5] = 30.0  # waters in what is laid on the days before it
    season = season_of(axis, [weed], rain, first=0, candidates=(axis.number >= 45))
    assert season is not None
    made = cover_plan(
        season,
        ResidualActive("", Value("x", 60.0, "d", "x", "choice"), 12.7, 3),
        "pre-fall",
        codes=["POAAN"],
        today=AUGUST,
        on=DRY,
    )
    assert made.best is not None
    assert AUGUST < made.best.date < AUGUST + dt.timedelta(days=7)
    assert made.week_early is None
    today = next(p for p in made.curve if p.date == AUGUST).caught or 0.0
    assert f"Today {100 * today:.0f} %, a week later 0 %" in render(made.text)
    assert 0.8 < today < (made.best.caught or 0)  # what waits for rain is lost little by little


@pytest.mark.parametrize(("wet", "dry"), [(0.0, True), (0.1, True), (0.5, False), (1.0, False)])
def test_where_rain_seldom_waters_in_it_is_not_the_week_that_counts(
    august: Answer, wet: float, *, dry: bool
) -> None:
    axis = SeasonAxis.of(august.past, august.ahead, southern=False, overseeded=False)
    weed = axis.state.emergence["POAAN"]
    rain = np.zeros_like(weed.share)
    rain[: round(wet * len(rain))] = 5.0  # in so many of the futures it rains every day
    season = season_of(axis, [weed], rain, first=0, candidates=(axis.number >= 45))
    assert season is not None
    usual = ResidualActive("", Value("x", 60.0, "d", "x", "choice"), 12.7, 7)
    texts = {
        irrigated: render(
            cover_plan(
                season,
                usual,
                "pre-fall",
                codes=["POAAN"],
                today=AUGUST,
                on=Laying(load("barrier"), irrigated=irrigated),
            ).text
        )
        for irrigated in (False, True)
    }
    cause = f"The share is low because rain in time is {written(Share(wet), form='chance')}."
    assert (cause in texts[False]) is dry
    assert ("The exact week makes little difference" in texts[False]) <= (not dry)
    assert "because rain in time" not in texts[True]


def test_without_wind_it_says_so(plan: SeasonPlan) -> None:
    assert any("are counted without it" in render(line) for line in plan.assumptions)
    young = purpose(plan_for(answer_on(dt.date(2016, 10, 20))), "post-early")
    assert young.decision is not None
    assert young.decision.choice == "cannot tell"


def test_schema_is_the_one_shipped_and_holds(plan: SeasonPlan, sample: Answer) -> None:
    assert plan_schema() == shipped_schema("season")
    for one in (plan, plan_for(sample)):
        jsonschema.validate(json.loads(plan_json(one, voice=voice_of(one))), plan_schema())


def test_text_fits_and_follows_the_units(plan: SeasonPlan) -> None:
    metric = plan_text(replace(plan, units="metric"), voice_of(replace(plan, units="metric")))
    us = plan_text(replace(plan, units="us"), voice_of(replace(plan, units="us")))
    assert "21.1 °C" in metric
    assert "70 °F" in us
    assert "°C" not in us
    for width in (80, 100):
        lines = plan_text(plan, voice_of(plan), width).splitlines()
        assert max(map(len, lines)) <= width
        assert all(line == line.rstrip() for line in lines)


def test_sensitive_areas_are_not_judged_on_whole_days_and_that_is_said(sample: Answer) -> None:
    area = Sensitive(name="school", bearing_from_deg=20.0, bearing_to_deg=60.0)
    site = sample.site.model_copy(update={"sensitive": (area,)})
    guarded = replace(sample, running=replace(sample.running, site=site))
    said = "Wind towards the sensitive areas of the site file is not checked on whole days"
    assert said in " ".join(map(render, plan_for(guarded).assumptions))
    assert said not in " ".join(map(render, plan_for(sample).assumptions))


def test_a_purpose_that_mostly_stays_shut_says_so_in_words(plan: SeasonPlan) -> None:
    never = DateRange(None, None, None, 0.9, 0.0, 100)
    shut = replace(
        purpose(plan, "dormant"), status="ahead", opened=None, opens=never, closes=never,
        closed=None, normal_opens=never, normal_closes=never,
    )  # fmt: skip
    text = plan_text(replace(plan, purposes=(shut,)), voice_of(replace(plan, purposes=(shut,))))
    assert f"{render(shut.title)}: not expected" in text
    assert "not expected to open (likely (9 in 10) to stay closed)" in text
    assert "normal not to open (90 % of past seasons)" in text
    assert "If missed" not in text
    assert "not in 90" not in text


def test_page_stands_alone(tmp_path: Path) -> None:
    page = tmp_path / "plan.html"
    result = CliRunner().invoke(cli, ["season", "--sample", "--page", str(page)])
    assert result.exit_code == 0, result.output
    text = page.read_text("utf-8")
    for part in (
        "Season plan 2017/18",
        "Key dates",
        "If missed",
        "Sample.",
        "Your label is the law",
    ):
        assert part in text
    assert "<script" not in text
    assert not re.findall(r'(?:src|href)="(?!#)', text)


def test_command() -> None:
    result = CliRunner().invoke(cli, ["season", "--sample"])
    assert result.exit_code == 0, result.output
    for part in ("Key dates", "Spray days per week", "If missed", "Spring pre-emergent"):
        assert part in result.output
    data = json.loads(CliRunner().invoke(cli, ["season", "--sample", "--format", "json"]).output)
    assert data["season"] == "2017/18"
    dormant = next(p for p in data["purposes"] if p["purpose"] == "dormant")
    assert dormant["decision"]["choice"] in ("act", "wait")
    assert dormant["decision"]["act_odds"]["members"] == 100


def test_the_southern_half_year_is_the_northern_one_turned() -> None:
    """The record moved by 184 days to 36° S: the same dates, half a year on, to three days."""
    north = answer_on(dt.date(2016, 9, 10))
    days = np.timedelta64(184, "D")
    daily = north.weather.daily
    place = replace(daily.place, latitude_deg=-36.0)
    turned = replace(daily, place=place, times=daily.times + days)
    site = sample_site().model_copy(update={"latitude": -36.0})
    today = north.weather.today + dt.timedelta(days=184)
    south = answer(site, Weather(turned, None, today))
    plans = plan_for(north), plan_for(south)
    assert plans[1].season == "2017"
    assert plans[0].past_seasons == plans[1].past_seasons
    for one, other in zip(*(p.key_dates for p in plans), strict=True):
        dates = [k.passed or (k.ahead and k.ahead.median) for k in (one, other)]
        assert dates[0] is not None
        assert dates[1] is not None
        assert abs((dates[1] - dates[0]).days - 184) <= 3, one.name
    for one, other in zip(*(p.purposes for p in plans), strict=True):
        assert one.status == other.status


def test_short_record_cannot_tell() -> None:
    weather = sample_weather()
    day = np.datetime64(weather.today)
    short = Weather(
        weather.daily.between(day - np.timedelta64(200, "D"), day + np.timedelta64(9, "D")),
        weather.hourly,
        weather.today,
    )
    assert members(short, until=dt.date(2018, 6, 30)).past_years == 0
    made = plan_for(answer(sample_site(), short))
    assert made.past_seasons == 0
    spring = purpose(made, "pre-spring")
    assert spring.status in ("cannot tell", "ahead")
    assert all(week.days is None for week in spring.weeks[3:])
    late = next(k for k in made.key_dates if k.name == "DIGIS_50")
    assert late.ahead is None


def test_what_is_said_of_a_curve_that_does_not_hold_here_stands_in_plan_and_ranking(
    sample: Answer,
) -> None:
    note = about(say("weed.POAAN"), say("season_note.too_early"))
    past = replace(sample.past, notes=(note,))
    running = replace(sample.running, past=past)
    plan = season_plan(running, sample.weather)
    said = render(plan.assumptions[0])
    assert said.startswith("Annual bluegrass: summers here are cooler")
    assert said in " ".join(plan_text(plan, voice_of(plan)).split())
    ranking = rank(running)
    assert said in map(render, ranking.weather_notes)


def test_ranking_and_plan_count_the_days_to_green_up_alike(sample: Answer) -> None:
    left = np.atleast_2d(sample.ahead.turf.days_to_greenup)
    assert left[0, 0] == np.sort(left[1:, 0])[(len(left) - 2) // 2]  # of two middle ones the lower
    (green_up,) = [k for k in plan_for(sample).key_dates if k.name == "green_up"]
    assert green_up.ahead is not None
    assert green_up.ahead.median is not None
    days = (green_up.ahead.median - sample.weather.today).days
    why = next(o.why for o in sample.ranking.purposes if o.purpose == "dormant")
    # the last dormant day and the first green one may lie a day apart, or a false start between
    assert abs(left[0, 0] - days) <= 1
    assert f"about {left[0, 0]:.0f} days left before green-up" in render(why)


def test_the_futures_that_tell_of_no_green_up_count_as_late_ones(sample: Answer) -> None:
    nan = float("nan")
    days = np.array([[9.0, 9.0], [3.0, nan], [5.0, nan], [nan, 8.0]])
    turf = replace(sample.ahead.turf, days_to_greenup=days)
    middle = greenup_by_futures(replace(sample.ahead, turf=turf)).turf.days_to_greenup
    np.testing.assert_array_equal(middle[0], [5.0, nan])
    np.testing.assert_array_equal(middle[1:], days[1:])


def test_what_nearly_all_futures_have_open_has_opened_and_the_doubt_stays_in_the_dates(
    sample: Answer,
) -> None:
    axis = SeasonAxis.of(sample.past, sample.ahead, southern=False, overseeded=False)
    gone, coming = axis.gone - 40, axis.gone + 5
    for share, opened in ((95, True), (80, False)):
        first = np.where(np.arange(100) < share, gone, coming)
        found = made_opening(axis, first, first)
        assert (found.opened is not None) == opened
        assert found.closed is None  # the end takes them all


def test_a_better_day_a_week_off_is_named_with_what_rules_it_out(august: Answer) -> None:
    """Emergence soon, and a window that opens late and closes early: both sides may be better."""
    axis = SeasonAxis.of(august.past, august.ahead, southern=False, overseeded=False)
    weed = axis.state.emergence["POAAN"]
    shut = [say("criterion.season_months.label")] * len(axis.dates)
    best = {}
    for days in ((axis.number >= 45), (axis.number >= 80) & (axis.number < 120)):
        season = season_of(
            axis, [weed], np.zeros_like(weed.share), first=0, candidates=days, shut=shut
        )
        assert season is not None
        material = material_of(load_actives()["indaziflam"])
        assert material is not None
        best[bool(days[50])] = cover_plan(
            season, material, "pre-fall", codes=["POAAN"], today=AUGUST, on=WATERED
        )
    free, late = best[True], best[False]
    assert not any(phrase.id.startswith("cover_better.shut") for phrase in free.better)
    assert late.best is not None
    assert late.week_early is not None
    assert late.week_early > (late.best.caught or 0)
    assert [phrase.id for phrase in late.better] == ["cover_better.shut_earlier"]
    assert "but is ruled out by time of year" in render(late.text)
    # what published trials of this active and weed let expect stands beside it (Brosnan et al.
    # 2012: 88 to 100 % in time)
    (trial,) = late.trials
    assert trial.weed == "POAAN"
    assert 0.88 < trial.low < trial.middle < trial.high
    assert "Brosnan" in trial.source
    assert f", {trial.trials} published trials)." in render(late.text)
    assert not Met({"LAMAM": 0.0}, "pre", None, load("efficacy")).by(["indaziflam"])


def test_a_fall_that_was_over_from_the_start_is_no_date() -> None:
    """Where soil is colder all summer, the first day looked at is a day of the calendar only."""
    number = np.arange(10.0)
    event = Event("soil", NOTHING, "", lambda state: state.soil_5cm_c, from_day=3.0, falls=True)
    cold, falling = np.ones(10), (number >= 6).astype(np.float64)
    assert np.isinf(event.day(cold, number))
    assert event.day(falling, number) == 6
    assert replace(event, falls=False).day(cold, number) == 3

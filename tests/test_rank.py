"""Ranking as a whole: scenarios a superintendent would check by eye, and laws that always hold."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from spoken import render, voice_of
from windows_fixtures import FAIR, TODAY, local_index, past, site, state, weather

from windowcast.core.record import Members
from windowcast.core.site import Site
from windowcast.core.values import PACKAGED, load
from windowcast.materials.actives import load_actives
from windowcast.materials.needs import needs_of
from windowcast.report.tables import json_text, rank_schema
from windowcast.season.model import SiteState, TurfPhase
from windowcast.windows.model import CAUTIONS, PURPOSES, PurposeName, PurposeOutlook, Ranking
from windowcast.windows.purposes import purpose_of
from windowcast.windows.rank import rank
from windowcast.windows.running_season import RunningSeason
from windowcast.windows.score import Rule

RULE = Rule.of(load("criteria"))


def ranked(here: Site | None = None, members: Members | None = None, **asked: object) -> Ranking:
    here = here or site()
    members = members or weather(here)
    ahead = asked.pop("ahead", state())
    before = asked.pop("before", past())
    asked.setdefault("days", 6)
    tables = asked.pop("tables", PACKAGED)
    running = RunningSeason.of(here, before, ahead, members, tables=tables)  # type: ignore[arg-type]
    return rank(running, **asked)  # type: ignore[arg-type]


def dormant(*args: object, **asked: object) -> PurposeOutlook:
    ranking = ranked(*args, purposes=["dormant"], **asked)  # type: ignore[arg-type]
    return ranking.purposes[0]


def hours(here: Site, base: float, changes: dict[tuple[int, int], float]) -> np.ndarray:
    series = np.full(len(weather(here).hourly.times), base)
    for (day, hour), value in changes.items():
        series[local_index(here, day, hour)] = value
    return series


def test_fair_weather_gives_a_window_on_every_day_in_order() -> None:
    outlook = dormant()
    assert outlook.in_season
    assert len(outlook.windows) == 6
    best = outlook.windows[0]
    assert best.verdict == "fit"
    assert best.score is not None
    assert 60 <= best.score <= 100
    assert best.start.tzinfo is not None
    assert best.start.date() == TODAY  # all days alike: the earliest first
    assert [w.date for w in outlook.windows] == sorted(w.date for w in outlook.windows)
    assert outlook.closest is None
    assert f"{best.start:%H:%M} to {best.end:%H:%M}" in render(outlook.advice)
    assert "Next best" in render(outlook.advice)
    keep_dry = best.follow_up[0]
    assert keep_dry.by == best.end + dt.timedelta(hours=6)


def test_the_window_with_more_warmth_comes_first() -> None:
    here = site()
    warm = hours(here, 10.0, {(3, h): 16.0 for h in range(9, 18)})
    outlook = dormant(here, weather(here, temp_c=warm, dewpoint_c=warm - 6))
    assert outlook.windows[0].date == TODAY + dt.timedelta(days=3)
    later = outlook.windows[1]
    assert later.limiting is not None
    assert later.limiting.criterion == "air_temperature"
    assert "10 °C" in render(later.limiting.reason)


def test_a_gale_says_so_what_came_closest_and_what_would_have_to_change() -> None:
    here = site()
    wind = hours(here, 12.0, {(2, h): 5.5 for h in range(11, 15)})
    outlook = dormant(here, weather(here, wind_m_s=wind, gust_m_s=wind * 1.2))
    assert outlook.windows == ()
    assert outlook.closest is not None
    assert outlook.closest.verdict == "unfit"
    assert outlook.closest.score == 0
    assert outlook.closest.date == TODAY + dt.timedelta(days=2)
    assert outlook.closest.limiting is not None
    assert outlook.closest.limiting.criterion == "wind"
    assert render(outlook.advice).startswith(
        "Wait: no spray window in the next 6 days. Closest is Wed 18 Jan"
    )
    assert "needed: wind of at most" in render(outlook.would_change).lower()


def test_a_wind_towards_a_sensitive_area_names_it() -> None:
    """A wind from the west blows towards the east (WMO-No. 8: named by where it comes from)."""
    areas = [
        {"name": "school", "bearing_from_deg": 60.0, "bearing_to_deg": 100.0},
        {"name": "Long Pond", "bearing_from_deg": 80.0, "bearing_to_deg": 120.0},
        {"name": "gardens", "bearing_from_deg": 240.0, "bearing_to_deg": 300.0},
    ]
    here = site(sensitive=areas)
    for wind_from, said in ((250.0, "the school"), (290.0, "Long Pond"), (80.0, "the gardens"),
                            (270.0, "the school and Long Pond")):  # fmt: skip
        outlook = dormant(here, weather(here, wind_from_deg=wind_from))
        assert outlook.windows == ()
        assert outlook.closest is not None
        assert outlook.closest.limiting is not None
        reason = f"the wind blows towards, or nearly towards, {said}"
        assert render(outlook.closest.limiting.reason) == reason
        assert render(outlook.advice).endswith(f"{reason}.")
    unknown = dormant(here, weather(here)).closest
    assert unknown is not None
    judged = {j.criterion: render(j.reason) for j in unknown.judged}
    assert judged["sensitive_areas"] == "unknown: wind direction"


def test_rain_two_hours_after_moves_the_window() -> None:
    here = site()
    wet = hours(here, 0.0, {(d, h): 3.0 for d in range(8) for h in (13, 14)})
    outlook = dormant(here, weather(here, precip_mm=wet))
    for window in outlook.windows:
        assert window.end.hour + 6 <= 13 or window.start.hour >= 17  # two hours to dry


def test_an_evening_inversion_ends_the_window_before_sunset() -> None:
    here = site(calendar={"spray_hours": "06:00-22:00"})
    calm = weather(here, wind_m_s=1.0, gust_m_s=2.0, cloud_fraction=0.0)
    for window in dormant(here, calm).windows:
        assert window.end.hour <= 17  # sun sets at 17:49 there and then


@pytest.mark.parametrize("today", [dt.date(2023, 3, 25), dt.date(2023, 10, 28)])
def test_windows_on_clock_change_days_lie_in_site_hours(today: dt.date) -> None:
    here = site(calendar={"spray_hours": "10:00-14:00"})
    members = weather(here, today=today)
    ahead = state(today, phase=TurfPhase.GROWING, share=0.6, young=0.8)
    running = RunningSeason.of(here, past(today), ahead, members)
    ranking = rank(running, purposes=["post-early"], days=3)
    outlook = ranking.purposes[0]
    assert len(outlook.windows) == 3
    for window in outlook.windows:
        assert window.start.timetz().replace(tzinfo=None) == dt.time(10)
        assert window.end.timetz().replace(tzinfo=None) == dt.time(14)
    assert outlook.strip is not None
    assert len(outlook.strip.times) == 24 * 3 + (-1 if today.month == 3 else 1)
    assert outlook.strip.times[0].hour == 0


# --- unknown ------------------------------------------------------------------------------------


@pytest.mark.parametrize("missing", ["wind_m_s", "dewpoint_c", "precip_mm", "temp_c"])
@pytest.mark.parametrize("purpose", PURPOSES)
def test_what_is_missing_makes_no_window(missing: str, purpose: PurposeName) -> None:
    here = site()
    asked = {"purposes": [purpose], **season_for(purpose)}
    assert ranked(here, **asked).purposes[0].windows  # type: ignore[arg-type]
    outlook = ranked(here, weather(here, without=(missing,)), **asked).purposes[0]  # type: ignore[arg-type]
    assert outlook.windows == ()
    assert outlook.closest is not None
    assert outlook.closest.verdict == "cannot tell"
    assert outlook.closest.score is None
    assert outlook.closest.odds is None
    assert render(outlook.advice).startswith("Cannot tell")
    assert render(outlook.would_change)
    assert outlook.cannot_tell
    assert outlook.closest.follow_up == ()  # nothing follows what is not done
    blind = weather(here, without=(missing,), forecast_days=0)
    outlook = ranked(here, blind, **asked).purposes[0]  # type: ignore[arg-type]
    assert outlook.cannot_tell
    assert outlook.closest is None  # no hours are named where no forecast reaches
    assert render(outlook.would_change)


def season_for(purpose: PurposeName) -> dict[str, object]:
    """State of the days ahead in which a purpose is open, on the date of the tests or near it."""
    states = {
        "pre-fall": {"soil_c": 22.0, "share": 0.0, "phase": TurfPhase.GROWING},
        "post-early": {"share": 0.6, "young": 0.8, "phase": TurfPhase.GROWING},
        "dormant": {},
        "pre-spring": {"soil_c": 12.0, "spring_share": 0.0},
    }
    return {"ahead": state(**states[purpose]), "before": past(**states[purpose])}


@pytest.fixture(autouse=True)
def _every_purpose_may_be_open_in_january(monkeypatch: pytest.MonkeyPatch) -> None:
    """The fixtures stand on one date: let the calendar of purposes pass, except where tested."""
    from windowcast.windows import days

    monkeypatch.setitem(
        days.DAY_CRITERIA,
        "season_months",
        lambda ctx, needs: np.full((1, len(ctx.dates)), 130.0 if ctx.weeds == "fall" else 210.0),
    )


@given(
    wind=st.one_of(st.floats(0, 8), st.just(math.nan)),
    dewpoint=st.one_of(st.floats(-10, 14), st.just(math.nan)),
    rain=st.one_of(st.just(0.0), st.floats(0, 3), st.just(math.nan)),
    temp=st.floats(-5, 35),
    safe=st.sampled_from([0.0, 1.0, math.nan]),
)
@settings(deadline=None, max_examples=40)
def test_no_window_with_an_unknown_is_ever_fit(
    wind: float, dewpoint: float, rain: float, temp: float, safe: float
) -> None:
    here = site()
    members = weather(
        here, wind_m_s=wind, gust_m_s=wind, dewpoint_c=dewpoint, precip_mm=rain, temp_c=temp, days=3
    )
    outlook = dormant(here, members, ahead=state(safe=safe), days=1)
    for window in (*outlook.windows, *filter(None, [outlook.closest])):
        unknown = any(j.verdict == "cannot tell" for j in window.judged)
        if unknown:
            assert window.verdict in ("cannot tell", "unfit")
        if window.verdict == "fit":
            assert window.score is not None
            assert window.score >= 100 * RULE.fit
            assert all(j.score is not None and j.score > 0 for j in window.judged)


def test_overseeded_turf_or_unsaid_is_no_go_ahead() -> None:
    unsaid = dormant(site(turf={"overseeded": None}))
    assert unsaid.windows == ()
    assert "overseeded" in render(unsaid.advice)
    sown = dormant(site(turf={"overseeded": True}))
    assert render(sown.advice).startswith("Do not spray: ")
    assert dormant(ahead=state(safe=math.nan)).windows == ()
    assert not dormant(ahead=state(safe=0.0)).in_season


# --- odds -----------------------------------------------------------------------------------------


def test_odds_of_certain_weather_are_one_or_nothing() -> None:
    here = site()
    sure = dormant(here, weather(here, futures=40)).windows[0].odds
    assert sure is not None
    assert (sure.share, sure.members, sure.basis) == (1.0, 40, "forecast")
    assert sure.high == 1.0
    assert sure.low > 0.9
    assert dormant(here, weather(here)).windows[0].odds is None  # no futures, no odds


def test_odds_count_the_futures_in_which_the_same_hours_hold() -> None:
    here = site()
    wind = np.full((41, len(weather(here).hourly.times)), 2.5)
    wind[1:11] = 9.0
    outlook = dormant(here, weather(here, futures=40, wind_m_s=wind))
    odds = outlook.windows[0].odds
    assert odds is not None
    assert odds.share == pytest.approx(0.75)
    assert odds.low < 0.75 < odds.high
    assert "Chance the weather stays fit: likely (8 in 10)." in render(outlook.advice)


def test_odds_rank_a_sure_window_before_a_slightly_better_gamble() -> None:
    here = site()
    temp = hours(here, 12.5, {(4, h): 16.0 for h in range(9, 18)})
    wind = np.full((41, len(temp)), 2.5)
    late = local_index(here, 4, 0)
    wind[1:31, late : late + 24] = 9.0
    members = weather(here, futures=40, temp_c=temp, dewpoint_c=temp - 6, wind_m_s=wind)
    outlook = dormant(here, members)
    gamble = next(w for w in outlook.windows if w.date == TODAY + dt.timedelta(days=4))
    assert gamble.score is not None
    assert outlook.windows[0].score is not None
    assert gamble.score > outlook.windows[0].score
    assert outlook.windows[0].date == TODAY


def test_a_window_more_likely_to_fail_is_not_rated_fit() -> None:
    here = site()
    wind = np.full((41, len(weather(here).hourly.times)), 2.5)
    wind[1:25] = 9.0
    best = dormant(here, weather(here, futures=40, wind_m_s=wind))
    assert best.windows[0].verdict == "marginal"
    assert best.windows[0].score is not None
    assert best.windows[0].score >= 100 * RULE.fit
    assert "more likely to fail than to work" in render(best.advice)
    assert best.windows[0].limiting is not None
    assert best.windows[0].limiting.criterion == "wind"
    assert "bad in 24 of 40 weather scenarios" in render(best.windows[0].limiting.reason)


def test_beyond_the_forecast_odds_rest_on_past_years() -> None:
    here = site()
    windows = dormant(here, weather(here, futures=40, forecast_days=3)).windows
    basis = {w.date.day - TODAY.day: w.odds.basis for w in windows if w.odds}
    assert basis == {
        0: "forecast",
        1: "forecast",
        2: "forecast and past years",
        3: "past years",
        4: "past years",
        5: "past years",
    }


# --- order and form -------------------------------------------------------------------------------


def test_the_same_question_gets_the_same_answer() -> None:
    here = site()
    rng = np.random.default_rng(7)
    wind = rng.uniform(0, 5, (31, len(weather(here).hourly.times)))
    members = weather(here, futures=30, wind_m_s=wind)
    first = json_text(ranked(here, members), voice=voice_of(ranked(here, members)))
    assert json_text(ranked(here, members), voice=voice_of(ranked(here, members))) == first


def test_the_order_of_futures_does_not_matter() -> None:
    here = site()
    rng = np.random.default_rng(8)
    wind = rng.uniform(0, 5, (31, len(weather(here).hourly.times)))
    turned = np.concatenate([wind[:1], wind[:0:-1]])
    one = ranked(here, weather(here, futures=30, wind_m_s=wind))
    other = ranked(here, weather(here, futures=30, wind_m_s=turned))
    assert json_text(one, voice=voice_of(one)) == json_text(other, voice=voice_of(other))


def test_the_answer_is_valid_under_its_schema() -> None:
    import jsonschema

    here = site(stock=["glyphosate", "prodiamine"])
    actives = load_actives()
    stock = [needs_of(actives.mixture(name), str(here.turf.species)) for name in here.stock]
    ranking = ranked(here, weather(here, futures=25), stock=stock)
    jsonschema.validate(json.loads(json_text(ranking, voice=voice_of(ranking))), rank_schema())
    assert ranking.cautions == CAUTIONS
    assert len(" ".join(map(render, CAUTIONS))) < 700  # short enough to be read


def test_explain_cites_every_value_behind_the_answer() -> None:
    ranking = ranked(purposes=["dormant"])
    lines = [render(line) for line in ranking.explain]
    text = "\n".join(lines)
    for name in ("criteria.wind.at", "purposes.dormant.grade.share_up.at", "criteria.rule.fit"):
        assert name in text
    assert "wind ← forecast wind at 10 m" in lines
    assert "purposes.dormant.needs.rain_free_h = 6" in text
    assert all(judged.source for judged in ranking.purposes[0].windows[0].judged)


def test_the_strip_tells_hour_by_hour() -> None:
    strip = dormant().strip
    assert strip is not None
    assert len(strip.times) == len(strip.scores) == len(strip.limits) == 6 * 24
    night = strip.times.index(dt.datetime.combine(TODAY, dt.time(3), site().zone))
    assert (strip.scores[night], strip.limits[night]) == (0.0, "daylight")


def test_hours_gone_by_are_not_offered() -> None:
    now = dt.datetime.combine(TODAY, dt.time(14, 30), site().zone)
    first = dormant(now=now).windows
    assert all(w.start >= now for w in first)


def test_a_day_without_site_hours_has_no_window() -> None:
    here = site(calendar={"blackout": [{"first": TODAY, "reason": "cup final"}]})
    assert TODAY not in {w.date for w in dormant(here).windows}
    closed = site(calendar={"blackout": [{"first": TODAY, "last": TODAY + dt.timedelta(days=30)}]})
    outlook = dormant(closed)
    assert (outlook.windows, outlook.closest) == ((), None)
    assert "the site file allows no daylight hours long enough" in render(outlook.advice)


# --- season ---------------------------------------------------------------------------------------


def with_leaf(days: SiteState, green: np.ndarray, greenup: int | None = None) -> SiteState:
    """Turf with a chance of live leaf, half of it green from day `greenup` on."""
    half = (np.arange(len(days.dates)) >= (greenup or 9999)).astype(float)
    turf = dataclasses.replace(days.turf, green_probability=green, half_green_probability=half)
    return dataclasses.replace(days, turf=turf)


def test_out_of_season_says_why_and_when_it_opens() -> None:
    later = state(days=120, phase=TurfPhase.HARDENING, safe=0.0, to_greenup=90.0)
    green = (np.arange(120) < 20 + np.arange(41)[:, None] % 11).astype(float)
    here = site()
    ahead, before = with_leaf(later, green, 90), with_leaf(past(safe=0.0), np.ones(60))
    outlook = dormant(here, weather(here, futures=40), ahead=ahead, before=before)
    assert not outlook.in_season
    assert outlook.windows == ()
    # in 3 of 40 futures leaf stays for 30 days, in no more than 1 in 20 for longer
    assert outlook.opens == TODAY + dt.timedelta(days=30)
    assert "fully dormant" in render(outlook.why)
    assert "about 15 Feb" in render(outlook.advice)


def test_in_season_says_since_when_and_until_when() -> None:
    ahead = state(days=90)
    left = np.maximum(60.0 - np.arange(90), 0.0)
    ahead = dataclasses.replace(ahead, turf=dataclasses.replace(ahead.turf, days_to_greenup=left))
    # the past alone does not know when green-up comes: with the days ahead it does
    before = with_leaf(past(to_greenup=math.nan), (np.arange(60) < 50).astype(float))
    leaf = (np.arange(90) >= 75).astype(float)
    outlook = dormant(ahead=with_leaf(ahead, leaf, 60), before=before)
    assert outlook.opens == TODAY - dt.timedelta(days=10)
    assert outlook.closes is not None
    assert outlook.closes - TODAY == dt.timedelta(days=43)  # 17 days left: score 0.43
    assert "60 days left before green-up" in render(outlook.why)


def test_a_purpose_whose_weeds_are_not_watched_is_not_judged() -> None:
    ahead = state()
    emergence = {code: e for code, e in ahead.emergence.items() if e.season == "spring"}
    outlook = dormant(ahead=dataclasses.replace(ahead, emergence=emergence))
    assert not outlook.in_season
    assert "no winter annual" in render(outlook.why)


# --- actives --------------------------------------------------------------------------------------


def test_a_mixture_is_scored_by_its_strictest_member() -> None:
    here = site()
    actives = load_actives()
    cool = weather(here, temp_c=9.0, dewpoint_c=3.0)

    def best(text: str) -> float:
        needs = needs_of(actives.mixture(text), str(here.turf.species))
        outlook = dormant(here, cool, mixture=needs)
        window = outlook.windows[0] if outlook.windows else outlook.closest
        assert window is not None
        assert window.actives == needs.names
        by = {j.criterion: j.score for j in window.judged}
        return float(by["air_temperature"] or 0.0)

    assert best("glyphosate+clethodim") == min(best("glyphosate"), best("clethodim"))


def test_an_active_that_does_not_serve_a_purpose_is_said_to() -> None:
    here = site()
    needs = needs_of(load_actives().mixture("prodiamine"), str(here.turf.species))
    outlook = dormant(here, mixture=needs)
    assert outlook.windows == ()
    assert "prodiamine works only before weeds emerge" in render(outlook.advice)


def test_stock_is_judged_one_by_one() -> None:
    here = site()
    actives = load_actives()
    stock = [
        needs_of(actives.mixture(name), str(here.turf.species))
        for name in ("glyphosate", "prodiamine")
    ]
    fits = dormant(here, stock=stock).stock
    assert [f.active for f in fits] == ["glyphosate", "prodiamine"]
    assert fits[0].verdict in ("fit", "marginal")
    assert fits[0].start is not None
    assert (fits[1].verdict, fits[1].start) == ("unfit", None)
    assert "before weeds emerge" in render(fits[1].reason)


def test_no_purpose_is_left_out_and_order_is_kept() -> None:
    assert tuple(o.purpose for o in ranked().purposes) == PURPOSES
    assert {o.title for o in ranked().purposes} == {purpose_of(p).title for p in PURPOSES}
    assert set(FAIR) <= set(weather(site()).hourly.values)

"""The best hours of each day: which they are, in which order, and the window they make."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from test_hours_ahead import GOOD
from windows_fixtures import TODAY, past, site, state, weather

from windowcast.core.phrase import Share, say
from windowcast.core.site import Site
from windowcast.season.model import SiteState
from windowcast.windows.day_windows import DayHours, DayWindows
from windowcast.windows.days import watering_days
from windowcast.windows.hours import HourContext, hour_context
from windowcast.windows.judge import HourScores, Judge
from windowcast.windows.model import Odds
from windowcast.windows.purposes import purpose_of
from windowcast.windows.score import Block

HERE = site()
POST, PRE, DORMANT, SPRING = (
    purpose_of(name) for name in ("post-early", "pre-fall", "dormant", "pre-spring")
)
HOURS = len(weather(HERE).hourly.times)


def windows(
    here: Site = HERE, *, days: int = 3, futures: int = 0, ahead: SiteState | None = None,
    **values: Any,
) -> DayWindows:  # fmt: skip
    members = weather(here, futures=futures, **values)
    ctx = hour_context(here, ahead or state(), members)
    return DayWindows(Judge(ctx, past()), members, days)


def made(ctx: HourContext, **rows: Any) -> HourScores:
    """Scores ``[member, hour]`` by criterion, in hours of light that the site allows."""
    known = {"daylight": 1.0, "site_hours": 1.0} | rows
    scores = {}
    for name, row in known.items():
        values = np.atleast_2d(np.asarray(row, dtype=np.float64))
        scores[name] = np.array(np.broadcast_to(values, (len(values), HOURS)))
    grades = {n: GOOD.get(n, GOOD["frozen_soil"]) for n in scores}
    measured = {n: np.full(s.shape, 9.0) for n, s in scores.items()}
    return HourScores(ctx, grades, dict.fromkeys(scores, 1.0), measured, scores)


def at(*hours: int, other: float = 0.0, value: float = 1.0) -> np.ndarray:
    row = np.full(HOURS, other)
    row[list(hours)] = value
    return row


def blocks(days: DayWindows, scores: HourScores) -> list[tuple[Block, str]]:
    return [(one.block, one.verdict) for one in days.ordered(POST.generic, scores)]


# --- the best hours of a day ----------------------------------------------------------------------


def test_workable_hours_go_before_unknown_ones_and_those_before_near_misses() -> None:
    """Three days: hours that work, hours that cannot be told, hours that are a no."""
    wind = at(10, 11, 12, value=0.5)
    wind[34:37] = math.nan
    wind[14:16] = math.nan  # on the first day what is known to work goes before
    wind[57:60] = 0.25
    found = blocks(windows(), made(windows().ctx, wind=wind))
    assert found == [
        (Block(10, 13), "marginal"), (Block(34, 37), "cannot tell"), (Block(57, 60), "unfit"),
    ]  # fmt: skip


def test_hours_must_be_open() -> None:
    days = windows(days=1)
    light = at(10, 11, 12)
    assert blocks(days, made(days.ctx, daylight=light)) == [(Block(10, 13), "fit")]
    assert blocks(days, made(days.ctx, site_hours=light)) == [(Block(10, 13), "fit")]
    assert blocks(days, made(days.ctx, daylight=at(10))) == []  # one hour is too short
    # hours that are no go must be open too
    assert blocks(days, made(days.ctx, daylight=light, wind=0.0)) == [(Block(10, 13), "unfit")]
    blind = made(days.ctx, daylight=light, wind=math.nan)
    assert blocks(days, blind) == [(Block(10, 13), "cannot tell")]


def test_days_are_local_ones_and_as_many_as_are_asked_for() -> None:
    days = windows(days=2)
    assert days.last_hour == 48
    assert list(days._day_slices()) == [slice(0, 24), slice(24, 48)]
    assert windows(days=99).last_hour == HOURS
    spring = dt.date(2023, 3, 25)  # the clocks go forward on the next day
    members = weather(HERE, today=spring)
    ctx = hour_context(HERE, state(spring), members)
    found = DayWindows(Judge(ctx, past(spring)), members, 3)
    assert list(found._day_slices()) == [slice(0, 24), slice(24, 47), slice(47, 71)]


# --- their figures --------------------------------------------------------------------------------


def test_hours_that_fail_in_more_futures_than_they_hold_in_are_marginal() -> None:
    days = windows(days=1, futures=4)
    for held, verdict in ((2, "fit"), (1, "marginal")):
        wind = np.full((5, HOURS), 0.9)
        wind[1 + held :] = 0.1
        (found,) = days.ordered(POST.generic, made(days.ctx, wind=wind))
        assert found.odds is not None
        assert (found.verdict, found.odds.share) == (verdict, held / 4)
        assert found.score == pytest.approx(0.9)
        assert found.percent == 90.0
    wind[2, 12] = math.nan  # a future that cannot be told counts as one that fails
    (found,) = days.ordered(POST.generic, made(days.ctx, wind=wind))
    assert found.odds is not None
    assert (found.odds.share, found.odds.members) == (0.25, 4)
    blind = made(days.ctx, wind=np.full((5, HOURS), math.nan))
    (untold,) = days.ordered(POST.generic, blind)
    assert (untold.odds, untold.percent) == (None, None)
    (alone,) = windows(days=1).ordered(POST.generic, made(days.ctx, wind=0.9))
    assert alone.odds is None


def rated(score: float, verdict: Any, share: float | None = None, start: int = 0) -> DayHours:
    odds = None if share is None else Odds(share, share, share, 40, "forecast")
    scores = made(windows().ctx, wind=score, gusts=0.5)
    return DayHours(Block(start, start + 2), score, odds, verdict, scores)


def test_the_order_of_days_by_hand() -> None:
    """Fit before marginal, then score times chance, then the earlier."""
    order = [
        rated(0.8, "fit", 0.9),  # 0.72
        rated(0.7, "fit"),
        rated(0.7, "fit", start=24),
        rated(0.9, "fit", 0.6),  # 0.54
        rated(0.9, "marginal", 0.9),
        rated(math.nan, "cannot tell"),  # 0.5 x 0.5
        rated(0.2, "unfit"),
        rated(0.0, "unfit"),
    ]
    assert sorted(order[::2] + order[1::2], key=DayHours.order_key) == order
    assert order[0].order_key() == (0, -0.72, 0)
    assert order[2].order_key() == (0, -0.7, 24)
    assert order[5].order_key() == (2, -0.25, 0)
    assert order[6].order_key() == (3, -0.1, 0)
    assert order[7].order_key() == (3, -0.025, 0)  # a no counts as 0.05
    assert [one.offered for one in order] == [True] * 5 + [False] * 3


# --- what a window needs --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("needs", "irrigated", "block", "reach"),
    [
        # the day after the last hour, or so long as it must stay dry
        ({"rain_free_h": 4.0}, True, Block(10, 13), (0, 1)),
        ({"rain_free_h": None}, True, Block(10, 13), (0, 1)),
        ({"rain_free_h": 4.0}, True, Block(21, 24), (0, 1)),  # to the last hour of tomorrow
        ({"rain_free_h": math.nan}, True, Block(10, 13), (0, 1)),
        ({"rain_free_h": 48.0}, True, Block(10, 13), (0, 2)),
        ({"rain_free_h": 36.0}, True, Block(9, 12), (0, 1)),  # to 23:00
        ({"rain_free_h": 36.0}, True, Block(10, 13), (0, 2)),
        ({"rain_free_h": 4.0}, True, Block(34, 37), (1, 2)),
        ({"rain_free_h": 400.0}, True, Block(10, 13), (0, 7)),  # no further than is known
        # rain that must water it in is waited for
        ({"rain_free_h": None, "activation_mm": 12.7, "activation_days": 5.0}, False,
         Block(10, 13), (0, 6)),
        ({"rain_free_h": None, "activation_mm": 12.7, "activation_days": 5.0}, None,
         Block(10, 13), (0, 6)),
        ({"rain_free_h": None, "activation_mm": 12.7, "activation_days": 5.0}, True,
         Block(10, 13), (0, 1)),
        ({"rain_free_h": None, "activation_mm": 12.7, "activation_days": math.nan}, False,
         Block(10, 13), (0, 1)),
    ],
)  # fmt: skip
def test_how_far_ahead_a_window_needs_the_weather(
    needs: dict[str, Any], irrigated: bool | None, block: Block, reach: tuple[int, int]
) -> None:
    days = windows(site(turf={"irrigated": irrigated}))
    assert days._reach(block, replace(POST.generic, **needs)) == reach


@pytest.mark.parametrize(
    ("asked", "needed", "days"),
    [(None, 7.0, 7.0), (3, 7.0, 3.0), (9, 7.0, 7.0), (3, None, math.nan), (3, math.nan, math.nan)],
)
def test_watering_in_is_due_by_the_active_or_sooner_by_the_site(
    asked: int | None, needed: float | None, days: float
) -> None:
    here = HERE if asked is None else site(advice={"watering_in_days": asked})
    found = watering_days(here, replace(PRE.generic, activation_days=needed))
    assert found == days or (math.isnan(found) and math.isnan(days))


def test_weeds_lost_by_waiting_are_those_past_reach() -> None:
    """Of two weeds the one that loses most, in the mean over two futures."""
    base = state()
    up = np.full((2, 30), 0.125)
    up[:, 1] = 0.1875
    up[:, 2:] = [[0.375], [0.625]]
    young = np.full((2, 30), 0.5)
    weed = replace(base.emergence["POAAN"], share=up, youngest_share=young)
    other = replace(weed, weed="STEME", share=up / 2)
    spring = replace(base.emergence["DIGIS"], share=np.ones((2, 30)))
    known = {"STEME": other, "POAAN": weed, "DIGIS": spring}
    days = windows(ahead=replace(base, emergence=known))
    assert days._lost(PRE, 2) == pytest.approx(0.375)  # what is up before a pre-emergent
    assert days._lost(PRE, 1) == pytest.approx(0.0625)
    assert days._lost(PRE, 0) == 0.0
    assert days._lost(POST, 2) == pytest.approx(0.1875)  # half of it is past the young stage
    assert days._lost(DORMANT, 2) is None  # age does not matter there
    none = replace(weed, share=up - 0.125, youngest_share=np.where(up > 0.2, 0.5, math.nan))
    bare = windows(ahead=replace(base, emergence={"POAAN": none}))
    assert bare._lost(POST, 2) == pytest.approx(0.1875)  # where nothing is up there is no age
    falls = replace(weed, share=1 - up)
    assert windows(ahead=replace(base, emergence={"POAAN": falls}))._lost(PRE, 2) == 0.0
    blind = replace(weed, share=np.where(up > 0.3, math.nan, up))
    for emergence in ({"POAAN": blind, "STEME": other}, {}):
        assert windows(ahead=replace(base, emergence=emergence))._lost(PRE, 2) is None


# --- the window -----------------------------------------------------------------------------------


def test_a_window_in_full() -> None:
    days = windows(futures=20)
    scores = days.judge.scores(POST, POST.generic)
    hours = days.ordered(POST.generic, scores)[0]
    window = days.window(POST, POST.generic, hours)
    assert days.block_of(window) == hours.block
    start = dt.datetime.combine(TODAY, dt.time(), HERE.zone)
    assert window.start == start + dt.timedelta(hours=hours.block.start)
    assert window.end == start + dt.timedelta(hours=hours.block.stop)
    assert (window.purpose, window.verdict, window.odds) == (
        "post-early", hours.verdict, hours.odds,
    )  # fmt: skip
    assert window.score == hours.percent
    taken = days.judge.turf(POST.generic)[days.day_of(hours.block)]
    of_turf = next(j for j in window.judged if j.criterion == "turf_safety")
    assert of_turf.reason == say("advice.of_turf", reason=taken.deciding.reason)
    plain = {j.criterion: j for j in scores.judged(hours.block)}
    assert [j for j in window.judged if j.criterion != "turf_safety"] == [
        j for j in plain.values() if j.criterion != "turf_safety"
    ]
    assert window.grade == say("hours.forecast")
    assert (window.harm, window.washed) == (taken.harm, 0.0)
    assert window.lost == 0.0
    assert window.actives == ()
    assert [one.what for one in window.follow_up] == ["keep dry"]
    named = replace(POST.generic, names=("simazine",))
    assert days.window(POST, named, hours).actives == ("simazine",)


def test_what_must_follow_is_said_of_a_window_alone() -> None:
    """Three futures in four have enough rain on the fourth day; nobody irrigates."""
    dry = site(turf={"irrigated": False})
    members = weather(dry, futures=20)
    rain = np.zeros((21, 30))
    rain[:16, 3] = 50.0
    members = replace(members, daily=replace(members.daily, values={"precip_mm": rain}))
    for soil_c, told in ((14.0, True), (5.0, False)):  # too early in cold soil
        ctx = hour_context(dry, state(soil_c=soil_c), members)
        days = DayWindows(Judge(ctx, past(soil_c=soil_c)), members, 3)
        (first, *_) = days.ordered(SPRING.generic, days.judge.scores(SPRING, SPRING.generic))
        follow = days.window(SPRING, SPRING.generic, first).follow_up
        assert [one.what for one in follow] == (["water in"] if told else [])
        if told:
            share = say("follow_up.rain_does_it", share=Share(0.75))
            assert follow[0].text.value("rain") == share
            assert follow[0].by is not None
            assert follow[0].by.date() == TODAY + dt.timedelta(days=2 + 7)


def test_what_holds_a_window_back_in_the_forecast_or_else_in_the_futures() -> None:
    days = windows(days=1, futures=20)
    limits = {n: days.judge.scores(POST, POST.generic).grades[n] for n in ("wind", "gusts")}
    fair, spoilt = np.full((21, HOURS), 0.99), np.full((21, HOURS), 0.99)
    spoilt[6:] = 0.1  # fifteen of twenty futures

    def limiting(wind: np.ndarray, gusts: np.ndarray) -> Any:
        rows = {"daylight": np.ones((1, HOURS)), "site_hours": np.ones((1, HOURS)),
                "turf_safety": np.ones((1, HOURS)), "wind": wind, "gusts": gusts}  # fmt: skip
        curves = {n: limits.get(n, limits["wind"]) for n in rows}
        measured = {n: np.full(r.shape, 3.0) for n, r in rows.items()}
        scores = HourScores(days.ctx, curves, dict.fromkeys(rows, 1.0), measured, rows)
        (hours,) = days.ordered(POST.generic, scores)
        return days.window(POST, POST.generic, hours).limiting

    assert limiting(fair, fair) is None
    found = limiting(fair, spoilt)
    assert found.criterion == "gusts"
    assert found.reason.id == "criterion.spoiled"
    assert (found.reason.value("bad"), found.reason.value("futures")) == (15, 20)
    held = fair.copy()
    held[0] = 0.5  # a limit in the forecast that is itself no fit: it stays
    assert limiting(held, spoilt).criterion == "wind"
    assert limiting(held, spoilt).reason.id != "criterion.spoiled"
    mild = fair.copy()
    mild[0] = 0.9  # good enough: what spoils the futures is named
    assert limiting(mild, spoilt).criterion == "gusts"
    few = fair.copy()
    few[16:] = 0.1  # in five of twenty: more often than not it holds
    assert limiting(mild, few).criterion == "wind"

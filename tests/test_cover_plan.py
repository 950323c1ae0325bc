"""The cover of a pre-emergent over a season that can be worked out by hand, and what is said of it.

Weeds emerge evenly over a hundred days, a hundredth a day, in soil at the reference temperature. A
material with a half-life of 10 days works down to an eighth of its dose, so for 30 days: laid on
day d it catches 30 hundredths, or what is left of the season. Half the dose works for 20 days.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy.stats import norm
from spoken import ordered, render
from windows_fixtures import site, state

from windowcast.core.phrase import NOTHING, Listing, Name, Phrase, Share, say
from windowcast.core.record import FloatArray
from windowcast.core.values import PACKAGED, Value
from windowcast.materials.resistance import Failing, Resistances, ResistanceStatus
from windowcast.season.model import Emergence
from windowcast.windows import barrier
from windowcast.windows.cover_plan import (
    Season,
    _better,
    _caught_on,
    _points,
    _text,
    beside,
    cover_plan,
    likely,
    mean_share,
    season_of,
    share,
)
from windowcast.windows.covers import (
    _shut_by,
    against_of,
    aimed_at,
    controlled_on,
    covers_of,
    covers_working,
    laid_on,
)
from windowcast.windows.model import CoverPlan, CoverPoint, TrialControl
from windowcast.windows.opening import Opening
from windowcast.windows.purposes import purpose_of
from windowcast.windows.reasons import label
from windowcast.windows.residual import Laying, ResidualActive

FIRST = dt.date(2026, 9, 1)
DAYS = 100
TABLES = PACKAGED.varied(
    {
        "barrier.enough_left": 0.125, "barrier.later_worth": 0.0006, "barrier.week": 7,
        "barrier.as_good": 0.01, "barrier.partner_from": 0.05, "barrier.seldom_watered": 0.2,
        "barrier.split_apart": 14, "barrier.split.step": 4, "barrier.split.futures": 2,
        "barrier.reference_temp": 20.0, "barrier.frozen_below": 0.0, "plan.split_gain": 0.03,
    }
)  # fmt: skip
VALUES = TABLES["barrier"]
WATERED = Laying(VALUES, irrigated=True)
LIFE = Value("made.up", 10.0, "d", "a trial", "published", 10.0, 10.0)
MADE = ResidualActive("made", LIFE, 10.0, 7)
WEEDS = Listing((say("weed.POAAN"),))
WIND = say("criterion.wind.label")


def day(number: int) -> dt.date:
    return FIRST + dt.timedelta(days=number)


def season(
    *, members: int = 4, candidates: slice = slice(10, 91), shut: tuple[Phrase, ...] = ()
) -> Season:
    open_days = np.zeros(DAYS, dtype=bool)
    open_days[candidates] = True
    share = np.tile(np.linspace(0.01, 1.0, DAYS), (members, 1))
    dates = np.datetime64(FIRST, "D") + np.arange(DAYS)
    soil, rain = np.full(share.shape, 20.0), np.zeros(share.shape)
    return Season(dates, share, soil, rain, open_days, shut)


def plan(
    it: Season, today: int, on: Laying = WATERED, material: ResidualActive = MADE
) -> CoverPlan:
    return cover_plan(
        it, material, "pre-fall", codes=["POAAN"], today=day(today), on=on, tables=TABLES
    )


def applied(
    when: Phrase, caught: float, *, costs: dict[str, float], partner: float | None, **more: Phrase
) -> Phrase:
    parts = tuple(say(f"cover_on.{on}", caught=Share(c)) for on, c in costs.items())
    return say(
        "cover.applied", when=when, barrier=say("cover.barrier", active=Name("made")),
        caught=Share(caught), weeds=WEEDS,
        costs=say("cover.costs", of=Listing(parts, "comma")) if parts else NOTHING,
        partner=NOTHING if partner is None else say("cover.partner", up=Share(partner)),
        **({"likely": NOTHING, "little": NOTHING, "rain": NOTHING, "beside": NOTHING} | more),
    )  # fmt: skip


def about(number: int) -> Phrase:
    return say("cover.about", day=day(number))


# --- the plan -------------------------------------------------------------------------------------


def test_the_best_day_is_the_last_that_loses_nothing() -> None:
    made = plan(season(), 20)
    best = CoverPoint(day(70), 0.3, 0.3, 0.3, cover=1.0, up=0.7, watered=1.0)
    assert ordered(made.best) == ordered(best)
    assert ordered((made.week_early, made.week_late)) == (0.3, 0.23)
    assert [point.date for point in made.curve] == [day(n) for n in range(10, 91)]
    for point in made.curve:
        n = (point.date - FIRST).days
        assert point.caught == pytest.approx(min(30, 100 - n) / 100, abs=1e-6)
        assert point.up == pytest.approx(n / 100)
        assert point.cover == pytest.approx(min(30, 100 - n) / (100 - n), abs=1e-6)
    assert (made.purpose, made.active, made.half_life_d) == ("pre-fall", "made", (10, 10, 10))
    assert made.half_life_source == "published: a trial"
    assert made.weeds == (say("weed.POAAN"),)
    assert made.needs_partner is True
    assert (made.better, made.trials) == ((), ())
    text = applied(about(70), 0.3, costs={"week_earlier": 0.3, "week_later": 0.23}, partner=0.7)
    assert ordered(made.text) == ordered(text)
    assert render(made.text)


@pytest.mark.parametrize(
    ("today", "early", "costs"),
    [
        (63, 0.3, {"week_earlier": 0.3, "week_later": 0.23}),
        (64, None, {"today": 0.3, "week_later": 0.23}),  # a week earlier is past
        (70, None, {"week_later": 0.23}),
    ],
)
def test_a_week_that_is_past_is_no_choice(
    today: int, early: float | None, costs: dict[str, float]
) -> None:
    made = plan(season(), today)
    assert made.week_early == (None if early is None else pytest.approx(early))
    when = say("cover.now") if today == 70 else about(70)
    assert ordered(made.text) == ordered(applied(when, 0.3, costs=costs, partner=0.7))


def test_after_the_last_open_day_it_is_over() -> None:
    made = plan(season(), 91)
    assert (made.best, made.split, made.week_early, made.week_late) == (None,) * 4
    assert made.needs_partner is None
    over = say(
        "cover.over", barrier=say("cover.barrier", active=Name("made")), day=day(70),
        caught=Share(0.3), weeds=WEEDS,
    )  # fmt: skip
    assert ordered(made.text) == ordered(over)


def test_where_nothing_is_open_or_known_it_cannot_be_told() -> None:
    unknown = say("cover.unknown", barrier=say("cover.barrier", active=Name("made")))
    shut = plan(season(candidates=slice(0, 0)), 20)
    assert (shut.best, shut.curve, shut.text) == (None, (), unknown)
    blind = season()
    blind = blind._replace(soil_c=np.full(blind.share.shape, np.nan))
    made = plan(blind, 20)
    assert made.text == unknown
    assert ordered(made.curve[0]) == CoverPoint(day(10), None, None, None, None, 0.1, None)
    usual = plan(blind, 20, material=replace(MADE, name=""))
    assert usual.text == say("cover.unknown", barrier=say("cover.usual_barrier"))


def test_halves_of_the_dose_twenty_days_apart_catch_most() -> None:
    """20 days alone; then 1/2 + 1/8 of the dose, for 10 log2(5/8 : 1/8) days: 43.2 in all."""
    made = plan(season(), 20)
    caught = (20 + 10 * math.log2(5)) / 100
    assert made.split is not None
    first, second = made.split
    assert second - first == dt.timedelta(days=20)
    assert first >= day(20)
    assert (first - day(20)).days % 4 == 0
    assert made.split_caught == pytest.approx(caught, abs=1e-6)


@pytest.mark.parametrize(
    ("gain", "apart", "told"),
    [(0.132, 14, True), (0.133, 14, False), (0.03, 24, True), (0.03, 71, False)],
)
def test_a_split_must_gain_enough_and_lie_apart(gain: float, apart: int, told: bool) -> None:
    """From 24 days on the first half has gone before the second: 40 + 10 log2(1 + 2^-2.4)."""
    tables = TABLES.varied({"plan.split_gain": gain, "barrier.split_apart": apart})
    made = cover_plan(
        season(), MADE, "pre-fall", codes=["POAAN"], today=day(20), on=WATERED, tables=tables
    )
    assert (made.split is not None) is told
    assert (made.split_caught is not None) is told
    if apart == 24:
        assert made.split_caught == pytest.approx(
            (40 + 10 * math.log2(1 + 2**-2.4)) / 100, abs=1e-6
        )


# --- points and small parts -----------------------------------------------------------------------


def test_points_are_means_and_bands_over_the_futures() -> None:
    it = season(members=5)._replace(candidates=np.isin(np.arange(DAYS), [1, 3]))
    caught = np.full((5, DAYS), 0.5)
    caught[:, 1] = [0.1, 0.2, 0.3, 0.4, 0.5]
    caught[:, 3] = [0.1, np.nan, np.nan, 0.4, np.nan]
    half = np.array([0.2, 0.4, 0.6, np.nan, np.nan])
    cover, up, watered = (np.tile(half[:, None], DAYS) for _ in range(3))
    watered = np.nan_to_num(watered, nan=0.8)
    result = barrier.DayCover(caught, cover, up, caught)
    first, second = _points(it, result, watered)
    assert ordered(first) == CoverPoint(
        day(1), 0.3, 0.14, 0.46, cover=1.2 / 5, up=0.4, watered=0.56
    )
    # told by two of five futures alone
    assert ordered(second) == CoverPoint(day(3), None, None, None, None, 0.4, None)


@pytest.mark.parametrize(
    ("values", "mean"),
    [
        ([0.2, 0.4], 0.3),
        ([0.2, math.nan], 0.1),
        ([0.2, math.nan, math.nan], None),
        ([math.nan], None),
    ],
)
def test_a_future_that_cannot_be_told_counts_as_none(
    values: list[float], mean: float | None
) -> None:
    assert mean_share(np.array(values)) == (None if mean is None else pytest.approx(mean))


def point(n: int = 70, caught: float | None = 0.3, **known: Any) -> CoverPoint:
    usual: dict[str, Any] = {"low": 0.3, "high": 0.3, "cover": 1.0, "up": 0.04, "watered": 1.0}
    return CoverPoint(day(n), caught, **(usual | known))


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [(0.2, 0.4, True), (0.301, 0.304, False), (0.304, 0.306, True), (None, 0.4, False),
     (0.2, None, False)],
)  # fmt: skip
def test_a_band_is_said_where_its_ends_read_apart(
    low: float | None, high: float | None, said: bool
) -> None:
    expected = NOTHING
    if said and low is not None and high is not None:
        expected = say("cover.likely", low=Share(low), high=Share(high))
    assert likely(point(low=low, high=high)) == expected


def test_a_share_that_is_not_known_is_written_as_such() -> None:
    assert share(0.25) == Share(0.25)
    assert math.isnan(share(None).value)


OTHERS = {"week_earlier": 0.28, "today": None, "week_later": 0.1}
COSTS = {"week_earlier": 0.28, "week_later": 0.1}
AS_GOOD, SHUT = say("cover_better.as_good_later"), say(
    "cover_better.shut_later", caught=Share(0.4), limit=WIND
)  # fmt: skip
TRIAL = TrialControl("POAAN", 0.6, 0.9, "a paper", "", 0.8, 3)


def also(*said: Phrase) -> Phrase:
    return say("cover.beside", of=Listing(said, "sentences"))


@pytest.mark.parametrize(
    ("best", "others", "better", "expected"),
    [
        (point(), OTHERS, (), {}),
        (point(up=0.05), OTHERS, (), {"partner": 0.05}),
        (point(up=None), OTHERS, (), {}),
        (point(low=0.2, high=0.4), OTHERS, (),
         {"likely": say("cover.likely", low=Share(0.2), high=Share(0.4))}),
        (point(watered=0.75), OTHERS, (), {"rain": say("cover.rain_waters", share=Share(0.75))}),
        (point(watered=0.21), OTHERS, (), {"rain": say("cover.rain_waters", share=Share(0.21))}),
        (point(watered=0.2), OTHERS, (), {"rain": say("cover.rain_seldom", share=Share(0.2))}),
        (point(watered=None), OTHERS, (), {}),
        (point(), {"today": None}, (), {"costs": {}}),
        (point(), OTHERS, (AS_GOOD, SHUT), {"beside": also(AS_GOOD, SHUT)}),
        # within twice what is as good no day is said to be better, unless something shuts it
        (point(caught=0.5), {"week_later": 0.375}, (AS_GOOD, SHUT),
         {"costs": {"week_later": 0.375}, "little": say("cover.little_hangs"),
          "beside": also(SHUT)}),
        (point(caught=0.5), {"week_later": 0.374}, (AS_GOOD,),
         {"costs": {"week_later": 0.374}, "beside": also(AS_GOOD)}),
        (point(caught=0.5, watered=0.2), {"week_later": 0.375}, (AS_GOOD,),
         {"costs": {"week_later": 0.375}, "rain": say("cover.rain_seldom", share=Share(0.2)),
          "beside": also(AS_GOOD)}),
    ],
)  # fmt: skip
def test_what_is_said_of_the_best_day(
    best: CoverPoint,
    others: dict[str, float | None],
    better: tuple[Phrase, ...],
    expected: dict[str, Any],
) -> None:
    values = TABLES.varied({"barrier.as_good": 0.0625})["barrier"]
    found = _text(
        best, others, active="made", weeds=[say("weed.POAAN")], today=day(20), values=values,
        better=better, trials=(),
    )  # fmt: skip
    given: dict[str, Any] = {"costs": COSTS, "partner": None} | expected
    text = applied(about(70), best.caught or math.nan, **given)
    assert ordered(found) == ordered(text)
    assert render(found)


@pytest.mark.parametrize(
    ("others", "shut", "said"),
    [
        ({"earlier": 0.4, "later": 0.3}, (), [say("cover_better.as_good_earlier")]),
        ({"earlier": 0.3, "later": 0.4}, (), [AS_GOOD]),
        ({"earlier": None, "later": None}, (), []),
        ({"earlier": 0.5, "later": 0.4}, (NOTHING,) * 77 + (WIND,) + (NOTHING,) * 22,
         [say("cover_better.as_good_earlier"), SHUT]),
    ],
)  # fmt: skip
def test_why_a_day_a_week_off_is_not_named(
    others: dict[str, float | None], shut: tuple[Phrase, ...], said: list[Phrase]
) -> None:
    it = season(shut=shut, candidates=slice(10, 77 if shut else 91))
    week = dt.timedelta(days=7)
    assert _better(it, point(), week, others) == tuple(said)
    assert _better(it, None, week, others) == ()
    assert _better(it, point(caught=None), week, others) == ()


def test_without_a_reason_for_closed_days_nothing_is_said_of_them() -> None:
    it = season(candidates=slice(10, 77))
    assert _better(it, point(), dt.timedelta(days=7), {"later": 0.4}) == ()


@pytest.mark.parametrize(("n", "told"), [(-1, False), (0, True), (99, True), (100, False)])
def test_nothing_is_told_beyond_the_season(n: int, told: bool) -> None:
    caught = np.full((2, DAYS), 0.25)
    result = barrier.DayCover(caught, caught, caught, caught)
    assert _caught_on(season(), result, day(n)) == (0.25 if told else None)


# --- what is said of some days --------------------------------------------------------------------


def covers(**known: Any) -> CoverPlan:
    usual: dict[str, Any] = {
        "purpose": "pre-fall", "active": "made", "half_life_d": (10, 10, 10),
        "half_life_source": "s", "weeds": (say("weed.POAAN"), say("weed.DIGIS")),
        "curve": (point(50, 0.2, low=0.1, high=0.3), point(51, None), point(52, 0.25), point(70)),
        "best": point(70), "week_early": None, "week_late": 0.23, "split": None,
        "split_caught": None, "needs_partner": None, "text": say("cover.unknown", barrier=WIND),
        "better": (AS_GOOD,), "trials": (TRIAL,),
    }  # fmt: skip
    return CoverPlan(**(usual | known))


def trials_said() -> Phrase:
    evidence = say("evidence.published", trials=3)
    return say(
        "cover.trials", evidence=evidence, middle=Share(0.8), low=Share(0.6), high=Share(0.9),
        weed=say("weed.POAAN"),
    )  # fmt: skip


def test_some_days_against_the_best_one() -> None:
    also_said = say("cover.laid_also", day=day(52), caught=Share(0.25))
    expected = say(
        "cover.laid", day=day(50), barrier=say("cover.barrier", active=Name("made")),
        caught=Share(0.2), weeds=Listing((say("weed.POAAN"), say("weed.DIGIS"))),
        likely=say("cover.likely", low=Share(0.1), high=Share(0.3)),
        others=Listing((also_said,), "none"), best_day=day(70), best=Share(0.3),
        later=say("cover.week_after", caught=Share(0.23)), beside=also(AS_GOOD, trials_said()),
    )  # fmt: skip
    asked = [day(52), day(50), day(51), day(52), day(60)]  # in any order, some not on the curve
    found = laid_on(covers(), asked)
    assert ordered(found) == ordered(expected)
    assert render(found)
    plain = laid_on(covers(week_late=None, better=(), trials=()), [day(50)])
    assert (plain.value("later"), plain.value("beside")) == (NOTHING, NOTHING)
    assert plain.value("others") == Listing((), "none")


@pytest.mark.parametrize(
    ("known", "asked"),
    [({}, []), ({}, [60]), ({}, [51]), ({"best": None}, [50]), ({"best": point(70, None)}, [50])],
)
def test_the_plans_own_sentence_where_days_cannot_be_told(
    known: dict[str, Any], asked: list[int]
) -> None:
    cover = covers(**known)
    assert laid_on(cover, [day(n) for n in asked]) == cover.text


def test_what_stands_beside_a_cover() -> None:
    assert ordered(beside(covers())) == ordered(also(AS_GOOD, trials_said()))
    assert beside(covers(better=(), trials=())) == NOTHING


# --- the part of the axis over which the weeds emerge ---------------------------------------------


def weed(share: Any, low: Any, high: Any) -> Emergence:
    up, least, most = (np.atleast_2d(np.asarray(x, dtype=np.float64)) for x in (share, low, high))
    return Emergence("POAAN", "made", "fall", up, least, most, up, up)


def test_each_future_takes_its_own_place_in_the_band() -> None:
    """Places 0.309 and 0.927 of a normal whose 10 and 90 % are the band; at most 1.5 bands off."""
    rows = np.array([[0.5], [0.5]])
    axis: Any = SimpleNamespace(
        number=np.zeros(1), dates=np.array(["2026-09-01"], "M8[D]"),
        state=replace(state(days=1), soil_5cm_c=np.full((2, 1), 20.0)),
    )  # fmt: skip
    rain = np.zeros((2, 1))

    def shares(low: float, high: float) -> FloatArray:
        made = weed(rows, np.full_like(rows, low), np.full_like(rows, high))
        found = season_of(axis, [made], rain, first=0, candidates=np.ones(1, dtype=bool))
        assert found is not None
        return found.share[:, 0]

    step = norm.ppf([0.5 * 0.6180339887498949, 1.5 * 0.6180339887498949]) / norm.ppf(0.9)
    assert shares(0.3, 0.8) == pytest.approx([0.5 + 0.2 * step[0], 0.5 + 0.3 * step[1]])
    assert shares(math.nan, math.nan).tolist() == [0.5, 0.5]
    assert shares(0.3, 1.5)[1] == 1.0


def test_the_season_begins_on_its_day_and_ends_where_a_new_years_weeds_begin() -> None:
    up = [0.9, 0.9, 0.0, 0.1, 0.3, 0.25, 0.6, 0.31, 0.0, 0.1]
    made = weed(up, up, up)
    days = len(up)
    axis: Any = SimpleNamespace(
        number=np.arange(days, dtype=float) - 1,
        dates=np.datetime64(FIRST, "D") + np.arange(days),
        state=replace(state(days=days), soil_5cm_c=np.arange(days, dtype=float)[None]),
    )
    rain = np.linspace(0.0, 90.0, days)[None]
    candidates = np.arange(days) % 2 == 0
    labels = [Phrase(str(n)) for n in range(days)]
    found = season_of(axis, [made, made], rain, first=1, candidates=candidates, shut=labels)
    assert found is not None
    # from number 1 (place 2); a fall by more than 0.3 at place 8 ends it, smaller ones are smoothed
    assert found.dates.tolist() == [day(n) for n in range(2, 8)]
    assert found.share.tolist() == [[0.0, 0.1, 0.3, 0.3, 0.6, 0.6]]
    assert found.soil_c.tolist() == [[2.0, 3.0, 4.0, 5.0, 6.0, 7.0]]
    assert found.rain_mm.tolist() == [[20.0, 30.0, 40.0, 50.0, 60.0, 70.0]]
    assert found.candidates.tolist() == [True, False, True, False, True, False]
    assert [phrase.id for phrase in found.shut] == ["2", "3", "4", "5", "6", "7"]
    whole = season_of(axis, [weed(sorted(up), up, up)], rain, first=0, candidates=candidates)
    assert whole is not None
    assert whole.dates.tolist() == [day(n) for n in range(1, 10)]
    assert whole.shut == ()
    assert season_of(axis, [], rain, first=0, candidates=candidates) is None


# --- by date, for the choices ---------------------------------------------------------------------

PRE = purpose_of("pre-fall")


def running(it: Season | None, **known: Any) -> Any:
    usual = {"daily": "a record", "laying": WATERED, "season": lambda purpose: it}
    return SimpleNamespace(**(usual | known))


def test_what_residuals_control_by_the_date_of_the_window() -> None:
    # one of a week and one of 10 days: 21 and 30 days, in the half-lives that the futures take
    week = replace(MADE, name="week", half_life=Value("made.up", 7.0, "d", "s", "published"))
    dates = [day(n) for n in (-1, 0, 40, 75, 99, 100)]
    found = controlled_on(dates, PRE, running(season(members=5)), [MADE, week])
    assert list(found) == dates
    assert found[day(-1)] == found[day(100)] == {}
    for n in (0, 40, 75, 99):
        for name, lasts in (("made", 30), ("week", 21)):
            caught = min(lasts, 100 - n) / 100
            assert ordered(found[day(n)][name]) == ordered((caught, caught, caught))
    # the band over the futures, one of which cannot be told and counts as none
    it = season(members=5)
    share = it.share * np.array([[1.0], [0.8], [0.6], [0.4], [np.nan]])
    (told,) = controlled_on([day(40)], PRE, running(it._replace(share=share)), [MADE])[
        day(40)
    ].items()
    middle, low, high = 0.3 * 2.8 / 5, 0.3 * 0.16, 0.3 * 0.92
    assert ordered(told) == ordered(("made", (middle, low, high)))
    share[:3] = np.nan
    blind = it._replace(share=share)
    assert controlled_on([day(40)], PRE, running(blind), [MADE]) == {day(40): {}}


@pytest.mark.parametrize(
    ("purpose", "known", "materials"),
    [
        (purpose_of("post-early"), {}, [MADE]),
        (PRE, {}, []),
        (PRE, {"daily": None}, [MADE]),
        (PRE, {"season": lambda purpose: None}, [MADE]),
    ],
)
def test_what_is_no_residual_controls_nothing(
    purpose: Any, known: dict[str, Any], materials: list[ResidualActive]
) -> None:
    found = controlled_on([day(5)], purpose, running(season(), **known), materials)
    assert found == {day(5): {}}


# --- the days on which it may be applied ----------------------------------------------------------


def timed(score: FloatArray, measured: dict[str, FloatArray], number: FloatArray) -> Any:
    axis = SimpleNamespace(
        number=number, dates=np.arange(len(number)), tables=TABLES,
        state=SimpleNamespace(weeds_of=lambda season: [SimpleNamespace(weed="POAAN")]),
    )  # fmt: skip
    return Opening(site(), axis, PRE, PRE.generic, score, measured)  # type: ignore[arg-type]


def test_a_barrier_may_go_out_where_a_tenth_of_the_futures_has_it_open() -> None:
    mark = PRE.rule.season
    score = np.zeros((20, 5))
    score[:1, 1], score[:2, 2], score[:, 3], score[:, 4] = 1.0, mark, mark - 0.01, 1.0
    opening = timed(score, {}, np.array([361.0, 362.0, 363.0, 364.0, 365.0]))
    opening = replace(opening, measured={"share_up": np.zeros((1, 5))})
    asked: dict[str, Any] = {}

    def season_for(purpose: Any, candidates: Any, shut: Any) -> Season:
        asked.update(purpose=purpose, candidates=candidates.tolist(), shut=shut)
        return season()

    it = SimpleNamespace(
        daily="a record", axis=opening.axis, tables=TABLES, today=day(20), laying=WATERED,
        opening=lambda purpose, needs: opening if needs == PRE.generic else None,
        season=season_for,
    )  # fmt: skip
    week = replace(MADE, name="week")
    found = covers_of(PRE, PRE.generic, it, [MADE, week])  # type: ignore[arg-type]
    # one future in twenty is too few, and a day of the next season is none of this one
    assert asked["candidates"] == [False, False, True, False, False]
    assert asked["purpose"] is PRE
    assert len(asked["shut"]) == 5
    assert [cover.active for cover in found] == ["made", "week"]
    assert ordered(found[0]) == ordered(plan(season(), 20))
    (usual,) = covers_of(PRE, PRE.generic, it, [])  # type: ignore[arg-type]
    assert (usual.active, usual.purpose) == ("", "pre-fall")
    post = purpose_of("post-early")
    assert covers_of(post, post.generic, it, [MADE]) == ()  # type: ignore[arg-type]
    it.season = lambda purpose, candidates, shut: None
    assert covers_of(PRE, PRE.generic, it, [MADE]) == ()  # type: ignore[arg-type]
    it.daily = None
    assert covers_of(PRE, PRE.generic, it, [MADE]) == ()  # type: ignore[arg-type]


def test_what_speaks_most_against_a_day_is_named() -> None:
    """Months are a matter of days, the soil of futures; what cannot be told is as good as a no."""
    grades = PRE.timing_grades(PRE.generic)
    measured = {
        "season_months": np.array([[0.0, 100.0, 100.0, 100.0]]),  # too early on the first day
        "soil_week": np.array([[10.0, 40.0, 10.0, np.nan], [10.0, 10.0, 10.0, np.nan]]),
        "share_up": np.array([[0.0, 0.0, 0.7, 0.0], [0.0, 0.0, 0.7, 0.0]]),
    }
    scores = {n: grades[n](values).mean(axis=0) for n, values in measured.items()}
    assert scores["season_months"].tolist() == [0.0, 1.0, 1.0, 1.0]
    assert scores["soil_week"][:3].tolist() == [1.0, 0.5, 1.0]
    found = _shut_by(timed(np.zeros((2, 4)), measured, np.arange(4.0)))
    names = ("season_months", "soil_week", "share_up", "soil_week")
    assert found == tuple(label(name, TABLES["criteria"].table(name)) for name in names)


def test_no_pre_emergent_that_fails_on_a_weed_here_has_a_cover() -> None:
    status = ResistanceStatus("POAAN", 3, "resistant", "declared")
    asked: list[list[str]] = []

    def against(names: Any) -> Failing | None:
        return Failing(standing[names[0]], names[0], status) if names[0] in standing else None

    it: Any = SimpleNamespace(daily=None)
    week = replace(MADE, name="week")
    standing: dict[str, Any] = {"made": "resistant", "week": "suspected"}

    def covers(purpose: Any, needs: Any, running_: Any, left: Any) -> tuple[str, ...]:
        asked.append([one.name for one in left])
        return ("a cover",)

    working: Any = covers_working
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("windowcast.windows.covers.covers_of", covers)
        found = working(PRE, PRE.generic, it, [MADE, week], against)
        assert (found, asked) == (("a cover",), [["week"]])
        assert working(PRE, PRE.generic, it, [MADE], against) == ()
        assert working(PRE, PRE.generic, it, [], against) == ("a cover",)
        assert asked[1:] == [[]]


def test_weeds_of_the_other_season_are_not_what_a_purpose_is_aimed_at() -> None:
    def known(*weeds: str) -> Resistances:
        made = (ResistanceStatus(weed, 3, "resistant", "declared") for weed in weeds)
        return Resistances(tuple(made), {"made": 3})

    # a weed that nobody named, and one that lives on from year to year, may be of any season
    assert aimed_at(known("POAAN", "DIGIS", "", "CYPES"), PRE) == {"POAAN", "", "CYPES"}
    spring = purpose_of("pre-spring")
    assert aimed_at(known("POAAN", "DIGIS", ""), spring) == {"DIGIS", ""}
    for weed, fails in (("POAAN", True), ("DIGIS", False)):
        failing = against_of(known(weed), PRE)(["made"])
        assert (failing is not None) is fails

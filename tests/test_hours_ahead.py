"""The hours ahead as they are shown, and what a block of them comes to, on scores written down."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from limit_values import entry
from test_choices_said import active
from windows_fixtures import TODAY, local_index, past, site, state, weather

from windowcast.core.phrase import say
from windowcast.core.record import Members
from windowcast.core.site import Site
from windowcast.limits.model import Limit
from windowcast.materials.needs import needs_of
from windowcast.windows.grade import ScoreCurve
from windowcast.windows.hour_model import Bound, HourCheck
from windowcast.windows.hours import HourContext, hour_context
from windowcast.windows.hours_ahead import hours_ahead, strip_of
from windowcast.windows.judge import HourScores, Judge
from windowcast.windows.purposes import purpose_of
from windowcast.windows.reasons import label
from windowcast.windows.score import Block, Rule, run_score

HERE = site()
STOP = 48  # two days are shown
RULE = Rule(0.6, 0.5, 0.3, 2, 8, 0.85, 0.3, 30, 0.97, 20)


def context(here: Site = HERE, *, members: Members | None = None, **values: Any) -> HourContext:
    return hour_context(here, state(), members or weather(here, **values))


def hour(day: int, clock: int) -> int:
    return local_index(HERE, day, clock)


# --- the weather by the hour ----------------------------------------------------------------------


def test_the_hours_as_the_forecast_has_them() -> None:
    many = len(weather(HERE).hourly.times)
    temp = np.arange(float(many)) / 3
    wind = np.where(np.arange(many) == 5, np.nan, 2.0)
    gust = np.stack([np.full(many, 4.25), np.full(many, 9.0)])  # a future says otherwise
    ctx = context(futures=1, temp_c=temp, wind_m_s=wind, gust_m_s=gust, precip_mm=0.1234,
                  precip_prob=0.4)  # fmt: skip
    ctx = replace(ctx, ahead=state(soil_c=8.0))
    ctx = replace(ctx, ahead=replace(ctx.ahead, soil_5cm_c=np.arange(30.0) + 0.0625))
    found = hours_ahead(ctx, STOP)
    midnight = dt.datetime.combine(TODAY, dt.time(), HERE.zone)
    assert found.times == tuple(midnight + dt.timedelta(hours=n) for n in range(STOP))
    assert found.times[0].tzinfo is HERE.zone
    assert found.temp_c == tuple(round(n / 3, 3) for n in range(STOP))
    assert found.wind_m_s == (*[2.0] * 5, None, *[2.0] * 42)
    assert found.gust_m_s == (4.25,) * STOP
    assert found.rain_mm == (0.123,) * STOP
    assert found.rain_chance == found.day_rain_chance == (0.4,) * STOP  # as the forecast says it
    assert found.soil_5cm_c == (*[0.062] * 24, *[1.062] * 24)
    # sunrise in Catalonia in mid January is at 8:15, sunset at 17:50 (timeanddate-like almanac,
    # from memory): whole hours of light from 9 to 17
    assert [n % 24 for n in range(24) if found.light[n]] == list(range(9, 17))
    assert found.light[:24] == found.light[24:]


def test_chances_of_rain_are_counted_in_the_futures() -> None:
    many = len(weather(HERE).hourly.times)
    wet = context().criterion("chance_of_rain").number("wet_mm")
    rain = np.zeros((21, many))
    rain[0] = 9.0  # the forecast itself is none of them
    rain[1:6, 10] = wet  # five of twenty in one hour
    rain[6:8, 11] = wet / 2  # too little in an hour, and in these two futures enough in a day
    rain[6:8, 12] = wet / 2
    rain[8, 30] = np.nan
    found = hours_ahead(context(futures=20, precip_mm=rain, precip_prob=0.9), STOP)
    chances: list[float | None] = [0.0] * STOP
    chances[10], chances[30] = 0.25, None
    assert list(found.rain_chance) == chances
    assert found.day_rain_chance == (*[0.35] * 24, *[None] * 24)
    few = hours_ahead(context(futures=19, precip_mm=rain[:20], precip_prob=0.9), STOP)
    assert few.rain_chance == few.day_rain_chance == (0.9,) * STOP


# --- what each hour is worth ----------------------------------------------------------------------

USED = (entry((), "made up", "choice"),)
GOOD = {
    "wind": ScoreCurve((0.0, 1.0, 5.0, 9.0), (0.5, 1.0, 1.0, 0.0), USED),  # never a no below
    "air_temperature": ScoreCurve((1.0, 3.0, 5.0), (0.0, 1.0, 1.0), USED),
    "rain_after": ScoreCurve((0.0, 2.0, 4.0), (1.0, 0.5, 0.0), USED),
    "gusts": ScoreCurve((4.0, 7.0), (1.0, 0.4), USED),
    "sprayer_limit": ScoreCurve((0.0, 1.0), (1.0, 0.0), USED),
    "daylight": ScoreCurve((-1.0, 0.0), (0.0, 1.0), USED),
    "frozen_soil": ScoreCurve((0.0, 1.0), (1.0, 0.0), USED),
}


def made(
    ctx: HourContext,
    scores: Mapping[str, Any],
    measured: Mapping[str, Any] | None = None,
    **weights: float,
) -> HourScores:
    """Scores ``[member, hour]`` of the first two days, by criterion; where one lies is written."""
    rows = {n: np.atleast_2d(np.asarray(s, dtype=np.float64)) for n, s in scores.items()}
    given = measured or {}
    values = {
        n: np.broadcast_to(np.asarray(given.get(n, 2.5), dtype=np.float64), s.shape)
        for n, s in rows.items()
    }
    return HourScores(
        ctx, {n: GOOD[n] for n in rows}, {n: weights.get(n, 1.0) for n in rows}, values, rows
    )


def of_hours(other: float, **at: float) -> np.ndarray:
    """A value for each hour shown, with others at some: ``h10=0.5``."""
    row = np.full(STOP, other)
    for name, value in at.items():
        row[int(name[1:])] = value
    return row


def test_the_strip_has_score_limit_and_its_value_by_the_hour() -> None:
    ctx = context()
    scores = made(
        ctx,
        {
            "wind": of_hours(1.0, h10=0.5, h11=0.0, h12=math.nan),
            "frozen_soil": of_hours(1.0, h13=0.25, h10=0.75),
            "rain_after": of_hours(1.0),
        },
        {"wind": of_hours(2.5, h10=6.12345)},
        frozen_soil=0.5,
    )  # fmt: skip
    strip = strip_of(ctx, scores, STOP)
    assert strip.times == hours_ahead(ctx, STOP).times
    worth: list[float | None] = [100.0] * STOP
    worth[10] = round(50 * math.sqrt(0.75), 1)
    worth[11], worth[12], worth[13] = 0.0, None, 50.0
    assert list(strip.scores) == worth
    limits = [""] * STOP
    limits[10] = limits[11] = limits[12] = "wind"
    limits[13] = "frozen_soil"
    assert list(strip.limits) == limits
    values: list[float | None] = [None] * STOP
    values[10], values[11], values[12] = 6.12, 2.5, 2.5
    assert list(strip.measured) == values  # frozen ground has no value
    part = strip_of(ctx, scores, 11)
    assert (part.times, part.scores) == (strip.times[:11], strip.scores[:11])
    assert (part.limits, part.measured) == (strip.limits[:11], strip.measured[:11])


@pytest.mark.parametrize(("own", "high"), [(None, 5.0), (4.0, 4.0), (6.0, 5.0)])
def test_the_ends_that_are_drawn(own: float | None, high: float) -> None:
    ctx = context(HERE if own is None else site(equipment={"wind_max_m_s": own}))
    names = ("rain_after", "wind", "gusts", "air_temperature", "frozen_soil", "sprayer_limit")
    strip = strip_of(ctx, made(ctx, {n: of_hours(1.0) for n in names}), STOP)
    assert strip.bounds == (
        Bound("air_temperature", 3.0, None, "degC"),
        Bound("wind", None, high, "m s-1"),
        Bound("gusts", None, None, "m s-1"),
        Bound("rain_after", None, 2.0, "mm"),
    )


def test_a_check_has_value_and_worth_in_hours_of_daylight_alone() -> None:
    ctx = context()
    scores = made(
        ctx,
        {
            "daylight": of_hours(1.0),
            "wind": of_hours(1.0, h9=0.25, h10=math.nan, h16=0.12345),
            "sprayer_limit": of_hours(1.0),
            "frozen_soil": of_hours(1.0),
            "air_temperature": of_hours(1.0),
        },
        {"wind": of_hours(2.5, h9=6.12345)},
        wind=0.5,
    )  # fmt: skip
    lit = 2 * 8  # of two days, each from 9 to 17
    wind, frozen, air = strip_of(ctx, scores, STOP).checks
    rest = (1.0,) * 5
    assert wind == HourCheck(
        "wind", "m s-1", 1.0, 5.0, False,
        measured=(6.12, None, *[2.5] * 14), scores=(0.5, None, *rest, 0.351, *[1.0] * 8),
    )  # fmt: skip
    assert frozen == HourCheck("frozen_soil", "", None, None, False, (None,) * lit, (1.0,) * lit)
    assert (air.low, air.high, air.unit) == (3.0, None, "degC")


@pytest.mark.parametrize(
    ("own", "high", "yours"), [(4.0, 4.0, True), (5.0, 5.0, False), (6.0, 5.0, False)]
)
def test_the_sprayers_own_limit_is_part_of_the_winds(own: float, high: float, yours: bool) -> None:
    ctx = context(site(equipment={"wind_max_m_s": own}))
    scores = made(ctx, {"wind": of_hours(0.5), "sprayer_limit": of_hours(1.0, h9=0.0)})
    (wind,) = strip_of(ctx, scores, STOP).checks
    assert (wind.high, wind.yours) == (high, yours)
    assert wind.scores == (0.0, *[0.5] * 15)
    (alone,) = strip_of(ctx, made(ctx, {"sprayer_limit": of_hours(1.0)}), STOP).checks
    assert alone.criterion == "sprayer_limit"


# --- a block of hours -----------------------------------------------------------------------------


def blocks() -> HourScores:
    ctx = context()
    return made(
        ctx,
        {
            "wind": [of_hours(0.9, h10=0.5, h11=0.7), of_hours(0.9)],
            "gusts": [of_hours(0.4, h11=math.nan)],
            "rain_after": [of_hours(1.0)],
        },
        {"wind": [of_hours(2.5, h10=6.123456)] * 2, "gusts": [of_hours(5.5)]},
        wind=2.0,
    )


def test_what_a_block_comes_to() -> None:
    scores, block = blocks(), Block(10, 12)
    means = scores.means(block)
    assert means.pop("gusts") != means.pop("gusts", math.nan)
    assert means == pytest.approx({"wind": 0.6, "rain_after": 1.0})
    assert scores.worst(block) == {"wind": 10, "gusts": 11, "rain_after": 10}
    assert scores.at("wind", block) == pytest.approx((0.6, 6.123456))
    assert scores.at("wind", Block(11, 13)) == pytest.approx((0.8, 2.5))
    score, value = scores.at("gusts", block)
    assert (math.isnan(score), value) == (True, 5.5)
    wind, gusts, rain = scores.judged(block)
    criteria = scores.ctx.criterion
    assert (wind.criterion, wind.verdict, wind.score) == ("wind", "fit", 0.6)
    assert (wind.measured, wind.unit, wind.source) == (6.1235, "m s-1", "choice: made up")
    assert wind.label == label("wind", criteria("wind"))
    assert wind.reason.id == "criterion.wind.high"  # 5 m/s is the end of what is good
    assert (gusts.verdict, gusts.score, gusts.measured) == ("cannot tell", None, 5.5)
    assert gusts.reason == say("criterion.gusts.unknown")
    assert (rain.verdict, rain.score) == ("fit", 1.0)
    assert scores.judge("wind", block) == wind
    assert scores.limiting(block) == "gusts"  # what cannot be told, before 0.6 squared
    assert scores.limiting(Block(13, 15)) == "gusts"  # 0.4 below 0.9 squared
    assert scores.score[0, 13] == pytest.approx(0.4 * 0.81)
    assert scores.near[13] == pytest.approx(0.4 * 0.81)
    assert scores.near[11] == pytest.approx(0.5 * 0.49)  # what is not known counts as a half


def test_hours_are_open_in_daylight_and_where_the_site_allows_them() -> None:
    ctx = context()
    rows = {"daylight": of_hours(1.0, h3=0.0), "site_hours": of_hours(1.0, h4=0.0, h5=0.1)}
    grades = GOOD | {"site_hours": GOOD["daylight"]}
    scores = HourScores(
        ctx, grades, dict.fromkeys(rows, 1.0), {}, {n: row[None] for n, row in rows.items()}
    )
    assert scores.open.tolist() == [n not in (3, 4) for n in range(STOP)]


@pytest.mark.parametrize(
    ("criteria", "futures", "washed"),
    [
        (("rain_after",), 20, 0.25),
        (("washing_rain",), 20, 0.25),
        (("rain_after", "washing_rain"), 20, 0.35),
        (("rain_after",), 19, None),  # too few to count
        ((), 20, None),
    ],
)
def test_a_future_washes_it_off_that_has_a_no_after_the_last_hour(
    criteria: tuple[str, ...], futures: int, washed: float | None
) -> None:
    rows = {n: np.ones((1 + futures, STOP)) for n in ("rain_after", "washing_rain")}
    rows["rain_after"][0, 11] = 0.0  # the forecast itself counts not
    rows["rain_after"][1:6, 11] = 0.0
    rows["rain_after"][6:9, 11] = 0.01  # hardly
    rows["rain_after"][9:12, 10] = 0.0  # while spraying went on
    rows["washing_rain"][4 : 9 if len(criteria) == 1 else 8, 11] = 0.0
    scores = {n: rows[n] for n in criteria}
    curves = dict.fromkeys(scores, GOOD["rain_after"])
    found = HourScores(context(), curves, dict.fromkeys(scores, 1.0), scores, scores)
    assert found.washed(Block(10, 12)) == washed
    if washed == 0.25:
        rows[criteria[0]][20, 11] = np.nan
        assert found.washed(Block(10, 12)) is None


def test_what_spoils_a_block_most_often_where_it_does_not_hold() -> None:
    """Of five futures the first holds; wind is worst in two of the others, rain in one."""
    wind, rain = np.full((6, STOP), 0.9), np.full((6, STOP), 0.8)
    wind[2:4], rain[4] = 0.25, 0.1
    wind[5] = math.nan  # cannot be told: no more than the rain is known to spoil it
    scores = made(context(), {"rain_after": rain, "wind": wind})
    assert scores.spoiler(Block(10, 13)) == ("rain_after", 2)
    wind[5] = 0.2
    scores = made(context(), {"rain_after": rain, "wind": wind})
    assert scores.spoiler(Block(10, 13)) == ("wind", 3)
    fair = made(context(), {"rain_after": rain[:2], "wind": wind[:2]})
    assert fair.spoiler(Block(10, 13)) == ("", 0)


# --- the judge ------------------------------------------------------------------------------------


def test_one_judge_grades_the_forecast_as_it_does_all_members() -> None:
    rng = np.random.default_rng(4)
    many = len(weather(HERE).hourly.times)
    wind = rng.uniform(1.0, 6.0, (3, many))
    ctx, purpose = context(futures=2, wind_m_s=wind), purpose_of("post-early")
    judge, block = Judge(ctx, past()), Block(34, 37)
    scores = judge.scores(purpose, purpose.generic)
    score, limit = judge.at(purpose, purpose.generic, block)
    assert score == pytest.approx(run_score(scores.score[0, block.hours], ctx.rule))
    assert limit == scores.judge(scores.limiting(block), block)
    assert list(scores.scores) == list(purpose.asked(purpose.generic))
    assert scores.score.shape == (3, many)
    calm = Judge(context(), past()).at(purpose, purpose.generic, Block(35, 37))
    assert calm[1] is None or calm[0] < 0.97


def test_a_judge_of_part_of_the_hours_takes_over_what_depends_on_days_alone() -> None:
    ctx, purpose = context(), purpose_of("post-early")
    judge = Judge(ctx, past())
    whole = judge.scores(purpose, purpose.generic)
    cut = 24 + ctx.lead  # from tomorrow on, with the hours before it
    part = replace(
        ctx, times=ctx.times[24:], local=ctx.local[24:], day=ctx.day[24:],
        hourly={n: v[..., 24:] for n, v in ctx.hourly.items()},
        grade={n: g[24:] for n, g in ctx.grade.items()},
    )  # fmt: skip
    hours = slice(24, None)
    assert len(part.times) == len(ctx.times) - cut + ctx.lead
    found = judge.on(part, hours)
    assert found.turf(purpose.generic) is judge.turf(purpose.generic)
    for of, later in ((found, whole.score[:, hours]), (judge.on(part), whole.score[:, hours])):
        scores = of.scores(purpose, purpose.generic)
        assert scores.score[0, 24:] == pytest.approx(later[0, 24:], nan_ok=True)
    # days alone tell of the turf's state, the hours of their own weather
    kept = {key[0] for key in judge.on(part, hours)._measured if isinstance(key, tuple)}
    assert {"turf_safety", "share_up"} <= kept
    assert not {"wind", "rain_after"} & kept
    assert judge.on(part)._measured == {}


def test_the_turf_is_asked_for_the_days_that_the_hours_reach_and_of_further_limits() -> None:
    ctx = context()
    spent = Limit("year", "no", say("limit.thin"), "season log", "simazine")
    needs = needs_of([active("simazine", 5), active("MSMA", 0)], "hybrid bermudagrass")
    judge = Judge(ctx, past(), further={"simazine": spent, "other": spent})
    answers = judge.turf(needs)
    reach = int(ctx.day[-1]) + 1
    assert len(answers) == reach < len(ctx.ahead.dates)
    assert all(answer.limits.count(spent) == 1 for answer in answers)
    assert len(Judge(ctx, past(), whole=True).turf(needs)) == len(ctx.ahead.dates)
    assert judge.turf(needs) is answers

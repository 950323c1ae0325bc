"""The hours of a past application beside those of its season: what is scored, compared, left out.

The weather is made up: fair, or drawn at random where a law must hold in any.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest
from spoken import render
from test_past_conditions import ACTIVES, POST, PRE, ZONE, context, days, sprayed
from windows_fixtures import site, state, weather

from windowcast.core.record import Grade
from windowcast.materials.needs import needs_of
from windowcast.records.model import Application
from windowcast.records.past_windows import PastSeason, SeasonWindow, block_of, with_entered
from windowcast.windows.hours import HourContext, hour_context
from windowcast.windows.model import PURPOSES
from windowcast.windows.score import Block


def at(day: int, hour: float) -> dt.datetime:
    """A time so many days after 16 Jan 2023."""
    return dt.datetime(2023, 1, 16, tzinfo=ZONE) + dt.timedelta(days=day, hours=hour)


def done(start: dt.datetime, end: dt.datetime | None, **more: Any) -> Application:
    return replace(sprayed("glyphosate", **more), start=start, end=end)


# ---- its hours -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("start", "end", "block"),
    [
        (at(0, 10), at(0, 12), Block(10, 12)),
        (at(0, 10.3), at(0, 12), Block(10, 12)),
        (at(0, 10.3), at(0, 12.02), Block(10, 13)),  # the hour it went on into counts
        (at(0, 10.9), at(0, 10.9), Block(10, 11)),
        (at(0, 10), at(0, 10), Block(10, 11)),  # one hour at the least
        (at(1, 0), at(1, 1), Block(24, 25)),
        (at(7, 23), at(8, 4), Block(191, 192)),  # as far as the hours go
        (at(8, 5), at(8, 6), Block(191, 192)),
        (at(-1, 23), at(0, 1), Block(0, 1)),
    ],
)
def test_the_hours_of_an_application_are_those_it_went_on_in(
    start: dt.datetime, end: dt.datetime, block: Block
) -> None:
    assert block_of(context(), done(start, end), context().rule) == block


def test_without_an_end_the_shortest_useful_window_is_taken() -> None:
    of = context()
    rule = replace(of.rule, shortest_h=3)
    assert block_of(of, done(at(1, 9), None), rule) == Block(33, 36)


# ---- how they do ---------------------------------------------------------------------------------


def window(day: int, first: int, last: int, score: float = 100.0) -> SeasonWindow:
    return SeasonWindow(at(day, first), at(day, last), score)


def test_in_a_fair_week_every_day_is_as_good() -> None:
    """The sun is up from 9 to 17 o'clock; what follows the last day nobody knows."""
    of = context(grade=Grade.OBSERVED)
    found = PastSeason(of).score(done(at(2, 10), at(2, 12)), POST, "dormant")
    assert (found.purpose, found.block) == ("dormant", (at(2, 10), at(2, 12)))
    assert (found.score, found.compared_score, found.verdict) == (100.0, 100.0, "fit")
    assert (found.limiting, found.left_out, render(found.grade)) == (None, (), "observed")
    assert {judged.verdict for judged in found.judged} == {"fit"}
    assert found.windows == tuple(window(day, 9, 17) for day in range(7))


def test_what_held_it_down_is_named() -> None:
    of = context(
        wind_m_s=np.where(np.arange(192) == 58, 9.0, 2.5)
    )  # at 10 o'clock of the third day
    found = PastSeason(of).score(done(at(2, 10), at(2, 12)), POST, "dormant")
    assert (found.score, found.compared_score, found.verdict) == (50.0, 50.0, "marginal")
    assert found.limiting is not None
    assert found.limiting.criterion == "wind"
    assert found.limiting in found.judged
    assert window(2, 11, 17) in found.windows
    assert len(found.windows) == 7
    whole = PastSeason(of).score(done(at(2, 10), at(2, 11)), POST, "dormant")
    assert (whole.score, whole.verdict) == (0.0, "unfit")


def test_an_hour_that_nobody_knows_gives_no_score_and_is_compared_without() -> None:
    of = context(wind_m_s=np.where(np.arange(192) == 58, np.nan, 2.5))
    found = PastSeason(of).score(done(at(2, 10), at(2, 12)), POST, "dormant")
    assert (found.score, found.compared_score, found.verdict) == (None, 100.0, "cannot tell")
    assert [render(label) for label in found.left_out] == ["wind", "inversion risk"]
    assert window(2, 9, 17) in found.windows  # the wind is left out there too
    other = PastSeason(of).score(done(at(3, 10), at(3, 12)), POST, "dormant")
    assert other.left_out == ()
    assert window(2, 11, 17) in other.windows  # where it is not known nothing is offered


@pytest.mark.parametrize(("unknown", "compared"), [(12, True), (13, False)])
def test_a_criterion_is_compared_where_four_fifths_of_the_hours_know_it(
    unknown: int, compared: bool
) -> None:
    """Of eight days with eight hours of sun, 64, a fifth is 12.8."""
    sunny = [24 * day + hour for day in range(1, 8) for hour in range(9, 17)]
    wind = np.full(192, 2.5)
    wind[sunny[:unknown]] = np.nan
    found = PastSeason(context(wind_m_s=wind)).score(done(at(0, 10), at(0, 12)), POST, "dormant")
    assert [render(label) for label in found.left_out] == (
        [] if compared else ["wind", "inversion risk"]
    )


def test_a_season_without_an_hour_for_it_offers_no_window_and_scores_all_that_is_known() -> None:
    found = PastSeason(context(wind_m_s=np.full(192, 9.0))).score(
        done(at(2, 10), at(2, 12)), POST, "dormant"
    )
    assert (found.windows, found.compared_score) == ((), 0.0)


# ---- in any weather ------------------------------------------------------------------------------


@cache
def drawn() -> PastSeason:
    """Twenty days of hours without any order."""
    chance, place = np.random.default_rng(5), site()
    count = 24 * 20
    values = {
        "temp_c": chance.uniform(3, 20, count), "wind_m_s": chance.uniform(0.5, 6, count),
        "gust_m_s": chance.uniform(2, 8, count), "dewpoint_c": chance.uniform(0, 8, count),
        "precip_mm": np.where(chance.random(count) < 0.01, 0.5, 0.0),
    }  # fmt: skip
    found = hour_context(place, state(), weather(place, days=20, **values))
    whole = {"tmax_c": days(20.0), "tmin_c": days(4.0), "precip_mm": days(0.0)}
    return PastSeason(replace(found, daily=whole))


def score(season: PastSeason, application: Application) -> Any:
    return season.score(application, POST, "dormant")


def test_who_sprays_in_a_window_of_the_season_has_its_score_and_the_best_stands_first() -> None:
    found = score(drawn(), done(at(2, 10), at(2, 12))).windows
    assert len(found) > 5
    assert [w.score for w in found] == sorted((w.score for w in found), reverse=True)
    assert len({w.start.date() for w in found}) == len(found)
    for one in found:
        in_it = score(drawn(), done(one.start, one.end))
        assert (in_it.compared_score, in_it.block) == (one.score, (one.start, one.end))
        assert in_it.windows == found  # the season is the same, whoever sprays


@pytest.mark.parametrize("day", [0, 1, 9, 18, 19])
@pytest.mark.parametrize("entered", [{"wind_m_s": 2.5}, {"temp_c": 14.0, "rh_pct": 60.0}])
def test_weather_that_was_entered_counts_as_if_the_record_had_it(
    day: int, entered: dict[str, float]
) -> None:
    plain = done(at(day, 11), at(day, 14))
    noted = replace(plain, **entered)
    season = drawn().context
    put_in = with_entered(season, noted, block_of(season, noted, season.rule))
    found = score(drawn(), noted)
    assert found == score(PastSeason(put_in), plain)
    assert found != score(drawn(), plain)


def test_a_season_like_another_has_its_own_hours_and_scores() -> None:
    fair = PastSeason(context())
    windy = context(wind_m_s=np.full(192, 9.0))
    spray = done(at(2, 10), at(2, 12))
    before = score(fair, spray)
    assert score(PastSeason(windy, fair), spray) == score(PastSeason(windy), spray)
    assert score(fair, spray) == before


# ---- what it may have been for -------------------------------------------------------------------


def likeliest(of: HourContext, needs: Any, *names: str) -> str:
    spray = done(at(2, 10), at(2, 12))
    return PastSeason(of).likeliest_purpose(spray, needs, names)  # type: ignore[arg-type]


def test_the_likeliest_purpose_is_the_one_whose_time_it_was() -> None:
    """In mid-January dormant turf with most weeds up is no place for an early post-emergent."""
    assert likeliest(context(), POST, *PURPOSES) == "dormant"
    young = context(of={"share": 0.5, "young": 1.0, "safe": 0.0})
    assert likeliest(young, needs_of([ACTIVES["foramsulfuron"]]), *PURPOSES) == "post-early"
    assert likeliest(context(), PRE, *PURPOSES) in ("pre-fall", "pre-spring")


def test_of_purposes_out_of_their_time_the_first_that_the_actives_serve_is_taken() -> None:
    summer = context()
    july = replace(summer, ahead=replace(summer.ahead, dates=summer.ahead.dates + 180))
    assert likeliest(july, POST, "pre-fall", "dormant", "post-early") == "dormant"
    assert likeliest(july, POST, "pre-fall", "post-early", "dormant") == "post-early"
    assert likeliest(july, POST, "pre-fall", "pre-spring") == "pre-fall"  # none does

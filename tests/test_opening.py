"""When a purpose opens and closes, over futures whose days are written down, and its timing.

Ten futures of twelve days, five of which have passed; the axis begins on the season's first day.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from windows_fixtures import past, site, state, weather

from windowcast.core.record import FloatArray
from windowcast.core.time_axis import first_day, last_day
from windowcast.core.values import PACKAGED
from windowcast.windows.odds import (
    DateRange,
    date_range,
    effective_members,
    normal_range,
    odds_of,
    worth_of,
)
from windowcast.windows.opening import Opening, when
from windowcast.windows.purposes import purpose_of
from windowcast.windows.running_season import RunningSeason
from windowcast.windows.season_axis import SeasonAxis, joined, on_ground
from windowcast.windows.timing import Timing, timing_of

START = dt.date(2022, 7, 1)
DAYS, GONE, FUTURES = 12, 5, 10
SPRING, POST = purpose_of("pre-spring"), purpose_of("post-early")
TABLES = PACKAGED.varied({"plan.opened_in": 0.9})
NAN = np.nan


def day(number: int) -> dt.date:
    return START + dt.timedelta(days=number)


def axis(**known: Any) -> Any:
    usual = {
        "dates": np.datetime64(START, "D") + np.arange(DAYS), "number": np.arange(float(DAYS)),
        "gone": GONE, "year_of": None, "start": START, "tables": TABLES,
    }  # fmt: skip
    return SimpleNamespace(**(usual | known))


def opening(score: Any, **known: Any) -> Opening:
    rows = np.asarray(score, dtype=np.float64)
    return Opening(site(), axis(**known), SPRING, SPRING.generic, rows)


def open_on(*spans: tuple[int, int]) -> FloatArray:
    """A score of 1 on the days ``first:stop`` of each future, 0 on the others."""
    rows = np.zeros((FUTURES, DAYS))
    for row, (first, stop) in zip(rows, spans, strict=True):
        row[first:stop] = 1.0
    return rows


def ends(found: DateRange | None) -> Any:
    return None if found is None else (found.early, found.median, found.late)


# --- over the futures -----------------------------------------------------------------------------


def test_a_day_is_open_from_the_mark_of_the_season_on_and_within_it() -> None:
    mark = SPRING.rule.season
    found = opening([[mark, mark - 0.01, NAN, 1.0]], number=np.array([0.0, 363.0, 364.0, 365.0]))
    assert found.is_open.tolist() == [[True, False, False]]
    assert found.unknown.tolist() == [[False, False, True]]


def test_first_and_last_days_over_the_futures() -> None:
    found = opening(open_on(*[(1 + n // 2, 7 + n // 2) for n in range(FUTURES)]))
    assert found.first.tolist() == [1, 1, 2, 2, 3, 3, 4, 4, 5, 5]
    assert found.last.tolist() == [6, 6, 7, 7, 8, 8, 9, 9, 10, 10]
    # the least of ten is the tenth, the fifth the middle, the ninth of ten nine in ten
    assert ends(found.opens) == (day(1), day(3), day(5))
    assert ends(found.closes) == (day(6), day(8), day(10))


@pytest.mark.parametrize(
    ("ahead", "opened"),
    [(1, 2), (2, None)],  # of ten futures one may have it still before it, not two
)
def test_it_has_opened_where_nine_futures_in_ten_have_it_behind_them(
    ahead: int, opened: int | None
) -> None:
    spans = [(2, 9)] * (FUTURES - ahead) + [(5, 9)] * ahead
    assert opening(open_on(*spans)).opened == (None if opened is None else day(opened))
    blind = open_on(*spans)
    blind[0] = NAN  # what is unknown agrees with nothing
    assert opening(blind).opened is None


def test_it_has_closed_where_all_futures_have_it_behind_them() -> None:
    spans = [(0, 4)] * FUTURES
    assert opening(open_on(*spans)).closed == day(3)
    assert opening(open_on(*spans[1:], (0, 6))).closed is None
    assert opening(open_on(*[(0, 5)] * FUTURES)).closed == day(4)  # yesterday


def test_when_it_is_next_open_from_today_on() -> None:
    found = opening(open_on(*[(0, 3)] * FUTURES) + open_on(*[(6 + n // 5, 9) for n in range(10)]))
    assert ends(found.again) == (day(6), day(6), day(7))
    assert ends(opening(open_on(*[(0, 3)] * FUTURES)).again) == (None, None, None)


def test_what_most_futures_end_with_open_has_no_last_day() -> None:
    for still, told in ((5, True), (6, False)):
        spans = [(2, DAYS)] * still + [(2, 8)] * (FUTURES - still)
        assert (opening(open_on(*spans)).closes is not None) is told


def test_the_last_open_day_of_those_past() -> None:
    rows = open_on(*[(0, 3)] * FUTURES)
    assert opening(rows).last_open() == day(2)
    rows[:, 4] = NAN  # a later day that cannot be told, after one that was known to be shut
    assert opening(rows).last_open() == day(2)
    rows[:, 3] = NAN
    assert opening(rows).last_open() is None
    assert opening(rows).last_open(sure=False) == day(2)
    assert opening(np.zeros((FUTURES, DAYS))).last_open() is None
    assert opening(rows, gone=0).last_open() is None
    assert opening(open_on(*[(5, 9)] * FUTURES)).last_open() is None  # today is not past


@pytest.mark.parametrize(
    ("holds", "unknown", "first", "last"),
    [
        ("..##..", "......", 2, 3),
        ("......", "......", np.inf, np.inf),
        ("......", "?.....", NAN, NAN),
        ("..##..", "?....?", 2, 3),  # what is unknown elsewhere is no open day
        ("..##..", "....?.", 2, NAN),  # may have been open on
        ("..#..#", "...?..", 2, 5),
        ("....##", "......", 4, 5),
    ],
)
def test_unknown_days_count_only_where_none_is_known_to_be_open(
    holds: str, unknown: str, first: float, last: float
) -> None:
    known = np.array([[mark == "#" for mark in holds]])
    blind = np.array([[mark == "?" for mark in unknown]])
    found = when(first_day, known, blind), when(last_day, known, blind)
    assert np.array_equal([one[0] for one in found], [first, last], equal_nan=True)


def test_an_opening_on_the_first_day_that_the_months_allow_is_marked() -> None:
    # the spring purpose opens with its months on the day after 194.5 days of the season
    first = START + dt.timedelta(days=195)
    spring = opening(np.zeros((1, DAYS)))
    for n, by_calendar in ((0, True), (1, False)):
        found = DateRange(first, first + dt.timedelta(days=n), None, 0.1, 0.2, 30)
        known = spring.marked(found)
        assert known == replace(found, by_calendar=by_calendar)
    blind = DateRange(first, None, None, 0.1, 0.2, 30)
    assert spring.marked(blind) == blind


def test_the_usual_day_is_of_this_season_until_it_has_passed() -> None:
    rows = [(START, float(n), float(n + 20)) for n in (3, 5, 8)]
    found = opening(np.zeros((1, DAYS)))
    found.__dict__["past_years"] = rows
    assert ends(found.normal_opens(START)) == (day(3), day(5), day(8))
    assert ends(found.normal_closes(START)) == (day(23), day(25), day(28))
    assert ends(found.usual) == (day(3), day(5), day(8))  # today is day 5
    found.__dict__["past_years"] = [(START, 4.0, 9.0)] * 3
    again = START.replace(year=2023) + dt.timedelta(days=4)
    assert ends(found.usual) == (again,) * 3
    found.__dict__["past_years"] = []
    assert found.usual is None


def test_openings_of_past_seasons_by_their_own_days() -> None:
    """Two seasons on record, of which the first is known from its fourth day on."""
    dates = np.datetime64("2019-07-04") + np.arange(365 - 3 + 366)
    timed = replace(SPRING, timing=("soil_week",))
    soil = np.full(len(dates), 40.0)  # shut: too warm
    soil[100:111] = 5.0  # days 97 to 107 of the first, by the mean of a week
    base = past(dt.date(2022, 7, 1), len(dates), soil_c=20.0)
    known = replace(base, dates=dates, soil_5cm_c=soil)
    made: Any = axis(past=known)
    made.past_seasons = lambda southern: iter(
        [(dt.date(2019, 7, 1), slice(0, 362)), (dt.date(2020, 7, 1), slice(362, 728))]
    )
    grade = timed.grade("soil_week", timed.generic)
    week = np.convolve(soil, np.full(7, 1 / 7))[: len(dates)]
    open_days = np.flatnonzero(grade(week[:362]) >= timed.rule.season)
    open_days = open_days[open_days >= 6]  # a week's mean needs a week
    found = Opening(site(), made, timed, timed.generic, np.zeros((1, DAYS))).past_years
    assert [start for start, *_ in found] == [dt.date(2019, 7, 1), dt.date(2020, 7, 1)]
    assert found[0][1:] == (open_days[0] + 3, open_days[-1] + 3)
    made.past_seasons = lambda southern: iter(())
    assert Opening(site(), made, timed, timed.generic, np.zeros((1, DAYS))).past_years == []


# --- the timing -----------------------------------------------------------------------------------


def timing(**known: Any) -> Timing:
    usual: dict[str, Any] = {
        "grades": {}, "measured": {}, "in_season": False, "season_end": dt.date(2023, 6, 30),
        "opened": None, "closed": None, "closed_sure": True, "opens": None, "closes": None,
        "usual": None,
    }  # fmt: skip
    return Timing(**(usual | known))


def dates(middle: dt.date | None) -> DateRange:
    return DateRange(middle, middle, middle, 0.0, 0.0, 30)


NEVER = dates(None)


@pytest.mark.parametrize(
    ("known", "opening_", "closing"),
    [
        ({}, None, None),
        ({"opens": dates(day(7))}, day(7), None),
        ({"usual": dates(day(9))}, day(9), None),
        ({"opens": dates(day(7)), "usual": dates(day(9))}, day(7), None),
        ({"opens": NEVER, "usual": dates(day(9))}, None, None),  # not this season any more
        ({"opens": NEVER, "closed": day(1), "usual": dates(day(9))}, day(9), None),
        ({"opens": NEVER, "usual": dates(dt.date(2023, 7, 1))}, dt.date(2023, 7, 1), None),
        ({"opens": NEVER, "usual": dates(dt.date(2023, 6, 30))}, None, None),
        ({"in_season": True, "opened": day(1), "opens": dates(day(7)), "closes": dates(day(30))},
         day(1), day(30)),
        ({"in_season": True, "opens": dates(day(7))}, day(7), None),
        ({"in_season": True, "usual": dates(day(9)), "closes": NEVER}, None, None),
        ({"closes": dates(day(30))}, None, None),
    ],
)  # fmt: skip
def test_the_dates_to_name(
    known: dict[str, Any], opening_: dt.date | None, closing: dt.date | None
) -> None:
    found = timing(**known)
    assert (found.opening, found.closing) == (opening_, closing)


@pytest.mark.parametrize(
    ("again", "paused"),
    [(None, False), (dates(None), False), (dates(dt.date(2023, 6, 30)), True),
     (dates(dt.date(2023, 7, 1)), False)],
)  # fmt: skip
def test_it_pauses_where_it_opens_again_before_the_season_ends(
    again: DateRange | None, paused: bool
) -> None:
    assert timing(closed=day(3), opens=again).paused is paused
    assert not timing(opens=again).paused


def running(**known: Any) -> RunningSeason:
    ahead, before = state(**known), past(**known)
    return RunningSeason.of(site(), before, ahead, weather(site()), tables=TABLES)


def test_a_purpose_is_in_season_where_one_of_the_days_ranked_may_be() -> None:
    """Weeds enough are up from the ninth day on; ten days are ranked, or eight."""
    share = np.full(30, 0.0)
    share[8:] = 0.9
    ahead = state()
    weed = ahead.emergence["POAAN"]
    ahead = replace(ahead, emergence={"POAAN": replace(weed, share=share)})
    before = past(share=0.0)
    before = replace(before, emergence={"POAAN": before.emergence["POAAN"]})
    whole = RunningSeason.of(site(), before, ahead, weather(site()), tables=TABLES)
    for days, told in ((9, True), (8, False)):
        found = timing_of(POST, POST.generic, running=whole, days=days)
        assert found.in_season is told
        assert set(found.grades) == set(found.measured) == set(POST.timing)
        assert found.season_end == dt.date(2023, 6, 30)
        assert (found.opened, found.closed, found.closed_sure) == (None, None, True)
    share[:8] = NAN
    assert timing_of(POST, POST.generic, running=whole, days=8).in_season


@pytest.mark.parametrize("now", [25, 40])
def test_what_opens_today_has_not_opened_before(now: int) -> None:
    """Of forty futures so many have enough weeds from today on, the others in three days."""
    share = np.zeros((41, 30))
    share[:, 3:] = share[1 : 1 + now] = 0.9
    ahead, before = state(), past(share=0.0)
    ahead = replace(ahead, emergence={"POAAN": replace(ahead.emergence["POAAN"], share=share)})
    before = replace(before, emergence={"POAAN": before.emergence["POAAN"]})
    whole = RunningSeason.of(site(), before, ahead, weather(site(), futures=40), tables=TABLES)
    found = timing_of(POST, POST.generic, running=whole, days=6)
    assert (found.in_season, found.opened) == (True, None)
    assert found.opening == dt.date(2023, 1, 16)


def test_what_has_passed_is_told_by_the_days_since_it() -> None:
    now = timing_of(POST, POST.generic, running=running(share=0.9), days=6)
    assert now.in_season
    assert now.opened == dt.date(2022, 11, 17)  # the first day on record
    assert now.closed is None
    after = past(share=0.9)
    ahead = state(share=0.0)
    spent = RunningSeason.of(site(), after, ahead, weather(site()), tables=TABLES)
    found = timing_of(POST, POST.generic, running=spent, days=6)
    assert not found.in_season
    assert (found.opened, found.closed) == (dt.date(2022, 11, 17), dt.date(2023, 1, 15))
    assert found.closed_sure
    assert found.opens is not None  # again, from today on: in no future
    assert found.opens.median is None


# --- the axis -------------------------------------------------------------------------------------


def test_the_past_stands_before_each_future_and_the_forecast_is_left_out() -> None:
    before, rows = np.array([1.0, 2.0, 3.0]), np.array([[9.0, 9.0], [4.0, 5.0], [6.0, 7.0]])
    assert joined(before, rows, 2).tolist() == [[2, 3, 4, 5], [2, 3, 6, 7]]
    assert joined(before, rows[0], 3).tolist() == [[1, 2, 3, 9, 9]]
    assert joined(before, rows[:1], 0).tolist() == [[9, 9]]


def test_the_axis_runs_from_the_seasons_first_day_on_record() -> None:
    today = dt.date(2022, 7, 4)
    ahead, before = state(today, 5), past(today, 10)
    found = SeasonAxis.of(before, ahead, southern=False, overseeded=False)
    assert (found.start, found.gone) == (START, 3)
    assert found.dates.tolist() == [day(n) for n in range(8)]
    assert found.number.tolist() == list(range(8))
    short = SeasonAxis.of(past(today, 2), ahead, southern=False, overseeded=False)
    assert (short.gone, short.number[0]) == (2, 1.0)
    south = SeasonAxis.of(before, ahead, southern=True, overseeded=False)
    assert (south.start, south.gone, south.number[0]) == (dt.date(2022, 1, 1), 10, 174.0)
    members = np.array([[9.0] * 5, [8.0] * 5])
    record: Any = SimpleNamespace(
        times=before.dates[0] - 1 + np.arange(30), get=lambda name: np.arange(30.0)
    )
    # the record begins a day before the past: its twelfth value is of the day before today
    assert found.daily(record, "precip_mm", members).tolist() == [[8, 9, 10, 8, 8, 8, 8, 8]]


@pytest.mark.parametrize("southern", [False, True])
def test_whole_seasons_of_the_past_and_no_more_than_a_normal_rests_on(southern: bool) -> None:
    first = dt.date(2017, 7, 3) if not southern else dt.date(2017, 1, 3)
    start = first.replace(day=1)  # each season but the first is on record from its first day
    today = dt.date(2021, 8, 1) if not southern else dt.date(2021, 2, 1)
    before = past(today, (today - first).days)
    known = SeasonAxis.of(before, state(today, 5), southern=southern, overseeded=False)
    starts = [start.replace(year=year) for year in range(2017, 2021)]
    found = list(known.past_seasons(southern=southern))
    assert [begin for begin, _ in found] == starts
    assert [before.dates[part.start].astype(object) for _, part in found] == [first, *starts[1:]]
    assert [before.dates[part.stop].astype(object) for _, part in found] == [
        *starts[1:], start.replace(year=2021),
    ]  # fmt: skip
    late = past(today, (today - first).days - 4)  # 359 days are no whole season
    cut = SeasonAxis.of(late, state(today, 5), southern=southern, overseeded=False)
    assert [begin for begin, _ in cut.past_seasons(southern=southern)] == starts[1:]
    two = PACKAGED.varied({"criteria.rule.normal_years": 2})
    recent = replace(known, tables=two)
    assert [begin for begin, _ in recent.past_seasons(southern=southern)] == starts[2:]


@pytest.mark.parametrize(
    ("overseeded", "safe", "injury"),
    [(False, [1.0, 0.0, NAN], [0.25, 0.5, 0.75]), (None, [NAN, 0.0, NAN], [0.25, 0.5, 0.75]),
     (True, [0.0, 0.0, 0.0], [1.0, 1.0, 1.0])],
)  # fmt: skip
def test_turf_into_which_a_grass_was_sown_is_never_safe(
    overseeded: bool | None, safe: list[float], injury: list[float]
) -> None:
    turf = replace(
        state(days=3).turf, nonselective_safe=np.array([1.0, 0.0, NAN]),
        injury_probability=np.array([0.25, 0.5, 0.75]),
    )  # fmt: skip
    found = on_ground(turf, overseeded)
    assert np.array_equal(found.nonselective_safe, safe, equal_nan=True)
    assert found.injury_probability.tolist() == injury


# --- odds and dates by hand -----------------------------------------------------------------------

AXIS = np.datetime64(START, "D") + np.arange(400)


def test_members_of_few_years_count_by_the_harmonic_mean() -> None:
    """2 / (1/100 + 1/10) = 18.18."""
    assert effective_members(100, 10, "forecast") == 100.0
    assert effective_members(100, 10, "past years") == 10.0
    assert effective_members(100, 10, "forecast and past years") == pytest.approx(200 / 11)
    assert effective_members(5, 10, "past years") == 5.0
    assert effective_members(100, 0, "past years") == 1.0


def test_odds_from_yes_no_and_cannot_tell() -> None:
    found = odds_of(np.array([1.0, 0.0, NAN, 1.0]), "forecast")
    assert found is not None
    assert (found.share, found.members, found.basis) == (0.5, 4, "forecast")
    # Wilson's interval of 2 of 4, and with the unknown of 3 of 4, at 80 %: z = 1.2816
    z2 = 1.2815515655446004**2

    def end(share: float, sign: int) -> float:
        half = float(np.sqrt(z2 * (share * (1 - share) / 4 + z2 / 64)))
        return (share + z2 / 8 + sign * half) / (1 + z2 / 4)

    assert found.low == pytest.approx(end(0.5, -1))
    assert found.high == pytest.approx(end(0.75, 1))
    years = odds_of(np.array([1.0, 0.0] * 20), "past years", 4)
    whole = odds_of(np.array([1.0, 0.0] * 2), "past years")
    assert years is not None
    assert whole is not None
    assert (years.low, years.high) == pytest.approx((whole.low, whole.high))
    assert odds_of(np.array([NAN]), "forecast") is None
    sure = odds_of(np.ones(3), "forecast")
    assert sure is not None
    assert (sure.share, sure.high) == (1.0, 1.0)


@pytest.mark.parametrize(
    ("index", "ends_", "never", "unknown"),
    [
        (range(1, 11), (1, 5, 9), 0.0, 0.0),
        ([*range(1, 9), np.inf, np.inf], (1, 5, None), 0.2, 0.0),
        ([3.0], (3, 3, 3), 0.0, 0.0),
        ([1.0, 2.0, NAN, NAN], (1, 1, 2), 0.0, 0.5),
        ([5.0, np.inf, np.inf], (5, None, None), 2 / 3, 0.0),
    ],
)
def test_dates_of_the_tenth_the_middle_and_nine_in_ten(
    index: Any, ends_: Any, never: float, unknown: float
) -> None:
    found = date_range(np.array([*index], dtype=np.float64), AXIS)
    assert found is not None
    assert ends(found) == tuple(None if n is None else day(n) for n in ends_)
    assert (found.never, found.unknown, found.count) == (never, unknown, len([*index]))


def test_more_than_half_unknown_is_no_date() -> None:
    assert date_range(np.array([1.0, NAN, NAN]), AXIS) is None
    assert normal_range(np.array([]), START) is None
    assert ends(normal_range(np.array([10.0, 20.0, 399.0]), START)) == (day(10), day(20), day(399))


def test_few_years_widen_the_range_to_the_plotting_positions() -> None:
    """Ten years of two members alike are worth ten draws."""
    year_of = np.repeat(np.arange(10), 2)
    index = np.array([10.0 * year for year in year_of])
    assert worth_of(index, year_of) == 10.0
    # at 0.1 - 0.4 / 10 = 0.06 of twenty the second, at 0.94 the nineteenth: the outer years
    assert ends(date_range(index, AXIS, year_of)) == (day(0), day(40), day(90))
    assert ends(date_range(index, AXIS)) == (day(0), day(40), day(80))
    none = np.full(4, NAN)
    assert worth_of(none, np.arange(4)) == 1.0
    assert worth_of(np.array([1.0, 2.0, NAN]), np.zeros(3, dtype=int)) == 1.0
    # two years of two: means 2 and 6, variance of the mean (8 / 2), of the members 5: 5 / 4 → 2
    assert worth_of(np.array([1.0, 3.0, 5.0, 7.0]), np.array([0, 0, 1, 1])) == 2.0
    # means 3 and 5, variance of the mean 1, of the members 5: worth 5, at most the four there are
    assert worth_of(np.array([1.0, 5.0, 3.0, 7.0]), np.array([0, 0, 1, 1])) == 4.0
    assert worth_of(np.array([4.0, 4.0]), np.array([0, 1])) == 2.0

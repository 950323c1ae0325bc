"""What the state of the turf and a look into the canopy say, in full, on futures made up by hand.

Twenty futures, so that each is worth the 5 % that `limit_values.TURF` allows to be hurt.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from limit_values import LIMITS, MEMORY, TURF, entry
from spoken import ordered
from windows_fixtures import state

from windowcast.core.phrase import NOTHING, Name, Phrase, Share, say
from windowcast.core.values import Value
from windowcast.limits.model import Limit
from windowcast.limits.treatment import Treatment
from windowcast.limits.turf_days import StateRule, TurfDays
from windowcast.season.model import TurfPhase
from windowcast.season.sightings import CanopyLook

BERMUDA, CENTIPEDE, ZOYSIA = "hybrid bermudagrass", "centipedegrass", "zoysiagrass"
JAN = dt.date(2027, 1, 10)
FUTURES = 20
WHAT = Name("glyphosate")
ON_LABEL = say("limit.on_label")
GROWING, HARDENING, DORMANT, GREENING, UNKNOWN = (
    TurfPhase.GROWING, TurfPhase.HARDENING, TurfPhase.DORMANT, TurfPhase.GREENING,
    TurfPhase.UNKNOWN,
)  # fmt: skip
POST = Treatment("glyphosate", pre=False, post=True, nonselective=True, turf=entry("dormant"))
PRE = replace(POST, pre=True, post=False)
GROWTH = replace(POST, post=False)


def shares(*of_day: dict[TurfPhase, int]) -> np.ndarray:
    """Phases ``[future, day]``: on each day so many of the futures in each phase."""
    columns = []
    for phases in of_day:
        assert sum(phases.values()) == FUTURES
        columns.append([int(phase) for phase, count in phases.items() for _ in range(count)])
    return np.array(columns, dtype=np.float64).T


def days_of(*of_day: dict[TurfPhase, int], **known: Any) -> TurfDays:
    phase = shares(*of_day)
    count = phase.shape[1]
    made = {
        "safe": (phase == DORMANT).astype(float), "injury": (phase != DORMANT).astype(float),
        "begun": np.zeros(count), "dormant": np.full(count, np.nan), "leaf": np.full(count, np.nan),
    } | known  # fmt: skip
    dates = np.datetime64(JAN, "D") + np.arange(count)
    return TurfDays(dates, phase, **made)


def said(
    days: TurfDays, treatment: Treatment, *, species: str = BERMUDA, count: int = 1
) -> list[Limit]:
    return StateRule(treatment, species, days, LIMITS, TURF).limits(count)


def limit(
    answer: Any,
    reason: Phrase,
    source: str,
    *,
    until: dt.date | None = None,
    remedy: Phrase = NOTHING,
    harm: float | None = None,
) -> Limit:
    return Limit("state of the turf", answer, reason, source, "glyphosate", until, remedy, harm)


def safe_in(value: str, treatment: Treatment = POST, **about: Any) -> Treatment:
    return replace(treatment, turf=entry(value, **about))


ALL = FUTURES
TAKES, ITS = say("limit.state_takes"), "published: a trial"
UNTOLD = limit("cannot tell", say("limit.state_unknown"), ITS, remedy=say("limit.look_and_log"))
TOO_GREEN, UP = say("limit.too_green", what=WHAT), say("limit.greening_up")
UP_HURTS = say("limit.greening_up_hurts", what=WHAT)
DULL = say("limit.not_surely_dormant", what=WHAT)


@pytest.mark.parametrize(
    ("treatment", "phases", "expected"),
    [
        # safe on green turf: only turf that is greening up may say otherwise
        (safe_in("green"), {GROWING: ALL}, limit("yes", TAKES, ITS, harm=0.0)),
        (safe_in("green"), {UNKNOWN: 1, GROWING: 19}, limit("yes", TAKES, ITS, harm=0.0)),
        (safe_in("green"), {UNKNOWN: 2, GROWING: 18}, UNTOLD),
        (safe_in("green"), {UNKNOWN: 1, GREENING: 1, GROWING: 18}, UNTOLD),
        (safe_in("green"), {GREENING: 1, GROWING: 19}, limit("yes", TAKES, ITS, harm=0.05)),
        (safe_in("green"), {GREENING: 2, GROWING: 18},
         limit("no", UP, "published: green-up, post", harm=0.1)),
        (safe_in("green", PRE), {GREENING: ALL},
         limit("yes", TAKES, "published: green-up, bermuda", harm=0.0)),
        (safe_in("green", PRE), {UNKNOWN: ALL}, limit("yes", TAKES, ITS, harm=0.0)),
        (safe_in("green", GROWTH), {GREENING: 1, GROWING: 19},
         limit("yes", TAKES, ITS, harm=0.0)),
        (safe_in("green", GROWTH), {GREENING: 2, GROWING: 18},
         limit("cannot tell", UP, "published: green-up, slow", remedy=ON_LABEL)),
        (safe_in("green", GROWTH), {UNKNOWN: 2, GROWING: 18}, UNTOLD),
        # safe once growth has slowed
        (safe_in("semi-dormant"), {HARDENING: 10, DORMANT: 10}, limit("yes", TAKES, ITS, harm=0.0)),
        (safe_in("semi-dormant"), {GROWING: 1, DORMANT: 19}, limit("yes", TAKES, ITS, harm=0.05)),
        (safe_in("semi-dormant"), {GROWING: 2, DORMANT: 18}, limit("no", TOO_GREEN, ITS, harm=0.1)),
        (safe_in("semi-dormant"), {GREENING: 2, DORMANT: 18}, limit("no", UP_HURTS, ITS, harm=0.1)),
        (safe_in("semi-dormant"), {GREENING: 1, GROWING: 1, DORMANT: 18},
         limit("no", TOO_GREEN, ITS, harm=0.1)),
        (safe_in("semi-dormant"), {UNKNOWN: 2, DORMANT: 18}, UNTOLD),
        (safe_in("semi-dormant"), {UNKNOWN: 1, GROWING: 1, DORMANT: 18}, UNTOLD),
        # safe on dormant turf
        (POST, {DORMANT: ALL}, limit("yes", say("limit.dormant"), ITS, harm=0.0)),
        (POST, {DORMANT: 19, HARDENING: 1}, limit("yes", say("limit.dormant"), ITS, harm=0.05)),
        (POST, {DORMANT: 18, HARDENING: 2}, limit("no", DULL, ITS, harm=0.1)),
        (POST, {DORMANT: 18, GREENING: 2}, limit("no", UP_HURTS, ITS, harm=0.1)),
        # in no state, however dormant
        (safe_in("never"), {DORMANT: ALL},
         limit("no", say("limit.never_on_species", what=WHAT, species=Name(BERMUDA)), ITS,
               harm=1.0)),
        # what is only remembered forbids and permits nothing
        (safe_in("semi-dormant", source="book", status=MEMORY), {GROWING: ALL},
         limit("no", TOO_GREEN, "from memory: book", harm=1.0)),
        (safe_in("semi-dormant", source="book", status=MEMORY), {DORMANT: ALL},
         limit("cannot tell", say("limit.no_source", species=Name(BERMUDA), what=WHAT),
               "from memory: book", remedy=ON_LABEL)),
        (replace(POST, turf=None), {DORMANT: ALL},
         limit("cannot tell", say("limit.no_source", species=Name(BERMUDA), what=WHAT),
               "no source", remedy=ON_LABEL)),
    ],
)  # fmt: skip
def test_the_state_of_the_turf(
    treatment: Treatment, phases: dict[TurfPhase, int], expected: Limit
) -> None:
    assert ordered(said(days_of(phases), treatment)) == ordered([expected])


@pytest.mark.parametrize(
    ("species", "source"),
    [
        (CENTIPEDE, "published: green-up, centipede"),
        ("buffalograss", "no source for this species in green-up"),
    ],
)
def test_a_pre_emergent_in_green_up_by_grass(species: str, source: str) -> None:
    found = said(days_of({GREENING: ALL}), safe_in("green", PRE), species=species)
    expected = limit("cannot tell", UP, source, remedy=ON_LABEL)
    assert ordered(found) == ordered([expected])


def test_a_no_says_until_when_and_how_dormant_it_is() -> None:
    """Safe on days 2 and 4 of five, on the last just so: the first safe day after each no."""
    injury = np.zeros((FUTURES, 5))
    injury[:, [0, 1, 3]] = 0.25
    injury[0, 4] = 1.0  # one future of twenty
    dormant = np.array([0.75, np.nan, 0.8, 0.9, 1.0])
    days = days_of(*[{DORMANT: ALL}] * 5, injury=injury, dormant=dormant)
    found = said(days, POST, count=4)
    yet = [say("limit.not_yet_safe", dormant=Share(share), what=WHAT) for share in (0.75, 0.9)]
    expected = [
        limit("no", yet[0], ITS, until=JAN + dt.timedelta(2), harm=0.25),
        limit("no", DULL, ITS, until=JAN + dt.timedelta(2), harm=0.25),
        limit("yes", say("limit.dormant"), ITS, harm=0.0),
        limit("no", yet[1], ITS, until=JAN + dt.timedelta(4), harm=0.25),
    ]
    assert ordered(found) == ordered(expected)
    # without a safe day ahead its dormancy is no comfort
    (last,) = said(replace(days, injury=np.ones((FUTURES, 5))), POST)
    assert ordered(last) == ordered(limit("no", DULL, ITS, harm=1.0))


def test_bare_turf_is_refused_for_the_leaf_that_may_come() -> None:
    """Bare up to the cap of 1 in 20 on the day itself; green-up under way says so all the same."""
    injury, come = np.full((FUTURES, 4), 0.25), say("limit.leaf_may_come", days=9, what=WHAT)
    leaf = np.array([0.0, 0.05, 0.06, np.nan])
    found = said(days_of(*[{DORMANT: ALL}] * 4, injury=injury, leaf=leaf), POST, count=4)
    assert [one.reason for one in found] == [come, come, DULL, DULL]
    assert {(one.answer, one.remedy) for one in found} == {("no", NOTHING)}
    greening = days_of({DORMANT: 18, GREENING: 2}, injury=injury[:, :1], leaf=leaf[:1])
    (begun,) = said(greening, POST)
    assert begun.reason == say("limit.greening_up_hurts", what=WHAT)


def test_what_is_not_known_of_dormancy_is_added_to_what_is_hurt() -> None:
    safe, injury = np.ones((FUTURES, 1)), np.zeros((FUTURES, 1))
    injury[0] = np.nan
    for unknown, answer in ((1, "yes"), (2, "cannot tell")):
        safe[:unknown] = np.nan
        (found,) = said(days_of({DORMANT: ALL}, safe=safe, injury=injury), POST)
        assert found.answer == answer
    assert ordered(found) == ordered(UNTOLD)


def test_the_forecast_as_issued_is_left_out_where_there_are_futures() -> None:
    base = state(JAN, 2)
    rows = np.array([[1.0, 1.0], [0.0, 0.25], [0.0, 0.75]])
    turf = replace(
        base.turf,
        phase=np.array([[0, 0], [2, 2], [1, 3]], dtype=np.int8),
        nonselective_safe=rows, injury_probability=rows, greening_begun=rows,
        dormant_probability=1 - rows, green_probability=rows / 2,
    )  # fmt: skip
    look = CanopyLook(JAN, live_shoots=True)
    days = TurfDays.of(replace(base, turf=turf), [look])
    assert days.dates.tolist() == [JAN, JAN + dt.timedelta(1)]
    assert days.phase.tolist() == [[2, 2], [1, 3]]
    assert days.safe.tolist() == days.injury.tolist() == rows[1:].tolist()
    assert days.begun.tolist() == [0.0, 0.5]
    assert days.dormant.tolist() == [1.0, 0.5]
    assert days.leaf.tolist() == [0.0, 0.25]
    assert days.looks == (look,)
    alone = TurfDays.of(base)
    assert alone.phase.shape == (1, 2)
    assert alone.begun.tolist() == [0.0, 0.0]
    assert alone.looks == ()


# --- looks into the canopy ------------------------------------------------------------------------


def seen(ago: int, *, live: bool) -> CanopyLook:
    return CanopyLook(JAN - dt.timedelta(ago), live)


def asked(
    *looks: CanopyLook, begun: float = 0.0, species: str = BERMUDA, turf: Value | None = POST.turf
) -> Limit | None:
    days = days_of({DORMANT: ALL}, begun=np.array([begun]), looks=looks)
    (found,) = StateRule(replace(POST, turf=turf), species, days, LIMITS, TURF).looks(1)
    return found


def look_says(answer: Any, reason: Phrase, source: str, remedy: Phrase = NOTHING) -> Limit:
    return Limit("canopy look", answer, reason, source, "glyphosate", remedy=remedy)


def maybe(source: str) -> Limit:
    part = say("limit.part_canopy")
    return look_says("cannot tell", say("limit.live_shoots_maybe"), source, part)


LIVE = [
    look_says("no", say("limit.live_shoots_seen", day=seen(ago, live=True).date), "season log")
    for ago in range(151)
]
CLEAR = [
    look_says("yes", say("limit.no_live_shoots", day=seen(ago, live=False).date), "season log")
    for ago in range(8)
]


def test_a_look_is_asked_for_from_the_first_chance_of_green_up_on() -> None:
    assert asked(begun=0.09) is None
    assert asked(begun=0.1) == maybe("published: begun")
    assert asked(begun=float("nan")) == maybe("published: begun")
    assert asked(begun=0.1, turf=entry("green")) is None  # is safe on live shoots too
    assert asked(begun=0.1, turf=None) is None
    assert asked(species=ZOYSIA) == maybe("published: live straw")


def test_a_look_that_found_nothing_holds_for_a_week_and_live_shoots_for_a_winter() -> None:
    for ago in (0, 7):
        assert asked(seen(ago, live=False), begun=1.0) == CLEAR[ago]
    for ago in (8, -1):
        assert asked(seen(ago, live=False), begun=1.0) == maybe("published: begun")
    for ago in (0, 30, 149):
        assert asked(seen(ago, live=True)) == LIVE[ago]  # also where nobody had to look
    assert asked(seen(150, live=True)) is None
    assert asked(seen(150, live=True), begun=1.0) == maybe("published: begun")


def test_the_latest_look_counts_and_of_one_day_the_one_that_found_something() -> None:
    assert asked(seen(5, live=True), seen(2, live=False), begun=1.0) == CLEAR[2]
    assert asked(seen(2, live=True), seen(5, live=False), begun=1.0) == LIVE[2]
    assert asked(seen(2, live=True), seen(2, live=False), begun=1.0) == LIVE[2]
    assert asked(seen(2, live=False), seen(2, live=True), begun=1.0) == LIVE[2]
    assert asked(seen(3, live=True), seen(-1, live=False), begun=1.0) == LIVE[3]


def test_each_day_is_asked_by_its_own_date() -> None:
    days = days_of(*[{DORMANT: ALL}] * 3, begun=np.array([0.0, 1.0, 1.0]))
    days = replace(days, looks=(seen(6, live=False),))
    rule = StateRule(POST, BERMUDA, days, LIMITS, TURF)
    assert rule.looks(3) == [None, CLEAR[6], maybe("published: begun")]
    assert rule.looks(1) == [None]

"""What each rule on ground and date says, in full: answer, reason, source, until when, remedy.

The days are worked out by hand on made-up intervals (`limit_values`), so that a case can be checked
by reading it.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

import pytest
from limit_values import LIMITS, MEMORY, entry
from spoken import ordered

from windowcast.core.phrase import NOTHING, Name, Phrase, Quantity, say
from windowcast.core.values import Value
from windowcast.limits.ground import Ground
from windowcast.limits.model import Limit
from windowcast.limits.rules import (
    in_any_state,
    limits_on,
    new_turf,
    overseeding,
    species,
    time_of_year,
)
from windowcast.limits.treatment import Treatment

pytestmark = pytest.mark.usefixtures("limits_said")
BERMUDA, RYE = "hybrid bermudagrass", "perennial ryegrass"
NAME = "prodiamine"
WHAT = Name(NAME)
NOV = dt.date(2026, 11, 10)
ON_LABEL = say("limit.on_label")
SITE = "site file"
KILLS = "derived: what kills all green leaf kills a green stand"
PRE = Treatment(NAME, pre=True, post=False, nonselective=False, prunes_roots=entry(False))
POST = Treatment(NAME, pre=False, post=True, nonselective=False)
NON = replace(POST, nonselective=True)
GROWTH = replace(POST, post=False)
ROOTS = replace(PRE, prunes_roots=entry(True))


def days(number: float) -> Quantity:
    return Quantity(float(number), "d")


def later(days: int, of: dt.date = NOV) -> dt.date:
    return of + dt.timedelta(days)


def limit(
    rule: str,
    answer: Any,
    reason: Phrase,
    source: str = SITE,
    *,
    until: dt.date | None = None,
    remedy: Phrase = NOTHING,
) -> Limit:
    return Limit(rule, answer, reason, source, NAME, until, remedy)


def same(found: Limit | None, expected: Limit | None) -> None:
    assert ordered(found) == ordered(expected)


# --- overseeding ----------------------------------------------------------------------------------

SIX_WEEKS, TEN_WEEKS = entry(42, "broadcast"), entry(70, "slit")
WAITS = replace(PRE, seeding_d=SIX_WEEKS, slit_seeding_d=TEN_WEEKS)


def sown(day: dt.date, state: Any = "done", grass: str | None = None, by: Any = None) -> Ground:
    return Ground(BERMUDA, sowing=state, sown=day, sown_species=grass, sown_by=by)


def on_rye(value: Value | None, treatment: Treatment = POST) -> Treatment:
    return replace(treatment, overseed={} if value is None else {"perennial_ryegrass": value})


UNDATED = Ground(BERMUDA, sowing="undated")
GIVE = say("limit.give_seeding")
AGE_UNKNOWN = limit("overseeding", "cannot tell", say("limit.stand_age_unknown"), remedy=GIVE)
KILLS_GREEN = say("limit.kills_green", what=WHAT)
STOPS = say("limit.stops_seed", what=WHAT)
NEVER = entry("never", "hurts")


@pytest.mark.parametrize(
    ("treatment", "ground", "date", "expected"),
    [
        (PRE, Ground(BERMUDA, sowing="none"), NOV,
         limit("overseeding", "yes", say("limit.not_overseeded"))),
        (PRE, Ground(BERMUDA), NOV,
         limit("overseeding", "cannot tell", say("limit.overseeding_unsaid"),
               remedy=say("limit.say_overseeding"))),
        # nobody says when: what kills each grass sown, or all that is green, is refused
        (replace(POST, overseed={"perennial_ryegrass": NEVER}), UNDATED, NOV,
         limit("overseeding", "no", say("limit.kills_overseeding", what=WHAT), "published: hurts",
               remedy=GIVE)),
        (replace(POST, overseed={"perennial_ryegrass": NEVER, "annual_ryegrass": entry(30)}),
         UNDATED, NOV, AGE_UNKNOWN),
        (NON, UNDATED, NOV, limit("overseeding", "no", KILLS_GREEN, KILLS, remedy=GIVE)),
        # a pre-emergent until the turn of the year, by when all is sown
        (WAITS, UNDATED, NOV,
         limit("overseeding", "no", STOPS, "published: slit", remedy=GIVE)),
        (replace(PRE, seeding_d=SIX_WEEKS), UNDATED, dt.date(2026, 12, 30),
         limit("overseeding", "no", STOPS, "published: broadcast", remedy=GIVE)),
        (PRE, UNDATED, dt.date(2026, 7, 1), limit("overseeding", "no", STOPS, remedy=GIVE)),
        (PRE, UNDATED, dt.date(2026, 12, 31), AGE_UNKNOWN),
        (PRE, UNDATED, dt.date(2027, 6, 30), AGE_UNKNOWN),
        (PRE, replace(UNDATED, southern=True), dt.date(2027, 6, 29),  # half a year later there
         limit("overseeding", "no", STOPS, remedy=GIVE)),
        (PRE, replace(UNDATED, southern=True), dt.date(2027, 6, 30), AGE_UNKNOWN),
        (POST, UNDATED, NOV, AGE_UNKNOWN),
    ],
)  # fmt: skip
def test_overseeding_without_a_day(
    treatment: Treatment, ground: Ground, date: dt.date, expected: Limit
) -> None:
    same(overseeding(treatment, ground, date, LIMITS), expected)


def close(needed: float, left: int, source: str, seeding: str, until: dt.date | None) -> Limit:
    said = say(
        "limit.too_close_to_seeding", what=WHAT, needed=days(needed), left=days(left),
        seeding=say(f"limit.seeding_{seeding}", day=later(left)),
    )  # fmt: skip
    remedy = say("limit.leave_out_or_later")
    return limit("overseeding", "no", said, source, until=until, remedy=remedy)


def far(needed: float, left: int, source: str) -> Limit:
    seeding = say("limit.seeding_planned", day=later(left))
    said = say("limit.far_from_seeding", seeding=seeding, left=days(left), needed=days(needed))
    return limit("overseeding", "yes", said, source)


def untold(left: int, source: str = SITE) -> Limit:
    seeding = say("limit.seeding_planned", day=later(left))
    said = say("limit.interval_unknown", what=WHAT, seeding=seeding)
    return limit("overseeding", "cannot tell", said, source, remedy=ON_LABEL)


@pytest.mark.parametrize(
    ("treatment", "left", "more", "expected"),
    [
        (WAITS, 69, {}, close(70, 69, "published: slit", "planned", None)),
        (WAITS, 70, {}, far(70, 70, "published: slit")),
        (WAITS, 41, {"by": "broadcast"}, close(42, 41, "published: broadcast", "planned", None)),
        (WAITS, 42, {"by": "broadcast"}, far(42, 42, "published: broadcast")),
        (WAITS, 69, {"by": "slit"}, close(70, 69, "published: slit", "planned", None)),
        (WAITS, 1, {"state": "done"}, close(70, 1, "published: slit", "done", None)),
        # until the grass that is sown takes it, where that is known
        (on_rye(entry(30), WAITS), 10, {"grass": RYE},
         close(70, 10, "published: slit", "planned", later(40))),
        (on_rye(NEVER, WAITS), 10, {"grass": RYE},
         close(70, 10, "published: slit", "planned", None)),
        (on_rye(entry(30), WAITS), 10, {"grass": "annual ryegrass"},
         close(70, 10, "published: slit", "planned", None)),
        # one of two ways without a number: known to be too close, else not known
        (replace(PRE, seeding_d=SIX_WEEKS), 41, {},
         close(42, 41, "published: broadcast", "planned", None)),
        (replace(PRE, seeding_d=SIX_WEEKS), 42, {}, untold(42, "published: broadcast")),
        (PRE, 200, {}, untold(200)),
        # one of two ways only remembered: it may be that way, and memory permits nothing
        (replace(WAITS, seeding_d=entry(42, "book", MEMORY)), 70, {},
         untold(70, "published: slit")),
        (replace(PRE, seeding_d=entry(42, "book", MEMORY)), 200, {"by": "broadcast"},
         untold(200, "from memory: book")),
    ],
)  # fmt: skip
def test_days_left_to_seeding(
    treatment: Treatment, left: int, more: dict[str, Any], expected: Limit
) -> None:
    ground = sown(later(left), **({"state": "planned"} | more))
    same(overseeding(treatment, ground, NOV, LIMITS), expected)


def test_a_stand_of_the_season_before_may_still_be_there() -> None:
    october = dt.date(2026, 10, 5)
    ends = dt.date(2026, 7, 1)
    waits, ground = replace(WAITS, slit_seeding_d=SIX_WEEKS), sown(october, "planned")
    same(
        overseeding(waits, ground, dt.date(2026, 6, 30), LIMITS),
        limit("overseeding", "cannot tell", say("limit.sown_next_season"), "published: ends",
              remedy=say("limit.say_standing", day=ends)),
    )  # fmt: skip
    for date, answer in ((ends, "yes"), (dt.date(2026, 9, 1), "no")):
        found = overseeding(waits, ground, date, LIMITS)
        assert found is not None
        assert found.answer == answer
    # in the south the season turns on the first of January
    april = replace(sown(dt.date(2026, 4, 5), "planned"), southern=True)
    for date, answer in ((dt.date(2025, 12, 31), "cannot tell"), (dt.date(2026, 1, 1), "yes")):
        found = overseeding(waits, april, date, LIMITS)
        assert found is not None
        assert found.answer == answer
    last = limit(
        "overseeding", "cannot tell", say("limit.sown_last_season"), "published: ends",
        remedy=say("limit.say_overseeding_again"),
    )  # fmt: skip
    same(overseeding(POST, sown(dt.date(2026, 6, 30), grass=RYE), NOV, LIMITS), last)
    same(overseeding(POST, sown(dt.date(2026, 6, 30), grass=RYE), dt.date(2026, 6, 30), LIMITS),
         limit("overseeding", "cannot tell",
               say("limit.stand_without_source", grass=Name(RYE), what=WHAT), remedy=ON_LABEL),
    )  # fmt: skip


ON_STAND = {"grass": Name(RYE), "what": WHAT}
NO_SOURCE = say("limit.stand_without_source", **ON_STAND)


@pytest.mark.parametrize(
    ("treatment", "age", "expected"),
    [
        (on_rye(None, NON), 30, limit("overseeding", "no", KILLS_GREEN, KILLS)),
        (on_rye(None), 30, limit("overseeding", "cannot tell", NO_SOURCE, remedy=ON_LABEL)),
        (on_rye(NEVER, NON), 30,
         limit("overseeding", "no", say("limit.hurts_stand", **ON_STAND), "published: hurts")),
        (on_rye(entry(45)), 44,
         limit("overseeding", "no",
               say("limit.stand_too_young", **ON_STAND, needed=days(45), age=days(44)),
               "published: a trial", until=later(1))),
        (on_rye(entry(45)), 45,
         limit("overseeding", "yes", say("limit.stand_takes", **ON_STAND, age=days(45)),
               "published: a trial")),
        (on_rye(entry(45, "book", MEMORY)), 45,
         limit("overseeding", "cannot tell", NO_SOURCE, "from memory: book", remedy=ON_LABEL)),
    ],
)  # fmt: skip
def test_the_grass_that_was_sown(treatment: Treatment, age: int, expected: Limit) -> None:
    same(overseeding(treatment, sown(later(-age), grass=RYE), NOV, LIMITS), expected)


def test_a_stand_of_an_unnamed_grass_is_as_one_without_a_day() -> None:
    same(overseeding(NON, sown(later(-30)), NOV, LIMITS),
         limit("overseeding", "no", KILLS_GREEN, KILLS, remedy=GIVE))  # fmt: skip
    same(overseeding(POST, sown(later(-30)), NOV, LIMITS), AGE_UNKNOWN)


def test_root_pruners_in_transition_and_a_planned_day_that_has_passed() -> None:
    ground = sown(dt.date(2026, 10, 5), grass=RYE)
    prunes = on_rye(entry(45), ROOTS)
    takes = {
        date: limit(
            "overseeding", "yes",
            say("limit.stand_takes", **ON_STAND, age=days((date - dt.date(2026, 10, 5)).days)),
            "published: a trial",
        )
        for date in (dt.date(2027, 1, 31), dt.date(2027, 2, 1))
    }  # fmt: skip
    transition = limit(
        "overseeding", "cannot tell", say("limit.transition"), "published: transition",
        remedy=ON_LABEL,
    )  # fmt: skip
    for treatment, date, expected in (
        (prunes, dt.date(2027, 1, 31), takes[dt.date(2027, 1, 31)]),
        (prunes, dt.date(2027, 2, 1), transition),
        (on_rye(entry(45), PRE), dt.date(2027, 2, 1), takes[dt.date(2027, 2, 1)]),
    ):
        same(overseeding(treatment, ground, date, LIMITS), expected)
    passed = limit(
        "overseeding", "cannot tell", say("limit.planned_day_passed"),
        remedy=say("limit.say_seeding_done"),
    )  # fmt: skip
    planned = replace(ground, sowing="planned")
    same(overseeding(prunes, planned, dt.date(2027, 1, 31), LIMITS), passed)
    same(overseeding(prunes, planned, dt.date(2027, 2, 1), LIMITS), transition)


# --- new turf -------------------------------------------------------------------------------------


def laid(age: int, by: Any = "sod", rooted: int | None = None) -> Ground:
    seen = None if rooted is None else later(-rooted)
    return Ground(BERMUDA, established=later(-age), established_by=by, rooted=seen)


def waits_on(treatment: Treatment = POST, *, tried: bool = True, **ways: Value) -> Treatment:
    return replace(treatment, new_turf=ways, tried_new=tried)


def too_new(age: int, needed: int, source: str) -> Limit:
    said = say("limit.too_new", age=days(age), what=WHAT, needed=days(needed))
    until = later(needed - age)
    return limit("new turf", "no", said, source, until=until, remedy=say("limit.let_root"))


def grown(age: int, source: str) -> Limit:
    return limit("new turf", "yes", say("limit.old_enough", age=days(age)), source)


def rooting(age: int) -> Limit:
    return limit(
        "new turf", "cannot tell", say("limit.rooted_unknown", age=days(age)), "published: growth",
        until=later(240 - age), remedy=say("limit.say_rooted"),
    )  # fmt: skip


ALL_WAYS: dict[str, Any] = {
    "sod": entry(20),
    "sprigs": entry(30),
    "plugs": entry(40, "plugs"),
    "seed": entry(35),
}


@pytest.mark.parametrize(
    ("treatment", "ground", "expected"),
    [
        (ROOTS, Ground(BERMUDA, mature=True), limit("new turf", "yes", say("limit.mature"))),
        (ROOTS, Ground(BERMUDA),
         limit("new turf", "cannot tell", say("limit.age_unknown"), remedy=say("limit.say_age"))),
        (ROOTS, laid(-1),
         limit("new turf", "cannot tell", say("limit.established_later", day=later(1)))),
        (ROOTS, laid(0), too_new(0, 112, "published: roots")),
        (ROOTS, laid(111), too_new(111, 112, "published: roots")),
        (ROOTS, laid(112), rooting(112)),
        (POST, laid(0), rooting(0)),
        (POST, laid(239), rooting(239)),
        (POST, laid(240), grown(240, "published: growth")),
        # seen rooted on the day, and not yet on it
        (POST, laid(120, rooted=0),
         limit("new turf", "yes", say("limit.rooted"), "site file, turf.rooted")),
        (POST, laid(120, rooted=-1), rooting(120)),
        # its own days for the way it was laid
        (waits_on(sod=entry(30)), laid(29), too_new(29, 30, "published: a trial")),
        (waits_on(sod=entry(30)), laid(30), grown(30, "published: a trial")),
        (waits_on(ROOTS, sod=entry(30)), laid(30), grown(30, "published: a trial")),
        (waits_on(sod=NEVER), laid(1000),
         limit("new turf", "no", say("limit.never_on_new", what=WHAT), "published: hurts")),
        (waits_on(sprigs=entry(30)), laid(29), rooting(29)),
        # found on another grass, or remembered, they may forbid only
        (waits_on(sod=entry(30), tried=False), laid(29), too_new(29, 30, "published: a trial")),
        (waits_on(sod=entry(30), tried=False), laid(30), rooting(30)),
        (waits_on(sod=entry(30, "mine", "label guidance"), tried=False), laid(30),
         grown(30, "label guidance: mine")),
        (waits_on(sod=entry(30, "book", MEMORY)), laid(30), rooting(30)),
        (waits_on(ROOTS, sod=entry(30), tried=False), laid(30),
         too_new(30, 112, "published: roots")),
        (waits_on(ROOTS, sod=entry(120), tried=False), laid(112),
         too_new(112, 120, "published: a trial")),
        # nobody says how it was laid: the longest, which permits where each way has its days
        (waits_on(**ALL_WAYS), laid(39, None), too_new(39, 40, "published: plugs")),
        (waits_on(**ALL_WAYS), laid(40, None), grown(40, "published: plugs")),
        (waits_on(**(ALL_WAYS | {"seed": NEVER})), laid(40, None),
         limit("new turf", "no", say("limit.never_on_new", what=WHAT), "published: hurts")),
        (waits_on(sod=entry(20), plugs=entry(40)), laid(40, None), rooting(40)),
    ],
)  # fmt: skip
def test_new_turf(treatment: Treatment, ground: Ground, expected: Limit) -> None:
    same(new_turf(treatment, ground, NOV, LIMITS), expected)


# --- species, damage, time of year ----------------------------------------------------------------


@pytest.mark.parametrize(
    ("turf", "expected"),
    [
        (entry("never", "book", MEMORY),
         limit("species", "no", say("limit.never_on_species", what=WHAT, species=Name(BERMUDA)),
               "from memory: book")),
        (None,
         limit("species", "cannot tell", say("limit.no_source", what=WHAT, species=Name(BERMUDA)),
               "no source", remedy=ON_LABEL)),
        (entry("green", "book", MEMORY),
         limit("species", "cannot tell", say("limit.no_source", what=WHAT, species=Name(BERMUDA)),
               "from memory: book", remedy=ON_LABEL)),
        (entry("dormant"), None),
    ],
)  # fmt: skip
def test_a_grass_in_any_state(turf: Value | None, expected: Limit | None) -> None:
    same(in_any_state(replace(POST, turf=turf), Ground(BERMUDA)), expected)


def test_a_grass_that_is_only_taken_as_usual() -> None:
    assert species(POST, Ground(BERMUDA)) is None
    same(species(POST, Ground(BERMUDA, species_said=False)),
         limit("species", "cannot tell", say("limit.species_unsaid"),
               remedy=say("limit.say_species")))  # fmt: skip


def killed(level: str, answer: str, source: str) -> Limit:
    said, remedy = say("limit.winterkill", level=Name(level)), say("limit.let_recover")
    return limit("winterkill", answer, said, source, remedy=remedy)


def thin(answer: str, source: str) -> Limit:
    return limit("thin turf", answer, say("limit.thin"), source, remedy=say("limit.let_fill_in"))


@pytest.mark.parametrize(
    ("treatment", "facts", "expected"),
    [
        (POST, {"winterkill": "severe", "thin": True}, []),
        (PRE, {}, []),
        (PRE, {"winterkill": "none"}, [killed("none", "yes", "published: whole")]),
        (PRE, {"winterkill": "minimal"}, [killed("minimal", "cannot tell", "published: little")]),
        (PRE, {"winterkill": "severe"}, [killed("severe", "no", "published: much")]),
        (GROWTH, {"winterkill": "none"}, []),
        (GROWTH, {"winterkill": "minimal"}, [killed("minimal", "no", "published: slow")]),
        (NON, {"thin": True}, [thin("cannot tell", "published: thin canopy")]),
        (PRE, {"thin": True}, []),
        (ROOTS, {"thin": True}, [thin("no", "published: thin roots")]),
        (replace(PRE, prunes_roots=None), {"thin": True}, [thin("no", "published: thin roots")]),
        (GROWTH, {"thin": True}, [thin("no", "published: thin and slow")]),
        (replace(ROOTS, nonselective=True), {"thin": True, "winterkill": "severe"},
         [killed("severe", "no", "published: much"),
          thin("cannot tell", "published: thin canopy"), thin("no", "published: thin roots")]),
    ],
)  # fmt: skip
def test_damage(treatment: Treatment, facts: dict[str, Any], expected: list[Limit]) -> None:
    ground = Ground(BERMUDA, sowing="none", mature=True, **facts)
    whole = limits_on(treatment, Ground(BERMUDA, sowing="none", mature=True), NOV, LIMITS)
    assert [one.rule for one in whole] == ["overseeding", "new turf"]
    assert ordered(limits_on(treatment, ground, NOV, LIMITS)) == ordered([*whole, *expected])


def test_all_rules_are_asked_and_of_each_whether_the_grass_is_said() -> None:
    ground = Ground(BERMUDA, species_said=False, winterkill="severe", thin=True)
    treatment = replace(ROOTS, last_day=entry("10-31"))
    assert [one.rule for one in limits_on(treatment, ground, NOV, LIMITS)] == [
        "species", "overseeding", "new turf", "time of year", "winterkill", "thin turf",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("date", "southern", "last", "until"),
    [
        (dt.date(2026, 12, 31), False, None, None),  # the last day itself
        (dt.date(2027, 1, 1), False, dt.date(2026, 12, 31), dt.date(2027, 7, 1)),
        (dt.date(2027, 6, 30), False, dt.date(2026, 12, 31), dt.date(2027, 7, 1)),
        (dt.date(2027, 7, 1), False, None, None),  # a new season
        (dt.date(2027, 6, 30), True, None, None),
        (dt.date(2027, 7, 1), True, dt.date(2027, 6, 30), dt.date(2028, 1, 1)),
        (dt.date(2027, 1, 1), True, None, None),
    ],
)
def test_a_last_day_of_the_year(
    date: dt.date, southern: bool, last: dt.date | None, until: dt.date | None
) -> None:
    treatment = replace(POST, last_day=entry("12-31"))
    found = time_of_year(treatment, Ground(BERMUDA, southern=southern), date)
    if last is None:
        assert found is None
        return
    said = say("limit.not_after", what=WHAT, day=last)
    same(found, limit("time of year", "no", said, "published: a trial", until=until))


def test_a_last_day_that_is_the_first_of_the_season() -> None:
    treatment = replace(POST, last_day=entry("07-01"))
    assert time_of_year(treatment, Ground(BERMUDA), dt.date(2026, 7, 1)) is None
    found = time_of_year(treatment, Ground(BERMUDA), dt.date(2026, 7, 2))
    assert found is not None
    assert found.reason.value("day") == dt.date(2026, 7, 1)

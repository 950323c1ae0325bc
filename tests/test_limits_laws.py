"""Laws of the turf limits that hold for every interval, date and set of futures."""

from __future__ import annotations

import datetime as dt
import random
from dataclasses import replace
from typing import Any

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from limit_values import LIMITS, MEMORY, TURF, entry
from test_limits_said import GROWTH, NON, POST, PRE, ROOTS

from windowcast.core.phrase import NOTHING
from windowcast.limits.ground import Ground, nth_of
from windowcast.limits.model import Limit, TurfAnswer, spans
from windowcast.limits.rules import limits_on, new_turf, overseeding
from windowcast.limits.treatment import Treatment
from windowcast.limits.turf_days import StateRule, TurfDays

FEW = settings(deadline=None, max_examples=40)
BERMUDA = "hybrid bermudagrass"
DATES = st.dates(dt.date(2025, 1, 1), dt.date(2028, 12, 31))
STRICTNESS = ("yes", "cannot tell", "no")
TREATMENTS = st.sampled_from([PRE, POST, NON, GROWTH, ROOTS])
ENTRIES = st.builds(
    entry, st.integers(0, 300), st.just("a source"),
    st.sampled_from(["published", MEMORY, "label guidance"]),
)  # fmt: skip
WAYS = st.dictionaries(st.sampled_from(["sod", "sprigs", "plugs", "seed"]), ENTRIES)


def strictness(limit: Limit | None) -> int:
    assert limit is not None
    return STRICTNESS.index(limit.answer)


@FEW
@given(
    st.builds(replace, TREATMENTS, new_turf=WAYS, tried_new=st.booleans()),
    st.sampled_from(["sod", "sprigs", "plugs", "seed", None]),
    st.tuples(st.integers(0, 400), st.integers(0, 400)),
)
def test_older_turf_is_never_asked_to_wait_longer(
    known: Treatment, by: Any, ages: tuple[int, int]
) -> None:
    laid = dt.date(2026, 3, 1)
    ground = Ground(BERMUDA, established=laid, established_by=by)
    young, old = (new_turf(known, ground, laid + dt.timedelta(age), LIMITS) for age in sorted(ages))
    assert strictness(old) <= strictness(young)
    # what a no promises is kept: on that day this rule says no any more
    if young is not None and young.answer == "no":
        assert young.until is not None
        assert strictness(new_turf(known, ground, young.until, LIMITS)) < 2
        day = young.until - dt.timedelta(1)
        assert strictness(new_turf(known, ground, day, LIMITS)) == 2


@FEW
@given(
    st.builds(
        replace, TREATMENTS, seeding_d=st.none() | ENTRIES, slit_seeding_d=st.none() | ENTRIES
    ),
    st.sampled_from(["broadcast", "slit", None]),
    st.tuples(st.integers(1, 130), st.integers(1, 130)),
)
def test_more_days_to_seeding_never_forbid_more(
    known: Treatment, by: Any, left: tuple[int, int]
) -> None:
    # within one season: from 1 July on the stand of the season before is gone
    sown = dt.date(2026, 11, 10)
    ground = Ground(BERMUDA, sowing="planned", sown=sown, sown_by=by)
    near, far = (sown - dt.timedelta(days) for days in sorted(left))
    late, early = (overseeding(known, ground, date, LIMITS) for date in (near, far))
    assert strictness(early) <= strictness(late)
    # not to say how it is sown is to ask for both ways
    unsaid = overseeding(known, replace(ground, sown_by=None), far, LIMITS)
    assert strictness(unsaid) >= strictness(early)


@FEW
@given(st.integers(1, 12), st.integers(1, 31), DATES, st.booleans())
def test_the_last_such_day_lies_within_the_year_before(
    month: int, day: int, date: dt.date, southern: bool
) -> None:
    last = nth_of(f"{month:02d}-{min(day, 28):02d}", date, southern=southern)
    assert last <= date <= last + dt.timedelta(366)
    assert last.day == min(day, 28)
    assert (last.month - month) % 12 == (6 if southern else 0)


@FEW
@given(TREATMENTS, st.booleans(), DATES, st.sampled_from(["none", "undated", None]), st.booleans())
def test_the_south_is_the_north_half_a_year_later(
    treatment: Any, mature: bool, date: dt.date, sowing: Any, dated: bool
) -> None:
    """Of rules that go by the calendar alone, on days that each month has."""
    known = replace(treatment, last_day=entry("12-28")) if dated else treatment
    day = date.replace(day=min(date.day, 28))
    turned = day.replace(year=day.year + (day.month > 6), month=(day.month + 5) % 12 + 1)
    north = Ground(BERMUDA, sowing=sowing, mature=mature)
    found = limits_on(known, north, day, LIMITS)
    there = limits_on(known, replace(north, southern=True), turned, LIMITS)
    assert [(one.rule, one.answer) for one in found] == [(one.rule, one.answer) for one in there]


LIMIT = st.builds(
    Limit, st.sampled_from("abc"), st.sampled_from(STRICTNESS), st.just(NOTHING), st.just("s"),
    until=st.none() | DATES, harm=st.none() | st.floats(0, 1),
)  # fmt: skip


@FEW
@given(st.lists(LIMIT, min_size=1, max_size=5), st.randoms(use_true_random=False))
def test_in_which_order_rules_are_asked_does_not_matter(
    limits: list[Limit], order: random.Random
) -> None:
    shuffled = limits.copy()
    order.shuffle(shuffled)
    one, other = (TurfAnswer(dt.date(2026, 1, 1), tuple(x)) for x in (limits, shuffled))
    assert (one.answer, one.until, one.harm) == (other.answer, other.until, other.harm)
    assert one.answer == one.deciding.answer
    assert one.until is None or one.until == one.deciding.until
    more = TurfAnswer(one.date, (*limits, limits[0]))
    assert more.answer == one.answer


@FEW
@given(st.lists(st.lists(LIMIT, min_size=1, max_size=3), max_size=8))
def test_days_put_together_are_the_same_days(days: list[list[Limit]]) -> None:
    first = dt.date(2026, 1, 1)
    answers = tuple(
        TurfAnswer(first + dt.timedelta(n), tuple(limits)) for n, limits in enumerate(days)
    )
    found = spans(answers)
    covered = [
        span.first + dt.timedelta(n)
        for span in found
        for n in range((span.last - span.first).days + 1)
    ]
    assert covered == [answer.date for answer in answers]
    by_day = {day: span for span in found for day in covered if span.first <= day <= span.last}
    for answer in answers:
        assert by_day[answer.date].answer == answer.answer
        harm = by_day[answer.date].harm
        assert answer.harm is None or (harm is not None and harm >= answer.harm)


@FEW
@given(
    st.lists(st.integers(-1, 3), min_size=1, max_size=8),
    st.sampled_from(["never", "dormant", "semi-dormant", "green"]),
    st.sampled_from([PRE, POST, GROWTH]),
    st.randoms(use_true_random=False),
)
def test_the_order_of_the_futures_does_not_matter_and_a_safer_state_permits_no_less(
    phases: list[int], allowed: str, treatment: Any, order: random.Random
) -> None:
    def asked(codes: list[int], state: str) -> Limit:
        phase = np.array(codes, dtype=np.float64)[:, None]
        safe = np.where(phase == -1, np.nan, phase == 2)
        injury = np.where(phase == -1, np.nan, phase != 2)
        dates = np.array(["2027-01-10"], dtype="datetime64[D]")
        days = TurfDays(dates, phase, safe, injury, np.zeros(1), np.zeros(1), np.zeros(1))
        rule = StateRule(replace(treatment, turf=entry(state)), BERMUDA, days, LIMITS, TURF)
        (found,) = rule.limits(1)
        return found

    shuffled = phases.copy()
    order.shuffle(shuffled)
    one, other = asked(phases, allowed), asked(shuffled, allowed)
    assert (one.answer, one.reason, one.until) == (other.answer, other.reason, other.until)
    strict = [strictness(asked(phases, state)) for state in ("never", "semi-dormant", "green")]
    assert strict == sorted(strict, reverse=True)

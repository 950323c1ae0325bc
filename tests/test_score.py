"""The rule of the score, blocks of hours, and when a window holds."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from windowcast.core.values import load
from windowcast.windows.grade import ScoreCurve
from windowcast.windows.score import (
    Block,
    Rule,
    best_block,
    closeness,
    combine,
    holds,
    limiting,
    run_score,
)

RULE = Rule.of(load("criteria"))
scores = st.floats(0, 1)
maybe = st.one_of(scores, st.just(math.nan))


def one(values: list[float]) -> float:
    return float(combine((np.array(v), 1.0) for v in values))


def test_the_rule_by_hand() -> None:
    assert one([1.0, 0.5, 0.5]) == pytest.approx(0.25)
    assert one([1.0, 1.0]) == 1.0
    assert float(combine([(np.array(0.25), 0.5)])) == pytest.approx(0.5)


def test_a_no_is_a_no_and_an_unknown_is_unknown() -> None:
    assert one([0.0, math.nan]) == 0.0
    assert math.isnan(one([0.9, math.nan]))


@given(st.lists(maybe, min_size=1, max_size=6), maybe)
def test_adding_a_criterion_never_lifts_the_score(values: list[float], extra: float) -> None:
    before, after = one(values), one([*values, extra])
    if not math.isnan(before) and not math.isnan(after):
        assert after <= before
    if math.isnan(before):
        assert math.isnan(after) or after == 0.0
    if not math.isnan(before) and extra == 1.0:
        assert after == before


@given(st.lists(maybe, min_size=1, max_size=6), st.randoms())
def test_order_does_not_matter(values: list[float], random: object) -> None:
    shuffled = values.copy()
    random.shuffle(shuffled)  # type: ignore[attr-defined]
    assert one(shuffled) == pytest.approx(one(values), nan_ok=True)


@given(hnp.arrays(np.float64, (3, 4, 5), elements=maybe))
def test_leading_axes_are_broadcast(values: np.ndarray) -> None:
    whole = combine((row, 1.0) for row in values)
    for index in np.ndindex(4, 5):
        single = one([float(v) for v in values[(slice(None), *index)]])
        assert whole[index] == pytest.approx(single, nan_ok=True)


def test_closeness_ranks_hours_without_a_go_ahead() -> None:
    near = closeness([(np.array([0.0, 0.0, math.nan]), 1.0), (np.array([1.0, 0.1, 1.0]), 1.0)])
    assert near[2] > near[0] > near[1] > 0


def test_limiting_prefers_a_no_then_the_unknown_then_the_lowest() -> None:
    weights = {"a": 1.0, "b": 1.0, "c": 0.5}
    assert limiting({"a": 0.4, "b": math.nan, "c": 0.0}, weights, RULE) == "c"
    assert limiting({"a": 0.4, "b": math.nan, "c": 0.1}, weights, RULE) == "b"
    assert limiting({"a": 0.5, "b": 0.6, "c": 0.3}, weights, RULE) == "a"  # 0.3 ** 0.5 = 0.55
    assert limiting({"a": 1.0, "b": 1.0, "c": 1.0}, weights, RULE) == ""


def test_verdict_bands() -> None:
    words = [RULE.verdict(s) for s in (1.0, 0.6, 0.59, 0.3, 0.29, 0.0, math.nan, None)]
    assert words == [
        "fit", "fit", "marginal", "marginal", "unfit", "unfit", "cannot tell", "cannot tell",
    ]  # fmt: skip


def test_best_block_grows_over_hours_nearly_as_good() -> None:
    value = np.array([0.2, 0.8, 0.9, 0.85, 0.5, 0.9])
    everywhere = np.ones(6, dtype=bool)
    assert best_block(value, everywhere, RULE, offset=10) == Block(11, 14)
    shut = everywhere.copy()
    shut[2] = False
    assert best_block(value, shut, RULE) == Block(3, 6)
    assert best_block(value, np.array([True, False] * 3), RULE) is None


@settings(deadline=None)
@given(hnp.arrays(np.float64, st.integers(0, 24), elements=scores), st.randoms())
def test_best_block_is_allowed_long_enough_and_best(value: np.ndarray, random: object) -> None:
    allowed = np.array([random.random() < 0.7 for _ in value], dtype=bool)  # type: ignore[attr-defined]
    block = best_block(value, allowed, RULE)
    size = RULE.shortest_h
    runs = [
        value[i : i + size].mean()
        for i in range(len(value) - size + 1)
        if allowed[i : i + size].all()
    ]
    assert (block is None) == (not runs)
    if block is not None:
        assert allowed[block.hours].all()
        assert size <= block.stop - block.start <= RULE.longest_h
        inside = value[block.hours]
        best = max(inside[i : i + size].mean() for i in range(len(inside) - size + 1))
        assert best == pytest.approx(max(runs), abs=1e-8)


def test_what_is_fit_grows_by_no_hour_that_is_not() -> None:
    hours = np.array([0.61, 0.61, 0.58, 0.57, 0.56])
    assert hours.min() >= RULE.extend * hours.max()  # nearly as good
    assert best_block(hours, np.ones(5, dtype=bool), RULE) == Block(0, 2)
    lower = hours - 0.05  # marginal with all of its hours
    assert best_block(lower, np.ones(5, dtype=bool), RULE) == Block(0, 5)


def test_equal_hours_give_the_earliest_block() -> None:
    value = np.full(20, 0.7)
    assert best_block(value, np.ones(20, dtype=bool), RULE) == Block(0, RULE.longest_h)


def test_holds_needs_the_shortest_run_within_the_window() -> None:
    futures = np.array(
        [
            [0.5, 0.5, 0.0, 0.0],
            [0.5, 0.0, 0.5, 0.0],
            [0.0, 0.0, 0.0, 0.0],
            [math.nan, 0.5, 0.5, 0.1],
            [0.9, 0.9, 0.9, 0.9],
        ]
    )
    assert holds(futures, RULE).tolist() == [True, False, False, True, True]


GRADE = ScoreCurve((0.0, 10.0, 20.0, 30.0), (0.0, 1.0, 1.0, 0.5))


def test_grade_by_hand() -> None:
    got = GRADE(np.array([-5.0, 0.0, 5.0, 15.0, 25.0, 99.0, math.nan]))
    assert got[:-1] == pytest.approx([0.0, 0.0, 0.5, 1.0, 0.75, 0.5])
    assert math.isnan(got[-1])
    assert GRADE.good == (10.0, 20.0)


@pytest.mark.parametrize(
    ("measured", "score", "needed"),
    [(2.0, 0.5, 5.0), (40.0, 0.75, 25.0), (2.0, 1.0, 10.0), (12.0, 1.0, 10.0), (2.0, 1.1, None)],
)
def test_what_value_would_be_needed(measured: float, score: float, needed: float | None) -> None:
    assert GRADE.nearest(measured, score) == (needed if needed is None else pytest.approx(needed))


@given(
    hnp.arrays(np.float64, 12, elements=scores),
    hnp.arrays(np.float64, 12, elements=scores),
)
def test_no_hour_that_gets_worse_lifts_the_score_of_the_days_best_window(
    value: np.ndarray, kept: np.ndarray
) -> None:
    """A cautious reading of an unknown input lowers hours; the window may be one of other hours."""

    def told(hours: np.ndarray) -> float:
        block = best_block(hours, hours >= RULE.marginal, RULE)
        return 0.0 if block is None else run_score(hours[block.hours], RULE)

    assert told(value * kept) <= told(value) + 1e-9


def test_a_windows_score_is_that_of_its_best_hours() -> None:
    hours = np.array([0.70, 0.80, 0.80, 0.70])
    assert best_block(hours, hours > 0, RULE) == Block(0, 4)
    assert run_score(hours, RULE) == pytest.approx(0.80)
    assert math.isnan(run_score(np.array([0.7, math.nan, 0.7, 0.7]), RULE))
    assert run_score(np.array([0.4]), RULE) == pytest.approx(0.4)

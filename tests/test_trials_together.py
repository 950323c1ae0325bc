"""Repeated ratings as one value a plot, and several trials as one effect."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from windowcast.core.errors import InputError
from windowcast.trials.model import PlotRow
from windowcast.trials.over_days import mean_over_days
from windowcast.trials.pooled import pooled_effect

START = dt.date(2025, 11, 1)


def rated(plot: str, *values: tuple[int, float], site: str = "") -> list[PlotRow]:
    return [
        PlotRow(site, "1", plot, "A", value, date=START + dt.timedelta(days=day))
        for day, value in values
    ]


def test_an_area_over_days_is_a_mean_weighted_by_days() -> None:
    # trapezoids: 10 days at 20, 20 days at 65: (10 x 20 + 20 x 65) / 30 = 50
    (row,) = mean_over_days(rated("1", (0, 0), (10, 40), (30, 90)))
    assert row.value == pytest.approx(50)
    assert row.date == START + dt.timedelta(days=30)
    flat = mean_over_days(rated("1", (0, 70), (3, 70), (40, 70)))
    assert flat[0].value == pytest.approx(70)


def test_a_plot_without_an_end_is_missing_and_a_gap_between_is_bridged() -> None:
    rows = [
        *rated("1", (0, 0), (10, 40), (30, 90)), *rated("2", (0, 10), (30, 70)),
        *rated("3", (10, 40), (30, 90)), *rated("4", (0, 40), (10, math.nan), (30, math.nan)),
    ]  # fmt: skip
    values = [row.value for row in mean_over_days(rows)]
    assert values[:2] == pytest.approx([50, 40])
    assert np.isnan(values[2:]).all()
    # each site over its own days
    two = mean_over_days([*rows[:3], *rated("5", (0, 20), (14, 40), site="north")])
    assert two[1].value == pytest.approx(30)


def test_ratings_that_give_no_area_are_refused() -> None:
    with pytest.raises(InputError, match="all of one date"):
        mean_over_days(rated("1", (0, 5)))
    with pytest.raises(InputError, match="two values"):
        mean_over_days(rated("1", (0, 5), (0, 6), (9, 7)))
    with pytest.raises(InputError, match="without a date"):
        mean_over_days([replace(rated("1", (0, 5))[0], date=None)])


def test_trials_of_equal_error_give_the_t_test_of_their_effects() -> None:
    effects = [1.0, 2.5, 0.4, 3.1, 1.8]
    found = pooled_effect(effects, [0.3] * 5)
    one = stats.ttest_1samp(effects, 0).confidence_interval()
    assert found.mean == pytest.approx(np.mean(effects))
    assert (found.low, found.high) == pytest.approx((one.low, one.high))
    assert found.between == pytest.approx(np.var(effects, ddof=1) - 0.09)
    q = sum((e - np.mean(effects)) ** 2 for e in effects) / 0.09
    assert found.share == pytest.approx(1 - 4 / q)
    assert found.p_alike == pytest.approx(stats.chi2.sf(q, 4))
    assert found.next_low < found.low
    assert found.next_high > found.high


def test_trials_that_agree_are_not_surer_than_their_own_errors() -> None:
    found = pooled_effect([1.0, 1.01, 0.99], [0.5, 0.5, 1.0])
    assert (found.between, found.share) == (0, 0)
    error = 1 / math.sqrt(4 + 4 + 1)
    assert found.high - found.mean == pytest.approx(stats.t.ppf(0.975, 2) * error)
    assert found.mean == pytest.approx((4 * 1.0 + 4 * 1.01 + 0.99) / 9)
    two = pooled_effect([1.0, 2.0], [0.5, 0.5])
    assert math.isnan(two.next_low)


def test_pooled_intervals_hold_as_often_as_they_say() -> None:
    rng = np.random.default_rng(4)
    held, sets = 0, 80
    for _ in range(sets):
        errors = rng.uniform(0.3, 0.9, 6)
        effects = 1 + rng.normal(0, 0.5, 6) + rng.normal(0, errors)
        found = pooled_effect(list(effects), list(errors))
        held += found.low <= 1 <= found.high
    assert 0.95 - 3 * 0.0244 <= held / sets <= 0.99


def test_one_trial_is_no_set_of_trials() -> None:
    with pytest.raises(InputError, match="one trial"):
        pooled_effect([1.0], [0.5])
    with pytest.raises(InputError, match="above zero"):
        pooled_effect([1.0, 2.0], [0.5, 0.0])

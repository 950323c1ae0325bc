"""The stopping rule against problems with a known solution."""

from __future__ import annotations

import numpy as np
import pytest

from windowcast.programme.now_or_wait import best_rule, taken, wait


def moser(offers: int) -> float:
    """Best expected uniform (0, 1) offer out of n without recall: v(n+1) = (1 + v(n)^2) / 2.

    House selling with a known distribution: Moser 1956, *Scripta Math.* 22:289; DeGroot 1970,
    *Optimal Statistical Decisions*, chapter 13. v(1..4) = 0.5, 0.625, 0.6953, 0.7417.
    """
    value = 0.0
    for _ in range(offers):
        value = (1 + value**2) / 2
    return value


def test_moser_recursion_has_the_values_of_the_table() -> None:
    values = [moser(n) for n in (1, 2, 3, 4, 10)]
    assert values == pytest.approx([0.5, 0.625, 0.6953, 0.7417, 0.8611], abs=5e-5)


@pytest.mark.parametrize("days", [2, 5, 10])
def test_house_selling(days: int) -> None:
    offers = np.random.default_rng(days).random((40_000, days))
    result = wait(offers)
    assert result.value == pytest.approx(moser(days), abs=3 * result.error + 0.001)
    rule = best_rule(offers, np.zeros(len(offers)))
    demanded = rule.level / (1 - rule.slope)
    exact = [moser(days - 1 - day) for day in range(days)]
    assert demanded == pytest.approx(exact, abs=0.015)


def test_three_rolls_of_a_die() -> None:
    """Known: stop on 5 or 6, then on 4, 5 or 6; expected 14/3 (e.g. Ross, *Stochastic Dynamic
    Programming*; two rolls give 4.25)."""
    rolls = np.random.default_rng(1).integers(1, 7, (60_000, 3)).astype(float)
    result = wait(rolls)
    assert result.value == pytest.approx(14 / 3, abs=0.02)
    assert best_rule(rolls, np.zeros(len(rolls))).level[:2] == pytest.approx([4.25, 3.5], abs=0.03)


def test_offers_that_tell_of_later_ones() -> None:
    """Two-state chain, solved exactly by dynamic programming; the offer is the state."""
    stay, days = 0.85, 6
    good, bad = 0.6, 0.4
    cost = 0.04  # each day of waiting lowers every offer
    offer = np.array([[bad - cost * t, good - cost * t] for t in range(days)])
    chain = np.array([[stay, 1 - stay], [1 - stay, stay]])
    value = np.zeros(2)
    for day in range(days - 1, -1, -1):
        value = np.maximum(offer[day], chain @ value)
    exact = value.mean()
    rng = np.random.default_rng(2)
    state = rng.integers(0, 2, 20_000)
    seen = np.empty((20_000, days))
    for day in range(days):
        seen[:, day] = offer[day][state]
        state = np.where(rng.random(20_000) < stay, state, 1 - state)
    assert wait(seen).value == pytest.approx(exact, abs=0.004)


def test_no_optimism_with_few_members() -> None:
    """With 60 members the value told is not above the exact one; judged on itself it is."""
    rng = np.random.default_rng(3)
    told, fooled = [], []
    for _ in range(400):
        offers = rng.random((60, 8))
        told.append(wait(offers).value)
        rule = best_rule(offers, np.zeros(60))
        stop = taken(offers, rule)
        fooled.append(np.column_stack([offers, np.zeros(60)])[np.arange(60), stop].mean())
    exact = moser(8)
    error = np.std(told) / np.sqrt(len(told))
    assert np.mean(told) < exact + 2 * error
    assert np.mean(told) > exact - 0.02
    assert np.mean(fooled) > np.mean(told)


def test_what_cannot_be_told_is_no_offer() -> None:
    offers = np.full((40, 3), np.nan)
    result = wait(offers, 0.2)
    assert result.value == pytest.approx(0.2)
    assert (result.taken_day == 3).all()


def test_certain_futures() -> None:
    """All members alike: wait for the best day, and take it."""
    offers = np.tile([0.3, 0.2, 0.9, 0.5], (30, 1))
    result = wait(offers)
    assert result.value == pytest.approx(0.9)
    assert (result.taken_day == 2).all()

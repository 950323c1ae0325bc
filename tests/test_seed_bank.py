"""The weed's population over seasons against its closed form, and what must hold of any run."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest

from windowcast.core.values import load
from windowcast.materials.seed_bank import (
    Course,
    Population,
    Strike,
    drawn_control,
    population,
    seasons_until,
    simulate_bank,
)

MODEL = load("seed_bank").table("model")
DRAWS = 200


def steady(p0: float, old: float, cost: float = 0.0) -> Population:
    """Plants that breed true, in a bank whose share of old seeds stays the same."""

    def one(value: float) -> np.ndarray:
        return np.array([value])

    return Population(
        start={3: one(p0)}, selfed=one(1.0), mutation=one(0.0), missed=one(0.0), cost=one(cost),
        seeds_per_plant=one(1e15), bank_at_start=one(1.0), seeds_most=one(1.0 - old),
        germinates=one(0.05), stays=one(old / 0.95),
    )  # fmt: skip


def years(p0: float, control: float, old: float, *, cost: float = 0.0, every: int = 1) -> float:
    strike = [[Strike(3, np.array([control]))]]
    seasons = [strike if n % every == 0 else [] for n in range(60)]
    return float(seasons_until(simulate_bank(steady(p0, old, cost), seasons), 0.5)[0])


@pytest.mark.parametrize(
    ("p0", "control", "expected"),
    [
        (1e-8, 0.85, (10, 12, 17, 47)),
        (1e-8, 0.95, (7, 8, 10, 23)),
        (1e-6, 0.95, (5, 6, 8, 19)),
    ],
)
def test_years_until_half_resist_are_those_of_the_table(
    p0: float, control: float, expected: tuple[int, ...]
) -> None:
    """p' = w p + (1 - w) p / (p + (1 - p)(1 - c)), worked out by hand."""
    assert tuple(years(p0, control, old) for old in (0.0, 0.3, 0.6, 0.9)) == expected


def test_years_are_those_of_the_closed_form_without_old_seed() -> None:
    for control, exact in ((0.85, 9.71), (0.95, 6.15)):
        n = math.log((1 - 1e-8) / 1e-8) / math.log(1 / (1 - control))
        assert n == pytest.approx(exact, abs=0.005)
        assert years(1e-8, control, 0.0) == math.ceil(n)


def test_a_cost_of_resistance_and_spraying_every_second_year_slow_it_as_worked_out() -> None:
    found = tuple(years(1e-8, 0.95, old, cost=0.3) for old in (0.0, 0.3, 0.6, 0.9))
    assert found == (7, 9, 11, 28)
    assert tuple(years(1e-8, 0.95, old, every=2) for old in (0.0, 0.3)) == (13, 15)


def weed(**likely: float) -> Population:
    return population(MODEL, DRAWS, 7, {int(k[1:]): v for k, v in likely.items()})


def run(of: Population, *strikes: tuple[int, float], seasons: int = 12) -> Course:
    season = [Strike(group, np.full(DRAWS, control)) for group, control in strikes]
    return simulate_bank(of, [[season]] * seasons)


@pytest.mark.parametrize(
    ("share", "selfed", "mutation", "resistant"),
    [
        # start SS, RS, RR of 0.6, 0.4, 0: p = 0.2, and 1 - 0.8² of the seeds resist ever after
        (0.4, 0.0, 0.0, (0.36, 0.36)),
        (0.4, 1.0, 0.0, (0.4, 0.4)),  # 0.6, 0, 0.4 breed true
        # start 0.6, 0.2, 0.2: selfed 0.65, 0.1, 0.25; crossed at p = 0.3 0.49, 0.42, 0.09
        (0.4, 0.5, 0.0, (0.43,)),
        (0.0, 1.0, 0.1, (0.2,)),  # one in ten genes changes: 0.8, 0.2, 0
    ],
)
def test_seeds_are_bred_as_mendel_has_it(
    share: float, selfed: float, mutation: float, resistant: tuple[float, ...]
) -> None:
    """Worked by hand for plants that nothing kills, where no old seed is left."""

    def one(value: float) -> np.ndarray:
        return np.array([value])

    weed = Population(
        {3: one(share)}, *(one(v) for v in (selfed, mutation, 0, 0, 1e6, 1e4, 1e4, 1, 0))
    )
    spared = [[Strike(3, one(0.0))]]
    course = simulate_bank(weed, [spared] * len(resistant))
    assert course.resistant[:, 0] == pytest.approx(resistant)
    assert course.control == pytest.approx(np.zeros_like(course.control))


def test_seasons_are_counted_for_each_draw_by_itself() -> None:
    shares = np.array([[0.1, 0.6, 0.0], [0.5, 0.2, 0.49]])
    until = seasons_until(Course(shares, shares, shares), 0.5)
    assert until.tolist() == [2.0, 1.0, math.inf]


def test_the_same_seed_gives_the_same_and_another_does_not() -> None:
    one, same = weed(g3=0.5), weed(g3=0.5)
    assert np.array_equal(one.start[3], same.start[3])
    other = population(MODEL, DRAWS, 8, {3: 0.5})
    assert not np.array_equal(one.start[3], other.start[3])


def test_draws_lie_between_the_ends_of_their_values() -> None:
    of = weed(g3=0.0)
    for name in ("selfed", "cost", "seeds_per_plant", "bank_at_start", "germinates", "stays"):
        low, high = MODEL.value(name).ends
        assert low <= getattr(of, name).min()
        assert getattr(of, name).max() <= high
    assert of.start[3].max() <= MODEL.value("resistant_at_start").ends[1]
    assert (weed(g3=1.0).start[3] >= 0.05).all()


def test_more_control_never_leaves_a_larger_bank_in_the_first_season() -> None:
    of = weed(g3=0.3)
    banks = [run(of, (3, control), seasons=1).bank[0] for control in (0.0, 0.5, 0.8, 0.95, 0.99)]
    for less, more in itertools.pairwise(banks):
        assert (more <= less + 1e-12).all()


def test_a_second_job_never_leaves_a_larger_bank() -> None:
    of = weed(g3=0.0, g9=0.0)
    assert (run(of, (3, 0.9), (9, 0.9)).bank <= run(of, (3, 0.9)).bank + 1e-12).all()


def test_mixing_two_groups_that_work_delays_resistance() -> None:
    of = weed(g3=0.0, g9=0.0)
    of = replace(of, cost=np.zeros(DRAWS), start={3: of.start[3], 9: of.start[3]})
    mixed = seasons_until(run(of, (3, 0.9), (9, 0.9), seasons=30), 0.5)
    alone = seasons_until(run(of, (3, 0.9), seasons=30), 0.5)
    assert (mixed >= alone).all()
    assert np.mean(mixed > alone) > 0.9


def test_a_partner_that_fails_delays_nothing() -> None:
    of = replace(weed(g3=0.0, g9=0.0), cost=np.zeros(DRAWS))
    useless = seasons_until(run(of, (3, 0.9), (9, 0.0), seasons=30), 0.5)
    alone = seasons_until(run(of, (3, 0.9), seasons=30), 0.5)
    assert np.array_equal(useless, alone)


def test_shares_stay_shares() -> None:
    course = run(weed(g3=0.5, g9=0.5), (3, 0.99), (9, 0.6), seasons=40)
    for values in (course.control, course.resistant):
        assert ((values >= 0) & (values <= 1 + 1e-12)).all()
    assert (course.bank >= 0).all()
    assert np.isfinite(course.bank).all()


def test_a_control_is_drawn_around_its_median_and_grows_with_its_interval() -> None:
    drawn = drawn_control(0.9, 0.6, 0.98, 20_000, 1)
    assert np.median(drawn) == pytest.approx(0.9, abs=0.005)
    assert np.quantile(drawn, [0.1, 0.9]) == pytest.approx([0.6, 0.98], abs=0.01)
    assert (drawn_control(0.9, 0.7, 0.98, 20_000, 1) >= drawn).all()
    assert (drawn_control(0.9, 0.6, 0.98, 5, 1) == drawn_control(0.9, 0.6, 0.98, 5, 1)).all()

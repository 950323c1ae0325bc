"""A pre-emergent on its ground, on rain and soil of a few days that can be followed by hand.

Half of it is lost in two days at the reference temperature, where an eighth is enough: it works for
six days. Weeds emerge evenly, a tenth a day.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from windowcast.core.record import FloatArray
from windowcast.windows.barrier import (
    best_day,
    caught_by_day,
    cover,
    days_held,
    runs_out,
    split_caught,
    watered_in_time,
)
from windowcast.windows.exposure import (
    Barrier,
    Exposure,
    Rising,
    Surroundings,
    fallen_before,
    where_reached,
)
from windowcast.windows.loss import (
    Loss,
    from_start,
    half_lives_lost,
    loss_rate,
    spot_need_mm,
    watered_share,
)

NAN = math.nan
LOSS = Loss(20.0, 54.0, 0.0, 0.125, 0.75, 1.0)  # half of the ground by half of the need
SURE = Barrier(2.0, 0.0, 3, LOSS)  # watered in by irrigation
RAINED = Barrier(2.0, 10.0, 3, LOSS)
DAYS = 10
SHARE = np.linspace(0.1, 1.0, DAYS)[None]
WARM, DRY = np.full((1, DAYS), 20.0), np.zeros((1, DAYS))


def rain(**on: float) -> FloatArray:
    """Rain by day: ``d3=5.0``."""
    row = np.zeros((1, DAYS))
    for name, fell in on.items():
        row[0, int(name[1:])] = fell
    return row


def near(found: Any, expected: Any) -> None:
    np.testing.assert_allclose(found, expected, atol=1e-6)


# --- loss and water -------------------------------------------------------------------------------


def test_loss_by_arrhenius_and_none_in_frozen_soil() -> None:
    """At 10 °C with 54 kJ/mol: exp(-54 / 0.0083145 x (1/283.15 - 1/293.15)) = 0.4572."""
    found = loss_rate(np.array([20.0, 10.0, 0.0, -0.1, NAN]), LOSS)
    assert found[:2] == pytest.approx([1.0, 0.4572], abs=1e-4)
    assert found[2] > 0
    assert found[3] == 0.0
    assert np.isnan(found[4])
    assert LOSS.half_lives_held == 3.0
    near(half_lives_lost(np.array([[1.0, 0.5], [1.0, 1.0]]), 2.0), [[0, 0.5, 0.75], [0, 0.5, 1.0]])
    each = half_lives_lost(np.array([[1.0, 0.5], [1.0, 1.0]]), np.array([2.0, 4.0]))
    near(each, [[0, 0.5, 0.75], [0, 0.25, 0.5]])
    assert (np.diff(half_lives_lost(np.zeros((1, 3)), 2.0)) > 0).all()  # strictly rising
    assert from_start(np.array([[1.0, 2.0]])).tolist() == [[0.0, 1.0, 3.0]]


@pytest.mark.parametrize(
    ("water", "share"), [(-1.0, 0.0), (0.0, 0.0), (5.0, 0.5), (10.0, 0.75), (20.0, 0.9375)]
)
def test_water_by_the_share_of_the_ground_that_it_wets(water: float, share: float) -> None:
    """1 - 0.25^(W/10): half of what is dry with each 5 mm."""
    assert float(watered_share(water, 10.0, LOSS)) == pytest.approx(share)
    if water >= 0:
        assert float(spot_need_mm(share, 10.0, LOSS)) == pytest.approx(water)
    assert watered_share(np.array([water]), 0.0, LOSS).tolist() == [1.0]
    steep = replace(LOSS, water_shape=2.0)  # 1 - 0.25^0.25 of the ground by half of the need
    assert float(watered_share(5.0, 10.0, steep)) == pytest.approx(1 - 0.25**0.25)
    assert float(spot_need_mm(1 - 0.25**0.25, 10.0, steep)) == pytest.approx(5.0)


def test_rain_so_far_and_the_next_day_with_some() -> None:
    fell = np.array([[0.0, 2.0, NAN, 0.0, 3.0, -1.0]])
    assert fallen_before(fell).tolist() == [[0, 0, 2, 2, 2, 5, 5]]
    found = Surroundings.of(np.zeros((1, 6)), np.zeros((1, 6)), fell)
    assert found.next_rain[0, :7].tolist() == [1, 1, 4, 4, 4, 6, 6]
    assert found.untold.tolist() == [[0, 0, 0, 1, 1, 1, 1]]
    up = Surroundings.of(np.array([[0.3, 0.5, 0.6]]), np.zeros((1, 3)), np.zeros((1, 3)))
    near(up.before, [[0.1, 0.3, 0.5, 0.6]])  # back along the line of the first two days
    low = Surroundings.of(np.array([[0.1, 0.5], [0.3, 0.3]]), np.zeros((2, 2)), np.zeros((2, 2)))
    near(low.before, [[0.0, 0.1, 0.5], [0.3, 0.3, 0.3]])


@pytest.mark.parametrize(
    ("barrier", "untold"),
    [
        (SURE, []),
        (replace(RAINED, at_once_mm=10.0), []),
        (replace(RAINED, at_once_mm=9.0), [1, 7, 8]),
        (RAINED, [1, 7, 8]),  # of the three days after them no rain is known, or of all there are
        (replace(RAINED, activation_days=2), [1, 2, 7, 8]),
    ],
)
def test_days_after_which_no_rain_is_known(barrier: Barrier, untold: list[int]) -> None:
    fell = rain(d2=NAN, d3=NAN, d4=NAN, d8=NAN, d9=NAN)
    found = Surroundings.of(SHARE, WARM, fell).rain_untold(barrier)
    assert np.flatnonzero(found[0]).tolist() == untold


# --- what it catches ------------------------------------------------------------------------------


def test_what_is_watered_in_at_once_works_for_six_days() -> None:
    result = cover(SHARE, WARM, DRY, SURE)
    caught = [0.6, 0.6, 0.6, 0.6, 0.6, 0.5, 0.4, 0.3, 0.2, 0.1]
    near(result.caught, [caught])
    near(result.up, [np.arange(10) / 10])
    near(result.cover, [[c / (1 - n / 10) for n, c in enumerate(caught)]])
    near(result.lasts_days[0, :5], [6.0] * 5)
    assert np.isinf(result.lasts_days[0, 5:]).all()
    full = cover(np.ones((1, DAYS)), WARM, DRY, SURE)
    assert np.isnan(full.cover).all()  # nothing is still to come
    half = cover(SHARE, WARM, DRY, replace(SURE, dose=0.5))
    near(half.caught[0, :6], [0.4] * 6)
    none = cover(SHARE, WARM, DRY, replace(SURE, dose=0.1))
    near(none.caught, np.zeros((1, DAYS)))
    many = cover(SHARE, WARM, DRY, replace(SURE, half_life_d=np.array([1.0])))
    near(many.caught[0, :7], [0.3] * 7)


def test_each_rain_wets_its_share_of_the_ground_from_the_day_after_it() -> None:
    """5 mm wet a half, 10 mm three quarters: in all 0.5 from day 3, 0.25 from day 5."""
    fell = rain(d2=5.0, d4=5.0)
    result = cover(SHARE, WARM, fell, RAINED)
    # laid on day 0 it holds to day 6, on day 1 to day 7; its own day's rain counts not
    near(result.caught[0, :5], [
        0.5 * 0.3 + 0.25 * 0.1, 0.5 * 0.4 + 0.25 * 0.2, 0.5 * 0.3, 0.5 * 0.4, 0.0,
    ])  # fmt: skip
    near(result.caught[0, 5:], np.zeros(5))
    # two days at the surface cost one half-life of its own, two days of its work in the soil
    waits = cover(SHARE, WARM, fell, replace(RAINED, waiting_per_day=0.5))
    near(waits.caught[0, 1], 0.5 * 0.2)
    given = cover(SHARE, WARM, fell, replace(RAINED, at_once_mm=5.0))
    near(given.caught[0, 0], 0.5 * 0.6 + 0.25 * 0.3 + 0.125 * 0.1)


def test_some_days_and_what_cannot_be_told() -> None:
    whole, up = caught_by_day(SHARE, WARM, rain(d2=5.0), RAINED)
    part, part_up = caught_by_day(SHARE, WARM, rain(d2=5.0), RAINED, slice(1, 4))
    assert part.tolist() == whole[:, 1:4].tolist()
    assert part_up.tolist() == up[:, 1:4].tolist()
    blind, _ = caught_by_day(SHARE, WARM, rain(d2=NAN, d3=NAN, d4=NAN), RAINED)
    assert np.flatnonzero(np.isnan(blind[0])).tolist() == [1]


def test_ground_that_is_watered_in_within_the_days_asked_for() -> None:
    found = watered_in_time(rain(d3=5.0, d9=10.0), RAINED)[0]
    near(found, [0.5, 0.5, 0.5, 0.0, 0.0, 0.0, 0.75, 0.75, 0.75, 0.0])
    more = watered_in_time(rain(d3=5.0), replace(RAINED, at_once_mm=5.0))[0]
    near(more[:4], [0.75, 0.75, 0.75, 0.5])


def test_when_it_runs_out() -> None:
    """The middle spot needs 5 mm; laid on day 0 it works to the end of day 5."""
    for fell, day in ((rain(d2=5.0), 6.0), (rain(d2=4.9), 0.0), (rain(d0=9.0), 0.0),
                      (rain(d4=5.0), 6.0), (rain(d6=5.0), 0.0)):  # fmt: skip
        assert runs_out(WARM, fell, RAINED).tolist() == [day]
    lasting = replace(RAINED, half_life_d=99.0)
    assert runs_out(WARM, rain(d2=5.0), lasting).tolist() == [math.inf]
    cold = WARM.copy()
    cold[0, 5] = NAN
    assert np.isnan(runs_out(cold, rain(d2=5.0), RAINED)).all()
    waits = replace(RAINED, waiting_per_day=0.25)
    assert runs_out(WARM, rain(d2=5.0), waits).tolist() == [5.0]  # 3 - 3 x 0.25 half-lives


def test_two_halves_of_the_dose() -> None:
    """Half of it works for 4 days; 2 days on, 1/4 + 1/2 of it are left: 2 log2(6) = 5.17 days."""
    pair = {"first": np.array([0, 0]), "second": np.array([2, 6])}
    found = split_caught(SHARE, WARM, DRY, SURE, **pair)
    near(found[0, 0], (2 + 2 * math.log2(6)) / 10)
    # after six days an eighth of half the dose is left of the first
    near(found[0, 1], (4 + min(2 * math.log2((1 / 16 + 1 / 2) * 8), 4)) / 10)
    dry = split_caught(SHARE, WARM, DRY, RAINED, **pair)
    near(dry, [[0.0, 0.0]])
    wet = split_caught(SHARE, WARM, rain(d0=500.0, d1=500.0), RAINED, **pair)
    near(wet[0, 1], 0.2)  # the first half alone, from day 2 to day 4


@pytest.mark.parametrize("members", [slice(0, 1), np.array([1])])
def test_a_barrier_in_some_of_the_futures(members: slice) -> None:
    life, energy, dose = np.array([1.0, 2.0]), np.array([[30.0], [60.0]]), np.array([[0.5], [1.0]])
    many = Barrier(life, 0.0, 3, replace(LOSS, energy_kj_mol=energy), dose=dose)
    found = many.of_members(members)
    assert np.array_equal(found.half_life_d, life[members])
    assert np.array_equal(found.loss.energy_kj_mol, energy[members])
    assert np.array_equal(found.dose, dose[members])
    assert SURE.of_members(members) == SURE
    assert many.half_lives_held == pytest.approx(np.array([[2.0], [3.0]]))


def test_the_day_with_most_and_of_equal_ones_the_last() -> None:
    caught = np.array([[0.5, 0.5, 0.4], [NAN, 0.1, NAN], [NAN, NAN, NAN]])
    every = np.ones(3, dtype=bool)
    assert best_day(caught, every, 0.001).tolist() == [1, 1, -1]
    assert best_day(caught, every, 0.0).tolist() == [0, 1, -1]
    assert best_day(caught[0], np.array([True, False, True]), 0.001) == 0
    assert best_day(caught[0], every, 0.5) == 2  # 0.4 e^1 above 0.5 e^0.5


# --- on which days it holds -----------------------------------------------------------------------


def test_the_ground_on_which_it_holds_day_by_day() -> None:
    found = days_held(WARM, DRY, SURE, np.array([1, 5]))
    assert found.shape == (1, 2, DAYS)
    near(found[0, 0], [0, *[1] * 6, 0, 0, 0])
    near(found[0, 1], [0, 0, 0, 0, 0, *[1] * 5])
    half = replace(SURE, half_life_d=2.5)  # seven and a half days
    near(days_held(WARM, DRY, half, np.array([1]))[0, 0], [0, *[1] * 7, 0.5, 0])
    wet = days_held(WARM, rain(d2=5.0, d4=5.0), RAINED, np.array([0]))[0, 0]
    near(wet, [0, 0, 0, 0.5, 0.5, 0.75, 0, 0, 0, 0])
    near(days_held(WARM, DRY, replace(SURE, dose=0.1), np.array([1])), np.zeros((1, 1, DAYS)))
    two = days_held(np.tile(WARM, (2, 1)), np.vstack([DRY, rain(d2=5.0)]), RAINED, np.array([0, 1]))
    assert two.shape == (2, 2, DAYS)
    near(two[0], np.zeros((2, DAYS)))
    near(two[1, 1], [0, 0, 0, 0.5, 0.5, 0.5, 0.5, 0, 0, 0])
    # weighted with what emerges on each day it is what it catches
    caught, _ = caught_by_day(SHARE, WARM, rain(d2=5.0, d4=5.0), RAINED)
    near(wet.sum() / 10, caught[0, 0])


# --- along rows -----------------------------------------------------------------------------------


def test_how_many_values_of_a_row_lie_at_or_below_what_is_wanted() -> None:
    rows = Rising.of(np.array([[0.0, 2.0, 4.0], [0.0, 100.0, NAN], [NAN, 1.0, 2.0]]))
    assert rows.known.tolist() == [3, 2, 0]
    wanted = np.array([-1.0, 0.0, 1.9, 2.0, 4.0, 99.0, 99.0, 100.0, 500.0, 1.0, NAN])
    of = np.array([0, 0, 0, 0, 0, 0, 1, 1, 1, 2, 0])
    assert rows.places(of, wanted)[:10].tolist() == [0, 1, 1, 2, 3, 3, 1, 2, 2, 0]


def test_straight_lines_between_values() -> None:
    x, y = (
        Rising.of(np.array([[0.0, 2.0, 4.0], [1.0, 2.0, NAN]])),
        np.array([[10.0, 20.0, 40.0]] * 2),
    )
    rows, wanted = np.array([0, 0, 0, 0, 1, 1]), np.array([-1.0, 1.0, 3.0, 9.0, 1.5, 2.5])
    found = where_reached(x, y, rows, wanted)
    near(found[:5], [10, 15, 30, 40, 15])
    assert np.isnan(found[5])
    beyond = where_reached(x, y, rows[:4], np.array([4.0, 4.1, 3.0, -1.0]), beyond=np.inf)
    assert beyond.tolist() == [40.0, math.inf, 30.0, 10.0]


def test_what_is_lost_before_it_is_watered_in_counts_against_it() -> None:
    met = Exposure.of(Surroundings.of(SHARE, WARM, DRY), replace(SURE, waiting_per_day=0.5))
    one, laid, start = np.array([0]), np.array([2]), np.array([4])
    near(met.end(one, laid, start), [1.0 + 3.0 - 1.0])
    near(met.held(one, laid, start), [0.2])  # to day 6 instead of day 8
    near(met.held(one, laid, laid), [0.6])
    near(met.held(one, laid, np.array([9])), [0.0])

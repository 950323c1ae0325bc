"""Cover of a barrier against closed forms and brute force."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from windowcast.core.values import load
from windowcast.windows.barrier import (
    Barrier,
    Loss,
    best_day,
    caught_by_day,
    cover,
    half_lives_lost,
    loss_rate,
    split_caught,
    watered_in,
)

LOSS, AS_GOOD = Loss.of(load("barrier")), load("barrier").number("as_good")
DAYS = np.arange(200.0)
REFERENCE = np.full(200, 20.0)
DRY = np.zeros(200)
ENOUGH = 0.17
HELD = np.log(1 / ENOUGH) / np.log(2)  # half-lives until 17 % is left


def irrigated(half_life_d: float) -> Barrier:
    return Barrier(half_life_d, 0.0, 7, LOSS)


def test_rate_is_one_at_the_reference_and_has_the_published_q10() -> None:
    """Q10 of 2.58 between 10 and 20 °C (EFSA PPR Panel 2008; value from memory)."""
    assert loss_rate(np.array([20.0]), LOSS)[0] == pytest.approx(1.0)
    ratio = loss_rate(np.array([20.0]), LOSS)[0] / loss_rate(np.array([10.0]), LOSS)[0]
    assert ratio == pytest.approx(2.58, abs=0.01)
    assert loss_rate(np.array([-2.0]), LOSS)[0] == 0.0
    assert np.isnan(loss_rate(np.array([np.nan]), LOSS)[0])


def test_turf_trials_give_what_is_enough() -> None:
    """Schleicher et al. 1995: control to 59 d at a half-life of 23 d, to 87 d at 35 d."""
    left = np.exp2([-59 / 23, -87 / 35])
    value = load("barrier").value("enough_left")
    assert value.low == pytest.approx(left.min(), abs=0.005)
    assert value.high == pytest.approx(left.max(), abs=0.005)
    lasts = cover(DAYS / 200, REFERENCE, DRY, irrigated(23.0)).lasts_days[0, 0]
    assert lasts == pytest.approx(59, abs=0.5)


@given(st.floats(5, 60), st.integers(0, 60), st.integers(10, 60), st.integers(5, 80))
def test_uniform_emergence(half_life: float, day: int, begin: int, length: int) -> None:
    """Closed form: overlap of [d, d + HELD · half-life] with the days of emergence."""
    end = begin + length
    share = np.clip((DAYS + 1 - begin) / length, 0, 1)
    result = cover(share, REFERENCE, DRY, irrigated(half_life))
    stop = min(end, day + HELD * half_life)
    caught = max(0.0, stop - max(begin, day)) / length
    assert result.caught[0, day] == pytest.approx(caught, abs=1e-6)
    up = np.clip((day - begin) / length, 0, 1)
    assert result.up[0, day] == pytest.approx(up, abs=1e-6)
    if up < 1:
        assert result.cover[0, day] == pytest.approx(caught / (1 - up), abs=1e-6)


@given(st.floats(8, 40), st.integers(0, 90))
def test_logistic_emergence(half_life: float, day: int) -> None:
    """Closed form: difference of the logistic at the ends; its bend between days is the slack."""

    def logistic(time: float | np.ndarray) -> float | np.ndarray:
        return 1 / (1 + np.exp(-(time - 70) / 9))

    result = cover(logistic(DAYS + 1), REFERENCE, DRY, irrigated(half_life))
    stop = min(day + HELD * half_life, 200)
    assert result.caught[0, day] == pytest.approx(logistic(stop) - logistic(day), abs=2e-3)


def test_colder_soil_keeps_it_longer() -> None:
    """At 10 °C a barrier lasts 2.58 times as long as at 20 °C."""
    warm = cover(DAYS / 200, REFERENCE, DRY, irrigated(15.0)).lasts_days[0, 0]
    cold = cover(DAYS / 200, np.full(200, 10.0), DRY, irrigated(15.0)).lasts_days[0, 0]
    assert cold / warm == pytest.approx(2.58, rel=0.005)
    frozen = cover(DAYS / 200, np.full(200, -3.0), DRY, irrigated(15.0)).lasts_days[0, 0]
    assert np.isinf(frozen)


@settings(max_examples=8, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_against_brute_force(seed: int) -> None:
    """Hour by hour on made-up weather: what is left, what is wet in, what comes up."""
    rng = np.random.default_rng(seed)
    days = 60
    share = np.cumsum(rng.random(days))
    share /= share[-1] * 1.1
    soil = 12 + 8 * rng.random(days)
    rain = rng.gamma(0.3, 8, days)
    barrier = Barrier(9.0, 12.7, 7, LOSS)
    result = cover(share, soil, rain, barrier)
    steps = 240
    before = np.concatenate([[max(2 * share[0] - share[1], 0)], share])
    for day in (0, 11, 30, 44):
        fallen = np.cumsum(rain[day + 1 : day + 8])
        if fallen[-1] < 12.7:
            assert result.caught[0, day] == 0.0
            continue
        start = day + 1 + int(np.argmax(fallen >= 12.7)) + 1
        left, caught = 1.0, 0.0
        for moment in range(day * steps, days * steps):
            today = moment // steps
            if today >= start and left >= ENOUGH:
                caught += (before[today + 1] - before[today]) / steps
            left *= 0.5 ** (loss_rate(soil[today], LOSS) / 9.0 / steps)
        assert result.caught[0, day] == pytest.approx(caught, abs=2e-3)


def test_watering_in() -> None:
    rain = np.zeros((1, 30))
    rain[0, 5] = 20.0
    barrier = Barrier(30.0, 12.7, 7, LOSS)
    start = watered_in(rain, barrier)[0]
    assert start[0] == 6.0  # day 5 completes it, it works from day 6
    assert start[4] == 6.0
    assert np.isinf(start[5])  # the day's own rain does not count
    assert np.isinf(start[20])
    assert np.isnan(start[25])  # its seven days reach beyond the end
    rain[0, 3] = np.nan
    gap = watered_in(rain, barrier)[0]
    assert np.isnan(gap[0])
    assert gap[4] == 6.0
    assert (
        watered_in(np.full((1, 30), np.nan), Barrier(30.0, 0.0, 7, LOSS)) == np.arange(30)
    ).all()


@pytest.mark.parametrize("days", [slice(0, 200), slice(40, 90), slice(185, 200), slice(199, 200)])
def test_some_days_give_what_all_days_give(days: slice) -> None:
    random = np.random.default_rng(4)
    share = np.sort(random.random((3, 200)), axis=1)
    soil = random.uniform(-3, 28, (3, 200))
    rain = np.where(random.random((3, 200)) < 0.2, random.exponential(8, (3, 200)), 0.0)
    rain[1, 60] = np.nan
    for barrier in (Barrier(30.0, 12.7, 7, LOSS), irrigated(30.0)):
        whole = caught_by_day(share, soil, rain, barrier)
        some = caught_by_day(share, soil, rain, barrier, days)
        for all_days, part in zip(whole, some, strict=True):
            np.testing.assert_array_equal(part, all_days[:, days])


def test_missing_weather_cannot_be_told() -> None:
    soil = REFERENCE.copy()
    soil[50] = np.nan
    result = cover(DAYS / 200, soil, DRY, irrigated(23.0))
    assert np.isnan(result.caught[0, 40])
    assert np.isnan(result.caught[0, 60])


def test_split_of_two_halves() -> None:
    """Uniform emergence, constant loss: the halves' times are known in closed form.

    Alone the first half lasts (HELD - 1) half-lives; after the second, half and half decay from
    (2^-(n/T) + 1)/2 of the dose, n days apart.
    """
    half_life, apart = 20.0, 30
    share = np.clip((DAYS + 1) / 200, 0, 1)
    pair = {"first": np.array([10]), "second": np.array([10 + apart])}
    caught = split_caught(share, REFERENCE, DRY, irrigated(half_life), **pair)[0, 0]
    alone = min((HELD - 1) * half_life, apart)
    together = np.log2((np.exp2(-apart / half_life) + 1) / 2) * half_life + HELD * half_life
    assert caught == pytest.approx((alone + together) / 200, abs=1e-6)


def test_members_and_half_lives_broadcast() -> None:
    share = np.tile(np.clip((DAYS - 20) / 100, 0, 1), (3, 1))
    result = cover(share, REFERENCE, DRY, Barrier(np.array([10.0, 20.0, 40.0]), 0.0, 7, LOSS))
    assert result.caught.shape == (3, 200)
    assert (np.diff(result.caught[:, 20]) > 0).all()
    assert half_lives_lost(np.tile(REFERENCE, (3, 1)), 10.0, LOSS)[0, 10] == pytest.approx(1.0)


def test_best_day_is_the_latest_before_emergence_of_those_as_good() -> None:
    """A plateau has no peak: what a practitioner wants is the last day that loses nothing."""
    caught = np.array([0.5, 0.998, 1.0, 1.0, 0.995, 0.96, 0.4])
    up = np.array([0.0, 0.0, 0.0, 0.0, 0.005, 0.04, 0.6])
    every = np.ones(7, bool)
    assert best_day(caught, up, every, AS_GOOD) == 4
    assert (
        best_day(caught, up, np.arange(7) < 3, AS_GOOD) == 2
    )  # not before it opens, not after it closes
    assert best_day(caught, up, ~every, AS_GOOD) == -1
    assert best_day(np.full(7, np.nan), up, every, AS_GOOD) == -1
    peak = np.array([0.3, 0.8, 0.9, 0.897, 0.5, 0.2, 0.1])
    assert best_day(peak, up + 0.02, every, AS_GOOD) == 2  # already coming up: the best itself
    both = best_day(np.stack([caught, peak]), np.stack([up, up + 0.02]), every, AS_GOOD)
    assert both.tolist() == [4, 2]

"""Cover of a barrier against closed forms and brute force."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from windowcast.core.record import FloatArray
from windowcast.core.values import Value, load
from windowcast.windows.barrier import (
    best_day,
    caught_by_day,
    cover,
    runs_out,
    split_caught,
    watered_in_time,
)
from windowcast.windows.exposure import Barrier, Rising
from windowcast.windows.loss import Loss, half_lives_lost, loss_rate, spot_need_mm, watered_share
from windowcast.windows.residual import Laying, ResidualActive

VALUES = load("barrier")
LOSS, LATER = Loss.of(VALUES), VALUES.number("later_worth")
DAYS = np.arange(200.0)
REFERENCE = np.full(200, 20.0)
DRY = np.zeros(200)
ENOUGH = 0.17
HELD = np.log(1 / ENOUGH) / np.log(2)  # half-lives until 17 % is left


def irrigated(half_life_d: float) -> Barrier:
    return Barrier(half_life_d, 0.0, 7, LOSS)


def test_rate_is_one_at_the_reference_and_has_the_published_q10() -> None:
    """Q10 of 2.2 between 10 and 20 °C (FOCUS 1997), 2.58 at the high end (EFSA PPR Panel 2008).

    The low end is S-metolachlor's: half gone in 23.7 d at 35 and in 64.8 d at 10 °C (Long, Li & Wu
    2014).
    """
    assert loss_rate(np.array([20.0]), LOSS)[0] == pytest.approx(1.0)
    low, high = VALUES.value("activation_energy").ends

    def times(warm: float, cold: float, energy: float) -> float:
        one, other = loss_rate(np.array([warm, cold]), replace(LOSS, energy_kj_mol=energy))
        return float(one / other)

    assert times(20, 10, float(LOSS.energy_kj_mol)) == pytest.approx(2.2, abs=0.02)
    assert times(20, 10, high) == pytest.approx(2.58, abs=0.01)
    assert times(35, 10, low) == pytest.approx(64.8 / 23.7, rel=0.005)
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


def test_a_row_is_read_exactly_whatever_the_others_hold() -> None:
    """A hair below a day's amount is the day before, in the last of many rows as in the first."""
    draw = np.random.default_rng(3)
    x = np.cumsum(draw.uniform(1e-9, 4, (90, 50)), axis=-1)
    x[:, 30:] = np.where(draw.random((90, 1)) < 0.3, np.nan, x[:, 30:])
    day = draw.integers(0, 50, (90, 40))
    rows = np.broadcast_to(np.arange(90)[:, None], day.shape)
    for toward in (-np.inf, np.inf, x[rows, day]):
        wanted = np.nextafter(x[rows, day], toward)
        reached = [
            np.searchsorted(x[r, : np.isfinite(x[r]).sum()], wanted[r], "right") for r in range(90)
        ]
        known = np.isfinite(wanted)
        found = Rising.of(x).places(rows, wanted)
        np.testing.assert_array_equal(found[known], np.array(reached)[known])


def test_nothing_is_told_past_the_first_gap_of_the_soil() -> None:
    soil = REFERENCE.copy()
    soil[60:62] = np.nan
    whole, cut = (cover(DAYS / 200, s, DRY, irrigated(9.0)) for s in (REFERENCE, soil))
    known = np.isfinite(cut.lasts_days[0])
    assert 30 < known.sum() == np.flatnonzero(known)[-1] + 1 < 60
    np.testing.assert_array_equal(cut.lasts_days[0, known], whole.lasts_days[0, known])
    np.testing.assert_array_equal(np.isfinite(cut.caught[0]), known)
    forever = cover(DAYS / 200, np.where(DAYS < 60, -3.0, np.nan), DRY, irrigated(9.0))
    assert np.isnan(forever.lasts_days).all()  # frozen so far; nobody knows until when


def test_colder_soil_keeps_it_longer() -> None:
    """At 10 °C a barrier lasts 2.2 times as long as at 20 °C."""
    warm = cover(DAYS / 200, REFERENCE, DRY, irrigated(15.0)).lasts_days[0, 0]
    cold = cover(DAYS / 200, np.full(200, 10.0), DRY, irrigated(15.0)).lasts_days[0, 0]
    assert cold / warm == pytest.approx(2.2, rel=0.01)
    frozen = cover(DAYS / 200, np.full(200, -3.0), DRY, irrigated(15.0)).lasts_days[0, 0]
    assert np.isinf(frozen)


def by_spots(
    share: np.ndarray, soil: np.ndarray, rain: np.ndarray, barrier: Barrier, day: int
) -> float:
    """Brute force: many spots of unlike need, followed in steps of two hours."""
    days, steps, spots = len(share), 12, 200
    needs = spot_need_mm((np.arange(spots) + 0.5) / spots, barrier.activation_mm, barrier.loss)
    before = np.concatenate([[max(2 * share[0] - share[1], 0)], share])
    left, fallen, total = np.full(spots, barrier.dose), barrier.at_once_mm, 0.0
    active = needs <= fallen
    for now in range(day, days):
        rate = loss_rate(soil[now : now + 1], barrier.loss)[0]
        for _ in range(steps):
            on = active & (left >= barrier.loss.enough_left)
            total += on.mean() * (before[now + 1] - before[now]) / steps
            waits = np.where(active, 0.0, barrier.waiting_per_day * rate)
            left = left * 0.5 ** ((rate / float(np.max(barrier.half_life_d)) + waits) / steps)
        if now > day and np.isfinite(rain[now]):
            fallen += rain[now]
        active |= needs <= fallen
    return total


def wet_season(seed: int, days: int = 60) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    share = np.cumsum(rng.random(days))
    rain = np.where(rng.random(days) < 0.4, rng.gamma(0.5, 8, days), 0.0)
    return share / (share[-1] * 1.1), 12 + 8 * rng.random(days), rain


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize(("dose", "at_once_mm"), [(1.0, 0.0), (0.5, 5.0)])
def test_against_brute_force(seed: int, dose: float, at_once_mm: float) -> None:
    """Step by step on made-up weather: what is wet in where, what is left of it, what comes up."""
    share, soil, rain = wet_season(seed)
    rain[25] = np.nan  # not known: nothing is watered in by it
    barrier = Barrier(9.0, 12.7, 7, LOSS, waiting_per_day=0.08, dose=dose, at_once_mm=at_once_mm)
    result = cover(share, soil, rain, barrier)
    for day in (0, 44):
        slow = by_spots(share, soil, rain, barrier, day)
        assert result.caught[0, day] == pytest.approx(slow, abs=4e-3)


def test_watering_in() -> None:
    """0.9 of the ground by the water asked for, half of it by 55 % of that, and never a step."""
    water = np.linspace(0, 40, 401)
    share = watered_share(water, 12.7, LOSS)
    assert share[0] == 0
    assert watered_share(12.7, 12.7, LOSS) == pytest.approx(0.9)
    assert watered_share(0.55 * 12.7, 12.7, LOSS) == pytest.approx(0.5, abs=0.01)
    assert (np.diff(share) > 0).all()
    assert np.diff(share).max() < 0.0103  # of the ground for 0.1 mm
    assert spot_need_mm(share[50], 12.7, LOSS) == pytest.approx(5.0)
    assert watered_share(0.0, 0.0, LOSS) == 1  # where no water is needed


def test_watered_in_time_counts_the_days_after_the_application() -> None:
    rain = np.zeros((1, 30))
    rain[0, 5] = 12.7
    share = watered_in_time(rain, Barrier(30.0, 12.7, 7, LOSS))[0]
    assert share[4] == pytest.approx(0.9)
    assert share[5] == 0  # nobody knows whether the day's own rain fell before
    assert share[:6].tolist() == [0.0 if day + 7 < 5 else share[4] for day in range(5)] + [0.0]
    rain[0, 3] = np.nan
    assert watered_in_time(rain, Barrier(30.0, 12.7, 7, LOSS))[0, 0] == pytest.approx(0.9)
    assert (watered_in_time(np.full((1, 30), np.nan), Barrier(30.0, 12.7, 7, LOSS)) == 0).all()


@pytest.mark.parametrize("shift", [0.0, 3.1, 6.5, 12.4, 12.6, 12.7, 20.0])
@pytest.mark.parametrize("waiting", [0.0, 0.06])
def test_a_little_more_rain_never_decides(shift: float, waiting: float) -> None:
    """The same ground with one rain of W and of W + 0.2 mm: no more than 0.02 between them.

    The need is that of thatch nobody measured; a rain of 12.6 mm once counted nothing, 12.7 mm all.
    """
    share = np.clip((DAYS - 20) / 60, 0, 1)
    need = Laying(VALUES).needed_mm(12.7)
    found = []
    for fell in (shift, shift + 0.2):
        rain = np.zeros(200)
        rain[15] = fell
        barrier = Barrier(60.0, need, 7, LOSS, waiting_per_day=waiting)
        found.append(cover(share, REFERENCE, rain, barrier).caught[0, :15])
    rise = found[1] - found[0]
    assert (rise > 0).all()
    assert rise.max() < 0.02


@settings(max_examples=12, deadline=None)
@given(
    st.integers(0, 2**32 - 1),
    st.integers(0, 59),
    st.floats(0, 30),
    st.floats(0, 0.3),
    st.floats(0.05, 1),
)
def test_more_water_never_gives_less_and_less_dose_never_more(
    seed: int, day: int, more_mm: float, waiting: float, dose: float
) -> None:
    share, soil, rain = wet_season(seed)
    barrier = Barrier(9.0, 12.7, 7, LOSS, waiting_per_day=waiting, dose=dose)
    usual = cover(share, soil, rain, barrier).caught
    wetter = rain.copy()
    wetter[day] += more_mm
    assert (cover(share, soil, wetter, barrier).caught >= usual - 1e-9).all()
    unknown = rain.copy()
    unknown[day] = np.nan
    assert not (cover(share, soil, unknown, barrier).caught > usual + 1e-9).any()
    less = replace(barrier, dose=0.8 * dose)
    assert (cover(share, soil, rain, less).caught <= usual + 1e-9).all()
    longer = replace(barrier, waiting_per_day=waiting + 0.05)
    assert (cover(share, soil, rain, longer).caught <= usual + 1e-9).all()
    thicker = replace(barrier, activation_mm=14.0)
    assert (cover(share, soil, rain, thicker).caught <= usual + 1e-9).all()


def material(**more: Value) -> ResidualActive:
    life = Value("x", 60.0, "d", "x", "choice", low=30.0, high=120.0)
    return ResidualActive("x", life, 12.7, 7, **more)  # type: ignore[arg-type]


def test_a_dose_that_is_not_known_lies_between_a_low_one_and_the_usual_one() -> None:
    active = material(usual_kg_ha=Value("x", 0.8, "kg ha-1", "x", "choice"))
    soil, rain, on = np.full((60, 400), 18.0), np.full((60, 400), 5.0), Laying(VALUES)

    def ends(one: ResidualActive, rate: float | None) -> FloatArray:
        return runs_out(soil, rain, one.left_by(rate, 60, on))

    usual, half, unknown = (ends(active, rate) for rate in (0.8, 0.4, None))
    assert np.isfinite(usual).all()
    assert (unknown <= usual).all()
    assert (half <= unknown).all()
    assert half.mean() < unknown.mean() - 10 < unknown.mean() < usual.mean() - 10
    no_usual = material()
    np.testing.assert_array_equal(ends(no_usual, 0.8), unknown)
    np.testing.assert_array_equal(ends(no_usual, None), unknown)
    as_usual = active.left_by(None, 60, on, usual=True)
    np.testing.assert_array_equal(runs_out(soil, rain, as_usual), usual)


def test_what_nobody_said_counts_on_the_careful_side() -> None:
    """Formulation, thatch and rate: saying one never lowers what the residual is credited with."""

    def days(number: float) -> Value:
        return Value("x", number, "d", "x", "choice")

    active = material(leaf_half_life=days(20.0), air_half_life=days(40.0), usual_kg_ha=days(0.8))
    unsaid = active.laid(Laying(VALUES))
    assert unsaid.waiting_per_day == pytest.approx(0.54 / 20 + 1 / 40)
    granule = replace(active, formulation="granule").laid(Laying(VALUES))
    assert granule.waiting_per_day == pytest.approx(0.09 / 20)  # neither leaf nor air
    assert replace(active, formulation="spray").laid(Laying(VALUES)) == unsaid
    assert unsaid.activation_mm == pytest.approx(12.7 + 0.25 * 12.7)
    for thatch, need in ((0.0, 12.7), (12.7, 12.7), (20.0, 12.7 + 0.25 * 7.3), (60.0, 15.875)):
        laid = active.laid(Laying(VALUES, thatch_mm=thatch))
        assert laid.activation_mm == pytest.approx(need)
    assert active.laid(Laying(VALUES, irrigated=True)).activation_mm == 0
    assert active.laid(Laying(VALUES)).dose == active.dose(0.8) == active.dose(2.0) == 1
    assert active.dose(0.4) == 0.5
    assert active.dose(None) is material().dose(0.1) is None  # no usual rate is known
    assert material().laid(Laying(VALUES)).waiting_per_day == pytest.approx(0.54 / 15)


def test_futures_take_every_half_life_and_energy_of_their_ranges() -> None:
    drawn = material().drawn(200, Laying(VALUES))
    life, energy = np.asarray(drawn.half_life_d), np.asarray(drawn.loss.energy_kj_mol)
    assert (life.min(), life.max()) == pytest.approx((30, 120), rel=0.02)
    assert np.exp(np.log(life).mean()) == pytest.approx(60, rel=0.01)
    assert (energy.min(), energy.max()) == pytest.approx((29.2, 65.4), rel=0.02)
    assert energy.shape == (200, 1)
    assert abs(np.corrcoef(life, energy[:, 0])[0, 1]) < 0.1
    some = drawn.of_members(slice(None, None, 4))
    assert len(np.asarray(some.half_life_d)) == len(np.asarray(some.loss.energy_kj_mol)) == 50


@pytest.mark.parametrize("seed", range(3))
def test_it_runs_out_where_half_of_the_ground_is_watered_in(seed: int) -> None:
    """The first day on which at least half of many spots have nothing that works any more."""
    _, soil, rain = wet_season(seed, 90)
    barrier = Barrier(9.0, 12.7, 7, LOSS, waiting_per_day=0.05, dose=0.8)
    found = runs_out(soil[None], rain[None], barrier)[0]
    half = float(spot_need_mm(0.5, 12.7, LOSS))
    start = 1 + int(np.argmax(np.cumsum(np.where(np.arange(90) > 0, rain, 0.0)) >= half))
    rate = loss_rate(soil, LOSS)
    left = 0.8 * 0.5 ** (
        np.cumsum(rate) / 9.0 + 0.05 * np.cumsum(np.where(np.arange(90) < start, rate, 0.0))
    )
    assert found == 1 + int(np.argmax(left < ENOUGH))
    assert runs_out(soil[None], np.zeros((1, 90)), barrier)[0] == 0
    assert np.isinf(runs_out(soil[None], rain[None], replace(barrier, half_life_d=90.0))[0])


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


def test_where_no_rain_is_known_it_cannot_be_told() -> None:
    """A week without rain known after laying is unknown, not dry; a day less, and it counts."""
    rain = np.full(200, 5.0)
    rain[41:48] = np.nan
    needs_rain, sure = Barrier(60.0, 12.7, 7, LOSS), irrigated(60.0)
    caught = cover(DAYS / 200, REFERENCE, rain, needs_rain).caught[0]
    assert np.flatnonzero(np.isnan(caught)).tolist() == [40]
    assert np.isfinite(cover(DAYS / 200, REFERENCE, rain, sure).caught).all()
    known = replace(needs_rain, at_once_mm=20.0)
    assert np.isfinite(cover(DAYS / 200, REFERENCE, rain, known).caught).all()


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
    rate = loss_rate(np.tile(REFERENCE, (3, 1)), LOSS)
    assert half_lives_lost(rate, 10.0)[0, 10] == pytest.approx(1.0)


def test_best_day_waits_only_where_waiting_loses_nothing() -> None:
    """A plateau has no peak: what a practitioner wants is the last day that loses nothing."""
    every = np.ones(7, bool)
    plateau = np.array([0.5, 0.9995, 1.0, 1.0, 0.9998, 0.96, 0.4])
    assert best_day(plateau, every, LATER) == 4
    assert best_day(plateau, np.arange(7) < 3, LATER) == 2  # not after it closes
    assert best_day(plateau, ~every, LATER) == -1
    assert best_day(np.full(7, np.nan), every, LATER) == -1
    peak = np.array([0.3, 0.8, 0.9, 0.897, 0.5, 0.2, 0.1])
    assert best_day(peak, every, LATER) == 2
    assert best_day(np.where(np.arange(7) == 2, np.nan, peak), every, LATER) == 3
    assert best_day(np.stack([plateau, peak]), every, LATER).tolist() == [4, 2]


@pytest.mark.parametrize("seed", range(20))
def test_no_day_a_week_off_is_better_by_half_a_per_cent(seed: int) -> None:
    rng = np.random.default_rng(seed)
    caught = 0.5 + np.cumsum(rng.normal(0, 10.0 ** -rng.integers(1, 5), 60))
    day = int(best_day(caught, np.ones(len(caught), bool), LATER))
    for other in (day - 7, day + 7):
        if 0 <= other < len(caught):
            assert caught[other] <= caught[day] + 7 * LATER + 1e-12
    assert 7 * LATER < 0.005

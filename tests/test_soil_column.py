"""Heat conduction and freezing against analytic solutions, and their conservation of heat."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import erf, erfc

from windowcast.physics.soil_column import (
    LATENT_HEAT_J_M3,
    Ice,
    SoilGrid,
    Step,
    conduct,
    freeze,
    frozen_share,
)
from windowcast.physics.soil_stepper import GRID

CAPACITY = 2.0e6  # J/m³/K; only the diffusivity matters to the analytic solutions
CLAMPED = 1e6  # W/m²/K: the surface takes the driving temperature
DAY_S = 86400.0


def uniform(spacing_m: float, count: int) -> SoilGrid:
    """Evenly spaced nodes, the top one half a spacing deep."""
    nodes = (np.arange(count) + 0.5) * spacing_m
    return SoilGrid.of(nodes.tolist(), bottom_m=count * spacing_m)


def column(grid: SoilGrid, diffusivity, step_s: float):
    """Stores and conductances of a uniform soil."""
    k = diffusivity * CAPACITY
    store = [CAPACITY * dz / step_s + 0.0 * k for dz in grid.thickness_m]
    return store, [k / gap for gap in grid.gap_m], k / grid.node_m[0]


def after_conduction(temps: list, step: Step) -> list:
    after = temps.copy()
    conduct(temps, step, step.conductance.copy(), after)
    return after


def after_freezing(temps: list, step: Step, ice: Ice) -> list:
    after = temps.copy()
    freeze(temps, step, ice, after)
    return after


def wave(grid: SoilGrid, diffusivity, period_s: float, steps: int, periods: int):
    """Last period of all nodes under a surface wave of amplitude 1, ``[step, node, column]``."""
    step_s = period_s / steps
    store, between, surface = column(grid, diffusivity, step_s)
    temps = [0.0 * diffusivity for _ in grid.node_m]
    kept = []
    for i in range(steps * periods):
        # mid-step forcing and mid-step reading make the backward step second order
        driving = math.sin(2 * math.pi * (i + 1) / steps)
        temps = after_conduction(temps, Step(store, between, surface, driving))
        kept.append(np.array(temps))
    return np.array(kept[-steps:])


def harmonic(series: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Amplitude and lag (share of the period) behind a sine that starts with the series."""
    first = 2 * np.fft.rfft(series, axis=0)[1] / len(series)
    # samples are at (i + 1) / n of the period
    phase = np.angle(first) + np.pi / 2 - 2 * np.pi / len(series)
    return np.abs(first), -phase / (2 * np.pi) % 1


# Damping of the daily wave, amplitude left and lag (h) at 5 and 10 cm: exp(-z/d) and z/d / ω with
# d = sqrt(2D/ω), after Hillel 1982, Introduction to Soil Physics; D in mm²/s.
DAILY = {
    0.20: ((0.510, 0.260), (2.58, 5.15)),
    0.40: ((0.621, 0.385), (1.82, 3.64)),
    0.50: ((0.653, 0.426), (1.63, 3.26)),
    0.70: ((0.697, 0.486), (1.38, 2.75)),
    0.85: ((0.721, 0.520), (1.25, 2.50)),
}
# The yearly wave at 10 cm: amplitude left and lag in days.
YEARLY = {0.20: (0.932, 4.1), 0.40: (0.951, 2.9), 0.50: (0.956, 2.6), 0.70: (0.963, 2.2)}


@pytest.mark.slow
def test_daily_wave_at_five_diffusivities() -> None:
    diffusivity = np.array(list(DAILY)) * 1e-6
    grid = uniform(0.01, 80)
    series = wave(grid, diffusivity, DAY_S, steps=288, periods=8)
    amplitude, lag = harmonic(series)
    for at, (node_a, node_b) in enumerate(((4, 5), (9, 10))):  # 5 and 10 cm lie between nodes
        left = (amplitude[node_a] + amplitude[node_b]) / 2
        hours = 24 * (lag[node_a] + lag[node_b]) / 2
        np.testing.assert_allclose(left, [v[0][at] for v in DAILY.values()], rtol=0.01)
        np.testing.assert_allclose(hours, [v[1][at] for v in DAILY.values()], atol=0.08)


def test_yearly_wave_on_the_grid_in_use() -> None:
    diffusivity = np.array(list(YEARLY)) * 1e-6
    deep = SoilGrid.of((*GRID.node_m, 5.0, 8.0, 12.0), bottom_m=16.0)  # below, the wave dies out
    series = wave(deep, diffusivity, 365 * DAY_S, steps=365, periods=8)
    amplitude, lag = harmonic(series)
    node = GRID.node_m.index(0.10)
    np.testing.assert_allclose(amplitude[node], [v[0] for v in YEARLY.values()], atol=0.006)
    np.testing.assert_allclose(365 * lag[node], [v[1] for v in YEARLY.values()], atol=0.35)


def test_step_change_at_the_surface() -> None:
    # Carslaw & Jaeger 1959, Conduction of Heat in Solids, section 2.5: erfc(z / 2 sqrt(Dt)).
    diffusivity, step_s, steps = 0.5e-6, 600.0, 432
    grid = uniform(0.02, 150)
    store, between, surface = column(grid, diffusivity, step_s)
    temps = [0.0] * len(grid.node_m)
    for _ in range(steps):
        temps = after_conduction(temps, Step(store, between, surface, 1.0))
    expected = erfc(np.array(grid.node_m) / (2 * math.sqrt(diffusivity * step_s * steps)))
    np.testing.assert_allclose(temps, expected, atol=0.004)


@pytest.mark.slow
def test_freezing_front_against_stefan() -> None:
    # One-phase Stefan problem (Carslaw & Jaeger 1959, section 11.2): front = 2 λ sqrt(Dt) with
    # sqrt(π) λ exp(λ²) erf(λ) = c·ΔT / L. Three surface temperatures, side by side.
    surface_c = np.array([-2.0, -5.0, -10.0])
    diffusivity, water, width, days = 0.6e-6, 0.30, 0.02, 60
    step_s = 3 * 3600.0
    latent = LATENT_HEAT_J_M3 * water
    stefan = CAPACITY * -surface_c / latent
    root = np.full(3, 0.01)
    for _ in range(200):
        root = stefan / (math.sqrt(math.pi) * np.exp(root**2) * erf(root)) * 0.5 + root * 0.5
    front_m = 2 * root * math.sqrt(diffusivity * days * DAY_S)

    grid = uniform(0.01, 120)
    store, between, surface = column(grid, np.full(3, diffusivity), step_s)
    heat = np.array([np.full(3, latent * dz / step_s) for dz in grid.thickness_m])
    step = Step(np.array(store), np.array(between), surface, surface_c)
    temps = np.zeros((len(grid.node_m), 3))
    for _ in range(int(days * DAY_S / step_s)):
        temps = after_freezing(temps, step, Ice(width, heat, (slice(None),)))
    frozen_m = sum(
        frozen_share(t, width) * dz for t, dz in zip(temps, grid.thickness_m, strict=True)
    )
    np.testing.assert_allclose(frozen_m, front_m, rtol=0.04)


layers = st.lists(st.floats(-30, 50), min_size=3, max_size=9)


@settings(max_examples=60, deadline=None)
@given(temps=layers, driving=st.floats(-40, 60), step_s=st.floats(1.0, 1e9))
def test_no_step_is_unstable(temps: list[float], driving: float, step_s: float) -> None:
    store = [2e6 * 0.1 / step_s] * len(temps)
    after = after_conduction(temps, Step(store, [5.0] * (len(temps) - 1), 8.0, driving))
    low, high = min([*temps, driving]), max([*temps, driving])
    assert all(low - 1e-6 <= t <= high + 1e-6 for t in after)


@settings(max_examples=60, deadline=None)
@given(temps=layers, driving=st.floats(-40, 60), water=st.floats(0.01, 0.4))
def test_heat_is_conserved_with_ice(temps: list[float], driving: float, water: float) -> None:
    store = [2e6 * 0.1 / DAY_S] * len(temps)
    latent = [LATENT_HEAT_J_M3 * water * 0.1 / DAY_S] * len(temps)
    ice = Ice(1.5, latent, range(len(temps)))

    def heat(values: list[float]) -> float:
        return sum(
            s * t - lat * frozen_share(t, ice.width_k)
            for s, t, lat in zip(store, values, latent, strict=True)
        )

    between = [5.0] * (len(temps) - 1)
    after = after_freezing(temps, Step(store, between, 8.0, driving), ice)
    # what has flowed in: the heat below the surface grows by the flow from the last pass, which
    # lies between those to the temperature before and after
    gained = heat(after) - heat(temps)
    sealed = after_freezing(temps, Step(store, between, 0.0, driving), ice)
    assert heat(sealed) == pytest.approx(heat(temps), abs=1e-6 * (1 + abs(heat(temps))))
    assert gained * (driving - sealed[0]) >= -1e-6 * (1 + abs(gained))


def test_results_hardly_depend_on_the_step() -> None:
    # a cold spell of ten days, stepped by the day and by the hour
    ends = {}
    for step_s in (DAY_S, 3600.0):
        store, between, surface = column(GRID, 0.4e-6, step_s)
        surface = 1 / (1 / surface + 0.3)  # below turf
        temps = [10.0] * len(GRID.node_m)
        for i in range(int(30 * DAY_S / step_s)):
            day = i * step_s / DAY_S
            driving = 0.0 if 10 <= day < 20 else 10.0
            temps = after_conduction(temps, Step(store, between, surface, driving))
        ends[step_s] = np.array(temps)
    np.testing.assert_allclose(ends[DAY_S], ends[3600.0], atol=0.15)


def test_floats_and_arrays_agree() -> None:
    temps, store, between = [3.0, -0.5, -4.0], [4.0, 5.0, 6.0], [7.0, 8.0]
    latent = [10.0, 12.0, 14.0]
    given = temps, store, between, latent
    alone = after_freezing(
        temps, Step(store, between, 9.0, -6.0), Ice(1.5, latent, range(len(latent)))
    )
    temps, store, between, latent = (np.array([[v, v] for v in a]) for a in given)
    step = Step(store, between, np.full(2, 9.0), np.full(2, -6.0))
    beside = after_freezing(temps, step, Ice(1.5, latent, (slice(None),)))
    np.testing.assert_array_equal(beside.T, [alone, alone])


def test_thaw_by_the_day_matches_thaw_by_the_hour() -> None:
    # three weeks of frost, then warmth: the capacity must follow what freezes within the step
    ends = {}
    for step_s in (DAY_S, 1800.0):
        store, between, surface = column(GRID, 0.4e-6, step_s)
        surface = 1 / (1 / surface + 0.3)
        latent = [LATENT_HEAT_J_M3 * 0.15 * dz / step_s for dz in GRID.thickness_m[:6]]
        ice = Ice(1.5, latent, range(len(latent)))
        temps, means = [4.0] * len(GRID.node_m), []
        for i in range(int(50 * DAY_S / step_s)):
            driving = -9.0 if i * step_s < 21 * DAY_S else 7.0
            temps = after_freezing(temps, Step(store, between, surface, driving), ice)
            means.append(temps[1])
        ends[step_s] = np.array(means).reshape(50, -1)[:, -1]
    assert ends[DAY_S].min() < -2
    assert np.abs(ends[DAY_S] - ends[1800.0]).max() < 0.6
    assert np.abs(ends[DAY_S] - ends[1800.0]).mean() < 0.15

"""Several stations to one site: weights, height correction, grades that do not dilute."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from windowcast.core.great_circle import distance_km
from windowcast.core.record import Grade
from windowcast.sources.blend import (
    blend,
    effective_km,
    height_shift_c,
    station_weights,
)

cells = st.one_of(st.just(float("nan")), st.floats(-60, 60))


@st.composite
def stations(draw: st.DrawFn) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    shape = (draw(st.integers(1, 5)), draw(st.integers(1, 8)))
    values = draw(arrays(np.float64, shape, elements=cells))
    grades = draw(arrays(np.uint8, shape, elements=st.sampled_from([0, 1, 2, 3])))
    km = draw(arrays(np.float64, shape[0], elements=st.floats(0, 300)))
    return values, np.where(np.isfinite(values), grades, 4).astype(np.uint8), station_weights(km)


@given(stations())
def test_weights_are_shares(made: tuple[np.ndarray, np.ndarray, np.ndarray]) -> None:
    assert made[2].sum() == pytest.approx(1.0)
    assert (made[2] > 0).all()


@given(stations(), st.booleans())
def test_blend_lies_between_the_best_known(
    made: tuple[np.ndarray, np.ndarray, np.ndarray], nearest: bool
) -> None:
    values, grades, weights = made
    got, grade = blend(values, grades, weights, nearest=nearest)
    for t in range(values.shape[1]):
        known = np.isfinite(values[:, t])
        if not known.any():
            assert np.isnan(got[t])
            assert grade[t] == Grade.MISSING
            continue
        best = values[known & (grades[:, t] == grades[known, t].min()), t]
        assert best.min() <= got[t] <= best.max()
        assert grade[t] == grades[known, t].min()
        if nearest:
            assert got[t] in best


@given(stations(), st.floats(-40, 40))
def test_agreeing_stations_are_not_changed(
    made: tuple[np.ndarray, np.ndarray, np.ndarray], value: float
) -> None:
    values, grades, weights = made
    same = np.where(np.isfinite(values), value, np.nan)
    got, _ = blend(same, grades, weights)
    assert set(got[np.isfinite(got)]) <= {value}


@given(stations(), st.randoms())
def test_order_of_stations_does_not_matter(
    made: tuple[np.ndarray, np.ndarray, np.ndarray], random: object
) -> None:
    values, grades, weights = made
    order = np.array(sorted(range(len(weights)), key=lambda _: random.random()))  # type: ignore[attr-defined]
    one, _ = blend(values, grades, weights)
    other, _ = blend(values[order], grades[order], weights[order])
    np.testing.assert_allclose(one, other, atol=1e-9)


def test_weights_follow_shepard() -> None:
    """Inverse square of distance (Shepard 1968): 10 km against 20 km is 4 to 1."""
    np.testing.assert_allclose(station_weights(np.array([10.0, 20.0])), [0.8, 0.2])
    np.testing.assert_allclose(station_weights(np.array([0.0, 0.0])), [0.5, 0.5])
    half = station_weights(np.array([10.0, 10.0]), np.array([1.0, 0.5]))
    np.testing.assert_allclose(half, [2 / 3, 1 / 3])


def test_lapse_rate_is_that_of_the_standard_atmosphere() -> None:
    """ISO 2533: 15 °C at sea level, 8.5 °C at 1000 m, 2.0 °C at 2000 m (table values 8.501, 2.004
    are for geometric height)."""
    assert 15 + height_shift_c(0, 1000) == pytest.approx(8.5)
    assert 15 + height_shift_c(0, 2000) == pytest.approx(2.0)
    assert height_shift_c(None, 1000) == 0


def test_distances() -> None:
    """One degree of a great circle is 111.195 km on a sphere of 6371.0088 km (2πR/360); Paris to
    London 343.6 km on the sphere (from memory, to a kilometre); the date line is no wall."""
    assert distance_km(0, 0, 1, 0) == pytest.approx(111.195, abs=0.001)
    assert distance_km(48.8566, 2.3522, 51.5074, -0.1278) == pytest.approx(343.6, abs=1)
    assert distance_km(-17.0, 179.9, -17.0, -179.9) == pytest.approx(
        distance_km(-17.0, 10.0, -17.0, 10.2), abs=1e-6
    )
    assert distance_km(90, 0, -90, 0) == pytest.approx(np.pi * 6371.0088)


def test_height_counts_as_distance() -> None:
    np.testing.assert_allclose(
        effective_km(np.array([30.0, 30.0, 0.0]), np.array([0.0, np.nan, -400.0])), [30, 30, 40]
    )

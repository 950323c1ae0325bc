"""Units at the edges against published factors and a general units library."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from windowcast.core import units


# NIST SP 811 (2008), appendix B.8: exact unless marked there as rounded
@pytest.mark.parametrize(
    ("ours", "published"),
    [
        (units.MM_PER_INCH, 25.4),
        (units.M_PER_FOOT, 0.3048),
        (units.M_S_PER_MPH, 0.44704),
        (units.M_S_PER_KMH, 0.2777778),
        (units.M_S_PER_KNOT, 0.5144444),
        (units.HPA_PER_INHG, 33.86389),
        (units.KG_PER_LB, 0.45359237),
        (units.L_PER_US_GAL, 3.785412),
        (units.L_PER_US_FL_OZ, 0.02957353),
        (units.M2_PER_ACRE, 4046.856),
        (units.M2_PER_FT2, 0.09290304),
    ],
)
def test_factors_match_nist(ours: float, published: float) -> None:
    assert ours == pytest.approx(published, rel=5e-7)


def test_fixed_points_of_the_temperature_scales() -> None:
    assert units.c_to_f(100) == pytest.approx(212)
    assert units.f_to_c(32) == 0
    assert units.c_to_f(-40) == pytest.approx(-40)


@given(st.floats(-90, 60))
def test_temperature_round_trip(temp_c: float) -> None:
    assert units.f_to_c(units.c_to_f(temp_c)) == pytest.approx(temp_c, abs=1e-9)


def test_numbers_are_written_as_people_read_them() -> None:
    us, metric = units.Display("us"), units.Display("metric")
    assert us.temperature(10) == "50 °F"
    assert metric.temperature(-0.2) == "0 °C"
    assert metric.temperature(-3) == "−3 °C"
    assert us.speed(4.4704) == "10 mph"
    assert metric.speed(5) == "18 km/h"
    assert us.rain(12.7) == "0.50 in"
    assert metric.distance(12.4) == "12 km"
    assert us.height(30.48) == "100 ft"
    assert us.temperature(math.nan) == "–"

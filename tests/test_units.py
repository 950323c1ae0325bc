"""Units at the edges against published factors and a general units library."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from spoken import written

from windowcast.core import units
from windowcast.core.phrase import Quantity


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
    assert units.c_to_f(-40) == pytest.approx(-40)


@given(st.floats(-90, 60))
def test_temperature_round_trip(temp_c: float) -> None:
    back = units.convert(units.c_to_f(temp_c), "temperature", "°F", "degC")
    assert back == pytest.approx(temp_c, abs=1e-9)


def test_numbers_are_written_as_people_read_them() -> None:
    assert written(Quantity(10, "degC"), "us") == "50 °F"
    assert written(Quantity(-0.04, "degC")) == "0 °C"
    assert written(Quantity(-3, "degC")) == "−3 °C"
    assert written(Quantity(4.4704, "m s-1"), "us") == "10 mph"
    assert written(Quantity(5, "m s-1")) == "18 km/h"
    assert written(Quantity(12.7, "mm"), "us") == "0.5 in"
    assert written(Quantity(12.4, "km")) == "12 km"
    assert written(Quantity(30.48, "m"), "us") == "100 ft"
    assert written(Quantity(math.nan, "degC"), "us") == "–"


# how the general library pint names the units of the table
PINT = {
    "°F": "delta_degF", "°C": "delta_degC", "°F·d": "delta_degF * day", "°C·d": "delta_degC * day",
    "in": "inch", "ft": "foot", "mi": "mile", "ha": "hectare", "1000 ft²": "1000 * foot**2",
    "ft²": "foot**2", "100 m²": "100 * m**2", "m²": "m**2", "gal": "gallon", "fl oz": "fluid_ounce",
    "lb": "pound", "oz": "ounce", "kn": "knot", "gal/min": "gallon/minute", "L/min": "L/minute",
    "fl oz/min": "fluid_ounce/minute", "mL/min": "mL/minute", "inHg": "inch_Hg_32F",
    "MJ/m²": "MJ/m**2/day", "W/m²": "W/m**2", "kg/ha": "kg/hectare", "lb/acre": "pound/acre",
    "L/ha": "L/hectare", "gal/acre": "gallon/acre", "per m²": "1/m**2", "per ft²": "1/foot**2",
    "%": "percent", "": "dimensionless", "°": "degree",
}  # fmt: skip


@pytest.fixture(scope="module")
def registry() -> Any:
    found = pytest.importorskip("pint").UnitRegistry()
    found.define("inch_Hg_32F = 3386.389 * pascal")  # NIST SP 811, appendix B.8
    return found


@pytest.mark.parametrize("dimension", units.UNITS)
def test_every_unit_is_as_large_as_a_units_library_says(
    dimension: units.Dimension, registry: Any
) -> None:
    first, *others = units.UNITS[dimension]
    for unit in others:
        factor, _ = units.scale(dimension, unit.name, first.name)
        theirs = registry(PINT.get(unit.name, unit.name)).to(PINT.get(first.name, first.name))
        # an acre of the library is that of the survey foot, 4 millionths larger
        assert factor == pytest.approx(theirs.magnitude, rel=5e-6)


@pytest.mark.parametrize("dimension", units.UNITS)
def test_a_spelling_names_one_unit_of_its_dimension(dimension: units.Dimension) -> None:
    spelled = [
        {spelling.lower() for spelling in (unit.name, unit.code, *unit.also)}
        for unit in units.UNITS[dimension]
    ]
    assert sum(map(len, spelled)) == len(set().union(*spelled))


@given(st.sampled_from([*units.UNITS]), st.floats(-1e6, 1e6), st.data())
def test_a_value_survives_the_way_there_and_back(
    dimension: units.Dimension, value: float, data: st.DataObject
) -> None:
    names = st.sampled_from([unit.name for unit in units.UNITS[dimension]])
    one, other = data.draw(names), data.draw(names)
    there = units.convert(value, dimension, one, other)
    assert units.convert(there, dimension, other, one) == pytest.approx(value, rel=1e-9, abs=1e-6)
    factor, offset = units.scale(dimension, one, other)
    assert there == pytest.approx(value * factor + offset, rel=1e-9, abs=1e-6)

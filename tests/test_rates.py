"""Rates and concentrations against the trade's check, NIST factors and pint."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from windowcast.core.errors import InputError
from windowcast.core.quantity import Rate, parse, parse_rate, significant, write, write_rate
from windowcast.core.units import KG_PER_LB, L_PER_US_GAL, M2_PER_ACRE
from windowcast.materials.rates import (
    Concentration,
    active_kg_ha,
    equivalent_concentration,
    equivalent_rate,
    parse_concentration,
    product_rate,
    write_concentration,
)

LB_PER_GAL = KG_PER_LB / L_PER_US_GAL
KG_HA_PER_LB_ACRE = KG_PER_LB / M2_PER_ACRE * 1e4


def test_two_formulations_that_carry_the_same_active() -> None:
    # Check from the trade (common practice): 192 fl oz/acre of the older formulation and 82 of the
    # newer carry the same active; at 1.0 lb/gal in the older that is 1.5 lb/acre and 2.34 lb/gal.
    older, newer = parse_rate("192 fl oz/acre"), parse_rate("82 fl oz/acre")
    one = parse_concentration("1.0 lb/gal")
    assert active_kg_ha(older, one) / KG_HA_PER_LB_ACRE == pytest.approx(1.5, rel=1e-12)
    stronger = equivalent_concentration(older, one, newer)
    assert stronger.value / LB_PER_GAL == pytest.approx(192 / 82, rel=1e-12)
    assert write_concentration(stronger, "lb/gal") == "2.34 lb/gal"
    back = equivalent_rate(older, one, parse_concentration("2.34 lb/gal"))
    assert write_rate(back, "fl oz/acre", 2) == "82 fl oz/acre"


def test_published_conversions() -> None:
    # NIST SP 811 (2008), table B.8: 1 lb/acre is not listed, but lb → kg 4.535 924 E-01, acre → m²
    # 4.046 873 E+03 (survey acre; the international one here differs by 4 in a million), gallon →
    # m³ 3.785 412 E-03 and fluid ounce → m³ 2.957 353 E-05 are.
    assert parse("1 lb", "mass") == pytest.approx(0.4535924, abs=5e-8)
    assert parse("1 acre", "area") == pytest.approx(4046.873, rel=5e-6)
    assert parse("1 gal", "volume") == pytest.approx(3.785412, abs=5e-7)
    assert parse("1 fl oz", "volume") == pytest.approx(0.02957353, abs=5e-9)
    assert parse("1 psi", "pressure") == pytest.approx(6.894757, abs=5e-7)
    # Extension arithmetic (common practice): 43.56 times the rate per 1000 ft² is that per acre.
    per_acre, per_1000 = parse_rate("43.56 oz/acre"), parse_rate("1 oz/1000 ft2")
    assert per_acre.per_m2 == pytest.approx(per_1000.per_m2, rel=1e-12)


def test_dry_products_and_percentages() -> None:
    # 1.15 lb/acre of a 65 % dry product carries 0.7475 lb active (common practice arithmetic)
    dry = parse_concentration("65 %")
    assert dry == Concentration("mass", 0.65)
    assert active_kg_ha(parse_rate("1.15 lb/acre"), dry) / KG_HA_PER_LB_ACRE == pytest.approx(
        0.7475, rel=1e-12
    )
    assert write_rate(product_rate(0.7475 * KG_HA_PER_LB_ACRE, dry), "oz/acre", 3) == "18.4 oz/acre"
    assert parse_concentration("5 % w/v").value == pytest.approx(0.05)  # 50 g/L
    assert parse_concentration("480 g/L").value == pytest.approx(0.48)
    # 41 % by weight at 1.17 kg/L is 480 g/L
    assert parse_concentration("41 % w/w", density_kg_per_l=1.17).value == pytest.approx(0.4797)


def test_against_pint() -> None:
    pint = pytest.importorskip("pint")
    registry = pint.UnitRegistry()
    amounts = {"fl oz": "US_fluid_ounce", "gal": "gallon", "pt": "pint", "qt": "quart", "L": "L"}
    areas = {"acre": "international_acre", "ha": "hectare", "1000 ft2": "(1000 foot**2)"}
    registry.define("international_acre = 43560 * foot**2")
    for amount, name in amounts.items():
        for area, other in areas.items():
            expected = registry.parse_expression(f"3.7 {name} / {other}").to("L/m**2").magnitude
            assert parse_rate(f"3.7 {amount}/{area}").per_m2 == pytest.approx(expected, rel=1e-12)
    for mass, name in {"lb": "pound", "oz": "ounce", "g": "gram"}.items():
        expected = registry.parse_expression(f"2.2 {name}").to("kg").magnitude
        assert parse(f"2.2 {mass}", "mass") == pytest.approx(expected, rel=1e-12)


@given(
    st.floats(1e-3, 1e4),
    st.sampled_from(["fl oz/acre", "gal/acre", "mL/100 m²", "L/ha", "pt/1000 ft²"]),
    st.floats(0.01, 0.9),
    st.floats(0.01, 0.9),
)
def test_there_and_back(number: float, unit: str, old: float, new: float) -> None:
    rate = parse_rate(f"{number!r} {unit}")
    before, after = Concentration("volume", old), Concentration("volume", new)
    there = equivalent_rate(rate, before, after)
    assert active_kg_ha(there, after) == pytest.approx(active_kg_ha(rate, before), rel=1e-12)
    assert equivalent_rate(there, after, before).per_m2 == pytest.approx(rate.per_m2, rel=1e-12)
    assert parse_rate(write_rate(rate, unit, 15).replace(",", "")).per_m2 == pytest.approx(
        rate.per_m2, rel=1e-10
    )


def test_spellings_mean_the_same() -> None:
    expected = parse_rate("192 fl oz/acre")
    for text in ("192 fl oz / acre", "192fl oz per acre", " 192.0  FL OZ/AC ", "1.5 gal/a"):
        assert parse_rate(text).per_m2 == pytest.approx(expected.per_m2)


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("192", "has no unit"),
        ("192 fl oz", "says no area"),
        ("fl oz/acre", "does not begin with a number"),
        ("-3 oz/acre", "not above zero"),
        ("0 oz/acre", "not above zero"),
        ("3 acre/acre", "'acre' is no unit of weight or volume"),
        ("3 oz/gal", "'gal' is a unit of volume, not of area"),
        ("3 spoons/acre", "'spoons' is no unit"),
        ("3 oz/acre/day", "says no area"),
        ("1e999 oz/acre", "too large a number"),
    ],
)
def test_bad_rates(text: str, match: str) -> None:
    with pytest.raises(InputError, match=match):
        parse_rate(text, "rate")


def test_negative_area() -> None:
    with pytest.raises(InputError, match=r"area: '-2 acre': is not above zero"):
        parse("-2 acre", "area", "area")


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("0 lb/gal", "that is water"),
        ("0 %", "that is water"),
        ("8.34 lb/gal", "density of water"),  # from memory: water weighs 8.34 lb/gal
        ("1 kg/L", "density of water"),
        ("140 %", "more active ingredient than product"),
        ("30 lb/gal", "more than a litre can carry"),
        ("4", "has no unit"),
        ("-4 lb/gal", "not above zero"),
        ("4 lb/acre", "is a unit of area"),
        ("1.2.3 %", "not a number of percent"),
    ],
)
def test_bad_concentrations(text: str, match: str) -> None:
    with pytest.raises(InputError, match=match):
        parse_concentration(text)


def test_weights_and_volumes_are_not_mixed() -> None:
    with pytest.raises(InputError, match="rate is a weight but the product is a liquid"):
        active_kg_ha(parse_rate("20 oz/acre"), parse_concentration("4 lb/gal"))
    with pytest.raises(InputError, match="concentration is by weight"):
        active_kg_ha(parse_rate("20 fl oz/acre"), parse_concentration("41 % w/w"))
    with pytest.raises(InputError, match="not above zero"):
        product_rate(-1, parse_concentration("4 lb/gal"))


def test_writing() -> None:
    assert significant(1234.5, 3) == "1,234"  # no digit lost before the point
    assert significant(0.01234, 3) == "0.0123"
    assert significant(0, 3) == "0"
    assert write(0.4535924, "lb", "mass") == "1 lb"
    assert write_rate(Rate("mass", 5.6e-5), "kg/ha") == "0.56 kg/ha"

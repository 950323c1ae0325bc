"""Thermal properties against published tables."""

from __future__ import annotations

import numpy as np
import pytest

from windowcast.core.errors import InputError
from windowcast.core.values import load
from windowcast.physics.soil_column import Number
from windowcast.physics.soil_properties import (
    SoilTexture,
    conductivity_w_m_k,
    heat_capacity_j_m3_k,
    snow_conductivity_w_m_k,
    texture,
)

TEXTURES = list(load("soil").table("texture"))

# Diffusivity, mm²/s, at wilting point and at field capacity: soil parameter file of the LPJmL
# model (PIK), method of Lawrence & Slater 2008, Climate Dynamics 30:145-160.
LAWRENCE_SLATER = {
    "sand": (0.201, 0.896),
    "loamy_sand": (0.403, 0.850),
    "sandy_loam": (0.640, 0.863),
    "loam": (0.701, 0.797),
    "silt_loam": (0.637, 0.661),
    "sandy_clay_loam": (0.780, 0.867),
    "clay_loam": (0.650, 0.653),
    "silty_clay_loam": (0.556, 0.542),
    "clay": (0.572, 0.555),
}


def diffusivity(soil: SoilTexture, water: Number) -> float:
    available = (water - soil.wilting_point) / (soil.field_capacity - soil.wilting_point)
    capacity = heat_capacity_j_m3_k(soil.thermal(), available)
    return float(soil.conductivity_w_m_k(water) / capacity) * 1e6


def test_clay_against_pielke() -> None:
    # Pielke 1984, Mesoscale Meteorological Modeling, table 11-3: clay, 40 % pores.
    clay = texture("clay")
    pores = SoilTexture(
        porosity=0.40,
        wilting_point=clay.wilting_point,
        field_capacity=clay.field_capacity,
        dry_w_m_k=(0.135 * 1620 + 64.7) / (2700 - 0.947 * 1620),
        saturated_w_m_k=(7.7**0.25 * 2**0.75) ** 0.6 * 0.57**0.4,
        kersten_slope=clay.kersten_slope,
        solids_j_m3_k=clay.solids_j_m3_k,
        water_j_m3_k=clay.water_j_m3_k,
    )
    assert pores.dry_w_m_k == pytest.approx(0.25, rel=0.05)
    for water, k, d in ((0.2, 1.12, 0.53), (0.3, 1.33, 0.52), (0.4, 1.58, 0.51)):
        assert float(pores.conductivity_w_m_k(water)) == pytest.approx(k, rel=0.08)
        assert diffusivity(pores, water) == pytest.approx(d, rel=0.12)


@pytest.mark.parametrize("name", TEXTURES)
def test_diffusivity_against_lawrence_and_slater(name: str) -> None:
    # Another parameter set by the same family of methods; published values differ by a third.
    soil = texture(name.replace("_", " "))
    dry, moist = LAWRENCE_SLATER[name]
    assert 0.6 < diffusivity(soil, soil.field_capacity) / moist < 1.2
    if name != "sand":  # at its wilting point the table's sand holds hardly any water
        assert 0.4 < diffusivity(soil, soil.wilting_point) / dry < 1.8


def test_water_in_sand() -> None:
    # Dry sand 0.24 mm²/s (Oke 1987, from memory); 2.5 % of water make that about twice as much,
    # saturation about four times (ASME J. Solar Energy Eng. 110:306, 1988, 40 % pores).
    sand = texture("sand")
    dry = diffusivity(sand, 0.0)
    assert dry == pytest.approx(0.24, rel=0.25)
    assert diffusivity(sand, 0.025) / dry == pytest.approx(2.0, rel=0.15)
    assert diffusivity(sand, sand.porosity) / dry == pytest.approx(4.0, rel=0.15)


def test_moist_clay_lies_in_the_field_range() -> None:
    # Clayey Kandiudalf at water content 0.26-0.34: 0.31 to 0.39 mm²/s in the field (Revista
    # Brasileira de Ciência do Solo); laboratory tables lie above field values.
    values = [diffusivity(texture("clay"), w) for w in (0.27, 0.33)]
    assert min(values) > 0.31
    assert max(values) < 0.62


@pytest.mark.parametrize("name", TEXTURES)
def test_square_law_follows_the_curve(name: str) -> None:
    soil = texture(name.replace("_", " "))
    available = np.linspace(0, 1, 11)
    np.testing.assert_allclose(
        conductivity_w_m_k(soil.thermal(), available),
        soil.conductivity_w_m_k(soil.water(available)),
        rtol=0.03,
    )


def test_snow_against_sturm() -> None:
    # Sturm et al. 1997: 0.138 - 1.01 ρ + 3.233 ρ²; 0.25 kg/l about 0.09 W/m/K, 0.4 about 0.25.
    assert snow_conductivity_w_m_k(0.25) == pytest.approx(0.088, abs=0.003)
    assert snow_conductivity_w_m_k(0.40) == pytest.approx(0.251, abs=0.003)


def test_unknown_texture() -> None:
    assert texture(None) == texture("unknown")
    with pytest.raises(InputError, match="not a soil texture; use one of: sand"):
        texture("gravel")

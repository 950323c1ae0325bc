"""Thermal properties of soil from texture and water content, and of snow from density.

Conductivity follows Johansen (1975) as given by Peters-Lidard, Blackburn, Liang & Wood (1998),
*J. Atmos. Sci.* 55:1209-1224; heat capacity is the sum of its constituents. Snow conductivity is
the regression of Sturm, Holmgren, König & Morris (1997), *J. Glaciology* 43:26-41.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import NamedTuple

import numpy as np

from windowcast.core.errors import InputError
from windowcast.core.record import FloatArray
from windowcast.core.values import load
from windowcast.physics.soil_column import Number

WATER_W_M_K = 0.57
SOLIDS_DENSITY_KG_M3 = 2700.0


@dataclass(frozen=True)
class Texture:
    """What heat conduction needs to know of a soil: volume shares, W/m/K, J/m³/K."""

    porosity: float
    wilting_point: float
    field_capacity: float
    dry_w_m_k: float
    saturated_w_m_k: float
    kersten_slope: float
    solids_j_m3_k: float
    water_j_m3_k: float

    def conductivity_w_m_k(self, water: FloatArray) -> FloatArray:
        """Unfrozen conductivity at a volumetric water content (Johansen's Kersten number)."""
        share = np.maximum(np.asarray(water, dtype=np.float64) / self.porosity, 1e-6)
        kersten = np.maximum(1.0 + self.kersten_slope * np.log10(share), 0.0)
        result: FloatArray = self.dry_w_m_k + (self.saturated_w_m_k - self.dry_w_m_k) * kersten
        return result

    def water(self, available: Number) -> Number:
        """Volumetric water content at a share of the available water, 0 to 1."""
        return self.wilting_point + (self.field_capacity - self.wilting_point) * available

    def thermal(self) -> Thermal:
        """What the day's step takes; conductivity as a square law, for speed (within 2 %)."""
        available = np.linspace(0.0, 1.0, 21)
        c2, c1, c0 = np.polyfit(available, self.conductivity_w_m_k(self.water(available)), 2)
        return Thermal(
            curve=(float(c0), float(c1), float(c2)),
            solids_j_m3_k=(1.0 - self.porosity) * self.solids_j_m3_k,
            water_j_m3_k=self.water_j_m3_k,
            wilting_point=self.wilting_point,
            available=self.field_capacity - self.wilting_point,
        )


class Thermal(NamedTuple):
    """Conductivity and heat capacity of a soil by its share of available water, 0 to 1."""

    curve: tuple[float, float, float]  # W/m/K
    solids_j_m3_k: float
    water_j_m3_k: float
    wilting_point: float
    available: float  # volume share between wilting point and field capacity


def conductivity_w_m_k(soil: Thermal, available: Number) -> Number:
    """Unfrozen conductivity at a share of the available water."""
    return soil.curve[0] + available * (soil.curve[1] + available * soil.curve[2])


def heat_capacity_j_m3_k(soil: Thermal, available: Number) -> Number:
    """Volumetric heat capacity; water counts as liquid whether frozen or not."""
    return soil.solids_j_m3_k + (soil.wilting_point + soil.available * available) * (
        soil.water_j_m3_k
    )


@cache
def texture(name: str | None) -> Texture:
    """Properties of a USDA texture class; None or ``unknown`` gives the class assumed then.

    Raises
    ------
    InputError
        The name is not a texture class.
    """
    table = load("soil")
    if name in {None, "unknown"}:
        name = str(table.value("column.texture_if_unknown").value)
    key = str(name).replace(" ", "_")
    if key not in table.table("texture"):
        known = ", ".join(k.replace("_", " ") for k in table.table("texture"))
        raise InputError(f"'{name}' is not a soil texture", remedy=f"use one of: {known}")
    entry = table.table(f"texture.{key}")
    porosity, quartz = entry.number("porosity"), entry.number("quartz")
    other = 2.0 if quartz > 0.2 else 3.0  # W/m/K, minerals other than quartz
    solids = 7.7**quartz * other ** (1 - quartz)
    bulk_density = SOLIDS_DENSITY_KG_M3 * (1 - porosity)
    return Texture(
        porosity=porosity,
        wilting_point=entry.number("wilting_point"),
        field_capacity=entry.number("field_capacity"),
        dry_w_m_k=(0.135 * bulk_density + 64.7) / (2700.0 - 0.947 * bulk_density),
        saturated_w_m_k=solids ** (1 - porosity) * WATER_W_M_K**porosity,
        kersten_slope=entry.number("kersten_slope"),
        solids_j_m3_k=table.number("column.solids_heat_capacity"),
        water_j_m3_k=table.number("column.water_heat_capacity"),
    )


def snow_conductivity_w_m_k(density_kg_l: Number) -> Number:
    """Effective conductivity of seasonal snow (Sturm et al. 1997, from 0.156 kg/l up)."""
    return 0.138 + density_kg_l * (3.233 * density_kg_l - 1.01)

"""Thermal properties of soil from texture and water content, and of snow from density.

Conductivity follows Johansen (1975) as given by Peters-Lidard, Blackburn, Liang & Wood (1998),
*J. Atmos. Sci.* 55:1209-1224; heat capacity is the sum of its constituents. Snow conductivity is
the regression of Sturm, Holmgren, König & Morris (1997), *J. Glaciology* 43:26-41.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from windowcast.core.errors import InputError
from windowcast.core.record import FloatArray
from windowcast.core.values import Table, load
from windowcast.physics.soil_column import Number

WATER_W_M_K = 0.57
SOLIDS_DENSITY_KG_M3 = 2700.0


@dataclass(frozen=True)
class SoilTexture:
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
        """Unfrozen conductivity at a volumetric water content.

        Parameters
        ----------
        water
            Volume share of water, 0 to the porosity.

        Returns
        -------
        FloatArray
            [W/m/K], of the shape of `water`.

        Notes
        -----
        ``k = k_dry + (k_saturated - k_dry) K`` with the Kersten number ``K = 1 + a log10(S)``, at
        least 0, where S is the share of the pores that hold water. The slope a is 1 for fine and
        0.7 for coarse soil.

        References
        ----------
        Johansen (1975), as given by Peters-Lidard, Blackburn, Liang & Wood (1998),
        *J. Atmos. Sci.* 55:1209-1224.

        Examples
        --------
        Sand conducts better than clay, and both better when wet:

        >>> from windowcast.physics.soil_properties import texture
        >>> texture("sand").conductivity_w_m_k([0.1, 0.3]).round(2)
        array([1.38, 2.08])
        >>> texture("clay").conductivity_w_m_k([0.1, 0.3]).round(2)
        array([0.55, 1.09])
        """
        share = np.maximum(np.asarray(water, dtype=np.float64) / self.porosity, 1e-6)
        kersten = np.maximum(1.0 + self.kersten_slope * np.log10(share), 0.0)
        return self.dry_w_m_k + (self.saturated_w_m_k - self.dry_w_m_k) * kersten

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


def texture(name: str | None, values: Table | None = None) -> SoilTexture:
    """Properties of a USDA texture class; None or ``unknown`` gives the class assumed then.

    Raises
    ------
    InputError
        The name is not a texture class.

    Notes
    -----
    ``k_dry = (0.135 r + 64.7) / (2700 - 0.947 r)`` with the bulk density r in kg/m³, and
    ``k_saturated = k_solids ** (1 - n) 0.57 ** n`` with the porosity n.

    References
    ----------
    Johansen (1975), as given by Peters-Lidard et al. (1998). The source of each porosity, quartz
    and water content is in ``data/soil.toml``.

    Examples
    --------
    >>> from windowcast.physics.soil_properties import texture
    >>> loam = texture("loam")
    >>> loam.wilting_point < loam.field_capacity < loam.porosity
    True
    """
    table = values or load("soil")
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
    return SoilTexture(
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
    """Effective heat conductivity of seasonal snow.

    Parameters
    ----------
    density_kg_l
        0.156 to 0.6 kg/l.

    Returns
    -------
    Number
        [W/m/K].

    Notes
    -----
    ``k = 0.138 - 1.01 r + 3.233 r**2``

    References
    ----------
    Sturm, Holmgren, König & Morris (1997), *J. Glaciology* 43:26-41.

    Examples
    --------
    >>> from windowcast.physics.soil_properties import snow_conductivity_w_m_k
    >>> round(snow_conductivity_w_m_k(0.2), 3), round(snow_conductivity_w_m_k(0.4), 3)
    (0.065, 0.251)
    """
    return 0.138 + density_kg_l * (3.233 * density_kg_l - 1.01)

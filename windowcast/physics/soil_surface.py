"""What lies between the air and the soil: snow, turf, thatch and the water near the surface.

Each function moves one store on by a day. Like `soil_column`, they work on floats or on arrays
over columns. The fluxes they give drive the heat conduction below:

    heat into the soil = (T_drive - T_soil) / resistance
    T_drive = T_air + (absorbed radiation - long-wave loss - evaporation) / h

with h the exchange between surface and air. Rates in mm/day, fluxes in W/m².
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cache

import numpy as np

from windowcast.physics.soil_column import Number, Ops
from windowcast.physics.soil_properties import snow_conductivity_w_m_k
from windowcast.values import load

FRESH_SNOW_KG_L = 0.1
PACKED_SNOW_KG_L = 0.4


@dataclass(frozen=True)
class Parameters:
    """Fitted parameters, see ``data/soil.toml`` for unit and meaning of each.

    A field may be an array that broadcasts against the columns; the fitting script uses that.
    """

    snow_midpoint_c: Number
    snow_catch: Number
    melt_mm_per_k: Number
    melt_from_c: Number
    snow_settling_kg_l: Number
    snow_hiding_mm: Number
    snow_resistance: Number
    top_water_mm: Number
    root_water_mm: Number
    soil_evaporation: Number
    transpiration: Number
    cover_aridity: Number
    cover_from_c: Number
    cover_range_k: Number
    cover_winter: Number
    cover_dry: Number
    season_rate: Number
    exchange: Number
    exchange_cover: Number
    solar: Number
    solar_cover: Number
    solar_wet: Number
    solar_wet_cover: Number
    longwave: Number
    longwave_cover: Number
    offset_w_m2: Number
    cooling_cover: Number
    cooling_bare: Number
    range_weight: Number
    thatch_m2_k_w: Number
    thatch_cover_m2_k_w: Number
    conductivity_top_factor: Number
    conductivity_factor: Number
    freezable: Number
    end_of_day_weight: Number


@cache
def parameters() -> Parameters:
    """The packaged parameters."""
    table = load("soil").table("surface")
    return Parameters(**{f.name: table.number(f.name) for f in fields(Parameters)})


@dataclass(slots=True)
class Surface:
    """The stores above and in the top of the soil.

    Attributes
    ----------
    snow_mm, snow_density_kg_l
        Water in the snow, and its density.
    top_water, root_water
        Available water of the top and the root zone, 0 (wilting point) to 1 (field capacity).
    cover
        How green and closed the sward is, 0 to 1.
    season_c
        Slowly following air temperature, that greens and browns the sward.
    rain_mm_d, demand_mm_d
        Two-year means of rain and of evaporative demand: the climate the sward has adapted to.
    """

    snow_mm: Number
    snow_density_kg_l: Number
    top_water: Number
    root_water: Number
    cover: Number
    season_c: Number
    rain_mm_d: Number
    demand_mm_d: Number


def snow_day(
    ops: Ops, s: Surface, p: Parameters, air_c: Number, precip_mm: Number
) -> tuple[Number, Number]:
    """Fall, settle and melt; gives rain and melt water (mm) that reach the ground."""
    share = ops.minimum(ops.maximum((p.snow_midpoint_c + 1.5 - air_c) / 3.0, 0.0), 1.0)
    fall = precip_mm * share
    fresh = fall * p.snow_catch
    melt = ops.minimum(s.snow_mm + fresh, p.melt_mm_per_k * ops.maximum(air_c - p.melt_from_c, 0.0))
    left = s.snow_mm + fresh - melt
    old = ops.maximum(left - fresh, 0.0) + 1e-6
    settled = ops.minimum(s.snow_density_kg_l + p.snow_settling_kg_l, PACKED_SNOW_KG_L)
    s.snow_density_kg_l = (settled * old + FRESH_SNOW_KG_L * fresh) / (old + fresh)
    s.snow_mm = left
    return precip_mm - fall, melt


def snow_known(s: Surface, depth_mm: Number) -> None:
    """Replace the modelled snow by a measured depth, where there is one."""
    water = depth_mm * s.snow_density_kg_l
    if isinstance(water, float):
        s.snow_mm = water if water == water else s.snow_mm
    else:
        s.snow_mm = np.where(np.isfinite(water), water, s.snow_mm)


def water_day(ops: Ops, s: Surface, p: Parameters, supply_mm: Number, demand_mm: Number) -> None:
    """Fill, drain and dry the two stores of soil water."""
    bare = 1.0 - s.cover
    top_loss = demand_mm * bare * p.soil_evaporation * ops.minimum(1.5 * s.top_water, 1.0)
    root_loss = demand_mm * s.cover * p.transpiration * ops.minimum(2.0 * s.root_water, 1.0)
    top = ops.maximum(s.top_water * p.top_water_mm + supply_mm - top_loss, 0.0)
    over = ops.maximum(top - p.top_water_mm, 0.0)
    rise = s.root_water - s.top_water  # mm/day towards the drier store
    root = s.root_water * p.root_water_mm + over - root_loss - rise
    s.top_water = ops.minimum(ops.maximum((top - over + rise) / p.top_water_mm, 0.0), 1.0)
    s.root_water = ops.minimum(ops.maximum(root / p.root_water_mm, 0.0), 1.0)


def cover_day(
    ops: Ops,
    s: Surface,
    p: Parameters,
    air_c: Number,
    precip_mm: Number,
    demand_mm: Number,
    *,
    turf: bool,
) -> None:
    """Let the sward green, brown and thin out."""
    s.rain_mm_d = s.rain_mm_d + (precip_mm - s.rain_mm_d) / 730.0
    s.demand_mm_d = s.demand_mm_d + (demand_mm - s.demand_mm_d) / 730.0
    s.season_c = s.season_c + (air_c - s.season_c) * p.season_rate
    rain, demand = s.rain_mm_d * s.rain_mm_d, s.demand_mm_d * s.demand_mm_d
    closed = rain / (rain + p.cover_aridity * demand)
    warm = (s.season_c - p.cover_from_c) / p.cover_range_k
    green = ops.minimum(ops.maximum(warm, p.cover_winter), 1.0)
    target = closed * green * (p.cover_dry + (1.0 - p.cover_dry) * s.root_water)
    s.cover = s.cover + (target - s.cover) * 0.06 if turf else 0.0 * target


def drive(
    ops: Ops,
    s: Surface,
    p: Parameters,
    air_c: Number,
    range_k: Number,
    solar_w_m2: Number,
    longwave_w_m2: Number,
    demand_mm: Number,
    *,
    turf: bool,
) -> tuple[Number, Number]:
    """Temperature that drives the soil (°C) and resistance between it and the soil (m² K/W)."""
    v, w = s.cover, s.top_water
    hidden = s.snow_mm / (s.snow_mm + p.snow_hiding_mm)
    absorbed = p.solar + p.solar_cover * v + (p.solar_wet + p.solar_wet_cover * v) * w
    heat = (
        solar_w_m2 * absorbed * (1.0 - hidden)
        - longwave_w_m2 * (p.longwave + p.longwave_cover * v) * (1.0 - 0.5 * hidden)
        + p.offset_w_m2
        - demand_mm * (p.cooling_cover * v * s.root_water + p.cooling_bare * (1.0 - v) * w)
    )
    exchange = p.exchange + p.exchange_cover * v
    driving = air_c + p.range_weight * range_k + heat / exchange
    driving = driving + hidden * (ops.minimum(driving, 0.0) - driving)
    density = s.snow_density_kg_l
    snow = s.snow_mm * 1e-3 / density / snow_conductivity_w_m_k(density)
    thatch = p.thatch_m2_k_w + p.thatch_cover_m2_k_w * v if turf else 0.0
    return driving, 1.0 / exchange + thatch + p.snow_resistance * snow

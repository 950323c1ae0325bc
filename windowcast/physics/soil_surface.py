"""What lies between the air and the soil: snow, sward, thatch, and the water near the surface.

Each function moves one store on by a day, on floats or on arrays over columns, as in
`soil_column`. Together, in `surface_day`, they give what drives the heat conduction below:

    heat into the soil = (T_drive - T_soil) / resistance
    T_drive = T_air + gain from radiation - loss by long waves - loss by evaporation
              + what the climate's humidity adds

The gains are in K per W/m² (or per mm/day of evaporation): a surface energy balance made linear
about the air temperature and divided by the exchange with the air. Snow hides the surface from
the sun, holds T_drive at 0 °C while it melts, and adds resistance; sward and thatch add
resistance too. Every parameter is fitted, see ``data/soil.toml``.
"""

from __future__ import annotations

from typing import NamedTuple

from windowcast.core.values import Table, load
from windowcast.physics.soil_column import Number, choose, maximum, minimum
from windowcast.physics.soil_properties import snow_conductivity_w_m_k

FRESH_SNOW_KG_L = 0.1
PACKED_SNOW_KG_L = 0.4
CLIMATE_DAYS = 730.0  # memory of the means the sward has adapted to
SWARD_RATE = 0.06  # share of the way to its target that the sward goes in a day
IRRIGATED_WATER = 0.7


class Day(NamedTuple):
    """One day's weather."""

    air_c: Number
    precip_mm: Number
    solar_w_m2: Number
    longwave_w_m2: Number  # net loss
    demand_mm: Number  # evaporative demand
    snow_depth_mm: Number  # measured; NaN where not


class Parameters(NamedTuple):
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
    water_exchange_mm: Number
    sward_aridity: Number
    green_from_c: Number
    green_range_k: Number
    season_rate: Number
    solar: Number
    solar_sward: Number
    solar_wet: Number
    solar_green: Number
    longwave: Number
    longwave_sward: Number
    offset_k: Number
    evaporation_wet: Number
    evaporation_green: Number
    resistance: Number
    resistance_sward: Number
    resistance_green: Number
    conductivity_top: Number
    conductivity_deep: Number
    freezing_width_k: Number
    freezing_water: Number
    freezing_water_wet: Number
    end_of_day_weight: Number
    solar_warm: Number
    evaporation_root: Number
    evaporation_humid: Number
    cooling_limit: Number
    offset_humid: Number
    air_lag: Number
    resistance_humid: Number


def parameters(values: Table | None = None) -> Parameters:
    """The parameters of a table such as ``data/soil.toml``; the packaged ones by default."""
    table = (values or load("soil")).table("surface")
    return Parameters(*(table.number(name) for name in Parameters._fields))


class Cover(NamedTuple):
    """What lies on the soil, the same on all days."""

    turf: bool  # else bare
    irrigated: bool


class Surface(NamedTuple):
    """The stores above and in the top of the soil.

    Attributes
    ----------
    snow_mm, snow_density_kg_l
        Water in the snow, and its density.
    top_water, root_water
        Available water of the top and the root zone, 0 (wilting point) to 1 (field capacity).
    green
        Green and growing share of the ground, 0 to 1.
    season_c
        Slowly following air temperature, which greens and browns the sward.
    rain_mm, demand_mm
        Two-year means per day of precipitation and of evaporative demand: the climate the sward
        has adapted to.
    """

    snow_mm: Number
    snow_density_kg_l: Number
    top_water: Number
    root_water: Number
    green: Number
    season_c: Number
    rain_mm: Number
    demand_mm: Number


def surface_day(
    s: Surface, p: Parameters, cover: Cover, day: Day
) -> tuple[Surface, Number, Number]:
    """Move all stores on by a day.

    Returns
    -------
    Surface, Number, Number
        The stores at the end of the day; the temperature that drives the soil (°C) and the
        resistance between it and the soil (m² K/W).
    """
    snow, density, supply = snow_day(s, p, day)
    measured = day.snow_depth_mm == day.snow_depth_mm
    snow = choose(measured, day.snow_depth_mm * density, snow)
    top, root = s.top_water, s.root_water
    if cover.irrigated:
        least = irrigated_water(s.season_c)
        top, root = maximum(top, least), maximum(root, least)
    rain = s.rain_mm + (day.precip_mm - s.rain_mm) * (1 / CLIMATE_DAYS)
    demand = s.demand_mm + (day.demand_mm - s.demand_mm) * (1 / CLIMATE_DAYS)
    season = s.season_c + (day.air_c - s.season_c) * p.season_rate
    closed = sward_closed(p, rain, demand)
    green = s.green + (green_target(p, season, closed, root) - s.green) * SWARD_RATE
    if not cover.turf:
        closed = green = closed * 0.0
    top, root = water_day(p, (top, root), green, supply, day.demand_mm)
    after = Surface(snow, density, top, root, green, season, rain, demand)
    driving, resistance = drive(after, p, day, closed)
    return after, driving, resistance


def snow_day(s: Surface, p: Parameters, day: Day) -> tuple[Number, Number, Number]:
    """Let snow fall, settle and melt: its water (mm) and density, and the water let through.

    Notes
    -----
    Precipitation turns from rain to snow within 3 K. Snow melts by ``a (T - b)`` above a
    temperature b (degree-day method). Its density grows by a fixed amount a day, up to 0.4 kg/l.

    References
    ----------
    Hock (2003), *J. Hydrology* 282:104-115, for degree-day melt. The parameters are fitted
    (``data/soil.toml``).

    Examples
    --------
    Of ten millimetres at -8 °C the fitted share, two fifths, stays as snow. At 10 °C all of it
    reaches the soil:

    >>> from windowcast.physics.soil_surface import Day, Surface, parameters, snow_day
    >>> bare = Surface(0.0, 0.1, 0.5, 0.5, 0.0, 5.0, 2.0, 2.0)
    >>> cold, mild = (Day(t, 10.0, 50.0, 40.0, 1.0, float("nan")) for t in (-8.0, 10.0))
    >>> snow, density, let_through = snow_day(bare, parameters(), cold)
    >>> round(snow, 1), let_through
    (4.1, 0.0)
    >>> snow_day(bare, parameters(), mild)[2]
    10.0
    """
    share = (p.snow_midpoint_c + 1.5 - day.air_c) * (1 / 3)  # all rain to all snow within 3 K
    fall = day.precip_mm * minimum(maximum(share, 0.0), 1.0)
    fresh = fall * p.snow_catch
    before = s.snow_mm + fresh
    melt = minimum(before, p.melt_mm_per_k * maximum(day.air_c - p.melt_from_c, 0.0))
    snow = before - melt
    old = maximum(snow - fresh, 0.0) + 1e-6
    settled = minimum(s.snow_density_kg_l + p.snow_settling_kg_l, PACKED_SNOW_KG_L)
    density = (settled * old + FRESH_SNOW_KG_L * fresh) / (old + fresh)
    return snow, density, day.precip_mm - fall + melt


def irrigated_water(season_c: Number) -> Number:
    """The least available water that irrigation keeps while the turf grows.

    Parameters
    ----------
    season_c
        Air temperature of the season [°C]: no irrigation below 10 °C, all of it from 15 °C up.

    Returns
    -------
    Number
        Share of the available water, 0 to `IRRIGATED_WATER`.

    Examples
    --------
    >>> from windowcast.physics.soil_surface import irrigated_water
    >>> [round(irrigated_water(season), 2) for season in (8.0, 12.5, 25.0)]
    [0.0, 0.35, 0.7]
    """
    return minimum(maximum(0.2 * season_c - 2.0, 0.0), 1.0) * IRRIGATED_WATER


def sward_closed(p: Parameters, rain_mm: Number, demand_mm: Number) -> Number:
    """How closed the climate lets a sward be, dead or alive, 0 to 1.

    Parameters
    ----------
    rain_mm, demand_mm
        Two-year means per day of rain and of the water that air could take up.

    Notes
    -----
    ``rain**2 / (rain**2 + a demand**2)`` with a fitted aridity a.

    Examples
    --------
    >>> from windowcast.physics.soil_surface import parameters, sward_closed
    >>> humid, desert = (sward_closed(parameters(), rain, 4.0) for rain in (4.0, 0.4))
    >>> humid > 0.8 > 0.3 > desert
    True
    """
    rain = rain_mm * rain_mm + 1e-9
    return rain / (rain + p.sward_aridity * demand_mm * demand_mm)


def green_target(p: Parameters, season_c: Number, closed: Number, root_water: Number) -> Number:
    """Green share of the ground that the sward tends to, 0 to 1.

    Notes
    -----
    It grows with the warmth of the season, up to how closed the sward can be, and shrinks when the
    root zone holds less than half of its available water.

    Examples
    --------
    >>> from windowcast.physics.soil_surface import green_target, parameters
    >>> p = parameters()
    >>> green_target(p, -5.0, 0.9, 1.0), round(green_target(p, 30.0, 0.9, 1.0), 2)
    (0.0, 0.9)
    >>> round(green_target(p, 30.0, 0.9, 0.25), 2)
    0.45
    """
    warm = (season_c - p.green_from_c) * (1.0 / p.green_range_k)
    target = minimum(maximum(warm, 0.0), 1.0) * closed
    return target * minimum(2.0 * root_water, 1.0)


def water_day(
    p: Parameters,
    water: tuple[Number, Number],
    green: Number,
    supply_mm: Number,
    demand_mm: Number,
) -> tuple[Number, Number]:
    """Fill, drain and dry the two stores of soil water, top and root zone.

    Parameters
    ----------
    water
        Share of the available water in both, 0 to 1.
    green
        Green share of the ground, which takes water from the root zone.
    supply_mm, demand_mm
        Water that reaches the soil, and water that the air could take up.

    Returns
    -------
    tuple
        The shares a day later.

    Notes
    -----
    What the top cannot hold drains into the root zone, what that cannot hold is lost. Dry soil
    gives off less: the loss falls below the demand as a store empties.

    Examples
    --------
    Rain fills both, a dry day empties them a little:

    >>> from windowcast.physics.soil_surface import parameters, water_day
    >>> p = parameters()
    >>> [round(share, 2) for share in water_day(p, (0.5, 0.5), 0.8, 500.0, 0.0)]
    [1.0, 1.0]
    >>> top, root = water_day(p, (0.5, 0.5), 0.8, 0.0, 5.0)
    >>> top < 0.5 and root < 0.5
    True
    """
    top_water, root_water = water
    top_loss = (1.0 - green) * p.soil_evaporation * minimum(1.5 * top_water, 1.0)
    root_loss = p.transpiration * minimum(2.0 * root_water, 1.0)
    top = maximum(top_water * p.top_water_mm + supply_mm - demand_mm * top_loss, 0.0)
    kept = minimum(top, p.top_water_mm)
    rise = (root_water - top_water) * p.water_exchange_mm  # towards the drier store
    root = root_water * p.root_water_mm + (top - kept) - demand_mm * root_loss - rise
    return (
        minimum(maximum((kept + rise) * (1.0 / p.top_water_mm), 0.0), 1.0),
        minimum(maximum(root * (1.0 / p.root_water_mm), 0.0), 1.0),
    )


def humid_climate(rain_mm: Number, demand_mm: Number) -> Number:
    """How much of what the air could take up the climate's rain makes good: -0.5 to 0.5.

    Parameters
    ----------
    rain_mm, demand_mm
        Two-year means per day of rain and of evaporative demand.

    Notes
    -----
    ``rain / (rain + demand) - 1/2``. It stands for the humidity of the air, which few records
    hold: in a humid climate the same demand cools the ground less.

    Examples
    --------
    >>> from windowcast.physics.soil_surface import humid_climate
    >>> round(humid_climate(4.0, 3.0), 2), round(humid_climate(0.5, 4.5), 2)
    (0.07, -0.4)
    """
    return rain_mm / (rain_mm + demand_mm + 1e-6) - 0.5


def drive(s: Surface, p: Parameters, day: Day, closed: Number) -> tuple[Number, Number]:
    """Temperature that drives the soil (°C) and resistance between it and the soil (m² K/W)."""
    wet, green = s.top_water, s.green
    hidden = s.snow_mm / (s.snow_mm + p.snow_hiding_mm)
    humid = humid_climate(s.rain_mm, s.demand_mm)
    sun = p.solar + p.solar_sward * closed + p.solar_wet * wet + p.solar_green * green
    sun = sun * (1.0 + p.solar_warm * (maximum(s.season_c, 0.0) * 0.05 - 0.5))
    sky = (p.longwave + p.longwave_sward * closed) * (1.0 - 0.5 * hidden)
    damp = p.evaporation_wet * wet + p.evaporation_green * green + p.evaporation_root * s.root_water
    cooling = maximum(day.demand_mm * damp * (1.0 + p.evaporation_humid * humid), 0.0)
    driving = (
        day.air_c
        + p.offset_k
        + p.offset_humid * humid
        + p.air_lag * (day.air_c - s.season_c)
        + day.solar_w_m2 * sun * (1.0 - hidden)
        - day.longwave_w_m2 * sky
        - cooling / (1.0 + p.cooling_limit * cooling)
    )
    driving = driving - hidden * maximum(driving, 0.0)
    density = s.snow_density_kg_l
    snow = s.snow_mm / (density * snow_conductivity_w_m_k(density)) * (1e-3 * p.snow_resistance)
    sward = (p.resistance_sward + p.resistance_humid * humid) * closed + p.resistance_green * green
    return driving, p.resistance + sward + snow

"""Amounts in both unit systems, US first: ``"12 acre (4.86 ha)"``, as sheets on paper have them."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from windowcast.core.phrase import Quantity, Unit
from windowcast.core.quantity import significant, write
from windowcast.core.units import M2_PER_ACRE, c_to_f, convert


def area(area_m2: float) -> str:
    """Acres and hectares, or ft² and m² below a quarter of an acre."""
    if area_m2 < M2_PER_ACRE / 4:
        return f"{write(area_m2, 'ft²', 'area')} ({write(area_m2, 'm²', 'area')})"
    return f"{write(area_m2, 'acre', 'area')} ({write(area_m2, 'ha', 'area')})"


def volume(volume_l: float) -> str:
    """Gallons and litres."""
    return f"{write(volume_l, 'gal', 'volume')} ({write(volume_l, 'L', 'volume')})"


def carrier(rate_l_ha: float) -> str:
    """Gallons per acre and litres per hectare."""
    gal_acre = convert(rate_l_ha, "volume per area", "L/ha", "gal/acre")
    return f"{significant(gal_acre, 3)} gal/acre ({rate_l_ha:.4g} L/ha)"


def flow(flow_l_min: float) -> str:
    """Gallons, fluid ounces and millilitres per minute."""
    return (
        f"{write(flow_l_min, 'gal/min', 'flow')}, {write(flow_l_min, 'fl oz/min', 'flow')}"
        f" ({write(flow_l_min, 'mL/min', 'flow')})"
    )


def speed(speed_m_s: float) -> str:
    """Miles and kilometres per hour."""
    return f"{write(speed_m_s, 'mph', 'speed', 2)} ({write(speed_m_s, 'km/h', 'speed', 2)})"


def temperature(temp_c: float) -> str:
    """Fahrenheit and Celsius."""
    return f"{c_to_f(temp_c):.0f} °F ({temp_c:.1f} °C)"


def _depth(depth_mm: float) -> str:
    inches = convert(depth_mm, "length", "mm", "in")
    return f"{significant(inches, 2)} in ({significant(depth_mm, 3)} mm)"


def active_rate(rate_kg_ha: float) -> str:
    """Pounds per acre and kilograms per hectare of active ingredient."""
    lb_acre = convert(rate_kg_ha, "mass per area", "kg/ha", "lb/acre")
    return f"{significant(lb_acre, 3)} lb/acre ({rate_kg_ha:.3g} kg/ha)"


_WRITERS: Mapping[Unit, Callable[[float], str]] = {
    "degC": temperature,
    "mm": _depth,
    "m2": area,
    "L": volume,
    "L ha-1": carrier,
    "kg ha-1": active_rate,
    "L min-1": flow,
    "m s-1": speed,
}


def both(quantity: Quantity) -> str:
    """A quantity in both systems.

    Raises
    ------
    KeyError
        Its unit is not one that sheets write twice.
    """
    return _WRITERS[quantity.unit](quantity.value)

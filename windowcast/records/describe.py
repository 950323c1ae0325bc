"""Log entries in one line, for lists on the terminal and the web page."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from windowcast.core.units import Dimension, Display, convert
from windowcast.materials.quantity import significant
from windowcast.records.model import (
    Application,
    CoverReading,
    Entry,
    FieldNote,
    Rating,
    ScoutingCount,
    SoilReading,
)

_SHOOTS = {True: "live shoots in the canopy", False: "no live shoot in the canopy"}


def describe(entry: Entry, display: Display) -> str:
    """What an entry says, without its date, in the site's units."""
    match entry:
        case Application():
            text = " + ".join(entry.actives)
            parts = [entry.where, _area(entry.area_m2, display), entry.purpose, entry.notes]
        case SoilReading():
            text = (
                f"soil {display.temperature(entry.temp_c, 1)} at {_depth(entry.depth_m, display)}"
            )
            parts = [entry.where, entry.notes]
        case ScoutingCount():
            text = entry.weed
            parts = [
                "" if entry.per_m2 is None else _density(entry.per_m2, display),
                "" if entry.cover_pct is None else f"{entry.cover_pct:g} % cover",
                "" if entry.stage_bbch is None else f"BBCH {entry.stage_bbch}",
                entry.where,
                entry.notes,
            ]
        case Rating():
            text = f"{entry.trial}, plot {entry.plot}, {entry.treatment}: {entry.value:g}"
            parts = [
                entry.measure + (" before" if entry.before else ""),
                f"block {entry.block}" if entry.block else "",
                entry.location,
                entry.weed,
                entry.notes,
            ]
        case CoverReading():
            seen = [
                "" if entry.green_pct is None else f"{entry.green_pct:g} % green",
                "" if entry.live_shoots is None else _SHOOTS[entry.live_shoots],
            ]
            text = ", ".join(filter(None, seen))
            parts = [entry.where, entry.notes]
        case FieldNote():
            text = entry.text
            mixed = "survivors mixed among dying plants" if entry.survivors_mixed else ""
            parts = [entry.where, entry.weed, mixed]
    return ", ".join([text, *filter(None, parts)])


def fields_text(plain: Mapping[str, Any]) -> str:
    """Plain values of an entry as ``field=value`` words, for its history; numbers rounded."""
    return ", ".join(f"{name}={_value_text(value)}" for name, value in plain.items())


def _value_text(value: Any) -> str:
    match value:
        case bool():
            return "yes" if value else "no"
        case float():
            return significant(value, 4).replace(",", "")
        case Mapping():  # a material
            rest = {k: v for k, v in value.items() if k not in {"active", "rate_kg_ha"}}
            rate = value.get("rate_kg_ha")
            parts = [str(value["active"]) + ("" if rate is None else f" {_value_text(rate)} kg/ha")]
            return " ".join([*parts, *([f"({fields_text(rest)})"] if rest else [])])
        case list() | tuple():
            return " + ".join(map(_value_text, value))
        case _:
            return str(value)


def _area(area_m2: float | None, display: Display) -> str:
    if area_m2 is None:
        return ""
    return _shown(area_m2, "area", "m²", "acre" if display.us else "ha")


def _depth(depth_m: float, display: Display) -> str:
    return _shown(depth_m, "length", "m", "in" if display.us else "cm")


def _density(per_m2: float, display: Display) -> str:
    return _shown(per_m2, "number per area", "per m²", "per ft²" if display.us else "per m²")


def _shown(value: float, dimension: Dimension, unit: str, to: str) -> str:
    digits = 2 if to == "in" else 3  # a depth was measured no better
    return f"{convert(value, dimension, unit, to):.{digits}g} {to}"

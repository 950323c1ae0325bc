"""Concentration and rate: product ↔ active ingredient, and the same active from two formulations.

Also active ingredients with their rates as people write them: ``glyphosate 0.5 lb/acre``.

All through exact factors; see `windowcast.core.quantity` for what may be written.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any, Literal

from windowcast.core.errors import InputError
from windowcast.core.quantity import Rate, parse, parse_rate, significant, with_unit_of
from windowcast.core.values import PACKAGED, Table, Tables

_PERCENT = re.compile(r"\s*([-+]?[\d.]+)\s*%\s*(w/w|w/v)?\s*$")
_OF_WHAT = re.compile(r"\s+a\.?[ie]\.?(?=\s*(?:/|$))", re.IGNORECASE)  # "4 lb a.e./gal"
_NUMBERED = re.compile(r"\d(,\d)+-[A-Za-z]")  # names such as 2,4-D begin with numbers


@dataclass(frozen=True, slots=True)
class Concentration:
    """Active ingredient in a product: kg per L of a liquid, or kg per kg of a dry one."""

    per: Literal["volume", "mass"]
    value: float

    @property
    def text(self) -> str:
        """In the words of a label."""
        return f"{self.value * 1000:.4g} g/L" if self.per == "volume" else f"{self.value:.4g} kg/kg"


def parse_concentration(
    text: str, density_kg_per_l: float | None = None, tables: Tables = PACKAGED
) -> Concentration:
    """Read a label's concentration.

    Accepted: ``1.0 lb/gal``, ``480 g/L``, ``65 %`` (by weight), ``41 % w/w``, ``5 % w/v``,
    ``0.5 lb/lb``, with or without "a.i." or "a.e.". A weight percentage of a liquid becomes one
    per volume with its density.

    Raises
    ------
    InputError
        Nothing in it, more than all of it, the density of water, or no unit.
    """
    plain = _OF_WHAT.sub("", text)
    percent = _PERCENT.match(plain)
    if percent:
        result = _from_percent(text, percent[1], percent[2] or "w/w")
    else:
        amount, slash, base = plain.partition("/")
        if not slash:
            raise _bad(text, "has no unit such as lb/gal, g/L or %")
        if _is_zero(amount):
            raise _bad(text, "holds no active ingredient: that is water")
        mass = parse(amount, "mass", "concentration")
        base = base.strip()
        liquid = base.lower() in {"gal", "gallon", "l", "liter", "litre", "pt", "qt", "fl oz", "ml"}
        result = Concentration(
            "volume" if liquid else "mass",
            mass / parse(f"1 {base}", "volume" if liquid else "mass", "concentration"),
        )
    if density_kg_per_l is not None and result.per == "mass":
        result = Concentration("volume", result.value * density_kg_per_l)
    _check(result, text, tables["tank"].table("water"))
    return result


def active_kg_ha(rate: Rate, concentration: Concentration) -> float:
    """Active ingredient in a rate of product, kg/ha."""
    _check_match(rate, concentration)
    return rate.per_ha * concentration.value


def product_rate(active_kg_ha: float, concentration: Concentration) -> Rate:
    """Rate of product that carries so much active ingredient."""
    if not active_kg_ha > 0:
        raise InputError(f"{active_kg_ha:g} kg/ha is not above zero", field="active rate")
    return Rate(
        "volume" if concentration.per == "volume" else "mass",
        active_kg_ha / concentration.value / 1e4,
    )


def equivalent_rate(rate: Rate, old: Concentration, new: Concentration) -> Rate:
    """Rate of the new formulation that carries the same active as `rate` of the old one."""
    return product_rate(active_kg_ha(rate, old), new)


def equivalent_concentration(
    rate: Rate, concentration: Concentration, other: Rate, tables: Tables = PACKAGED
) -> Concentration:
    """Concentration of another formulation whose rate `other` carries the same active.

    Raises
    ------
    InputError
        No product is so strong that so little of it carries as much.
    """
    result = Concentration(other.kind, active_kg_ha(rate, concentration) / other.per_ha)
    if result.value > _strongest(result.per, tables["tank"].table("water")):
        raise InputError(
            f"the other formulation would hold {result.text}, more than a product can",
            field="rate",
            remedy="check both rates and the concentration",
        )
    return result


def write_concentration(concentration: Concentration, unit: str) -> str:
    """A concentration in a unit such as ``"lb/gal"``; `InputError` when it is not of its kind."""
    one = parse_concentration(f"0.001 {unit}")
    if one.per != concentration.per:
        raise _bad(unit, f"is a unit per {one.per}, the product is measured by {concentration.per}")
    return f"{significant(concentration.value / one.value / 1000, 3)} {unit}"


def _from_percent(text: str, number: str, basis: str) -> Concentration:
    try:
        share = float(number) / 100
    except ValueError:
        raise _bad(text, "is not a number of percent") from None
    if share == 0:
        raise _bad(text, "holds no active ingredient: that is water")
    # w/v is grams in 100 mL
    return Concentration("volume", share) if basis == "w/v" else Concentration("mass", share)


def _is_zero(amount: str) -> bool:
    return bool(re.match(r"\s*0+(\.0*)?\s*[a-zA-Z]", amount))


def _check(concentration: Concentration, text: str, water: Table) -> None:
    value = concentration.value
    if value <= 0:
        raise _bad(text, "is not above zero")
    off = abs(value / water.number("density_kg_l") - 1)
    if concentration.per == "volume" and off < water.number("density_band"):
        raise _bad(text, "is the density of water, not a concentration")
    if value > _strongest(concentration.per, water):
        solid = concentration.per == "mass"
        what = "active ingredient than product" if solid else "than a litre can carry"
        raise _bad(text, f"is more {what}")


def _strongest(per: Literal["volume", "mass"], water: Table) -> float:
    """The most active ingredient that a product can hold, kg per L or per kg."""
    if per == "mass":
        return 1.0
    return water.number("heaviest_kg_l")


def _check_match(rate: Rate, concentration: Concentration) -> None:
    if rate.kind == concentration.per:
        return
    if rate.kind == "mass":
        raise InputError(
            "the rate is a weight but the product is a liquid",
            field="rate",
            remedy="write fl oz for a volume, or give the concentration by weight",
        )
    raise InputError(
        "the rate is a volume but the concentration is by weight",
        field="concentration",
        remedy="give it per volume (lb/gal, g/L), or add the product's density",
    )


def _bad(text: str, problem: str) -> InputError:
    return InputError(
        f"{text.strip()!r} {problem}",
        field="concentration",
        remedy="take it from the label, e.g. 1.0 lb/gal, 480 g/L or 65 %",
    )


def materials_from(text: str, unit: str = "") -> list[dict[str, Any]]:
    """``"prodiamine 0.84 kg/ha; simazine 1 lb/acre"``: all that is in the tank.

    A bare number is in `unit`, where the column of a table says one.
    """
    return [material_from(part, unit) for part in map(str.strip, text.split(";")) if part]


def material_from(text: str, unit: str = "") -> dict[str, Any]:
    """``"glyphosate 0.5 lb/acre"``: an active and, maybe, its rate of active ingredient."""
    name, rate = text, ""
    for place, word in enumerate(text.split()):
        if (word[0].isdigit() or word[0] in ".-") and not _NUMBERED.match(word):
            name, rate = " ".join(text.split()[:place]), " ".join(text.split()[place:])
            break
    if not name:
        raise InputError(
            f"{text!r} names no active ingredient",
            field="active",
            remedy="write it like glyphosate 0.5 lb/acre",
        )
    if not rate:
        return {"active": name.lower()}
    parsed = parse_rate(with_unit_of(rate, f"1 {unit}"), f"rate of {name}")
    if parsed.kind != "mass":
        raise InputError(
            f"{rate!r} is a volume of product, not a weight of active ingredient",
            field=f"rate of {name}",
            remedy="work it out with windowcast tank rate, or write product_rate=",
        )
    return {"active": name.lower(), "rate_kg_ha": parsed.per_ha}

"""One thing that goes into the tank, and what it costs."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from windowcast.core.errors import InputError
from windowcast.core.quantity import Rate, parse
from windowcast.core.units import find_unit
from windowcast.materials.rates import Concentration, active_kg_ha

_EXAMPLE = "310 USD per 2.5 gal"
_PRICE = re.compile(
    r"(?P<sign>[$€£])?\s*(?P<amount>\d+(?:\.\d+)?|\.\d+)\s*(?P<money>[A-Za-z]{3}|[$€£])?"
    r"\s*(?:/|\bper\b|\bfor\b)\s*(?P<much>.+)"
)
_MOST = 1e12  # money for one unit of a product: above it a number is a slip

_ADJUVANTS = ("NIS", "OIL", "DRIFT", "WATER CONDITIONER")


@dataclass(frozen=True, slots=True)
class Price:
    """Money for an amount of product: `per_unit` of `money` for a kg or a L.

    `money` is what stands in the price, "USD" or "$".
    """

    per_unit: float
    money: str
    kind: Literal["mass", "volume"]


def parse_price(text: str, field: str = "price") -> Price:
    """Read a price.

    Raises
    ------
    InputError
        No money, no amount of product, or not above zero.
    """
    amount, money, much = _money_for(text)
    if not money:
        raise InputError(
            f"{text!r} is not a price", field=field, remedy=f"write it like {_EXAMPLE}"
        )
    if not 0 < amount <= _MOST:
        raise InputError(
            f"{text!r} is not above zero", field=field, remedy="leave it out where it is unknown"
        )
    unit = re.sub(r"^[\d.\s]+", "", much)
    kind: Literal["mass", "volume"] = "volume" if find_unit(unit, "volume") else "mass"
    return Price(amount / parse(much, kind, field), money, kind)


def parse_area_price(text: str, field: str) -> tuple[float, str]:
    """Read money for an area, "45 USD per acre", as money for a m² and what the money is called.

    Raises
    ------
    InputError
        No money, no area, or not above zero.
    """
    amount, money, much = _money_for(text)
    if not money or not 0 < amount <= _MOST:
        raise InputError(
            f"{text!r} is no money for an area", field=field,
            remedy="write it like 45 USD per acre",
        )  # fmt: skip
    return amount / parse(much, "area", field), money


def _money_for(text: str) -> tuple[float, str, str]:
    """An amount of money, what it is called and what it is for; no name where that is not said."""
    found = _PRICE.fullmatch(text.strip())
    if found is None:
        return 0.0, "", ""
    much = found["much"].strip()
    counted = much[:1].isdigit() or much[:1] == "."
    money = found["money"] or found["sign"] or ""
    return float(found["amount"]), money.upper(), much if counted else f"1 {much}"


@dataclass(frozen=True, slots=True)
class Product:
    """One thing that goes into the tank.

    Attributes
    ----------
    name
        In the user's own words.
    rate
        Of product, per area. An adjuvant may instead have `share_of_volume` (0.0025 = 0.25 % v/v).
    formulation
        CropLife code ("SC", "WG", …), "NIS", "OIL", "DRIFT" or "WATER CONDITIONER"; "" unknown.
    active, concentration
        To count the active ingredient; both or neither.
    max_year_kg_ha
        The label's yearly maximum of active ingredient, entered by the user.
    registration, restricted
        From the label, for the record; "" and None where nobody said.
    price
        None where nobody said.
    written
        Its values as they were written, by key of the materials file.
    """

    name: str
    rate: Rate | None = None
    share_of_volume: float | None = None
    formulation: str = ""
    active: str = ""
    concentration: Concentration | None = None
    max_year_kg_ha: float | None = None
    registration: str = ""
    restricted: bool | None = None
    price: Price | None = None
    written: tuple[tuple[str, str], ...] = ()

    @property
    def rate_text(self) -> str:
        """The rate, or the share of the volume, as it was written."""
        said = dict(self.written)
        return said.get("rate", "") or said.get("share", "")

    @property
    def adjuvant(self) -> bool:
        """Whether it only helps others along, by its formulation."""
        return self.formulation.upper() in _ADJUVANTS

    @property
    def active_kg_ha(self) -> float | None:
        """Active ingredient per hectare, None for an adjuvant or an unknown concentration."""
        if self.rate is None or self.concentration is None:
            return None
        return active_kg_ha(self.rate, self.concentration)

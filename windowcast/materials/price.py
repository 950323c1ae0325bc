"""What products cost: prices as people write them, "310 USD per 2.5 gal"."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from windowcast.core.errors import InputError
from windowcast.core.quantity import parse
from windowcast.core.units import find_unit

_EXAMPLE = "310 USD per 2.5 gal"
_PRICE = re.compile(
    r"(?P<sign>[$€£])?\s*(?P<amount>\d+(?:\.\d+)?|\.\d+)\s*(?P<money>[A-Za-z]{3}|[$€£])?"
    r"\s*(?:/|\bper\b|\bfor\b)\s*(?P<much>.+)"
)


_MOST = 1e12  # money for one unit of a product: above it a number is a slip


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
    found = _PRICE.fullmatch(text.strip())
    money = (found["money"] or found["sign"] or "") if found else ""
    if found is None or not money:
        raise InputError(
            f"{text!r} is not a price", field=field, remedy=f"write it like {_EXAMPLE}"
        )
    amount = float(found["amount"])
    if not (amount > 0 and amount <= _MOST):
        raise InputError(
            f"{text!r} is not above zero", field=field, remedy="leave it out where it is unknown"
        )
    much = found["much"].strip()
    much = much if much[:1].isdigit() or much[:1] == "." else f"1 {much}"
    unit = re.sub(r"^[\d.\s]+", "", much)
    kind: Literal["mass", "volume"] = "volume" if find_unit(unit, "volume") else "mass"
    return Price(amount / parse(much, kind, field), money.upper(), kind)


def parse_area_price(text: str, field: str) -> tuple[float, str]:
    """Read money for an area, "45 USD per acre", as money for a m² and what the money is called.

    Raises
    ------
    InputError
        No money, no area, or not above zero.
    """
    found = _PRICE.fullmatch(text.strip())
    money = (found["money"] or found["sign"] or "") if found else ""
    if found is None or not money or not 0 < float(found["amount"]) <= _MOST:
        raise InputError(
            f"{text!r} is no money for an area", field=field,
            remedy="write it like 45 USD per acre",
        )  # fmt: skip
    much = found["much"].strip()
    much = much if much[:1].isdigit() or much[:1] == "." else f"1 {much}"
    return float(found["amount"]) / parse(much, "area", field), money.upper()

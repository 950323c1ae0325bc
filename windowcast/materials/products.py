"""Products as a user writes them: in the materials file, or in words on the command line.

In the materials file ::

    [[products]]
    name = "as I call it"
    active = "glyphosate"          # ISO common name; leave out for an adjuvant
    concentration = "4 lb/gal"     # from the label
    formulation = "SL"             # CropLife code, or NIS, OIL, DRIFT, WATER CONDITIONER
    rate = "16 fl oz/acre"         # or share = "0.25 %" of the spray volume
    max_per_year = "2 lb/acre"     # active ingredient, from the label
    density = "10 lb/gal"          # only for a liquid labelled in % by weight
    registration = "0-000"         # for the spray record, from the label
    restricted = "no"              # restricted use, from the label
    price = "310 USD per 2.5 gal"
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from os import PathLike
from typing import Any

from windowcast.core.errors import InputError
from windowcast.core.quantity import parse_density, parse_rate, with_unit_of
from windowcast.materials.actives import Actives
from windowcast.materials.label_values import read_toml
from windowcast.materials.product import Product, parse_price
from windowcast.materials.rates import parse_concentration

_KEYS = (
    "name",
    "active",
    "concentration",
    "formulation",
    "rate",
    "share",
    "max_per_year",
    "density",
    "registration",
    "restricted",
    "price",
)
_WORD = re.compile(r"\b(\w+)\s*=\s*")


def load_products(path: str | PathLike[str] | None, actives: Actives) -> dict[str, Product]:
    """Products of a materials file by name; none without a file."""
    if path is None:
        return {}
    listed = read_toml(path).get("products", [])
    if not isinstance(listed, list) or not all(isinstance(item, dict) for item in listed):
        raise InputError("is not a list of tables", path=path, field="products",
                         remedy="write [[products]]")  # fmt: skip
    products: dict[str, Product] = {}
    for number, item in enumerate(listed, start=1):
        where = f"products.{item.get('name') or number}"
        try:
            product = product_from(item, actives)
        except InputError as error:
            field = f"{where}.{error.field}" if error.field else where
            raise error.at(path=path, field=field) from None
        if product.name in products:
            raise InputError(
                "is there twice", path=path, field=f"products.{product.name}",
                remedy="give each product a name of its own",
            )  # fmt: skip
        products[product.name] = product
    return products


def product_from_words(text: str, known: Mapping[str, Product], actives: Actives) -> Product:
    """A product written ``NAME [key=value]...``; the name alone takes it from the materials file.

    ``"glyphosate rate=16 fl oz/acre concentration=4 lb/gal formulation=SL"``: where the name is an
    active ingredient's, ``active=`` may be left out. What stands behind a name of the materials
    file goes before what the file says of it; a rate without a unit is then in the file's unit.
    """
    parts = _WORD.split(text)
    name = parts[0].strip()
    given = dict(zip(parts[1::2], (value.strip() for value in parts[2::2]), strict=True))
    if not name:
        raise InputError(f"{text!r} names no product", field="product", remedy="name it first")
    name = next((one for one in known if one.casefold() == name.casefold()), name)
    if not given and name not in known:
        from difflib import get_close_matches

        near = get_close_matches(name, known, n=1)
        raise InputError(
            f"{name!r} has no rate and is not in your materials file"
            + (f" (close: {near[0]})" if near else ""),
            field="product",
            remedy="write it like 'glyphosate rate=16 fl oz/acre concentration=4 lb/gal'",
        )
    if (
        name not in known
        and "active" not in given
        and any(active.called(name) for active in actives.values())
    ):
        given["active"] = name
    try:
        if name in known:
            return _changed(known[name], given, actives)
        return product_from({"name": name, **given}, actives)
    except InputError as error:
        field = f"{error.field} of {name}" if error.field else name
        raise error.at(field=field) from None


def _changed(known: Product, given: Mapping[str, str], actives: Actives) -> Product:
    """A product of the materials file with some of its values given anew."""
    if not given:
        return known
    if {"rate", "share"} <= set(given):
        raise InputError("and share are both given", field="rate", remedy="keep one of them")
    new = dict(given)
    if "rate" in new:
        new["rate"] = with_unit_of(new["rate"], dict(known.written).get("rate", ""))
    replaced = {"share" if "rate" in new else "rate"} if {"rate", "share"} & set(new) else set()
    kept = {key: text for key, text in known.written if key not in replaced}
    return product_from({**kept, **new}, actives)


def product_from(item: Mapping[str, Any], actives: Actives) -> Product:
    """A product from its written values, checked; an error names the key, "" for the whole."""
    unknown = [key for key in item if key not in _KEYS]
    if unknown:
        raise InputError("is not known", field=unknown[0], remedy=f"use {', '.join(_KEYS)}")
    texts = {key: str(value).strip() for key, value in item.items()}
    if not texts.get("name"):
        raise InputError("is missing", field="name", remedy="give the product a name")
    if "active" in texts and "concentration" not in texts:
        raise InputError("has an active but no concentration", remedy="take it from the label")
    if "active" not in texts and {"concentration", "max_per_year"} & set(texts):
        raise InputError(
            "has a concentration or a yearly maximum but no active ingredient"
            + _close(texts["name"], actives),
            remedy="add active= with its ISO common name",
        )
    density = parse_density(texts["density"]) if "density" in texts else None
    product = Product(
        name=texts["name"],
        rate=parse_rate(texts["rate"], "rate") if "rate" in texts else None,
        share_of_volume=_share(texts["share"]) if "share" in texts else None,
        formulation=texts.get("formulation", "").upper(),
        active=actives[texts["active"]].name if "active" in texts else "",
        concentration=(
            parse_concentration(texts["concentration"], density)
            if "concentration" in texts
            else None
        ),
        max_year_kg_ha=_yearly(texts["max_per_year"]) if "max_per_year" in texts else None,
        registration=texts.get("registration", ""),
        restricted=_yes_no(texts["restricted"]) if "restricted" in texts else None,
        price=parse_price(texts["price"]) if "price" in texts else None,
        written=tuple(texts.items()),
    )
    _price_agrees(product)
    return product


def _price_agrees(product: Product) -> None:
    """Refuse a price by weight of what is measured by volume, and the other way round."""
    price = product.price
    kind = product.rate.kind if product.rate is not None else None
    if product.share_of_volume is not None:
        kind = "volume"
    if price is not None and kind is not None and kind != price.kind:
        raise InputError(
            f"is for a {price.kind}, but the rate is a {kind}", field="price",
            remedy="write both by weight, or both by volume",
        )  # fmt: skip


def _yes_no(text: str) -> bool:
    known = {"yes": True, "true": True, "no": False, "false": False}
    if text.lower() not in known:
        raise InputError(f"{text!r} is neither yes nor no", field="restricted")
    return known[text.lower()]


def with_label_maximum(products: Sequence[Product], actives: Actives) -> list[Product]:
    """Products with the yearly maximum of the user's label file where they have none."""
    from dataclasses import replace

    done = []
    for product in products:
        limit = actives[product.active].max_year_kg_ha if product.active else None
        if limit is not None and product.max_year_kg_ha is None:
            product = replace(product, max_year_kg_ha=float(limit))  # noqa: PLW2901
        done.append(product)
    return done


def _close(name: str, actives: Actives) -> str:
    """Active ingredients written nearly like a product's name, for a message."""
    from difflib import get_close_matches

    near = get_close_matches(name.lower(), actives, n=2)
    return f" (close to its name: {', '.join(near)})" if near else ""


def _share(text: str) -> float:
    try:
        share = float(text.removesuffix("v/v").strip().removesuffix("%")) / 100
    except ValueError:
        share = -1.0
    if not 0 < share < 1:
        raise InputError(
            f"{text!r} is not a share of the spray volume", field="share",
            remedy="write it like 0.25 %",
        )  # fmt: skip
    return share


def _yearly(text: str) -> float:
    rate = parse_rate(text, "max_per_year")
    if rate.kind != "mass":
        raise InputError(
            f"{text!r} is a volume", field="max_per_year",
            remedy="give the weight of active ingredient, e.g. 2 lb/acre",
        )  # fmt: skip
    return rate.per_ha

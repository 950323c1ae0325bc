"""What a tank sheet must say of the turf it is made for, without any weather."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from windowcast.core.phrase import Name, Phrase, say
from windowcast.core.site import Site
from windowcast.limits.answer import ground_limits
from windowcast.limits.ground import ground_of
from windowcast.limits.model import Limit
from windowcast.materials.actives import Actives, Formulation
from windowcast.materials.needs import needs_of
from windowcast.materials.tank import Product

GRANULES = frozenset({"G", "GR", "GG", "FG", "MG"})  # CropLife codes of granules


def formulation_of(product: Product) -> Formulation:
    """Whether a product is sprayed or spread, by its formulation code."""
    return "granule" if product.formulation.upper() in GRANULES else "spray"


def tank_limits(
    products: Sequence[Product], actives: Actives, site: Site, date: dt.date
) -> list[Limit]:
    """What speaks against the products on this turf on a day: noes first, then what is not known.

    The state of the turf (dormant, green) is not asked: the ranking does that.
    """
    found: list[Limit] = []
    for product in products:
        if product.active:
            needs = needs_of(
                (actives[product.active],), str(site.turf.species), formulation_of(product)
            )
            found += ground_limits(needs, ground_of(site), date)
    return sorted(found, key=lambda limit: limit.answer != "no")


def remark(limit: Limit) -> Phrase:
    """One sentence for the sheet."""
    what = "do not use it" if limit.answer == "no" else "cannot tell"
    until = f"; not before {limit.until.day} {limit.until:%b %Y}" if limit.until else ""
    about = f"{limit.active}: " if limit.active else ""
    text = f"Turf: {about}{what}: {limit.reason}{until}."
    if limit.remedy:
        text += f" {limit.remedy[:1].upper()}{limit.remedy[1:]}."
    return say("tank.turf", text=Name(text))

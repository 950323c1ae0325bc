"""What a tank sheet must say of the turf it is made for, without any weather."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence

from windowcast.core.phrase import NOTHING, Listing, Name, Phrase, names, say
from windowcast.core.site import Site
from windowcast.limits.answer import ground_limits
from windowcast.limits.ground import ground_of
from windowcast.limits.model import Limit
from windowcast.materials.actives import Actives, Formulation
from windowcast.materials.label_values import species_key
from windowcast.materials.needs import needs_of
from windowcast.materials.product import Product

_UNKNOWN = frozenset({"limit.tank_unknown", "tank.no_maximum", "tank.no_log", "tank.rate_missing"})
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


def tank_remarks(
    products: Sequence[Product], actives: Actives, site: Site, date: dt.date
) -> list[Phrase]:
    """What a sheet says of the turf: what speaks against the products, and what is not asked."""
    against = [remark(limit) for limit in tank_limits(products, actives, site, date)]
    return [*against, *filter(None, [state_not_asked(products, actives, site)])]


def ground_remarks(
    products: Sequence[Product], actives: Actives, grounds: Mapping[str, Site], date: dt.date
) -> list[Phrase]:
    """As `tank_remarks` of one tank for several areas, a no of any of them first.

    `grounds` is the site as it is on each, by name; what only some areas say names them.
    """
    found: dict[Phrase, list[str]] = {}
    for name, site in grounds.items():
        for said in tank_remarks(products, actives, site, date):
            found.setdefault(said, []).append(name)
    remarks = [
        said if len(of) == len(grounds) else say("limit.tank_area", areas=names(*of), remark=said)
        for said, of in found.items()
    ]
    if any(map(is_refusal, remarks)):  # the ground says no, whatever its state
        remarks = [said for said in remarks if not is_of_state(said)]
    return sorted(remarks, key=lambda said: not is_refusal(said))


def is_refusal(said: Phrase) -> bool:
    """Whether a remark says no."""
    return _remark(said).id in ("limit.tank_no", "tank.over_maximum")


def is_unknown(said: Phrase) -> bool:
    """Whether a remark says that a limit of the turf, or of the label's year, cannot be told."""
    return _remark(said).id in _UNKNOWN


def is_of_state(said: Phrase) -> bool:
    """Whether a remark says that the turf's state was not asked."""
    return _remark(said).id == "limit.state_not_asked"


def _remark(said: Phrase) -> Phrase:
    """A remark without the areas that it is about."""
    inner = said.value("remark") if said.id == "limit.tank_area" else said
    return inner if isinstance(inner, Phrase) else said


def state_not_asked(products: Sequence[Product], actives: Actives, site: Site) -> Phrase:
    """That the state of the turf decides and was not asked; nothing where it does not matter."""
    species = species_key(str(site.turf.species))
    asked = [
        Name(product.active)
        for product in products
        if product.active
        and str(getattr(actives[product.active].turf.get(species), "value", "")) != "green"
    ]
    return say("limit.state_not_asked", active=Listing(tuple(asked))) if asked else NOTHING


def remark(limit: Limit) -> Phrase:
    """One sentence for the sheet."""
    of, said = Name(limit.active), [value for _, value in limit.reason.values]
    about = say("limit.tank_about", active=of) if limit.active and of not in said else NOTHING
    until = say("limit.tank_until", day=limit.until) if limit.until else NOTHING
    remedy = say("advice.remedy", of=limit.remedy) if limit.remedy else NOTHING
    if limit.answer == "no":
        return say("limit.tank_no", about=about, reason=limit.reason, until=until, remedy=remedy)
    return say("limit.tank_unknown", about=about, reason=limit.reason, until=until, remedy=remedy)

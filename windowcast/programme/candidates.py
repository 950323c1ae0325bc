"""What may go into the tank: the stock, or every active known, and what is left of each."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from windowcast.core.phrase import NOTHING, Name, Quantity, Value, say
from windowcast.core.site import Site
from windowcast.limits.model import Limit
from windowcast.materials.actives import Active, Actives
from windowcast.materials.needs import needs_of
from windowcast.season.observed import Applied, most_anywhere
from windowcast.windows.choices import Candidate
from windowcast.windows.model import Allowance
from windowcast.windows.residual import material_of

if TYPE_CHECKING:
    from windowcast.materials.product import Product

YEAR_DAYS = 365  # that a label's yearly maximum counts


def candidates_of(
    site: Site,
    materials: Actives,
    applied: Sequence[Applied],
    today: dt.date,
    products: Sequence[Product] = (),
) -> tuple[Candidate, ...]:
    """Candidates for the ground of a site.

    Parameters
    ----------
    applied
        What went out on that ground, by date.
    today
        Day up to which it counts.
    products
        The user's own, which may have a rate and a price.
    """
    mixtures = materials.at_hand(site.stock) if site.stock else [(a,) for a in materials.values()]
    return tuple(
        replace(_candidate(site, mixture, applied, today), **cost_of(mixture, products))
        for mixture in mixtures
    )


def cost_of(mixture: Sequence[Active], products: Sequence[Product]) -> dict[str, Any]:
    """Cost per hectare by the user's products, of several for an active the cheapest.

    Nothing where one of a mixture has no price or rate, or where they differ in money.
    """
    parts = []
    for active in mixture:
        own = [
            (product.price.per_unit * product.rate.per_ha, product.price.money)
            for product in products
            if product.active == active.name and product.price and product.rate
        ]
        if not own:
            return {}
        parts.append(min(own))
    money = {currency for _, currency in parts}
    return (
        {"cost_per_ha": sum(cost for cost, _ in parts), "money": money.pop()}
        if len(money) == 1
        else {}
    )


def _candidate(
    site: Site, mixture: Sequence[Active], applied: Sequence[Applied], today: dt.date
) -> Candidate:
    residuals = [found for active in mixture if (found := material_of(active)) is not None]
    controls = [
        active.dormant_control_pct
        for active in mixture
        if active.dormant_control_pct is not None and "dormant_control_pct" in active.overridden
    ]
    return Candidate(
        needs=needs_of(mixture, str(site.turf.species)),
        residual=max(residuals, key=lambda r: float(r.half_life), default=None),
        control=max(controls, key=float, default=None),
        left=tuple(allowance(active, applied, today) for active in mixture),
    )


def allowance(active: Active, applied: Sequence[Applied], today: dt.date) -> Allowance:
    """What is left of an active's yearly maximum on a day."""
    first = today - dt.timedelta(days=YEAR_DAYS - 1)
    rates = [
        (one.plots, rate)
        for one in applied
        if first <= one.date <= today
        for name, rate in one.actives
        if active.called(name)
    ]
    known = [rate for _, rate in rates if rate is not None]
    used = most_anywhere((at, math.nan if rate is None else rate) for at, rate in rates)
    return Allowance(
        active=active.name,
        used_kg_ha=None if math.isnan(used) else used,
        max_kg_ha=None if active.max_year_kg_ha is None else float(active.max_year_kg_ha),
        rate_kg_ha=known[-1] if known else None,
    )


def used_up(
    actives: Iterable[Active], applied: Sequence[Applied], today: dt.date
) -> dict[str, Limit]:
    """Actives of which nothing more may go out, or of which that cannot be told, by name."""
    found = {}
    for active in actives:
        left = allowance(active, applied, today)
        if not left.spent or left.max_kg_ha is None:
            continue
        about: dict[str, Value] = {
            "active": Name(left.active),
            "most": Quantity(left.max_kg_ha, "kg ha-1"),
        }
        known = left.used_kg_ha is not None
        found[active.name] = Limit(
            "yearly maximum",
            "no" if known else "cannot tell",
            say("limit.year_used", **about) if known else say("limit.year_unknown", **about),
            "label: yearly maximum of your materials file",
            active=active.name,
            remedy=NOTHING if known else say("limit.log_rates"),
        )
    return found

"""The log by place and day: what followed an application on its ground, and what went before it.

Every question is answered by a look-up, so that a log of ten thousand entries is read once.
"""

from __future__ import annotations

import datetime as dt
from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from windowcast.core.errors import InputError
from windowcast.core.values import PACKAGED, Tables
from windowcast.materials.actives import Active, Actives
from windowcast.materials.products import load_products
from windowcast.materials.rotation import Use, seasons_running
from windowcast.records.looks import Lookbook, SeenAfter, places_of, seen_after
from windowcast.records.model import Application, ScoutingCount
from windowcast.windows.model import PURPOSES
from windowcast.windows.purposes import purpose_of

_NEAR = dt.timedelta(days=14)
_ANYWHERE = "*"


class Ledger:
    """What the log says around each application.

    Parameters
    ----------
    uses
        The applications in the terms of rotation.
    label_kg_ha
        Active → rate of active ingredient on the user's own label.
    today
        Last day that anything can speak of.
    """

    def __init__(
        self,
        applications: Iterable[Application],
        sightings: Lookbook,
        uses: Iterable[Use],
        *,
        label_kg_ha: Mapping[str, float],
        today: dt.date,
        tables: Tables = PACKAGED,
    ) -> None:
        self.tables = tables
        self.sightings = sightings
        self.label_kg_ha = label_kg_ha
        self.today = today
        self._done: dict[str, list[Application]] = {}
        self._all = sorted(applications, key=lambda a: a.date)
        for application in self._all:
            for place in places_of(application.where):
                self._done.setdefault(place, []).append(application)
        self._uses: dict[str, dict[tuple[str, str], Use]] = {}
        for use in uses:
            for place in (*places_of(use.where), _ANYWHERE):
                table = self._uses.setdefault(place, {})
                key = (use.purpose, use.season)
                before = table.get(key)
                groups = use.groups if before is None else (*before.groups, *use.groups)
                table[key] = replace(use, groups=tuple(dict.fromkeys(groups)))

    def seen(self, application: Application, members: Sequence[Active], *, pre: bool) -> SeenAfter:
        """What was looked at before the next application on the same ground."""
        return seen_after(
            application,
            self.sightings,
            members=members,
            pre=pre,
            until=min(self._next(application, pre=pre), self.today),
            tables=self.tables,
        )

    def _next(self, application: Application, *, pre: bool) -> dt.date:
        """Day of the next application on the same ground.

        The second half of a split goes on with the work of the first and does not end it.
        """
        places = places_of(application.where)
        lists = [self._all] if places == ("",) else [self._done.get(p, []) for p in (*places, "")]
        found = []
        for done in lists:
            start = bisect_right(done, application.date, key=lambda a: a.date)
            later = (a for a in done[start:] if not (pre and _goes_on(a, application)))
            found += [a.date for a in [next(later, None)] if a is not None]
        return min(found, default=dt.date.max)

    def counts_near(self, application: Application) -> list[ScoutingCount]:
        """Scouting counts of the place within a fortnight of an application."""
        day = application.date
        near = self.sightings.between(application.where, day - _NEAR, day + _NEAR)
        return [entry for entry in near if isinstance(entry, ScoutingCount)]

    def group_seasons(self, use: Use) -> int:
        """For how many seasons just before, without a break, its purpose used only its groups."""
        places = places_of(use.where)
        grounds = [_ANYWHERE] if places == ("",) else [*places, ""]
        known = [past for place in grounds for past in self._uses.get(place, {}).values()]
        reach = int(self.tables["rotation"].number("repeat.lookback_seasons"))
        return seasons_running(use, known, reach) if use.groups else 0


def _goes_on(later: Application, first: Application) -> bool:
    """Whether a later pre-emergent is for the same purpose."""
    return bool(first.purpose) and later.purpose == first.purpose


def is_pre(application: Application, members: Sequence[Active]) -> bool:
    """Whether an application acts before weeds are up: by its purpose, else by its actives."""
    purpose = next((p for p in PURPOSES if p == application.purpose), None)
    if purpose is not None:
        return purpose_of(purpose).barrier
    return bool(members) and all(m.timing.value == "pre" for m in members)


def label_rates(path: object, materials: Actives) -> dict[str, float]:
    """Active → the lowest rate of active ingredient, kg/ha, among the user's products with it."""
    rates: dict[str, float] = {}
    try:
        products = load_products(path, materials)  # type: ignore[arg-type]
    except InputError:
        return {}  # the materials file's own fault is named where products are needed
    for product in products.values():
        rate = product.active_kg_ha
        if product.active and rate:
            rates[product.active] = min(rate, rates.get(product.active, rate))
    return rates

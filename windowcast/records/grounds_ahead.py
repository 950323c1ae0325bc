"""The seasons ahead of each piece of a site's ground, by its log and its materials."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from pathlib import Path

from windowcast.core.site import Site
from windowcast.core.values import PACKAGED, Tables
from windowcast.materials.actives import load_actives
from windowcast.programme.seasons_ahead import DRAWS, SeasonsAhead, seasons_ahead
from windowcast.programme.tanks_ahead import GroundAhead
from windowcast.records.areas import pieces
from windowcast.records.ledger import label_rates
from windowcast.records.observations import Logged, observed
from windowcast.records.resistance import resistance_of
from windowcast.records.site_trials import with_own_trials
from windowcast.windows.model import PURPOSES, PurposeName


def grounds_ahead(
    site: Site,
    logged: Logged | None,
    today: dt.date,
    *,
    materials_file: Path | None = None,
    seasons: int = 3,
    purposes: Sequence[PurposeName] = PURPOSES,
    area: str = "",
    draws: int = DRAWS,
    seed: int = 1,
    tables: Tables = PACKAGED,
) -> list[SeasonsAhead]:
    """Programmes compared for each piece of ground that was treated and is kept alike.

    Parameters
    ----------
    logged
        The season log up to `today`; None for a site without one.
    materials_file
        The site's own numbers for materials; its label rates keep the yearly maxima.
    seasons, purposes, draws, seed
        As for `seasons_ahead`.
    area
        Only this area of the site file; "" for all.

    Raises
    ------
    InputError
        The materials file or the stock cannot be read, or there is no such area.
    """
    materials = load_actives(materials_file)
    materials.at_hand(site.stock)
    labels = label_rates(materials_file, materials)
    tables = with_own_trials(site, tables, materials)
    found = []
    for piece in pieces(site, logged, area):
        known = resistance_of(piece.site, piece.logged, materials, today=today, label_kg_ha=labels)
        seen = piece.logged and observed(piece.logged, materials, southern=site.place.southern)
        ground = GroundAhead(piece.site, materials, known, labels, tables)
        found.append(
            seasons_ahead(
                ground, seen.applied if seen else (), today, seasons=seasons, purposes=purposes,
                areas=piece.areas, draws=draws, seed=seed,
            )
        )  # fmt: skip
    return found

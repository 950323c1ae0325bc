"""What forms offer to choose from: the site file's names, and what was entered before."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from windowcast.core.site import Site
from windowcast.records.model import Application

MOST = 30  # of each kind of name; the latest go first


def used_before(
    site: Site, products: Iterable[str], applications: Sequence[Application]
) -> Mapping[str, tuple[str, ...]]:
    """Name of a field → what stood in it, the site file's first.

    Parameters
    ----------
    products
        Names of the materials file.
    applications
        Of the season log, latest first.
    """
    materials = [material for a in applications for material in a.materials]
    found: dict[str, Iterable[str]] = {
        "where": [*(area.name for area in site.area), *(a.where for a in applications)],
        "operator": [site.operator.name, *(a.operator for a in applications)],
        "certification": [
            site.operator.certification,
            *(a.certification for a in applications),
        ],
        "nozzle": [*(one.nozzle for one in site.sprayer), *(a.nozzle for a in applications)],
        "droplet_class": [
            *(one.droplet_class for one in site.sprayer),
            *(a.droplet_class for a in applications),
        ],
        "site_kind": [a.site_kind for a in applications],
        "adjuvant": [a.adjuvant for a in applications],
        "active": [*site.stock, *(material.active for material in materials)],
        "product": [*products, *(material.product for material in materials)],
        "registration": [material.registration for material in materials],
    }
    named = {name: tuple(dict.fromkeys(filter(None, texts))) for name, texts in found.items()}
    return {name: texts[:MOST] for name, texts in named.items() if texts}

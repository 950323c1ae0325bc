"""The trials that a site names: their analysis is loaded only where it names some."""

from __future__ import annotations

from windowcast.core.site import Site
from windowcast.core.values import Tables
from windowcast.materials.actives import Actives


def with_own_trials(site: Site, tables: Tables, materials: Actives) -> Tables:
    """The tables with the results of the site's own trials weighed in.

    Raises
    ------
    InputError
        A trial file that the site names cannot be read.
    """
    if not site.own_trials:
        return tables
    from windowcast.records.own_evidence import weighed

    return weighed(site.own_trials, tables, materials)

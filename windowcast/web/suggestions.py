"""Names that forms offer, from the site file and the latest entries of the log."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from windowcast.records.model import Application
from windowcast.records.store import SeasonLog
from windowcast.records.used_before import used_before
from windowcast.web.sites import KnownSite

_LATEST = 200  # applications that are looked at


def suggestions(site: KnownSite, products: Iterable[str]) -> Mapping[str, tuple[str, ...]]:
    """Name of a field → what to offer in it."""
    assert site.site is not None
    applications: list[Application] = []
    if site.log_path is not None and site.log_path.exists():
        with SeasonLog(site.log_path) as log:
            applications = [stored.entry for stored in log.latest(Application, _LATEST)]
    return used_before(site.site, products, applications)

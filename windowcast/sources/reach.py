"""Which services of weather can be reached from here, and what their clocks say."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

from windowcast.core.errors import InputError
from windowcast.sources.archive import HOST as ARCHIVE
from windowcast.sources.by_name import chosen
from windowcast.sources.forecast import HOST as FORECAST
from windowcast.sources.http import Client, Limits
from windowcast.sources.http_answer import FetchError, base_url, host_of
from windowcast.sources.metno import HOST as METNO
from windowcast.sources.metno import contact_of
from windowcast.sources.mosmix import HOST as MOSMIX
from windowcast.sources.side_by_side import side_by_side

# service → variable that names another host, its own host, a path that it has
_WHERE = {
    "archive": ("WINDOWCAST_ARCHIVE_URL", ARCHIVE, "/stations.db"),
    "nws": ("WINDOWCAST_FORECAST_URL", FORECAST, "/"),
    "mosmix": ("WINDOWCAST_MOSMIX_URL", MOSMIX, "/"),
    "metno": ("WINDOWCAST_METNO_URL", METNO, "/"),
}


@dataclass(frozen=True, slots=True)
class Reached:
    """What came of asking one service.

    Attributes
    ----------
    service
        ``"archive"``, or the name of a forecast service.
    host
        With its port where that is named.
    problem
        Why it could not be reached, in English with the host; None when it answered.
    skew_s
        The service's clock minus this one [s]; None where its answer tells no time.
    """

    service: str
    host: str
    problem: FetchError | InputError | None = None
    skew_s: float | None = None


def reach(services: Sequence[str], within_s: float) -> list[Reached]:
    """Ask each service once, side by side; all have ended after `within_s` seconds."""
    limits = replace(Limits.default(), connect_s=within_s, read_s=within_s, tries=1)
    client = Client(limits, stop=time.monotonic() + within_s)
    works = [partial(_reach, service, client, within_s) for service in services]
    return side_by_side(works, len(works))


def services_of(forecast: str = "auto", contact: str = "") -> list[str]:
    """The archive and the forecast services that a site asks; of those named, the built-in ones.

    Parameters
    ----------
    forecast, contact
        As in ``[weather]`` of the site file; a service that wants a contact is left out without.
    """
    silent = {"archive"} if contact_of(contact) else {"archive", "metno"}
    asked = [name for name in chosen(forecast) if name in _WHERE and name not in silent]
    return ["archive", *asked]


def _reach(service: str, client: Client, within_s: float) -> Reached:
    variable, host, path = _WHERE[service]
    try:
        host = base_url(variable, host)
        reply = client.touch(f"{host}{path}", within_s=within_s)
    except (FetchError, InputError) as error:
        return Reached(service, host_of(host), error)
    skew = None if reply.server_time is None else reply.skew_s
    return Reached(service, host_of(host), None, skew)

"""Looking through the cache for answers that are no use, and putting the last good ones back."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Literal

from windowcast.core.errors import InputError
from windowcast.sources import forecast, metno, mosmix, nrcs_soil, uscrn_network
from windowcast.sources.archive import series_notes
from windowcast.sources.archive_series import file_problem
from windowcast.sources.archive_stations import list_problem
from windowcast.sources.cache import Cache, Entry, digest_of
from windowcast.sources.coarse_grid import days_problem

Done = Literal["restored", "removed", "asked again"]
Problem = Callable[[bytes], str]
_CLOCK_S = 300.0  # how far ahead of this clock an answer may have come
_KINDS = {
    "file": re.compile(r"/(daily|hourly)/(\d{4})/(\w+)\.csv\.gz$"),
    "stations": re.compile(r"/stations\.db$"),
    "point": re.compile(r"/points/([-\d.]+,[-\d.]+)$"),
    "days": re.compile(r"/daily/point\?.*longitude=([-\d.]+)&latitude=([-\d.]+)&start=(\d{4})"),
    "soil stations": re.compile(r"/(stations\.tsv|services/v1/stations\?.*)$"),
    "soil days": re.compile(r"/daily01/(\d{4})/CRND0103-\d{4}-(.+)\.txt$"),
    "soil reports": re.compile(r"/services/v1/data\?stationTriplets=([\w:]+)&"),
    "cell": re.compile(r"/gridpoints/(\w+)/(\d+,\d+)$"),
    "metno": re.compile(r"/locationforecast/2\.0/complete\?lat=([-\d.]+)&lon=([-\d.]+)"),
    "mosmix": re.compile(r"/MOSMIX_L_LATEST_(\w+)\.kmz$"),
    "mosmix list": re.compile(r"/mosmix_stationskatalog\.cfg"),
}
_UNTIMELY = {"cell": forecast.untimely, "metno": metno.untimely, "mosmix": mosmix.untimely}


@dataclass(frozen=True, slots=True)
class BadAnswer:
    """An answer of the cache that is no use, or is in doubt.

    Attributes
    ----------
    place
        What it is for: a station and year, a grid cell, a point [degrees].
    checked_at
        When its source last confirmed it [POSIX s].
    why
        As a clause.
    bad
        Whether it is no use at all; else it is in doubt and is asked for again.
    """

    url: str
    source: str
    place: str
    checked_at: float
    why: str
    bad: bool


def examined(cache: Cache, now: float) -> Iterator[BadAnswer]:
    """Every answer of the cache that is no use or in doubt, by address.

    Raises
    ------
    InputError
        The cache itself cannot be read.
    """
    for entry in cache.entries():
        place, problem = kind_of(entry.url, cache)
        why = _body_problem(cache, entry, problem)
        if why:
            yield BadAnswer(entry.url, entry.source, place, entry.checked_at, why, True)
        elif entry.checked_at > now + _CLOCK_S:
            ahead = (entry.checked_at - now) / 3600
            why = f"it came {ahead:.0f} h from now by this clock: the clock was changed"
            yield BadAnswer(entry.url, entry.source, place, entry.checked_at, why, False)


def mended(cache: Cache, finding: BadAnswer) -> Done:
    """Put the answer before in place of a bad one, else remove it; one in doubt is asked again."""
    if not finding.bad:
        cache.ask_again(finding.url, in_s=0.0)
        return "asked again"
    _, problem = kind_of(finding.url, cache)
    try:
        former = cache.former(finding.url)
    except InputError:
        former = None
    if former is not None and not problem(former):
        cache.restore(finding.url)
        return "restored"
    cache.remove(finding.url)
    return "removed"


def _body_problem(cache: Cache, entry: Entry, problem: Problem) -> str:
    if entry.status == 404:
        return ""
    try:
        found = cache.body(entry.url)
    except InputError:
        return "its bytes are damaged"
    if found is None or digest_of(found) != entry.digest:
        return "its bytes are damaged"
    if why := problem(found):
        return why
    late = [of for kind, of in _UNTIMELY.items() if _KINDS[kind].search(entry.url)]
    return late[0](found, entry.fetched_at) if late else ""


def kind_of(url: str, cache: Cache) -> tuple[str, Problem]:
    """What an address is for, and what its body must be."""
    if found := _KINDS["file"].search(url):
        step, year, station = found[1], int(found[2]), found[3]
        return f"station {station}, {step} {year}", lambda body: file_problem(
            body, "daily" if step == "daily" else "hourly", year, series_notes(cache)
        )
    if _KINDS["stations"].search(url):
        return "list of stations", list_problem
    if found := _KINDS["point"].search(url):
        return found[1], forecast.cell_problem
    if found := _KINDS["cell"].search(url):
        return f"grid cell {found[1]} {found[2]}", forecast.grid_problem
    if found := _KINDS["days"].search(url):
        return f"coarse grid {found[2]},{found[1]}, {found[3]} on", days_problem
    if found := _KINDS["metno"].search(url):
        return f"{found[1]},{found[2]}", metno.answer_problem
    if found := _KINDS["mosmix"].search(url):
        return f"station {found[1]}", mosmix.file_problem
    if _KINDS["mosmix list"].search(url):
        return "list of stations", mosmix.list_problem
    if found := _KINDS["soil stations"].search(url):
        of_uscrn = found[1] == "stations.tsv"
        network = uscrn_network if of_uscrn else nrcs_soil
        return f"list of soil stations ({network.NAME})", network.list_problem
    if found := _KINDS["soil days"].search(url):
        return f"soil at {found[2].replace('_', ' ')}, {found[1]}", uscrn_network.daily_problem
    if found := _KINDS["soil reports"].search(url):
        return f"soil at {found[1]}", nrcs_soil.data_problem
    return url.partition("://")[2].partition("/")[2], lambda body: ""

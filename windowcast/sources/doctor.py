"""Looking through the cache for answers that are no use, and putting the last good ones back."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

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


class AnswerKind(NamedTuple):
    """What an address of the cache is for.

    Attributes
    ----------
    place
        What the answer is for, see `BadAnswer`.
    problem
        Of a body: why it is no use, as a clause; "" when it is understood.
    untimely
        Of a body and a time [POSIX s]: why it is not to be used then.
    """

    place: str
    problem: Problem
    untimely: Callable[[bytes, float], str] = lambda body, now_s: ""


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
        kind = kind_of(entry.url, cache)
        place = kind.place
        if why := _body_problem(cache, entry, kind):
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
    problem = kind_of(finding.url, cache).problem
    try:
        former = cache.former(finding.url)
    except InputError:
        former = None
    if former is not None and not problem(former):
        cache.restore(finding.url)
        return "restored"
    cache.remove(finding.url)
    return "removed"


def _body_problem(cache: Cache, entry: Entry, kind: AnswerKind) -> str:
    if entry.status == 404:
        return ""
    try:
        found = cache.body(entry.url)
    except InputError:
        return "its bytes are damaged"
    if found is None or digest_of(found) != entry.digest:
        return "its bytes are damaged"
    if why := kind.problem(found):
        return why
    return kind.untimely(found, entry.fetched_at)


# part of an address → what it is for, in words with groups of it, and what its body must be
_KINDS: Sequence[tuple[str, AnswerKind]] = (
    (r"/stations\.db$", AnswerKind("list of stations", list_problem)),
    (r"/points/([-\d.]+,[-\d.]+)$", AnswerKind(r"\1", forecast.cell_problem)),
    (
        r"/gridpoints/(\w+)/(\d+,\d+)$",
        AnswerKind(r"grid cell \1 \2", forecast.grid_problem, forecast.untimely),
    ),
    (
        r"/daily/point\?.*longitude=([-\d.]+)&latitude=([-\d.]+)&start=(\d{4})",
        AnswerKind(r"coarse grid \2,\1, \3 on", days_problem),
    ),
    (
        r"/locationforecast/2\.0/complete\?lat=([-\d.]+)&lon=([-\d.]+)",
        AnswerKind(r"\1,\2", metno.answer_problem, metno.untimely),
    ),
    (
        r"/MOSMIX_L_LATEST_(\w+)\.kmz$",
        AnswerKind(r"station \1", mosmix.file_problem, mosmix.untimely),
    ),
    (r"/mosmix_stationskatalog\.cfg", AnswerKind("list of stations", mosmix.list_problem)),
    *(
        (part, AnswerKind(f"list of soil stations ({network.name})", network.list_problem))
        for part, network in (
            (r"/stations\.tsv$", uscrn_network.NETWORK),
            (r"/services/v1/stations\?.*$", nrcs_soil.NETWORK),
        )
    ),
    (
        r"/daily01/(\d{4})/CRND0103-\d{4}-(.+)\.txt$",
        AnswerKind(r"soil at \2, \1", uscrn_network.daily_problem),
    ),
    (
        r"/services/v1/data\?stationTriplets=([\w:]+)&",
        AnswerKind(r"soil at \1", nrcs_soil.data_problem),
    ),
)
_FILE = re.compile(r"/(daily|hourly)/(\d{4})/(\w+)\.csv\.gz$")  # of the station archive


def kind_of(url: str, cache: Cache) -> AnswerKind:
    """What an address is for, and what its body must be."""
    if found := _FILE.search(url):
        step, year, station = found[1], int(found[2]), found[3]
        return AnswerKind(
            f"station {station}, {step} {year}",
            lambda body: file_problem(
                body, "daily" if step == "daily" else "hourly", year, series_notes(cache)
            ),
        )
    for part, kind in _KINDS:
        if match := re.search(part, url):
            return kind._replace(place=match.expand(kind.place).replace("_", " "))
    return AnswerKind(url.partition("://")[2].partition("/")[2], lambda body: "")

"""Sources of weather beyond files: what one must offer, and asking all that a site needs.

A third party adds a source in one file: a class with the members of `Source`, offered through
the entry-point group ``windowcast.sources``; see ``docs/add_a_source.md``.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Protocol, runtime_checkable

from windowcast.core.errors import InputError, SourceUnreachableError
from windowcast.core.local_days import local_today
from windowcast.core.record import Flag, Grade, Place, Record
from windowcast.core.source_flags import remark
from windowcast.core.values import load
from windowcast.sources.cache import Cache
from windowcast.sources.fetch import Fetcher
from windowcast.sources.http_answer import FetchError

if TYPE_CHECKING:
    from windowcast.core.site import Site

GROUP = "windowcast.sources"

# what is fetched, how much of it is done, how much there is
Progress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class Request:
    """What a source is asked for.

    Attributes
    ----------
    first, today
        Local dates: the first day wanted, and the day from which on values lie ahead.
    past
        Whether the daily record is wanted too, or only recent hours and those ahead.
    station
        Id of the only station to use; "" for the source's own choice.
    """

    place: Place
    first: dt.date
    today: dt.date
    past: bool = True
    station: str = ""
    progress: Progress = field(default=lambda what, done, total: None)


@dataclass(frozen=True)
class Found:
    """Records in order of preference, daily or hourly, at the place asked for; and remarks."""

    records: tuple[Record, ...] = ()
    flags: tuple[Flag, ...] = ()


@runtime_checkable
class Source(Protocol):
    """A source of weather.

    `fetch` gets everything over the network through ``fetcher.get``, which caches, retries and
    honours ``--offline``. It returns an empty `Found` where it has nothing, and lets `FetchError`
    through where it could not be asked.
    """

    name: str

    def covers(self, place: Place) -> bool:
        """Whether it may have something there; it is not asked otherwise."""
        ...

    def fetch(self, request: Request, fetcher: Fetcher) -> Found:
        """Values at the place, each with its grade and provenance."""
        ...


def source_named(name: str) -> Source:
    """The built-in source of this name, or one that an installed package offers.

    Raises
    ------
    InputError
        There is none, or it does not have the members of `Source`.
    """
    from importlib.metadata import entry_points

    if name == "archive":
        from windowcast.sources.archive import ArchiveSource

        return ArchiveSource()
    if name == "nws":
        from windowcast.sources.forecast import ForecastSource

        return ForecastSource()
    offered = entry_points(group=GROUP)
    for entry in offered:
        if entry.name == name:
            made = entry.load()()
            if not isinstance(made, Source):
                raise InputError(
                    f"the installed source {name!r} lacks name, covers or fetch",
                    field="weather.forecast",
                    remedy="ask its authors; see docs/add_a_source.md",
                )
            return made
    known = ", ".join(["auto", "none", "nws", "archive", *sorted(e.name for e in offered)])
    raise InputError(
        f"{name!r} is not a known source", field="weather.forecast", remedy=f"name one of {known}"
    )


def gather(
    site: Site,
    *,
    today: dt.date,
    fetcher: Fetcher,
    given: Sequence[Record] = (),
    first: dt.date | None = None,
    past: bool = True,
    ahead: bool = True,
    progress: Progress | None = None,
) -> Found:
    """All the weather of a site: own loggers, files, station archive, forecast.

    Parameters
    ----------
    today
        Date of the answer. A forecast is asked only for the day that it is.
    given
        Records from files; they go before anything fetched.
    first
        First day of the record; by default `archive.years` of ``sources.toml`` back.
    past, ahead
        Whether the daily record, and the hours to come, are to be fetched.

    Returns
    -------
    Found
        Records in order of preference: own loggers, files, what stations measured, the forecast,
        what the archive has of forecast grade.

    Raises
    ------
    InputError
        An own logger's file cannot be used, the site names an unknown source, or no source has
        a temperature for it.
    SourceUnreachableError
        The record is wanted, there are no files, the archive could not be asked and too little is
        kept; the message says what is kept and how old it is.
    """
    from windowcast.sources.own_logger import compared, read_own

    own = [read_own(station, site.place) for station in site.weather.own]
    if not (past or ahead):
        return Found((*own, *given), tuple(compared(own, given)))
    years = int(load("sources").number("archive.years"))
    request = Request(
        site.place,
        first or dt.date(today.year - years, 1, 1),
        today,
        past,
        site.weather.station,
        progress or (lambda what, done, total: None),
    )
    issued = _forecast(site, request, fetcher) if ahead else Found()
    archive = Found()
    if past or not issued.records:
        archive = _archive(request, fetcher, needed=past and not given)
    measured = [r for r in archive.records if _measured(r)]
    modelled = [r for r in archive.records if not _measured(r)]
    flags = [*issued.flags, *archive.flags, *compared(own, [*given, *measured])]
    if archive.records and site.elevation_m is None:
        text = "the site's elevation is not given: temperatures are not corrected for height"
        flags.append(remark("no-elevation", text))
    fetched = [*measured, *issued.records, *modelled]
    known = [r for r in fetched if any(name in r for name in r.values)]
    records = (*own, *given, *known)
    if past and not any("tmax_c" in r or "temp_c" in r for r in records):
        why = "; ".join(dict.fromkeys(flag.text for flag in flags))
        raise InputError(
            f"there is no temperature for the site: {why}",
            remedy="give weather files, or name a station in weather.station",
        )
    return Found(records, tuple(flags))


def _archive(request: Request, fetcher: Fetcher, *, needed: bool) -> Found:
    """What the station archive has; away is an error only where there is no record without it."""
    try:
        return source_named("archive").fetch(request, fetcher)
    except FetchError as error:
        text = f"{error}; {kept_text(fetcher.cache, fetcher.clock())}"
        if needed:
            raise SourceUnreachableError(text) from None
        return Found(flags=(remark("archive-unreachable", text),))


def _forecast(site: Site, request: Request, fetcher: Fetcher) -> Found:
    """The forecast the site file asks for; away or absent is a remark, not an error."""
    wanted = site.weather.forecast
    if wanted in ("none", "archive"):
        return Found()
    if request.today != local_today(site.zone):
        text = f"no forecast is asked for {request.today}: it is not that day"
        return Found(flags=(remark("no-forecast", text),))
    source = source_named("nws" if wanted == "auto" else wanted)
    if not source.covers(site.place):
        return Found()
    try:
        found = source.fetch(replace(request, past=False), fetcher)
    except FetchError as error:
        return Found(flags=(remark("forecast-unreachable", f"no forecast: {error}"),))
    return replace(found, records=tuple(replace(r, flags=()) for r in found.records))


def _measured(record: Record) -> bool:
    """Whether anything in it is better than forecast grade."""
    return any(bool((grade < Grade.FORECAST).any()) for grade in record.grades.values())


def kept_text(cache: Cache, now: float) -> str:
    """What the cache holds and how old it is, in a clause."""
    parts = [
        f"{h.source} ({h.entries} answers, the newest {age_text(now - h.newest)} old)"
        for h in cache.holdings()
    ]
    return f"kept: {', '.join(parts)}" if parts else "nothing is kept"


def age_text(seconds: float) -> str:
    """An age in words: ``"40 min"``, ``"5 h"``, ``"12 days"``."""
    minutes = max(seconds, 0.0) / 60
    if minutes < 90:
        return f"{minutes:.0f} min"
    return f"{minutes / 60:.0f} h" if minutes < 48 * 60 else f"{minutes / 1440:.0f} days"

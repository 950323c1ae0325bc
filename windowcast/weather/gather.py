"""Asking all sources that a site needs, and putting what they have in order of preference.

The site's own thermometer is compared with its neighbours: it may have drifted, or stand far off.
"""

from __future__ import annotations

import datetime as dt
import os
import time
from collections.abc import Callable, Collection, Sequence
from dataclasses import replace
from functools import partial

import numpy as np
import numpy.typing as npt

from windowcast.core.errors import InputError, SourceUnreachableError
from windowcast.core.local_days import local_today
from windowcast.core.phrase import Name, Noted, Phrase, Quantity, about, joined, names, say
from windowcast.core.record import DateArray, Flag, FloatArray, Grade, Record
from windowcast.core.site import Site
from windowcast.core.source_flags import remark
from windowcast.core.values import PACKAGED, Tables, load
from windowcast.sources.blend import lapse_rate
from windowcast.sources.by_name import chosen, source_named
from windowcast.sources.coarse_grid import CoarseGridSource
from windowcast.sources.fetch import Fetcher, kept_text
from windowcast.sources.http_answer import FetchError, Kind
from windowcast.sources.own_logger import read_own
from windowcast.sources.side_by_side import side_by_side
from windowcast.sources.soil_around import around
from windowcast.sources.source import Found, Progress, Request, Source
from windowcast.weather.join import hourly_to_daily

GRID_SWITCH, SOIL_SWITCH = "WINDOWCAST_COARSE_GRID", "WINDOWCAST_SOIL_NETWORKS"
_SERVICES = ("forecast", "mosmix", "metno")


def compared(
    own: Sequence[Record], neighbours: Sequence[Record], tables: Tables = PACKAGED
) -> list[Flag]:
    """Warnings where an own thermometer has drifted from, or stands far off, the neighbours.

    The daily mean ((highest + lowest) / 2) is compared; the last stretch with the same part of
    other years where there is enough of it, else with all before.
    """
    table = tables["sources"].table("own")
    span = int(table.number("drift_days"))
    others = [r for r in neighbours if r.daily and "tmax_c" in r and "tmin_c" in r]
    flags: list[Flag] = []
    for station in own:
        days = station if station.daily else hourly_to_daily(station, tables)
        if not others or "tmax_c" not in days or "tmin_c" not in days:
            continue
        dates, difference = _difference(days, others[0])
        if len(dates) < 2 * span:
            continue
        recent = difference[-span:]
        before = difference[:-span]
        season = before[_same_season(dates[:-span], dates[-1])]
        base = float(np.median(season if len(season) >= span else before))
        shift = float(np.median(recent)) - base
        name = station.provenance[0].detail
        if abs(shift) > table.number("drift_max"):
            moved = say("flag.own_drift", shift=Quantity(shift, "K"), days=span)
            text = about(Name(name), moved)
            flags.append(_remark("own-drift", text, dates[-span:]))
        elif abs(base) > table.number("bias_max"):
            text = about(Name(name), say("flag.own_bias", off=Quantity(base, "K")))
            flags.append(_remark("own-bias", text, dates))
    return flags


def _difference(days: Record, other: Record) -> tuple[DateArray, FloatArray]:
    """Own minus neighbours' daily mean on the days both know."""
    shared, mine, theirs = np.intersect1d(days.times, other.times, return_indices=True)
    mean_own = (days.get("tmax_c")[mine] + days.get("tmin_c")[mine]) / 2
    mean_other = (other.get("tmax_c")[theirs] + other.get("tmin_c")[theirs]) / 2
    difference = mean_own - mean_other
    known = np.isfinite(difference)
    return shared[known], difference[known]


def _same_season(dates: DateArray, last: np.datetime64) -> npt.NDArray[np.bool_]:
    """Days within 45 days of the day of year of the last 30 before `last`, in earlier years."""
    away = ((last - dates).astype(np.int64) + 182) % 365 - 182
    old = (last - dates).astype(np.int64) > 180
    return old & (np.abs(away - 15) <= 45)


def _remark(check: str, text: Phrase, dates: DateArray) -> Flag:
    return remark(
        check,
        text,
        variable="tmean_c",
        first=str(dates[0]),
        last=str(dates[-1]),
        count=len(dates),
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
    without: Collection[str] = (),
    tables: Tables = PACKAGED,
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
    without
        Names of forecast services that are not to be asked.
    tables
        The science values to go by: ``quality`` and ``sources``.

    Returns
    -------
    Found
        Records in order of preference: own loggers, files, what stations measured, the forecast,
        what the archive has of forecast grade, days of a coarse grid.

    Raises
    ------
    InputError
        An own logger's file cannot be used, the site names an unknown source, or no source has
        a temperature for it.
    SourceUnreachableError
        The record is wanted, there are no files, the archive could not be asked and too little is
        kept; the message says what is kept and how old it is.
    """
    own = [read_own(station, site.place) for station in site.weather.own]
    if not (past or ahead):
        return Found((*own, *given), tuple(compared(own, given, tables)))
    years = int(tables["sources"].number("archive.years"))
    request = Request(
        site.place,
        first or dt.date(today.year - years, 1, 1),
        today,
        past,
        site.weather.station,
        progress or (lambda what, done, total: None),
        site.weather.contact,
    )
    works: list[Callable[[], Found]] = [
        partial(_coarse, site, given, request, fetcher),
        partial(_soil, site, request, fetcher),
    ]
    if ahead:
        works.append(partial(_forecast, site, request, fetcher, without))
    if past:
        works.append(partial(_archive, request, fetcher, needed=not given))
    coarse, soil, *found = side_by_side(works, len(works))
    issued = found[0] if ahead else Found()
    archive = found[-1] if past else Found()
    if not past and not issued.records and chosen(site.weather.forecast):
        archive = _archive(request, fetcher, needed=False)
    measured = [r for r in archive.records if _measured(r)]
    modelled = [r for r in archive.records if not _measured(r)]
    sources = names(*sorted(fetcher.cut), join="comma")
    cut = [remark("cut-off", say("flag.cut_off", sources=sources))] if fetcher.cut else []
    flags = [
        *cut,
        *issued.flags,
        *archive.flags,
        *coarse.flags,
        *soil.flags,
        *compared(own, [*given, *measured], tables),
    ]
    if archive.records and site.elevation_m is None:
        flags.append(remark("no-elevation", say("flag.no_elevation", rate=lapse_rate())))
    fetched = [*measured, *issued.records, *modelled]
    known = [r for r in fetched if any(name in r for name in r.values)]
    records = (*own, *given, *known, *coarse.records)
    if past and not any("tmax_c" in r or "temp_c" in r for r in records):
        raise InputError(
            "there is no temperature for the site",
            remedy="give weather files, or name a station in weather.station",
            because=tuple(dict.fromkeys(flag.text for flag in flags)),
        )
    return Found(records, tuple(flags), soil.nearby)


def _archive(request: Request, fetcher: Fetcher, *, needed: bool) -> Found:
    """What the station archive has; away is an error only where there is no record without it."""
    try:
        return source_named("archive").fetch(request, fetcher)
    except FetchError as error:
        kept = kept_text(fetcher.cache, fetcher.clock())
        text = f"{error}; {kept}"
        if error.kind is Kind.OFFLINE:
            text = (
                f"no weather for this place: --offline asks no source ({kept}); leave it out once, "
                "or give a file with --weather"
            )
        if needed:
            if error.kind in (Kind.CONNECTION, Kind.TIMEOUT):
                text += (
                    "; without a network give your own file with --weather, or try --sample; "
                    "behind a proxy set HTTPS_PROXY"
                )
            raise SourceUnreachableError(text) from None
        return Found(flags=(remark("archive-unreachable", say("flag.given", problem=Noted(text))),))


def _allowed(switch: str) -> bool:
    """Whether the environment does not forbid a source to be asked."""
    return os.environ.get(switch, "").lower() not in ("off", "0", "no", "false")


def _soil(site: Site, request: Request, fetcher: Fetcher) -> Found:
    """Soil measured at stations around, where the site lets it be asked for."""
    if not (site.weather.soil_networks and _allowed(SOIL_SWITCH)):
        return Found()
    return around(request, fetcher)


def _coarse(site: Site, given: Sequence[Record], request: Request, fetcher: Fetcher) -> Found:
    """Days of a coarse grid for what no station gives; nobody waits for it for long.

    Where files tell the past, as far back as they reach.
    """
    if not (site.weather.coarse_grid and _allowed(GRID_SWITCH)):
        return Found()
    begins = [record.times[0].astype("datetime64[D]").astype(object) for record in given]
    first = min(begins, default=request.first)
    if first >= request.today:
        return Found()
    try:
        return CoarseGridSource().fetch(replace(request, first=first), fetcher)
    except FetchError as error:
        if error.kind is Kind.OFFLINE:
            return Found()
        text = say("flag.no_coarse_grid", problem=Noted(str(error)))
        return Found(flags=(remark("grid-unreachable", text),))


def services(site: Site) -> list[Source]:
    """The forecast services that may be asked for a site, in order.

    Raises
    ------
    InputError
        The site names one that is not known.
    """
    named = [name for name in chosen(site.weather.forecast) if name != "archive"]
    return [source for source in map(source_named, named) if source.covers(site.place)]


def _forecast(site: Site, request: Request, fetcher: Fetcher, without: Collection[str]) -> Found:
    """The forecast of the first service that has one; away or absent is a remark, not an error."""
    asked = [source for source in services(site) if source.name not in without]
    if not asked:
        return Found()
    if request.today != local_today(site.zone):
        text = say("flag.not_that_day", day=request.today)
        return Found(flags=(remark("no-forecast", text),))
    missed: list[Flag] = []
    passed_over: list[Phrase] = []
    for number, source in enumerate(asked, 1):
        in_time = fetcher if number == len(asked) else _with_a_share_of_time(fetcher)
        try:
            found = source.fetch(replace(request, past=False), in_time)
        except FetchError as error:
            problem = Name(str(error))
            missed.append(remark("forecast-unreachable", say("flag.no_forecast", problem=problem)))
            passed_over.append(say("flag.not_from", service=_named(source), problem=problem))
            continue
        if found.records:
            records = tuple(replace(r, flags=()) for r in found.records)
            return Found(records, (*found.flags, *_credit(records[0], passed_over)))
        missed += found.flags
        passed_over += [
            say("flag.not_from", service=_named(source), problem=flag.text) for flag in found.flags
        ]
    return Found(flags=tuple(missed))


def _named(source: Source) -> Name | Phrase:
    return say(f"service.{source.name}") if source.name in _SERVICES else Name(source.name)


def _with_a_share_of_time(fetcher: Fetcher) -> Fetcher:
    """The fetcher with so little time for an address that another service can be asked after it."""
    left = fetcher.client.stop - time.monotonic()
    share = load("sources").number("forecast.share")
    return replace(fetcher, stop=time.monotonic() + share * left)


def _credit(record: Record, passed_over: Sequence[Phrase]) -> list[Flag]:
    """Whose forecast it is where its licence asks for that, and why another did not serve."""
    licence = record.provenance[0].licence if record.provenance else ""
    if not passed_over and "CC BY" not in licence:
        return []
    by = Name(licence.partition(" (")[0] or record.provenance[0].source)
    text = say("flag.forecast_by", credit=by, why=joined(*passed_over, join="none"))
    return [remark("forecast-service", text)]


def _measured(record: Record) -> bool:
    """Whether anything in it is better than forecast grade."""
    return any(bool((grade < Grade.FORECAST).any()) for grade in record.grades.values())

"""All the weather of one answer: files, own loggers, archive and forecast on one axis.

`assemble` is the pure part: checks, the seam between what was and what is forecast, gaps.
`load_weather` finds the parts for a site.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from os import PathLike
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np

from windowcast.core.errors import InputError
from windowcast.core.local_days import day_starts, local_dates, local_today
from windowcast.core.phrase import Name, say
from windowcast.core.record import Flag, Grade, Place, Record, Weather
from windowcast.core.site import Site
from windowcast.core.source_flags import remark
from windowcast.core.time_axis import extended, span_flag, step_before
from windowcast.core.values import PACKAGED, Tables
from windowcast.sources.files import read_weather
from windowcast.weather.gaps import filled
from windowcast.weather.grid_filled import of_grid, with_coarse_grid
from windowcast.weather.join import as_forecast, hourly_to_daily, overlaid, seam_flags
from windowcast.weather.quality import checked

if TYPE_CHECKING:
    from windowcast.sources.fetch import Fetcher
    from windowcast.sources.source import Progress

RECENT_HOURS_DAYS = 10  # days before today for which hours are kept
FIRST_YEAR, LAST_YEAR = 1700, 2200  # thermometers are hardly older; days around stay countable
SEAM_DAYS = 60  # days of the archive fetched before a file's end, to compare the two


def load_weather(
    site: Site,
    *,
    files: Sequence[str | PathLike[str] | Record] = (),
    today: dt.date | None = None,
    offline: bool = False,
    hours_days: int = RECENT_HOURS_DAYS,
    progress: Progress | None = None,
    fetcher: Fetcher | None = None,
    deadline_s: float | None = None,
    tables: Tables = PACKAGED,
) -> Weather:
    """The weather of a site.

    Files go before the archive: where they reach to yesterday, nothing of the past is fetched.
    A forecast is fetched for the day that it is, and only then.

    Parameters
    ----------
    site
        The site; its ``weather.files`` are read when no `files` are given.
    files
        Weather files in order of preference, each ``FILE[:units=us,...]``, or records at the site.
    today
        Date of the answer; by default the date on the site's clock.
    offline
        Use only files and what is cached.
    hours_days
        Days before today for which hours are kept; hindsight wants more of them.
    progress
        Told how a long fetch gets on.
    fetcher
        Cache and client; by default the user's cache.
    deadline_s
        Seconds in which all sources must have answered; by default `fetch.deadline_s`. What has
        not come by then is named, and what is kept serves.
    tables
        The science values to go by: ``quality`` and ``sources``.

    Raises
    ------
    InputError
        A file cannot be read, or there is no temperature in any of them.
    SourceUnreachableError
        There is no file, and no source could be reached.
    """
    from windowcast.sources.cache import Cache
    from windowcast.sources.fetch import Fetcher
    from windowcast.weather.gather import gather, services
    from windowcast.weather.soil_nearby import judged_nearby

    clock = local_today(site.zone)
    today = today or clock
    if not FIRST_YEAR <= today.year <= LAST_YEAR:
        raise InputError(
            f"{today} is no date of weather",
            field="date",
            remedy=f"give one from {FIRST_YEAR} to {LAST_YEAR}",
        )
    given = [
        file if isinstance(file, Record) else read_weather(file, place=site.place)
        for file in files or site.weather.files
    ]
    ends = [last_measured(record, site.zone, before=today) for record in given]
    known_to = max((end for end in ends if end is not None), default=None)
    yesterday = today - dt.timedelta(days=1)
    first = None if known_to is None else known_to - dt.timedelta(days=SEAM_DAYS)
    live = today == clock
    fetcher = fetcher or Fetcher.within(Cache(), deadline_s, offline=offline)
    ask = partial(
        gather,
        site,
        today=today,
        first=first,
        past=known_to is None or (live and known_to < yesterday),
        ahead=live or known_to is None,
        given=given,
        fetcher=fetcher,
        progress=progress,
        tables=tables,
    )
    join = partial(
        assemble,
        place=site.place,
        today=today,
        hours_days=hours_days,
        judged=live,
        tables=tables,
    )
    found = ask()
    weather = join(found.records)
    doubts = [flag for flag in weather.daily.flags if flag.check == "distrusted"]
    if doubts:
        names = {source.name for source in services(site)}
        doubted = {name for name in names if _is_about(doubts, name)}
        doubts = [flag for flag in doubts if any(_is_about([flag], name) for name in doubted)]
        if former := [name for name in doubted if fetcher.distrust(name)]:
            doubts.append(remark("stale-forecast", say("flag.forecast_before")))
        if former or (doubted and names - doubted):
            # the forecast before, for which nothing is asked, or that of another service
            found = ask(without=doubted.difference(former))
            weather = join(found.records)
    if live:
        from windowcast.sources.foretold import Foretold  # brings SQLite
        from windowcast.weather.foretold_days import on_record

        weather = on_record(weather, found.records, Foretold(fetcher.cache.path), tables)
    nearby, told = judged_nearby(found.nearby, site.place, today, tables)
    flags = dict.fromkeys((*doubts, *weather.daily.flags, *found.flags, *told))
    daily = replace(weather.daily, flags=tuple(flags))
    return replace(weather, daily=daily, nearby=nearby)


def _is_about(doubts: Sequence[Flag], service: str) -> bool:
    return any(flag.text.value("source") == Name(service) for flag in doubts)


def last_measured(record: Record, zone: ZoneInfo, *, before: dt.date) -> dt.date | None:
    """The last local date before a date with a measured temperature; None when there is none."""
    name = "tmax_c" if record.daily else "temp_c"
    known = np.isfinite(record.get(name)) & (record.grade(name) <= Grade.ESTIMATED)
    dates = record.times[known] if record.daily else local_dates(zone, record.times[known])
    past = dates[dates < np.datetime64(before)]
    return past[-1].item() if len(past) else None


def assemble(
    records: Sequence[Record],
    place: Place,
    today: dt.date,
    *,
    hours_days: int = RECENT_HOURS_DAYS,
    judged: bool = False,
    tables: Tables = PACKAGED,
) -> Weather:
    """One weather from checked parts.

    Parameters
    ----------
    records
        Daily and hourly records in order of preference; where two have a value, the first
        counts. A measured day always counts before one made of hours.
    place
        The site.
    today
        Values of this day and later count as forecast; beyond a forecast's reach they are cut.
    hours_days
        Days before today for which hours are kept.
    judged
        Whether what lies ahead is left out where it cannot be true (`windowcast.weather.trust`).
    tables
        The science values to go by: ``quality``, ``trust``, and for days of a coarse grid
        ``soil``, ``sources`` and ``usual_rain``.

    Raises
    ------
    InputError
        All records begin after today, or none has air temperature.
    """
    date = np.datetime64(today, "D")
    end = date + np.timedelta64(int(tables["quality"].number("forecast_reach")), "D")
    start, stop = day_starts(ZoneInfo(place.timezone), np.array([date, end]))
    grids = [record for record in records if of_grid(record)]
    records = [record for record in records if not of_grid(record)]
    sound = [checked(record, tables=tables) for record in records]
    doubts: list[Flag] = []
    if judged:
        from windowcast.weather.trust import trusted

        sound, doubts = trusted(sound, place, today, tables, as_given=records)
    parts = [_until(record, end if record.daily else stop) for record in sound]
    parts = [part for part in parts if len(part.times)]
    if sound and not parts:
        begins = min(str(record.times[0])[:10] for record in records)
        raise InputError(
            f"the weather begins on {begins}, after {today}",
            field="date",
            remedy="ask for a later date, or give a record that reaches further back",
        )
    hourly = [part for part in parts if not part.daily]
    daily = [part for part in parts if part.daily]
    joined_hours = None
    if hourly:
        joined_hours = filled(as_forecast(overlaid(hourly, place), start), tables)
        made = hourly_to_daily(joined_hours, tables)
        daily = [*daily, replace(made, provenance=(), flags=())]
    if not any({"tmax_c", "tmin_c"} <= {n for n in part.values if n in part} for part in daily):
        raise InputError(
            "the weather holds no daily highest and lowest temperature",
            remedy="give a file with tmax and tmin, or hourly temperature",
        )
    flags = seam_flags(daily, date, tables)
    joined = as_forecast(overlaid(daily, place), date)
    if joined_hours is not None:
        joined = replace(joined, provenance=(*joined.provenance, *joined_hours.provenance))
    joined = extended(joined, joined.times[0], max(joined.times[-1], date - np.timedelta64(1, "D")))
    joined = filled(with_coarse_grid(joined, grids, date, tables), tables)
    flags = (
        *doubts,
        *joined.flags,
        *flags,
        *_age_flags(joined, date),
        *_hindsight_flags(joined, place),
    )
    return Weather(replace(joined, flags=flags), _recent(joined_hours, start, hours_days), today)


def _until(record: Record, end: np.datetime64) -> Record:
    """The part before an end: a date, or an hour UTC."""
    return record.between(record.times[0], step_before(end.astype(record.times.dtype)))


def _recent(hourly: Record | None, start: np.datetime64, days: int) -> Record | None:
    """The hours of the last days and those ahead; None when there are none."""
    if hourly is None:
        return None
    first = start - np.timedelta64(24 * days, "h")
    recent = hourly.between(max(first, hourly.times[0]), hourly.times[-1])
    return recent if len(recent.times) else None


def _age_flags(daily: Record, today: np.datetime64) -> list[Flag]:
    """Say when the measured record ends before yesterday."""
    known = np.isfinite(daily.get("tmax_c")) & (daily.grade("tmax_c") == Grade.OBSERVED)
    past = daily.times[known & (daily.times < today)]
    late = int((today - past[-1]).astype(np.int64)) - 1 if len(past) else -1
    if late == 0:
        return []
    if late < 0:
        text = say("flag.nothing_measured")
        return [Flag("stale", "tmax_c", "", str(today), 0, "kept", text)]
    text = say("flag.record_ends", day=past[-1].astype(object), days=late)
    return [Flag("stale", "tmax_c", str(past[-1]), str(today), late, "kept", text)]


def _hindsight_flags(daily: Record, place: Place) -> list[Flag]:
    """Say when the days from today on have long happened: then the forecast is hindsight."""
    clock = np.datetime64(local_today(ZoneInfo(place.timezone)))
    known = np.isfinite(daily.get("tmax_c")) & (daily.grade("tmax_c") == Grade.FORECAST)
    ahead = daily.times[known & (daily.times < clock)]
    if not len(ahead):
        return []
    text = say("flag.hindsight")
    return [span_flag("hindsight", "tmax_c", ahead, "kept", text)]

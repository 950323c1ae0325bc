"""Forecasts and measurements as single values: held against each other, and kept on record.

Both sides go through the same definitions. The lowest of a calendar date and the low of a night
are two things: on falling temperatures the lowest of the date stands in its last hour, which is
another night. So a calendar minimum is held against a calendar minimum, and a night's low against
the lowest of the measured hours of that very night.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

from windowcast.core.crps import TO_10_90
from windowcast.core.errors import InputError
from windowcast.core.local_days import day_starts, midnights_s
from windowcast.core.phrase import Name, say
from windowcast.core.record import FloatArray, Grade, Misses, Provenance, Record, Weather
from windowcast.core.source_flags import remark
from windowcast.core.values import PACKAGED, Table, Tables
from windowcast.sources.foretold import DAY_S, NIGHT_LOW, Came, Foretold, Issue, Said, SaidOnce
from windowcast.weather.join import hourly_to_daily

NIGHT_H = (-6, 10)  # a night from 18:00 of the evening to 10:00 of the date it ends on
NIGHT_SHARE = 0.9  # of its hours that must be known
DAYS = ("tmax_c", "tmin_c", "precip_mm", "wind_mean_m_s", "soil_5cm_c")
OWN_SPREAD = {"tmax_c": "tmax_sd_k", "tmin_c": "tmin_sd_k"}


def said_by(record: Record, tables: Tables = PACKAGED) -> list[Said]:
    """What a forecast says of whole days and nights at its place, by time.

    Parameters
    ----------
    record
        One source's forecast, daily or hourly.
    """
    zone = ZoneInfo(record.place.timezone)
    days = record if record.daily else hourly_to_daily(record, tables)
    bounds = midnights_s(zone, days.times)
    chance = _chance_of_rain(record, bounds)
    said = []
    for name in DAYS:
        spread = days.get(OWN_SPREAD.get(name, ""))
        likely = chance if name == "precip_mm" else np.full(len(days.times), np.nan)
        for at, value in enumerate(days.get(name)):
            if np.isfinite(value) or np.isfinite(likely[at]):
                low, high = (value + k * TO_10_90 * spread[at] for k in (-1, 1))
                told = map(_known, (value, low, high, likely[at]))
                said.append(Said(name, int(bounds[at]), int(bounds[at + 1]), *told))
    if not record.daily:
        said += [Said(c.element, c.start, c.stop, c.value) for c in night_lows(record)]
    return sorted(said, key=lambda s: (s.start, s.element))


def night_lows(hourly: Record, *, grade: Grade = Grade.MISSING) -> list[Came]:
    """The lowest of each whole night of hours no worse than `grade`."""
    zone, temp = ZoneInfo(hourly.place.timezone), hourly.get("temp_c")
    known = np.isfinite(temp) & (hourly.grade("temp_c") <= grade)
    first, last = (t.astype("datetime64[D]") for t in hourly.times[[0, -1]])
    starts = day_starts(zone, np.arange(first, last + np.timedelta64(2, "D")))
    found = []
    for midnight in starts:
        start, stop = (midnight + np.timedelta64(hour, "h") for hour in NIGHT_H)
        inside = (hourly.times >= start) & (hourly.times < stop) & known
        if inside.sum() >= NIGHT_SHARE * (NIGHT_H[1] - NIGHT_H[0]):
            low = float(temp[inside].min())
            begin, end = (3600 * int(t.astype(np.int64)) for t in (start, stop))
            found.append(Came(NIGHT_LOW, begin, end, low))
    return found


def measured(weather: Weather, first: dt.date) -> list[Came]:
    """What was measured of days from a date to yesterday, and of nights whose hours are kept."""
    zone, daily = ZoneInfo(weather.place.timezone), weather.daily
    bounds = midnights_s(zone, daily.times)
    days = (daily.times >= np.datetime64(first)) & (daily.times < np.datetime64(weather.today))
    came = []
    for name in DAYS:
        seen = days & (daily.grade(name) == Grade.OBSERVED) & np.isfinite(daily.get(name))
        came += [
            Came(name, int(bounds[at]), int(bounds[at + 1]), float(daily.get(name)[at]))
            for at in np.flatnonzero(seen)
        ]
    if weather.hourly is not None:
        came += night_lows(weather.hourly, grade=Grade.OBSERVED)
    return came


@dataclass(frozen=True, slots=True)
class Case:
    """A value foretold, and what came; units of the element.

    Attributes
    ----------
    lead
        Whole local dates from the issue (of an answer: from the answer) to the start.
    start
        When what it speaks of begins [POSIX s].
    low, high, chance
        As `Said`.
    """

    element: str
    source: str
    lead: int
    start: int
    said: float | None
    low: float | None
    high: float | None
    chance: float | None
    came: float


def cases_of(said: Sequence[SaidOnce], came: Sequence[Came], zone: ZoneInfo) -> list[Case]:
    """Forecasts that have come due, with what came, by time.

    Of several for one element, time, lead and source the last counts, so that asking often makes
    no more cases.

    Parameters
    ----------
    said
        By issue, as `Foretold.said` gives them.
    """
    truth = {(c.element, c.start, c.stop): c.value for c in came}
    found: dict[tuple[str, str, int, int], Case] = {}
    for one in said:
        tells = one.said
        seen = truth.get((tells.element, tells.start, tells.stop))
        if seen is None:
            continue
        told_at = one.made if one.ground else one.issued
        lead = lead_days(tells.start, told_at, zone)
        found[tells.element, one.source, tells.start, lead] = Case(
            tells.element, one.source, lead, tells.start,
            tells.value, tells.low, tells.high, tells.chance, seen,
        )  # fmt: skip
    return sorted(found.values(), key=lambda c: (c.start, c.element, c.lead))


def lead_days(start: int, issued: int, zone: ZoneInfo) -> int:
    """Whole local dates from an issue to the date on which something begins."""
    date, then = (dt.datetime.fromtimestamp(t, zone).date() for t in (start, issued))
    return (date - then).days


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _chance_of_rain(record: Record, bounds: npt.NDArray[np.int64]) -> FloatArray:
    """The largest chance of rain said of any hour of each day; NaN where none is."""
    chance = np.full(len(bounds) - 1, np.nan)
    if record.daily or "precip_prob" not in record:
        return chance
    hours, value = 3600 * record.times.astype(np.int64), record.get("precip_prob")
    for at in range(len(chance)):
        inside = value[(hours >= bounds[at]) & (hours < bounds[at + 1])]
        if np.isfinite(inside).any():
            chance[at] = np.nanmax(inside)
    return chance


def misses_of(
    cases: Sequence[Case], source: str, today: dt.date, zone: ZoneInfo, values: Table
) -> Misses | None:
    """A source's misses of highs and lows over the days that count, by date and lead.

    None where there is none.
    """
    days, leads = int(values.number("own.window")), int(values.number("own.leads"))
    dates = np.datetime64(today) - np.arange(days, 0, -1).astype("timedelta64[D]")
    row = {int(start): at for at, start in enumerate(midnights_s(zone, dates)[:-1])}
    errors = {name: np.full((days, leads), np.nan) for name in ("tmax_c", "tmin_c")}
    for case in cases:
        at = row.get(case.start)
        fits = case.source == source and case.element in errors and 0 <= case.lead < leads
        if at is not None and fits and case.said is not None:
            errors[case.element][at, case.lead] = case.came - case.said
    if not any(np.isfinite(part).any() for part in errors.values()):
        return None
    return Misses(source, dates, errors)


def on_record(
    weather: Weather, records: Sequence[Record], store: Foretold, tables: Tables = PACKAGED
) -> Weather:
    """Keep the forecasts in hand and the nights measured; the weather with its forecast's misses.

    Where the record cannot be kept or read a remark says so, and the general error holds. What
    cannot be true (`windowcast.weather.trust`) is no forecast of its source.

    Parameters
    ----------
    records
        As fetched; those with a time of issue are forecasts, the first of them the one in use.
    """
    place, flags = weather.place, weather.daily.flags
    if any(flag.check == "distrusted" for flag in flags):
        return weather
    issued = [(r, p) for r in records for p in r.provenance[:1] if p.issued is not None]
    try:
        for record, origin in issued:
            store.keep(place, _issue(origin, store.clock()), said_by(record, tables))
        if weather.hourly is not None:
            store.keep_came(place, night_lows(weather.hourly, grade=Grade.OBSERVED))
        known = _misses(weather, issued[0][1].source, store, tables) if issued else None
    except InputError as error:
        text = say("flag.not_on_record", problem=Name(error.problem))
        told = (*flags, remark("not-on-record", text))
        return replace(weather, daily=replace(weather.daily, flags=told))
    return replace(weather, misses=known)


def _misses(weather: Weather, source: str, store: Foretold, tables: Tables) -> Misses | None:
    """What stands on record of a source here, against what was measured."""
    values, zone = tables["ensemble"], ZoneInfo(weather.place.timezone)
    days = int(values.number("own.window"))
    since = store.clock() - (days + 1) * DAY_S
    said = [
        one for element in ("tmax_c", "tmin_c")
        for one in store.said(weather.place, since, element=element, source=source)
    ]  # fmt: skip
    came = measured(weather, weather.today - dt.timedelta(days))
    return misses_of(cases_of(said, came, zone), source, weather.today, zone, values)


def _issue(origin: Provenance, now: float) -> Issue:
    issued = now if origin.issued is None else origin.issued.timestamp()
    made = now if origin.fetched is None else origin.fetched.timestamp()
    return Issue("", origin.source, int(issued), int(max(made, issued)), origin.digest)

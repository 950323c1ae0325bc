"""From forecasts and measurements to single values that can be held against each other.

Both sides go through the same definitions. The lowest of a calendar date and the low of a night
are two things: on falling temperatures the lowest of the date stands in its last hour, which is
another night. So a calendar minimum is held against a calendar minimum, and a night's low against
the lowest of the measured hours of that very night.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

from windowcast.core.crps import TO_10_90
from windowcast.core.local_days import day_starts, midnights_s
from windowcast.core.record import (
    FloatArray,
    Grade,
    Record,
    Weather,
)
from windowcast.core.values import PACKAGED, Tables
from windowcast.sources.foretold import NIGHT_LOW, Came, Said, SaidOnce
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

"""Whether what a source says of the days ahead can be true.

A unit mistaken for another leaves a forecast that reads well and permits much. The first days ahead
are held against the last measurements, the usual weather of the date and the other forecasts. What
cannot be true is left out as if it had never come, and the answer says so in its first lines.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from zoneinfo import ZoneInfo

import numpy as np

from windowcast.core.local_days import day_starts
from windowcast.core.phrase import Name, Phrase, Quantity, say
from windowcast.core.record import Flag, FloatArray, Grade, Place, Record
from windowcast.core.source_flags import remark
from windowcast.core.time_axis import extended
from windowcast.core.values import PACKAGED, Table, Tables
from windowcast.weather.ensemble_years import normal_course
from windowcast.weather.join import hourly_to_daily, overlaid

_WIND = ("wind_m_s", "gust_m_s")
_DAY = np.timedelta64(1, "D")
_HOUR = np.timedelta64(1, "h")


@dataclass(frozen=True, slots=True)
class Measured:
    """What the days ahead are held against; NaN where nothing is known.

    Attributes
    ----------
    recent_c
        Mean of the last days, each the middle of its high and low.
    normal_c
        The usual middle of the first days ahead.
    wind_m_s
        Mean wind of the last days.
    """

    recent_c: float
    normal_c: float
    wind_m_s: float


def trusted(
    parts: Sequence[Record],
    place: Place,
    today: dt.date,
    tables: Tables = PACKAGED,
    *,
    as_given: Sequence[Record] = (),
) -> tuple[list[Record], list[Flag]]:
    """The records without what cannot be true of the days ahead, and what was left out and why.

    Parameters
    ----------
    parts
        Checked daily and hourly records; what they hold from `today` on is taken for a forecast.
    as_given
        The same records before the checks, which take single impossible values out of a layer that
        is wrong as a whole; by default `parts`.
    tables
        The science values to go by: ``trust`` and ``quality``.
    """
    table, date = tables["trust"], np.datetime64(today, "D")
    start = day_starts(ZoneInfo(place.timezone), np.array([date]))[0]
    edges = [date if part.daily else start.astype(part.times.dtype) for part in parts]
    known = _measured(parts, edges, date, tables)
    ahead = {
        number: part.between(edge, part.times[-1])
        for number, (part, edge) in enumerate(zip(as_given or parts, edges, strict=True))
        if part.times[-1] >= edge
    }
    wrong: dict[int, list[tuple[Phrase, tuple[str, ...]]]] = {number: [] for number in ahead}
    middles = {n: _middle_c(part, date, tables) for n, part in ahead.items()}
    for number, part in ahead.items():
        off = float(beyond_k(middles[number], known.recent_c, known.normal_c, table))
        if off:
            wrong[number].append((_temperature(middles[number], known, off), tuple(part.values)))
        elif why := _wind(part, known.wind_m_s, table):
            wrong[number].append((why, _WIND))
    sound = {n: middle for n, middle in middles.items() if not wrong[n] and np.isfinite(middle)}
    for one, other in combinations(sound, 2):
        apart = abs(sound[one] - sound[other])
        if apart > table.number("temperature.apart"):
            why = say("flag.apart", apart=Quantity(apart, "K"))
            for number in _farther(one, other, sound, known):
                wrong[number].append((why, tuple(ahead[number].values)))
    kept, flags = list(parts), []
    for number, reasons in wrong.items():
        for why, names in reasons:
            kept[number] = _without(kept[number], names, edges[number])
            flags.append(_flag(parts[number], names, why, ahead[number]))
    return [part for part in kept if len(part.times)], flags


def beyond_k(ahead_c: FloatArray | float, recent_c: FloatArray | float,
             normal_c: FloatArray | float, table: Table) -> FloatArray:  # fmt: skip
    """How far the first days ahead lie from the past where that is more than weather does [K].

    Parameters
    ----------
    ahead_c, recent_c, normal_c
        Mean of the first days ahead, of the last measured days, and the usual one; NaN where
        unknown, any shapes that broadcast. Where both are known, the nearer of the two counts, and
        only where the forecast lies on the same side of both.
    table
        ``trust``.

    Returns
    -------
    array
        The departure, signed; 0 where it is within the limits or nothing is known.
    """
    recent, normal = np.subtract(ahead_c, recent_c), np.subtract(ahead_c, normal_c)
    both = np.isfinite(recent) & np.isfinite(normal)
    nearer = np.where(np.abs(recent) < np.abs(normal), recent, normal)
    same_side = np.where(recent * normal > 0, nearer, 0.0)
    off = np.where(both, same_side, np.where(np.isfinite(recent), recent, normal))
    choose = np.where(both, 0, np.where(np.isfinite(recent), 1, 2))
    ways = ("both", "recent", "usual")
    warmer, colder = (
        np.array([table.number(f"temperature.{side}_than_{way}") for way in ways])[choose]
        for side in ("warmer", "colder")
    )
    return np.where((off > warmer) | (off < -colder), off, 0.0)


def wind_beyond(ahead_m_s: FloatArray | float, recent_m_s: FloatArray | float,
                table: Table) -> FloatArray:  # fmt: skip
    """The forecast's mean wind over the measured one where weather does no such thing, else 0."""
    with np.errstate(divide="ignore", invalid="ignore"):
        factor = np.divide(ahead_m_s, recent_m_s)
    low, high = table.number("wind.least"), table.number("wind.most")
    return np.where(np.isfinite(factor) & ((factor < low) | (factor > high)), factor, 0.0)


def _measured(
    parts: Sequence[Record], edges: Sequence[np.datetime64], date: np.datetime64, tables: Tables
) -> Measured:
    table = tables["trust"]
    reach = int(table.number("temperature.recent_reach"))
    wind_days = int(table.number("wind.recent_days"))
    past = [_before(part, edge) for part, edge in zip(parts, edges, strict=True)]
    hours = [p.between(p.times[-1] - 24 * reach * _HOUR, p.times[-1])
             for p in past if not p.daily and len(p.times)]  # fmt: skip
    daily = [p for p in past if p.daily and len(p.times)]
    days = [*daily, *(hourly_to_daily(_observed(hour), tables) for hour in hours)]
    if not days:
        return Measured(np.nan, np.nan, np.nan)
    joined = overlaid([_observed(day) for day in days])
    middle = (joined.get("tmax_c") + joined.get("tmin_c")) / 2
    late = (joined.times >= date - reach * _DAY) & np.isfinite(middle)
    last = middle[late][-int(table.number("temperature.days")) :]
    old = joined.between(joined.times[0], date - int(table.number("temperature.usual_gap")) * _DAY)
    first = date + np.arange(1, 1 + int(table.number("temperature.days")))
    usual = [normal_course(old, name, first).mean() for name in ("tmax_c", "tmin_c")]
    wind = joined.get("wind_mean_m_s")[joined.times >= date - wind_days * _DAY]
    enough = np.isfinite(wind).sum() >= wind_days / 2
    return Measured(
        float(last.mean()) if len(last) >= 2 else np.nan,
        float(np.mean(usual)),
        float(np.nanmean(wind)) if enough else np.nan,
    )


def _before(part: Record, edge: np.datetime64) -> Record:
    step = _DAY if part.daily else _HOUR
    return part.between(part.times[0], edge - step)


def _observed(record: Record) -> Record:
    """The record without values of forecast grade: they measure nothing."""
    foretold = {name: grade == Grade.FORECAST for name, grade in record.grades.items()}
    return replace(
        record,
        values={n: np.where(foretold[n], np.nan, value) for n, value in record.values.items()},
        grades={n: np.where(foretold[n], np.uint8(Grade.MISSING), grade)
                for n, grade in record.grades.items()},
    )  # fmt: skip


def _middle_c(ahead: Record, date: np.datetime64, tables: Tables) -> float:
    """Mean of the first whole days ahead, each the middle of its high and low; NaN below two."""
    count = int(tables["trust"].number("temperature.days"))
    days = ahead if ahead.daily else hourly_to_daily(ahead, tables)
    days = extended(days, date, date + count * _DAY)
    middle = (days.get("tmax_c") + days.get("tmin_c")) / 2
    known = middle[np.isfinite(middle)][-count:]
    return float(known.mean()) if len(known) >= 2 else np.nan


def _temperature(middle_c: float, known: Measured, off: float) -> Phrase:
    """Why its temperatures cannot be true, with the unit that would explain it."""
    near = known.recent_c if np.isfinite(known.recent_c) else known.normal_c
    as_celsius, as_fahrenheit = (middle_c - 32) / 1.8, middle_c * 1.8 + 32
    if abs(as_celsius - near) < abs(off) / 2:
        return say("flag.fahrenheit", off=Quantity(off, "K"))
    if abs(as_fahrenheit - near) < abs(off) / 2:
        return say("flag.celsius", off=Quantity(off, "K"))
    return say("flag.far_off", off=Quantity(off, "K"))


def _wind(ahead: Record, recent_m_s: float, table: Table) -> Phrase | None:
    """Why its wind cannot be true; None where it can."""
    if ahead.daily:
        return None
    hours = int(table.number("wind.hours"))
    wind, gust = (ahead.get(name)[:hours] for name in _WIND)
    if np.isfinite(wind).sum() < hours / 2:
        return None
    factor = float(wind_beyond(float(np.nanmean(wind)), recent_m_s, table))
    if factor:
        return say("flag.wind_off", factor=round(factor, 1))
    blows = (gust >= table.number("gusts.from_gust")) & (wind > 0)
    if blows.sum() >= hours / 8:
        over = float(np.median(gust[blows] / wind[blows]))
        if over > table.number("gusts.most"):
            return say("flag.gusts_off", factor=round(over, 1))
    return None


def _farther(one: int, other: int, middle_c: dict[int, float], known: Measured) -> tuple[int, ...]:
    """Which of two forecasts lies farther from what was measured; both where nothing tells."""
    held = known.recent_c if np.isfinite(known.recent_c) else known.normal_c
    if not np.isfinite(held):
        return (one, other)
    return (max((one, other), key=lambda number: abs(middle_c[number] - held)),)


def _without(record: Record, names: Sequence[str], edge: np.datetime64) -> Record:
    """The record with these variables unknown from `edge` on."""
    if set(names) >= set(record.values):
        past = _observed(_before(record, edge))
        known = any(name in past for name in past.values)
        return past if known else replace(past, times=past.times[:0], values={}, grades={})
    ahead = record.times >= edge
    gone = [name for name in names if name in record.values]
    missing = np.uint8(Grade.MISSING)
    return record.with_variables(
        {name: np.where(ahead, np.nan, record.values[name]) for name in gone},
        {name: np.where(ahead, missing, record.grades[name]) for name in gone},
    )


def _flag(record: Record, names: Sequence[str], why: Phrase, ahead: Record) -> Flag:
    source = record.provenance[0].source if record.provenance else "archive"
    text = say("flag.distrusted", source=Name(source), why=why)
    variable = ""
    if tuple(names) == _WIND:
        text = say("flag.distrusted_wind", source=Name(source), why=why)
        variable = "wind_m_s"
    first, last = str(ahead.times[0]), str(ahead.times[-1])
    return remark("distrusted", text, variable=variable, first=first, last=last,
                  count=len(ahead.times))  # fmt: skip

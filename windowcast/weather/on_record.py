"""The forecast in hand goes on record, and what stands there of its source comes back with it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace
from zoneinfo import ZoneInfo

from windowcast.core.errors import InputError
from windowcast.core.phrase import Name, say
from windowcast.core.record import Grade, Misses, Provenance, Record, Weather
from windowcast.core.source_flags import remark
from windowcast.core.values import PACKAGED, Tables
from windowcast.sources.foretold import DAY_S, Foretold, Issue
from windowcast.weather.foretold_days import cases_of, measured, night_lows, said_by
from windowcast.weather.own_misses import misses_of


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

"""Where the numbers come from: provenance, notes on the weather, and every science value used."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from windowcast.core.phrase import (
    NOTHING,
    Name,
    Phrase,
    Quantity,
    Value,
    joined,
    names,
    say,
)
from windowcast.core.record import Flag, Grade, Members, Provenance, Record, Weather
from windowcast.core.season_calendar import season_start
from windowcast.core.source_flags import REMARKS
from windowcast.core.values import Table
from windowcast.core.values import Value as Science
from windowcast.materials.needs import ActiveNeeds
from windowcast.season.model import SiteState
from windowcast.weather.grid_filled import COARSE
from windowcast.weather.own_misses import own_days
from windowcast.windows.grade import sources_of
from windowcast.windows.hours import HourContext
from windowcast.windows.purposes import Purpose
from windowcast.windows.reasons import inputs, label

_NEEDED = ("temp_c", "wind_m_s", "dewpoint_c", "precip_mm")


def weather_notes(
    ctx: HourContext, members: Members, weather: Weather | None, days: int
) -> tuple[Phrase, ...]:
    """What the reader must know of the weather behind the answer, as clauses."""
    notes = []
    hours = slice(ctx.lead, None)
    missing = [
        name
        for name in _NEEDED
        if name not in ctx.hourly or np.isnan(ctx.hourly[name][0, hours]).all()
    ]
    if "dewpoint_c" in missing and "rh_pct" in ctx.hourly:
        missing.remove("dewpoint_c")
    if missing:
        lacking = joined(*(say(f"weather.needed.{name}") for name in missing), join="or")
        notes.append(say("weather.hours_lack", what=lacking, number=len(missing)))
    if members.forecast_days == 0:
        notes.append(say("weather.no_forecast"))
    elif members.forecast_days < days:
        notes.append(say("weather.forecast_reaches", days=members.forecast_days))
    grades = ctx.grade.get("temp_c")
    if grades is not None and members.forecast_days:
        reach = ctx.day[hours] < members.forecast_days
        if bool((grades[hours][reach] == Grade.ESTIMATED).any()):
            notes.append(say("weather.hours_built"))
    if weather is not None:
        notes += left_out(weather)
        if days_here := own_days(weather.misses, ctx.tables["ensemble"]):
            notes.append(say("weather.own_record", days=days_here))
        notes += [flag.text for flag in weather.daily.flags if _matters(flag, ctx)]
        stale = [
            p for record in (weather.daily, weather.hourly) if record for p in record.provenance
        ]
        notes += [
            say("weather.out_of_date", source=Name(p.source), detail=Name(p.detail))
            for p in stale
            if p.stale
        ]
    return tuple(notes)


def left_out(weather: Weather) -> list[Phrase]:
    """What the checks took out of the days and hours ahead: a layer that is gone is named."""
    today = str(weather.today)
    records = [record for record in (weather.daily, weather.hourly) if record is not None]
    flags = [flag for record in records for flag in record.flags]
    gone = [f.text for f in flags if f.action == "removed" and f.last[:10] >= today]
    return [say("weather.left_out", what=text) for text in dict.fromkeys(gone)]


def _matters(flag: Flag, ctx: HourContext) -> bool:
    """Whether a flag bears on this season: where it came from, its age, or a gap that matters.

    Rain that is unknown is told with its cost (`season.unknown_rain`); wind, sun and humidity of a
    coarse grid bear on the season that they stand in for.
    """
    if flag.check in ("stale", "hindsight") or flag.check in REMARKS:
        return True
    today = ctx.ahead.dates[0].astype("datetime64[D]").astype(object)
    start = season_start(today, southern=ctx.site.place.southern)
    if flag.check == COARSE:
        return flag.last[:10] >= str(start)
    drives = flag.variable in ("tmax_c", "tmin_c")
    refused = flag.action == "refused" or flag.check == "unlike-season"
    return refused and drives and flag.last[:10] >= str(start)


def provenance_lines(daily: Record, hourly: Record | None) -> tuple[Phrase, ...]:
    """One line for every source of weather."""
    sources = [*daily.provenance, *(hourly.provenance if hourly is not None else ())]
    return tuple(dict.fromkeys(_line(source) for source in sources))


def _line(source: Provenance) -> Phrase:
    parts: list[Value] = []
    if source.first or source.last:
        parts.append(say("source.reach", first=Name(source.first), last=Name(source.last)))
    if source.distance_km is not None:
        parts.append(say("source.away", distance=Quantity(source.distance_km, "km")))
    if source.elevation_m is not None:
        parts.append(say("source.height", height=Quantity(source.elevation_m, "m", "elevation")))
    if source.weight is not None:
        parts.append(say("source.weight", weight=source.weight))
    if source.fetched is not None:
        parts.append(say("source.fetched", at=Name(f"{source.fetched:%Y-%m-%d %H:%M}")))
    if source.licence:
        parts.append(Name(source.licence))
    named = say("source.named", source=Name(source.source), detail=Name(source.detail))
    return say("source.line", parts=joined(named, *parts, join="comma"))


def finding_lines(weather: Weather) -> tuple[Phrase, ...]:
    """One line for everything the checks and the gap filling found or did."""
    records = [weather.daily, *([weather.hourly] if weather.hourly is not None else [])]
    lines = []
    for flag in (flag for record in records for flag in record.flags):
        ends = list(dict.fromkeys(filter(None, (flag.first, flag.last))))
        span = say("trace.span", ends=names(*ends, join="to")) if ends else NOTHING
        lines.append(
            say(
                "trace.finding",
                check=Name(flag.check),
                action=Name(flag.action),
                text=flag.text,
                span=span,
            )
        )
    return tuple(dict.fromkeys(lines))


def explain_lines(
    purposes: Sequence[Purpose],
    mixture: ActiveNeeds | None,
    ahead: SiteState,
    criteria: Table,
) -> tuple[Phrase, ...]:
    """Value ← model ← inputs ← source, for everything the answer rests on."""
    lines = cited(criteria.table("rule").values_below())
    for purpose in purposes:
        needs = mixture or purpose.generic
        grades = purpose.grades(needs)
        for name in grades:
            lines.append(
                say("trace.criterion", label=label(name, criteria.table(name)), inputs=inputs(name))
            )
            lines += cited(sources_of(name, grades[name], needs, criteria))
    return tuple(dict.fromkeys([*lines, *cited(ahead.used)]))


def cited(values: Iterable[Science]) -> list[Phrase]:
    """Science values with their sources, in the units of their tables."""
    return [say("trace.value", cited=Name(value.cite())) for value in values]

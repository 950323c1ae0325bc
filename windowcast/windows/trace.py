"""Where the numbers come from: provenance, notes on the weather, and every science value used."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from windowcast.core.record import Flag, Grade, Members, Provenance, Record, Weather
from windowcast.core.season_calendar import season_start
from windowcast.core.source_flags import REMARKS
from windowcast.core.values import load
from windowcast.materials.needs import ActiveNeeds
from windowcast.season.model import SiteState
from windowcast.windows import words
from windowcast.windows.grade import sources_of, table_of
from windowcast.windows.hours import HourContext
from windowcast.windows.purposes import Purpose

_NEEDED = {
    "temp_c": "air temperature",
    "wind_m_s": "wind",
    "dewpoint_c": "humidity",
    "precip_mm": "rain",
}


def weather_notes(
    ctx: HourContext, members: Members, weather: Weather | None, days: int
) -> tuple[str, ...]:
    """What the reader must know of the weather behind the answer."""
    notes = []
    hours = slice(ctx.lead, None)
    missing = [
        word
        for name, word in _NEEDED.items()
        if name not in ctx.hourly or np.isnan(ctx.hourly[name][0, hours]).all()
    ]
    if "humidity" in missing and "rh_pct" in ctx.hourly:
        missing.remove("humidity")
    if missing:
        notes.append(
            f"The hours ahead lack {words.joined(missing)}: "
            "no window that asks for it is rated fit."
        )
    if members.forecast_days == 0:
        notes.append("There is no forecast: the days ahead are those of past years.")
    elif members.forecast_days < days:
        plural = "day" if members.forecast_days == 1 else "days"
        notes.append(
            f"The forecast reaches {members.forecast_days} {plural}; what lies beyond is drawn "
            "from past years."
        )
    grades = ctx.grade.get("temp_c")
    if grades is not None and members.forecast_days:
        reach = ctx.day[hours] < members.forecast_days
        if bool((grades[hours][reach] == Grade.ESTIMATED).any()):
            notes.append(
                "Some hours are built from daily highs and lows (Parton & Logan 1981), their rain "
                "spread evenly over the day."
            )
    if weather is not None:
        notes += [words.sentence(flag.text) for flag in weather.daily.flags if _matters(flag, ctx)]
        stale = [
            p for record in (weather.daily, weather.hourly) if record for p in record.provenance
        ]
        notes += [f"{p.source} {p.detail} is out of date." for p in stale if p.stale]
    return tuple(dict.fromkeys(notes))


def _matters(flag: Flag, ctx: HourContext) -> bool:
    """Whether a flag bears on this season: where it came from, its age, or a gap that matters."""
    if flag.check in ("stale", "hindsight") or flag.check in REMARKS:
        return True
    today = ctx.ahead.dates[0].astype("datetime64[D]").astype(object)
    start = season_start(today, southern=ctx.site.place.southern)
    drives = flag.variable in ("tmax_c", "tmin_c", "precip_mm")
    return flag.action == "refused" and drives and flag.last[:10] >= str(start)


def provenance_lines(daily: Record, hourly: Record | None) -> tuple[str, ...]:
    """One line for every source of weather."""
    sources = [*daily.provenance, *(hourly.provenance if hourly is not None else ())]
    return tuple(dict.fromkeys(_line(source) for source in sources))


def _line(source: Provenance) -> str:
    parts = [f"{source.source}: {source.detail}"]
    if source.first or source.last:
        parts.append(f"{source.first} to {source.last}")
    if source.distance_km is not None:
        parts.append(f"{source.distance_km:.0f} km away")
    if source.elevation_m is not None:
        parts.append(f"at {source.elevation_m:.0f} m")
    if source.weight is not None:
        parts.append(f"weight {source.weight:.2f}")
    if source.fetched is not None:
        parts.append(f"fetched {source.fetched:%Y-%m-%d %H:%M} UTC")
    if source.licence:
        parts.append(source.licence)
    return ", ".join(parts)


def finding_lines(weather: Weather) -> tuple[str, ...]:
    """One line for everything the checks and the gap filling found or did."""
    records = [weather.daily, *([weather.hourly] if weather.hourly is not None else [])]
    lines = []
    for flag in (flag for record in records for flag in record.flags):
        span = " to ".join(dict.fromkeys(filter(None, (flag.first, flag.last))))
        lines.append(
            f"weather.{flag.check} [{flag.action}]: {flag.text}{f' ({span})' * bool(span)}"
        )
    return tuple(dict.fromkeys(lines))


def explain_lines(
    purposes: Sequence[Purpose], mixture: ActiveNeeds | None, ahead: SiteState
) -> tuple[str, ...]:
    """Value ← model ← inputs ← source, for everything the answer rests on."""
    lines = [value.cite() for value in load("criteria").table("rule").values_below()]
    for purpose in purposes:
        needs = mixture or purpose.generic
        grades = purpose.grades(needs)
        for name in grades:
            table = table_of(name)
            lines.append(f"{table['label']} ← {table['inputs']}")
            lines += [value.cite() for value in sources_of(name, grades[name], needs)]
    lines += [value.cite() for value in ahead.used]
    return tuple(dict.fromkeys(lines))

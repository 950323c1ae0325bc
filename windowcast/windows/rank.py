"""Ranking: from the weather ahead and the state of the site to windows, best first."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from windowcast.core.phrase import Phrase, merged, names, say
from windowcast.core.record import Weather
from windowcast.core.season_calendar import season_name
from windowcast.core.values import Tables
from windowcast.core.version import __version__
from windowcast.limits.model import Limit
from windowcast.materials.needs import ActiveNeeds
from windowcast.materials.resistance import (
    NO_RESISTANCE,
    Resistances,
    ResistanceStatus,
    status_text,
)
from windowcast.materials.rotation import Use, plan_flags
from windowcast.materials.spectrum import reach
from windowcast.season.sightings import CanopyLook
from windowcast.windows import trace
from windowcast.windows.choices import Candidate, weed_names
from windowcast.windows.covers import aimed_at
from windowcast.windows.day_windows import DayWindows
from windowcast.windows.hours import hour_context
from windowcast.windows.hours_ahead import hours_ahead
from windowcast.windows.judge import Judge
from windowcast.windows.model import CAUTIONS, PURPOSES, PurposeName, Ranking
from windowcast.windows.outlook import outlook
from windowcast.windows.purposes import Purpose, purpose_of
from windowcast.windows.residual import ResidualActive
from windowcast.windows.running_season import RunningSeason
from windowcast.windows.tanks import Tanks


def rank(
    running: RunningSeason,
    *,
    weather: Weather | None = None,
    purposes: Sequence[PurposeName] | None = None,
    days: int = 10,
    mixture: ActiveNeeds | None = None,
    stock: Sequence[ActiveNeeds] = (),
    barriers: Sequence[ResidualActive] = (),
    uses: Sequence[Use] = (),
    looks: Sequence[CanopyLook] = (),
    resistance: Resistances = NO_RESISTANCE,
    candidates: Sequence[Candidate] = (),
    further: Mapping[str, Limit] | None = None,
    now: dt.datetime | None = None,
    in_full: bool = True,
) -> Ranking:
    """Rank the coming windows of each purpose.

    Parameters
    ----------
    running
        The season that today lies in, with the site and the weather ahead of which member 0 is
        scored, and the others are counted for the odds.
    weather
        The record behind it, for the hours just before today and for the trace.
    purposes
        Which purposes; None for all.
    days
        Days from today that are ranked, as far as hours are known.
    mixture
        What the actives to be used need; None for what is usual for each purpose.
    stock
        Needs of the actives at hand, each judged by itself for the purposes in season.
    barriers
        Materials whose cover is told for a barrier; a usual one where there is none.
    uses
        Past applications: a group used for the purpose this season or last is marked in the stock.
    looks
        Dated looks into the canopy.
    resistance
        What the weeds resist on this ground: nothing that fails there is offered.
    candidates
        What may go into the tank: of the stock, or of all where none is stated. The best of them
        for each open window are named.
    further
        Limits of single actives, by name, beside those of the turf.
    now
        The present moment; hours before it are no windows any more.
    in_full
        False for many rankings of which only the decisions are read: without the hours, what is in
        stock, the cover of pre-emergents by day, and the trace.
    """
    site, past, members, tables = running.site, running.past, running.members, running.tables
    ctx = hour_context(site, running.ahead, members, weather=weather, now=now, tables=tables)
    days_ranked = DayWindows(Judge(ctx, past, tuple(looks), further=further or {}), members, days)
    tanks = Tanks(
        days_ranked,
        running,
        tuple(barriers),
        () if mixture is not None else tuple(candidates),
        tuple(uses),
        resistance,
        in_full,
    )
    asked = [purpose_of(name, tables) for name in purposes or PURPOSES]
    outlooks = [outlook(purpose, mixture, stock, tanks) for purpose in asked]
    in_season = [p for p, o in zip(asked, outlooks, strict=True) if o.in_season]
    with_windows = [p for p, o in zip(asked, outlooks, strict=True) if o.windows]
    return Ranking(
        site=site.name,
        today=running.today,
        timezone=site.timezone,
        units=site.units,
        purposes=tuple(outlooks),
        weather_notes=merged([*trace.weather_notes(ctx, members, weather, days), *past.notes]),
        provenance=trace.provenance_lines(
            weather.daily if weather else members.daily,
            weather.hourly if weather else members.hourly,
        ),
        cautions=(
            *CAUTIONS,
            *_varied(tables),
            *_repeats(in_season, mixture, tanks),
            *_untold(with_windows, mixture, tanks),
            *map(status_text, _concerning(in_season, resistance)),
        ),
        explain=(
            *trace.explain_lines(in_season, mixture, running.ahead, tables["criteria"]),
            *(trace.finding_lines(weather) if weather else ()),
        )
        if in_full
        else (),
        program_version=__version__,
        substitutes=past.substitutes,
        hours=hours_ahead(ctx, days_ranked.last_hour) if in_full else None,
    )


def _varied(tables: Tables) -> list[Phrase]:
    """That an answer goes by other science values than the packaged ones."""
    changed = sorted(f"{value.path} = {value.value}" for value in tables.changed())
    return [say("caution.varied", values=names(*changed))] if changed else []


def _repeats(
    in_season: Sequence[Purpose], mixture: ActiveNeeds | None, tanks: Tanks
) -> Iterator[Phrase]:
    """What the chosen actives would repeat of past seasons, for the purposes in season."""
    if mixture is None:
        return
    today, southern = tanks.running.today, tanks.running.site.place.southern
    season = season_name(np.datetime64(today, "D"), southern)
    for purpose in in_season:
        use = Use(today, season, purpose.name, mixture.names, mixture.groups)
        for flag in plan_flags([use], tanks.uses, tables=tanks.running.tables):
            yield say("caution.rotation", reason=flag.reason)


def _untold(
    purposes: Sequence[Purpose], mixture: ActiveNeeds | None, tanks: Tanks
) -> Iterator[Phrase]:
    """That no source says of open purposes' weeds that the chosen actives control them."""
    if mixture is None or not mixture.actives:
        return
    found: dict[str, None] = {}
    for purpose in purposes:
        reached = reach(mixture.actives, tanks.codes(purpose), pre=purpose.barrier)
        found |= dict.fromkeys(reached.unknown)
    if found:
        actives = names(*mixture.names, join="plus")
        yield say("caution.reach_unknown", actives=actives, weeds=weed_names(tuple(found)))


def _concerning(
    in_season: Sequence[Purpose], resistance: Resistances
) -> tuple[ResistanceStatus, ...]:
    """What is known against a mode of action on the weeds of a purpose in season."""
    aimed = {weed for purpose in in_season for weed in aimed_at(resistance, purpose)}
    return tuple(s for s in resistance.statuses if s.adverse and s.weed in aimed)

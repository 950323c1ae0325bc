"""What barriers catch by the day they are laid on, for the plan and the ranking alike."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import numpy as np

from windowcast.core.phrase import NOTHING, Phrase, Share, joined, say
from windowcast.core.record import Members, Weather
from windowcast.core.site import Site
from windowcast.core.values import Tables
from windowcast.materials.needs import ActiveNeeds
from windowcast.season.model import SiteState
from windowcast.windows.barrier import Loss, caught_by_day
from windowcast.windows.cover_plan import (
    ResidualActive,
    barrier_named,
    cover_plan,
    season_of,
    share,
    usual_material,
)
from windowcast.windows.days import DayContext
from windowcast.windows.model import CoverPlan
from windowcast.windows.purposes import Purpose
from windowcast.windows.season_axis import SEASON_DAYS, SeasonAxis
from windowcast.windows.timing import judged_days

CANDIDATE = 0.1  # share of the futures in which a day must be open to be looked at


def covers_of(
    purpose: Purpose,
    needs: ActiveNeeds,
    axis: SeasonAxis,
    *,
    site: Site,
    weather: Weather,
    members: Members,
    materials: Sequence[ResidualActive],
) -> tuple[CoverPlan, ...]:
    """Cover of each material, or of a usual barrier where there is none.

    Nothing for a purpose that is no barrier, or without weeds.
    """
    if not purpose.barrier:
        return ()
    weeds = axis.state.weeds_of(purpose.weeds)
    tables = axis.tables
    context = DayContext(site, axis.state, purpose.weeds, tables=tables)
    score = np.broadcast_to(judged_days(purpose, needs, context)[1], axis.state.soil_5cm_c.shape)
    is_open = (score >= purpose.rule.season).mean(axis=0) * (axis.number < SEASON_DAYS)
    season = season_of(
        axis,
        weeds,
        axis.daily(weather.daily, members.daily, "precip_mm"),
        first=int(tables["plan"].number("spring_from")) if purpose.weeds == "spring" else 0,
        candidates=is_open >= CANDIDATE,
    )
    if season is None:
        return ()
    return tuple(
        cover_plan(
            season,
            material,
            purpose.name,
            weeds=[say(f"weed.{weed.weed}") for weed in weeds],
            today=weather.today,
            irrigated=bool(site.turf.irrigated),
            tables=tables,
        )
        for material in (materials or (usual_material(purpose, tables["barrier"]),))
    )


def covers_ahead(
    purpose: Purpose,
    needs: ActiveNeeds,
    past: SiteState,
    ahead: SiteState,
    *,
    site: Site,
    weather: Weather | None,
    members: Members,
    materials: Sequence[ResidualActive],
    tables: Tables,
) -> tuple[CoverPlan, ...]:
    """`covers_of` the season that today lies in; nothing without the record that led to it."""
    if weather is None or not purpose.barrier:
        return ()
    axis = SeasonAxis.of(
        past,
        ahead,
        southern=site.place.southern,
        overseeded=False,
        years=members.past_years,
        tables=tables,
    )
    return covers_of(
        purpose, needs, axis, site=site, weather=weather, members=members, materials=materials
    )


def controlled_on(
    date: dt.date,
    purpose: Purpose,
    past: SiteState,
    ahead: SiteState,
    *,
    site: Site,
    weather: Weather | None,
    members: Members,
    materials: Sequence[ResidualActive],
    tables: Tables,
) -> dict[str, float]:
    """Name of a material → share of the season's weeds that emerge while it is active, 0..1.

    When applied on a date, in the mean over the futures; nothing where it cannot be told.
    """
    if weather is None or not purpose.barrier or not materials:
        return {}
    axis = SeasonAxis.of(
        past,
        ahead,
        southern=site.place.southern,
        overseeded=False,
        years=members.past_years,
        tables=tables,
    )
    season = season_of(
        axis,
        axis.state.weeds_of(purpose.weeds),
        axis.daily(weather.daily, members.daily, "precip_mm"),
        first=int(tables["plan"].number("spring_from")) if purpose.weeds == "spring" else 0,
        candidates=np.zeros(len(axis.dates), dtype=bool),
    )
    if season is None:
        return {}
    day = int((np.datetime64(date, "D") - season.dates[0]).astype(int))
    if not 0 <= day < len(season.dates):
        return {}
    loss = Loss.of(tables["barrier"])
    found = {}
    for material in materials:
        laid = material.laid(loss, irrigated=bool(site.turf.irrigated))
        weather_of = season.share, season.soil_c, season.rain_mm
        caught, _ = caught_by_day(*weather_of, laid, slice(day, day + 1))
        known = caught[np.isfinite(caught)]
        if len(known) >= len(caught) / 2:
            found[material.name] = float(known.mean())
    return found


def laid_on(cover: CoverPlan, days: Sequence[dt.date]) -> Phrase:
    """What the barrier catches when laid on each of these days, against its best day.

    The plan's own sentence where there are no such days, or none can be told.
    """
    by_date = {point.date: point for point in cover.curve}
    points = [by_date[d] for d in sorted(set(days)) if d in by_date]
    known = [p for p in points if p.caught is not None]
    best = cover.best
    if not known or best is None or best.caught is None:
        return cover.text
    first, *others = known
    later = NOTHING
    if cover.week_late is not None:
        later = say("cover.week_after", caught=Share(cover.week_late))
    return say(
        "cover.laid",
        day=first.date,
        barrier=barrier_named(cover.active),
        caught=share(first.caught),
        weeds=joined(*cover.weeds),
        low=share(first.low),
        high=share(first.high),
        others=joined(
            *(say("cover.laid_also", day=p.date, caught=share(p.caught)) for p in others),
            join="none",
        ),
        best_day=best.date,
        best=Share(best.caught),
        later=later,
    )

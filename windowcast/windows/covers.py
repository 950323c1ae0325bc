"""What pre-emergents control by the day they are applied on, for plan, ranking and jobs alike.

None is counted on that a weed of the purpose resists on this ground.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Collection, Sequence
from functools import partial

import numpy as np

from windowcast.core.phrase import NOTHING, Phrase, Share, joined, say
from windowcast.core.time_axis import day_index
from windowcast.core.weed_codes import known
from windowcast.materials.needs import ActiveNeeds
from windowcast.materials.resistance import Failing, Resistances
from windowcast.windows.cover_plan import (
    barrier_named,
    beside,
    cover_plan,
    likely,
    mean_share,
    share,
)
from windowcast.windows.exposure import Exposure, Surroundings
from windowcast.windows.model import CoverPlan
from windowcast.windows.opening import Opening
from windowcast.windows.purposes import Purpose
from windowcast.windows.reasons import label
from windowcast.windows.residual import ResidualActive, usual_material
from windowcast.windows.running_season import RunningSeason
from windowcast.windows.season_axis import SEASON_DAYS

Against = Callable[[Sequence[str]], Failing | None]


def covers_of(
    purpose: Purpose,
    needs: ActiveNeeds,
    running: RunningSeason,
    materials: Sequence[ResidualActive],
) -> tuple[CoverPlan, ...]:
    """Cover of each material, or of a usual barrier where there is none.

    Nothing for a purpose that is no barrier, or without weeds.
    """
    if not purpose.barrier or running.daily is None:
        return ()
    axis, tables, opening = running.axis, running.tables, running.opening(purpose, needs)
    is_open = (opening.score >= purpose.rule.season).mean(axis=0) * (axis.number < SEASON_DAYS)
    season = running.season(
        purpose, is_open >= tables["barrier"].number("open_in"), _shut_by(opening)
    )
    if season is None:
        return ()
    return tuple(
        cover_plan(
            season,
            material,
            purpose.name,
            codes=[weed.weed for weed in axis.state.weeds_of(purpose.weeds)],
            today=running.today,
            on=running.laying,
            tables=tables,
        )
        for material in (materials or (usual_material(purpose, tables["barrier"]),))
    )


def _shut_by(opening: Opening) -> tuple[Phrase, ...]:
    """Label of the timing criterion that speaks most against each day of the axis."""
    purpose, axis = opening.purpose, opening.axis
    grades, weights = purpose.timing_grades(opening.needs), purpose.weights
    count = len(axis.dates)
    scores = np.stack(
        [
            np.broadcast_to(np.nan_to_num(grades[n](v)) ** weights[n], (len(v), count)).mean(axis=0)
            for n, v in opening.measured.items()
        ]
    )
    labels = [label(name, axis.tables["criteria"].table(name)) for name in opening.measured]
    return tuple(labels[worst] for worst in scores.argmin(axis=0))


Controlled = dict[str, tuple[float, float, float]]


def controlled_on(
    dates: Collection[dt.date],
    purpose: Purpose,
    running: RunningSeason,
    materials: Sequence[ResidualActive],
) -> dict[dt.date, Controlled]:
    """By date, name of a material → share of the weeds that emerge while its residual holds, 0..1.

    When applied on that date: the mean over the futures and their 10 and 90 %; nothing where it
    cannot be told.
    """
    found: dict[dt.date, Controlled] = {date: {} for date in dates}
    if not purpose.barrier or not materials or running.daily is None:
        return found
    season = running.season(purpose)
    if season is None:
        return found
    at = {date: day_index(season.dates, date) for date in dates}
    at = {date: day for date, day in at.items() if 0 <= day < len(season.dates)}
    if not at:
        return found
    ground = Surroundings.of(season.share, season.soil_c, season.rain_mm)
    first = min(at.values())
    for material in materials:
        laid = material.drawn(len(season.share), running.laying)
        caught = Exposure.of(ground, laid).caught(slice(first, max(at.values()) + 1))[0]
        ends = np.quantile(np.nan_to_num(caught), [0.1, 0.9], axis=0)  # as the mean has it
        for date, day in at.items():
            middle = mean_share(caught[:, day - first])
            if middle is not None:
                low, high = ends[:, day - first].tolist()
                found[date][material.name] = (middle, low, high)
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
        likely=likely(first),
        others=joined(
            *(say("cover.laid_also", day=p.date, caught=share(p.caught)) for p in others),
            join="none",
        ),
        best_day=best.date,
        best=Share(best.caught),
        later=later,
        beside=beside(cover),
    )


def against_of(resistance: Resistances, purpose: Purpose) -> Against:
    """What speaks against the actives of a tank, by their names, on the weeds of a purpose."""
    aimed = aimed_at(resistance, purpose)
    return partial(resistance.against, weeds=aimed, timing="pre" if purpose.barrier else "post")


def aimed_at(resistance: Resistances, purpose: Purpose) -> set[str]:
    """The weeds of a purpose that resist something here; "" for one that nobody named.

    A weed of another season is not of the purpose; one of which no season is known may be.
    """
    return {weed for weed in resistance.weeds if _season(weed) in ("", purpose.weeds)}


def covers_working(
    purpose: Purpose,
    needs: ActiveNeeds,
    running: RunningSeason,
    barriers: Sequence[ResidualActive],
    against: Against,
) -> tuple[CoverPlan, ...]:
    """`covers_of` without pre-emergents that fail on a weed here."""
    found = ((material, against((material.name,))) for material in barriers)
    left = [m for m, failing in found if failing is None or failing.standing != "resistant"]
    return covers_of(purpose, needs, running, left) if left or not barriers else ()


def _season(weed: str) -> str:
    """The season of a weed, "fall" or "spring"; "" where none is known."""
    return known()[weed].season if weed in known() else ""

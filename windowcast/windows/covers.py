"""What pre-emergents control by the day they are applied on, for plan, ranking and jobs alike."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from windowcast.core.phrase import NOTHING, Phrase, Share, joined, say
from windowcast.core.record import FloatArray, Members, Weather
from windowcast.core.site import Site
from windowcast.core.time_axis import day_index
from windowcast.core.values import Tables
from windowcast.limits.ground import ground_of
from windowcast.materials.needs import ActiveNeeds
from windowcast.season.model import SiteState
from windowcast.weather.told_rain import told_rain_mm
from windowcast.windows.barrier import caught_by_day
from windowcast.windows.cover_plan import (
    Season,
    barrier_named,
    beside,
    cover_plan,
    likely,
    mean_share,
    season_of,
    share,
)
from windowcast.windows.days import DayContext
from windowcast.windows.model import CoverPlan
from windowcast.windows.opening import judged_days
from windowcast.windows.purposes import Purpose, weights_of
from windowcast.windows.reasons import label
from windowcast.windows.residual import Laying, ResidualActive, usual_material
from windowcast.windows.season_axis import SEASON_DAYS, SeasonAxis


@dataclass(frozen=True)
class RunningSeason:
    """The season that today lies in, as seen ahead; built once for an answer and handed down."""

    site: Site
    axis: SeasonAxis
    weather: Weather
    members: Members

    @classmethod
    def of(
        cls,
        site: Site,
        weather: Weather,
        members: Members,
        *,
        past: SiteState,
        ahead: SiteState,
        tables: Tables,
    ) -> RunningSeason:
        """From the state up to yesterday and that of the days ahead."""
        return cls(site, axis_of(site, past, ahead, members, tables), weather, members)

    @cached_property
    def rain_mm(self) -> FloatArray:
        """Rain on the axis as far as it is told, ``[member, day]``."""
        told = told_rain_mm(self.members, self.site.zone)
        return self.axis.daily(self.weather.daily, "precip_mm", told)

    @property
    def laying(self) -> Laying:
        """On what ground a pre-emergent is laid."""
        return Laying.of(self.site, self.axis.tables["barrier"])

    def season(
        self,
        purpose: Purpose,
        candidates: npt.NDArray[np.bool_] | None = None,
        shut: Sequence[Phrase] = (),
    ) -> Season | None:
        """What a pre-emergent for a purpose meets (`season_of`); None without weeds."""
        none = np.zeros(len(self.axis.dates), dtype=bool)
        spring = int(self.axis.tables["plan"].number("spring_from"))
        return season_of(
            self.axis,
            self.axis.state.weeds_of(purpose.weeds),
            self.rain_mm,
            first=spring if purpose.weeds == "spring" else 0,
            candidates=none if candidates is None else candidates,
            shut=shut,
        )


def axis_of(
    site: Site, past: SiteState, ahead: SiteState, members: Members, tables: Tables
) -> SeasonAxis:
    """The season that today lies in, on a site's own ground."""
    return SeasonAxis.of(
        past,
        ahead,
        southern=site.place.southern,
        overseeded=ground_of(site).overseeded,
        years=members.past_years,
        tables=tables,
    )


def covers_of(
    purpose: Purpose,
    needs: ActiveNeeds,
    running: RunningSeason,
    materials: Sequence[ResidualActive],
) -> tuple[CoverPlan, ...]:
    """Cover of each material, or of a usual barrier where there is none.

    Nothing for a purpose that is no barrier, or without weeds.
    """
    if not purpose.barrier:
        return ()
    axis, tables = running.axis, running.axis.tables
    context = DayContext(running.site, axis.state, purpose.weeds, tables=tables)
    measured, score = judged_days(purpose, needs, context)
    score = np.broadcast_to(score, axis.state.soil_5cm_c.shape)
    is_open = (score >= purpose.rule.season).mean(axis=0) * (axis.number < SEASON_DAYS)
    season = running.season(
        purpose,
        is_open >= running.axis.tables["barrier"].number("open_in"),
        _shut_by(purpose, needs, measured, axis),
    )
    if season is None:
        return ()
    return tuple(
        cover_plan(
            season,
            material,
            purpose.name,
            codes=[weed.weed for weed in axis.state.weeds_of(purpose.weeds)],
            today=running.weather.today,
            on=running.laying,
            tables=tables,
        )
        for material in (materials or (usual_material(purpose, tables["barrier"]),))
    )


def _shut_by(
    purpose: Purpose, needs: ActiveNeeds, measured: dict[str, FloatArray], axis: SeasonAxis
) -> tuple[Phrase, ...]:
    """Label of the timing criterion that speaks most against each day of the axis."""
    grades, weights = purpose.grades(needs), weights_of(purpose.timing, purpose.rules)
    count = len(axis.dates)
    scores = np.stack(
        [
            np.broadcast_to(np.nan_to_num(grades[n](v)) ** weights[n], (len(v), count)).mean(axis=0)
            for n, v in measured.items()
        ]
    )
    labels = [label(name, axis.tables["criteria"].table(name)) for name in measured]
    return tuple(labels[worst] for worst in scores.argmin(axis=0))


def controlled_on(
    date: dt.date,
    purpose: Purpose,
    running: RunningSeason,
    materials: Sequence[ResidualActive],
) -> dict[str, tuple[float, float, float]]:
    """Name of a material → share of the season's weeds that emerge while its residual holds, 0..1.

    When applied on a date: the mean over the futures and their 10 and 90 %; nothing where it
    cannot be told.
    """
    if not purpose.barrier or not materials:
        return {}
    season = running.season(purpose)
    if season is None:
        return {}
    day = day_index(season.dates, date)
    if not 0 <= day < len(season.dates):
        return {}
    found = {}
    for material in materials:
        laid = material.drawn(len(season.share), running.laying)
        weather_of = season.share, season.soil_c, season.rain_mm
        caught = caught_by_day(*weather_of, laid, slice(day, day + 1))[0]
        middle = mean_share(caught)
        if middle is not None:
            low, high = np.quantile(np.nan_to_num(caught), [0.1, 0.9])  # as the mean has it
            found[material.name] = (middle, float(low), float(high))
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

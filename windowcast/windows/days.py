"""Criteria on days: the turf, the weeds and the soil. Same rules as `windowcast.windows.criteria`.

Those a purpose lists under ``timing`` also say when it is in season (`windowcast.windows.timing`).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from windowcast.core.record import DateArray, FloatArray
from windowcast.core.season_calendar import season_day
from windowcast.core.site import Site
from windowcast.core.values import PACKAGED, Table, Tables
from windowcast.limits.answer import codes, turf_answers
from windowcast.limits.ground import ground_of
from windowcast.limits.model import TurfAnswer
from windowcast.limits.turf_days import TurfDays
from windowcast.materials.needs import ActiveNeeds
from windowcast.season.model import SiteState
from windowcast.season.turf import dormant_run
from windowcast.windows.hours import chance, sliding
from windowcast.windows.score import Rule

WEEK = 7


@dataclass(frozen=True)
class DayContext:
    """Days with the state of the site, and the days before them where a mean reaches back.

    Attributes
    ----------
    state
        The days judged, ``[member, day]`` or ``[day]``.
    before, after
        State of the days before, without members, and of those after, whose median counts.
    rain_mm
        Rain of the days judged, ``[member, day]``; None when it is not needed.
    turf
        What the turf takes on the first days, where that is already known; else it is asked.
    weeds
        "fall" or "spring": whose emergence counts.
    tables
        The science values that the criteria go by.
    """

    site: Site
    state: SiteState
    weeds: str
    before: SiteState | None = None
    after: SiteState | None = None
    rain_mm: FloatArray | None = None
    turf: tuple[TurfAnswer, ...] | None = None
    tables: Tables = PACKAGED

    def criterion(self, name: str) -> Table:
        """A criterion's own values."""
        return self.tables["criteria"].table(name)

    @property
    def dates(self) -> DateArray:
        """Local dates, ``[day]``."""
        return self.state.dates

    @property
    def unknown(self) -> FloatArray:
        """NaN for every day."""
        return np.full((1, len(self.dates)), np.nan)

    def emerging(self, name: str, pick: Callable[..., FloatArray]) -> FloatArray:
        """A quantity of the weeds that the purpose goes by, by `pick` over the weeds."""
        found = [getattr(weed, name) for weed in self.state.weeds_of(self.weeds)]
        if not found:
            return self.unknown
        return np.atleast_2d(pick(np.stack(np.broadcast_arrays(*found)), axis=0))


DayMeasure = Callable[[DayContext, ActiveNeeds], FloatArray]
DAY_CRITERIA: dict[str, DayMeasure] = {}


def day_criterion(measure: DayMeasure) -> DayMeasure:
    """Register a criterion on days; it returns ``[member, day]``, NaN where it cannot be told."""
    DAY_CRITERIA[measure.__name__] = measure
    return measure


@day_criterion
def season_months(ctx: DayContext, needs: ActiveNeeds) -> FloatArray:
    """Days since the season began: 1 July, or 1 January in the southern hemisphere."""
    return np.atleast_2d(season_day(ctx.dates, southern=ctx.site.place.southern))


@day_criterion
def soil_week(ctx: DayContext, needs: ActiveNeeds) -> FloatArray:
    """Mean soil temperature at 5 cm of the day and the six before."""
    soil = np.atleast_2d(ctx.state.soil_5cm_c)
    reach = WEEK - 1
    head = np.full(reach, np.nan)
    if ctx.before is not None and ctx.before.dates[-1] + np.timedelta64(1, "D") == ctx.dates[0]:
        tail = ctx.before.soil_5cm_c[-reach:]
        head[reach - len(tail) :] = tail
    known = np.concatenate([np.broadcast_to(head, (soil.shape[0], reach)), soil], axis=-1)
    week: FloatArray = sliding(known, reach, 0).mean(axis=-1)[..., reach:]
    return week


@day_criterion
def share_up(ctx: DayContext, needs: ActiveNeeds) -> FloatArray:
    """Share of the season's weeds that is up, mean over the watched weeds."""
    return ctx.emerging("share", np.mean)


@day_criterion
def emergence_lead(ctx: DayContext, needs: ActiveNeeds) -> FloatArray:
    """Days until the weeds begin to come up, 0 once they have; to the last day known at least.

    A gap counts as without emergence where the share after it says so.
    """
    up = share_up(ctx, needs)
    if ctx.after is not None:
        later = share_up(replace(ctx, state=ctx.after, before=None, after=None), needs)
        later = np.broadcast_to(np.median(later, axis=0), (len(up), later.shape[-1]))
        up = np.concatenate([up, later], axis=-1)
    end = np.where(np.isnan(up[:, -1:]), np.nan, 0.0)
    up = np.concatenate([up, end], axis=-1)
    told = np.take_along_axis(up, _next(np.isfinite(up)), axis=-1)
    begins = _next((told >= ctx.criterion("emergence_lead").number("begun")) | np.isnan(told))
    lead = (begins - np.arange(up.shape[-1])).astype(np.float64)
    lead[np.isnan(np.take_along_axis(up, begins, axis=-1))] = np.nan
    return lead[:, : len(ctx.dates)]


def _next(holds: npt.NDArray[np.bool_]) -> npt.NDArray[np.int64]:
    """Index of the next day on which something holds, the last where none does, ``[..., day]``."""
    last = holds.shape[-1] - 1
    index = np.where(holds, np.arange(last + 1), last)
    return np.minimum.accumulate(index[..., ::-1], axis=-1)[..., ::-1]


@day_criterion
def young_share(ctx: DayContext, needs: ActiveNeeds) -> FloatArray:
    """Share of the plants up that early post-emergence products still control."""
    return ctx.emerging("youngest_share", np.mean)


@day_criterion
def plant_size(ctx: DayContext, needs: ActiveNeeds) -> FloatArray:
    """Mean stage of the plants up (BBCH); unknown with the largest one the active controls."""
    if needs.largest_bbch is None or math.isnan(needs.largest_bbch):
        return ctx.unknown
    return ctx.emerging("mean_bbch", np.max)


@day_criterion
def frozen_soil(ctx: DayContext, needs: ActiveNeeds) -> FloatArray:
    """1 where the ground is frozen; unknown without a soil temperature."""
    soil, frozen = np.broadcast_arrays(ctx.state.soil_5cm_c, ctx.state.soil_frozen)
    return np.atleast_2d(np.where(np.isnan(soil), np.nan, frozen))


@day_criterion
def cool_soil(ctx: DayContext, needs: ActiveNeeds) -> FloatArray:
    """Soil temperature at 5 cm, for actives that work best in cool soil."""
    return np.atleast_2d(ctx.state.soil_5cm_c)


@day_criterion
def water_in(ctx: DayContext, needs: ActiveNeeds) -> FloatArray:
    """Chance that enough water comes in time: 1 with irrigation, else counted in the members.

    Where an amount of rain is not told, it is known only if the rest is enough for a yes.
    """
    depth, days = needs.activation_mm, watering_days(ctx.site, needs)
    if depth is None or math.isnan(depth) or math.isnan(days):
        return ctx.unknown
    if ctx.site.turf.irrigated:
        return np.ones((1, len(ctx.dates)))
    if ctx.rain_mm is None:
        return ctx.unknown
    coming = sliding(ctx.rain_mm, 0, int(days))[..., 1:]
    fallen = np.nan_to_num(coming).sum(axis=-1)
    untold = np.where(np.isnan(coming).any(axis=-1), np.nan, 0.0)
    rule, sure = Rule.of(ctx.tables["criteria"]), ctx.criterion("water_in").value("at").value[-1]
    enough = chance(np.where(fallen >= depth, 1.0, untold), rule)
    least = chance((fallen >= depth).astype(np.float64), rule)  # what is not told waters in nothing
    enough = np.where(np.isnan(enough) & (least >= sure), least, enough)
    if ctx.site.turf.irrigated is None:
        return np.where(enough >= sure, enough, np.nan)
    return enough


def watering_days(site: Site, needs: ActiveNeeds) -> float:
    """Days within which to water in: the active's, or fewer where the site says so; NaN unknown."""
    days = math.nan if needs.activation_days is None else needs.activation_days
    asked = site.advice.watering_in_days
    return days if asked is None or math.isnan(days) else min(days, float(asked))


@day_criterion
def greenup_margin(ctx: DayContext, needs: ActiveNeeds) -> FloatArray:
    """Days left until green-up begins.

    Without futures, as in hindsight, a gap or the end of the record may hide the day itself; where
    turf is known to stay dormant for a full margin, the days so known count.
    """
    turf = ctx.state.turf
    left = np.atleast_2d(turf.days_to_greenup)
    if len(left) > 1:
        return left
    known = dormant_run(turf.half_green_probability)
    enough = known >= ctx.criterion("greenup_margin").value("at").value[-1]
    return np.where(np.isnan(left) & enough, known, left)


@day_criterion
def dormancy(ctx: DayContext, needs: ActiveNeeds) -> FloatArray:
    """1 where the turf is dormant and stays so for the margin before green-up, 0 where not."""
    return np.atleast_2d(ctx.state.turf.nonselective_safe)


@day_criterion
def turf_safety(ctx: DayContext, needs: ActiveNeeds) -> FloatArray:
    """1 where the turf takes the actives, 0 where not; the same in every member (`limits`)."""
    answers = ctx.turf
    if answers is None:
        answers = turf_answers(needs, ground_of(ctx.site), TurfDays.of(ctx.state), ctx.tables)
    taken = np.full((1, len(ctx.dates)), np.nan)
    taken[:, : len(answers)] = codes(answers)
    return taken

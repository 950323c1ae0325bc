"""The figures a verdict goes by: what the weather, the weeds and the log say of one application."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from windowcast.core.record import FloatArray
from windowcast.core.time_axis import day_index
from windowcast.materials.actives import Active
from windowcast.materials.needs import ActiveNeeds
from windowcast.records.conditions import Fact
from windowcast.records.looks import SeenAfter
from windowcast.records.model import Application, ScoutingCount
from windowcast.season.model import SiteState
from windowcast.windows.hours import HourContext
from windowcast.windows.loss import Loss, loss_rate
from windowcast.windows.model import PurposeName
from windowcast.windows.purposes import purpose_of
from windowcast.windows.residual import dose_share

UNKNOWN = math.nan
_NEW_YEAR = 0.3  # a drop of the emerged share by so much is the start of the weeds' next year


@dataclass(frozen=True, slots=True)
class Evidence:
    """Figures of one application, SI; NaN where not known, None where it does not apply.

    Shares are of the season's weeds, 0..1.

    Attributes
    ----------
    pre
        Whether it acts before weeds are up.
    up
        Share up on the day.
    came_after
        Share that came up between the day and the last look, or the end of their season.
    need_mm, need_days
        Watering-in: how much was needed within how many days.
    wait_days, waited_mm, up_waiting
        Days until it had enough (infinite: never), the water before that, and the share that came
        up meanwhile.
    watering_said
        Whether it is known how much was irrigated: from the log, or the ground is not irrigated.
    dry_h, rain_free_h
        Hours without rain that followed, and those needed; `rain_that_day` where rain fell that
        day at an hour nobody knows.
    washing_mm, washing_limit_mm
        Rain of the first day after a soil-applied material, and what moves it.
    air_c, low_c, good_c
        Air in the hours of the application, and where the actives do poorly and well.
    week_c, night_c, night_low_c
        Mean air of the week after, the lowest of the nights after, and what nights must not be.
    stage, stage_counted, largest, lost
        Mean stage of the weeds up (BBCH), whether it was counted, the largest stage controlled,
        and the mean stage from which control is lost.
    rate_share
        Rate as a share of the user's own label, the lowest of the tank.
    ran_out, up_later
        Day on which too little was left (None: not within the record), and the share that came up
        after it.
    group_seasons
        Seasons running before this one in which the same groups served the purpose.
    groups
        Mode of action groups.
    """

    pre: bool
    up: float = UNKNOWN
    came_after: float = UNKNOWN
    need_mm: float | None = None
    need_days: float = UNKNOWN
    wait_days: float = UNKNOWN
    waited_mm: float = UNKNOWN
    up_waiting: float = UNKNOWN
    watering_said: bool = False
    dry_h: float = UNKNOWN
    rain_free_h: float | None = None
    rain_that_day: bool = False
    washing_mm: float = UNKNOWN
    washing_limit_mm: float | None = None
    air_c: float = UNKNOWN
    low_c: float | None = None
    good_c: float | None = None
    week_c: float = UNKNOWN
    night_c: float = UNKNOWN
    night_low_c: float | None = None
    stage: float = UNKNOWN
    stage_counted: bool = False
    largest: float | None = None
    lost: float | None = None
    rate_share: float = UNKNOWN
    ran_out: dt.date | None = None
    up_later: float = UNKNOWN
    group_seasons: int = 0
    groups: tuple[int, ...] = ()


def evidence_of(
    context: HourContext,
    application: Application,
    members: Sequence[Active],
    needs: ActiveNeeds,
    *,
    purpose: PurposeName,
    facts: Sequence[Fact],
    seen: SeenAfter,
    counts: Sequence[ScoutingCount] = (),
    label_kg_ha: Mapping[str, float] | None = None,
    group_seasons: int = 0,
) -> Evidence:
    """Gather the figures.

    Parameters
    ----------
    context
        The hours and days of its season, one member.
    facts
        Its conditions (`windowcast.records.conditions.facts_of`).
    counts
        Scouting counts of the place near the day: their stage goes before the model's.
    label_kg_ha
        Active → rate of active ingredient on the user's own label.
    """
    day = day_index(context.ahead.dates, application.date)
    said = {fact.key: fact.value for fact in facts}
    aim = purpose_of(purpose, context.tables)
    share, pre = _season_share(context.ahead, application, aim.weeds, day), aim.barrier
    looked = seen.deciding
    end = len(share) - 1
    if looked is not None:
        end = min(end, max((looked.date - application.date).days, 0))
    wait, before = _wait(context, application, needs, day)
    ran_out = _ran_out(context, application, members, slice(day, day + end + 1)) if pre else UNKNOWN
    stage, counted = _stage(
        application,
        counts,
        said.get("weeds_bbch", UNKNOWN),
        context.tables["verdict"].number("stage.near_days"),
    )
    soil = needs.activation_mm is not None
    dry = said["dry_h"]
    rain = context.daily.get("precip_mm")
    rain_today = UNKNOWN if rain is None else float(rain[0, day])
    return Evidence(
        pre=pre,
        up=float(share[0]),
        came_after=_between(share, 0, end),
        need_mm=needs.activation_mm,
        need_days=UNKNOWN if needs.activation_days is None else needs.activation_days,
        wait_days=wait,
        waited_mm=before,
        up_waiting=_between(share, 0, wait),
        watering_said=(
            application.watered_in_mm is not None or context.site.turf.irrigated is False
        ),
        dry_h=dry,
        rain_free_h=needs.rain_free_h,
        rain_that_day=math.isnan(dry) and rain_today > 0,
        washing_mm=_first_day(context, application) if soil else UNKNOWN,
        washing_limit_mm=_washing_limit(context) if soil else None,
        air_c=said["temp_c"],
        low_c=needs.temp_low_c,
        good_c=needs.temp_good_c,
        week_c=said["week_temp_c"],
        night_c=said["low_c"],
        night_low_c=needs.night_low_c,
        stage=stage,
        stage_counted=counted,
        largest=None if pre else needs.largest_bbch,
        lost=None if pre else needs.lost_bbch,
        rate_share=rate_share(application, label_kg_ha or {}),
        ran_out=(
            application.date + dt.timedelta(days=int(ran_out)) if math.isfinite(ran_out) else None
        ),
        up_later=_between(share, ran_out, end) if pre else UNKNOWN,
        group_seasons=group_seasons,
        groups=needs.groups,
    )  # fmt: skip


def share_up(state: SiteState, application: Application, weeds: str) -> float:
    """Share of the weeds of a season ("fall", "spring") that were up on the day; NaN: unknown."""
    day = day_index(state.dates, application.date)
    if not 0 <= day < len(state.dates):
        return UNKNOWN
    return float(_season_share(state, application, weeds, day)[0])


def _season_share(state: SiteState, application: Application, weeds: str, day: int) -> FloatArray:
    """Share of the weeds up from the day on to the end of their season, ``[day]``."""
    aimed_at = state.weeds_of(weeds)
    if application.target in state.emergence:
        aimed_at = [state.emergence[application.target]]
    if not aimed_at:
        return np.full(1, np.nan)
    rows = [np.atleast_2d(weed.share)[0, day:] for weed in aimed_at]
    share: FloatArray = np.mean(rows, axis=0)
    drops = np.flatnonzero(np.diff(share) < -_NEW_YEAR)
    return share[: drops[0] + 1] if drops.size else share


def _between(share: FloatArray, first: float, last: float) -> float:
    """Share that came up between two days; days beyond the season are its end."""
    if math.isnan(first) or math.isnan(last):
        return UNKNOWN
    start, stop = (int(min(end, len(share) - 1)) for end in (first, last))
    return (
        float(max(share[stop] - share[start], 0.0)) if stop > start else 0.0 * float(share[start])
    )


def _waters(context: HourContext, application: Application, day: int) -> FloatArray:
    """Rain and logged irrigation of each day from the application on, ``[day]``."""
    rain = context.daily.get("precip_mm")
    if rain is None:
        return np.full(len(context.ahead.dates) - day, np.nan)
    water = rain[0, day:].copy()
    if application.watered_in_mm:
        on = application.watered_in_on or application.date
        at = (on - application.date).days
        if at < len(water):
            water[at] += application.watered_in_mm
    return water


def _wait(
    context: HourContext, application: Application, needs: ActiveNeeds, day: int
) -> tuple[float, float]:
    """Days until there was enough water, and the water before; infinite, NaN as in `Evidence`.

    What is known to have come counts although other days are not known: more only shortens it.
    """
    if needs.activation_mm is None or math.isnan(needs.activation_mm):
        return UNKNOWN, UNKNOWN
    water = _waters(context, application, day)
    at_least = np.cumsum(np.nan_to_num(water))
    enough = np.flatnonzero(at_least >= needs.activation_mm)
    stop = int(enough[0]) if enough.size else len(water)
    days = needs.activation_days
    in_time = days is not None and stop <= days
    if np.isnan(water[: stop + 1]).any() and not in_time:
        return UNKNOWN, UNKNOWN
    before = float(at_least[stop - 1]) if stop else 0.0
    return (float(stop) if enough.size else math.inf), before


def _washing_limit(context: HourContext) -> float:
    """Rain of the first day from which a soil-applied material may move."""
    return float(context.criterion("washing_rain").value("at").value[0])


def _first_day(context: HourContext, application: Application) -> float:
    """Rain of the 24 hours after the application, as far as the hours know it."""
    hours = int(context.criterion("washing_rain").number("hours"))
    end = (application.end or application.start).astimezone(dt.UTC).replace(tzinfo=None)
    first = int((np.datetime64(end, "h") - context.times[0]).astype(np.int64)) + 1
    rain = context.rain_mm[0, first : first + hours]
    return float(rain.sum()) if len(rain) == hours else UNKNOWN


def _ran_out(
    context: HourContext, application: Application, members: Sequence[Active], days: slice
) -> float:
    """Days until too little of the longest-lasting member is left; infinite if not by the end.

    By the rate in the log. Where the dose of one is not known, NaN if a low one would have run out
    by the end and the usual one not.
    """
    lasting = [m for m in members if m.pre]
    lives = [(m, float(m.soil_dt50_d)) for m in lasting if m.soil_dt50_d is not None]
    if not lives or len(lives) < len(lasting):
        return UNKNOWN
    rates = [(m.active, m.rate_kg_ha) for m in application.materials]
    values = context.tables["barrier"]
    loss = Loss.of(values)
    lost = np.cumsum(loss_rate(np.atleast_2d(context.ahead.soil_5cm_c)[0, days], loss))

    def longest(unknown_dose: float) -> float:
        ends = []
        for member, life in lives:
            rate = next((rate for name, rate in rates if member.called(name)), None)
            dose = dose_share(rate, member.usual_kg_ha)
            held = loss.half_lives_held + np.log2(unknown_dose if dose is None else dose)
            gone = np.flatnonzero(~(lost / life < held))  # NaN too
            if not gone.size:
                return math.inf
            ends.append(UNKNOWN if math.isnan(lost[gone[0]]) else float(gone[0]))
        return float(np.max(ends))

    low, usual = longest(values.number("unknown_dose")), longest(1.0)
    return usual if math.isinf(low) or not math.isinf(usual) else UNKNOWN


def _stage(
    application: Application, counts: Sequence[ScoutingCount], modelled: float, near: float
) -> tuple[float, bool]:
    """Mean stage of the weeds up: the counted one nearest to the day, else the model's."""
    counted = [
        c for c in counts
        if c.stage_bbch is not None and abs((c.date - application.date).days) <= near
        and application.target in ("", c.weed)
    ]  # fmt: skip
    if not counted:
        return modelled, False
    nearest = min(counted, key=lambda c: abs((c.date - application.date).days))
    return float(nearest.stage_bbch or 0), True


def rate_share(application: Application, label_kg_ha: Mapping[str, float]) -> float:
    """The lowest rate of the tank as a share of the label's; NaN where one cannot be told."""
    shares = []
    for material in application.materials:
        label = label_kg_ha.get(material.active)
        if label is None or material.rate_kg_ha is None:
            return UNKNOWN
        shares.append(material.rate_kg_ha / label)
    return min(shares)

"""What is left of a pre-emergent: was it watered in, how long it lasts, when to renew it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from windowcast.core.first_last import first_day
from windowcast.core.phrase import NOTHING, Phrase, Quantity, Share, Span, names, say, sentences
from windowcast.core.record import FloatArray, Weather
from windowcast.materials.actives import Active
from windowcast.programme.logged_ground import LoggedGround, actives_of, applied_text
from windowcast.season.observed import Applied
from windowcast.windows.barrier import half_lives_lost
from windowcast.windows.cover_plan import ResidualActive, material_of, season_of, spread_evenly
from windowcast.windows.model import Job
from windowcast.windows.odds import DateRange, date_range
from windowcast.windows.purposes import Purpose


def pre_emergent_job(last: Applied, purpose: Purpose, ground: LoggedGround) -> Job:
    """Where a purpose stands by one application of a pre-emergent."""
    members = [m for m in ground.members(last) if m.timing.value != "post"]
    done = applied_text(last)
    job = Job("done" if last.whole else "partly done", done, NOTHING, last.date, actives_of(last))
    missed, water = _watering(last, members, ground)
    if missed:
        return replace(job, state="failed", text=sentences(done, water), to_do=say("job.again"))
    residual = [m for active in members if (m := material_of(active)) is not None]
    ends = residual_ends(last, residual, ground)
    until = None if ends is None else date_range(ends, ground.axis.dates, ground.axis.years)
    if ends is None or until is None:
        return replace(job, text=sentences(done, say("job.residual_unknown")), to_do=water)
    job = replace(job, residual_until=(until.early, until.median, until.late))
    said = sentences(done, _holds(until, ground.today))
    left = _still_to_come(ends, purpose, ground)
    again = until.early if left >= ground.values.still_to_come else None
    if again is None:
        return replace(job, text=said, to_do=water)
    soon = again < ground.today + dt.timedelta(ground.horizon_d)
    if soon and job.state == "done":
        job = replace(job, state="re-treat")
    then = say("job.re_treat", day=again, share=Share(left))
    if again <= ground.today:
        then = say("job.re_treat_now", share=Share(left))
    return replace(job, again=again, text=said, to_do=sentences(water, then))


def carried_over(applied: Sequence[Applied], ground: LoggedGround) -> Job | None:
    """What a pre-emergent put out for another purpose this season still does; None: nothing."""
    for last in reversed(applied):
        members = [m for m in ground.members(last) if m.timing.value != "post"]
        residual = [m for active in members if (m := material_of(active)) is not None]
        ends = residual_ends(last, residual, ground)
        until = None if ends is None else date_range(ends, ground.axis.dates, ground.axis.years)
        if until is None or until.early is None or until.early <= ground.today:
            continue
        actives = names(*actives_of(last), join="plus")
        text = say("job.carried", day=last.date, actives=actives, until=until.early)
        return Job("due", text, NOTHING, None)
    return None


def _watering(
    last: Applied, members: Sequence[Active], ground: LoggedGround
) -> tuple[bool, Phrase]:
    """Whether it surely was not watered in in time, and what there is to say or do about it."""
    needs = [m.activation_mm for m in members if m.activation_mm is not None]
    within = [m.activation_days for m in members if m.activation_days is not None]
    if not needs or not within:
        return False, NOTHING
    need, days = max(map(float, needs)), int(min(map(float, within)))
    deadline = last.date + dt.timedelta(days)
    rain = _rain(ground.weather, last.date, min(deadline, ground.today - dt.timedelta(1)))
    on = last.watered_in_on or last.date
    given = (last.watered_in_mm or 0.0) if on <= min(deadline, ground.today) else 0.0
    if given + float(np.nansum(rain)) >= need:
        return False, NOTHING
    depth = Quantity(need, "mm")
    if deadline >= ground.today:
        fell = Quantity(given + float(np.nansum(rain)), "mm")
        return False, say("job.water_in", depth=depth, day=deadline, fell=fell)
    # a depth noted, be it none, is all there was; a day without a depth may have brought enough
    unsaid = last.watered_in_mm is None
    watered = ground.irrigated is not False or last.watered_in_on is not None
    if np.isnan(rain).any() or (unsaid and watered):
        return False, say("job.watered_unknown", depth=depth, days=days)
    dry = say("job.dry", days=days, depth=depth, fell=Quantity(given + float(rain.sum()), "mm"))
    return True, dry


def _rain(weather: Weather, after: dt.date, to: dt.date) -> FloatArray:
    """Rain on the days after one day up to another, ``[day]`` mm; NaN where it is not known."""
    days = max((to - after).days, 0)
    dates = np.datetime64(after, "D") + np.arange(1, days + 1)
    at = (dates - weather.daily.times[0]).astype(int)
    rain = weather.daily.get("precip_mm")
    inside = (at >= 0) & (at < len(rain))
    found = np.full(days, np.nan)
    found[inside] = rain[at[inside]]
    return found


def residual_ends(
    last: Applied, residual: Sequence[ResidualActive], ground: LoggedGround
) -> FloatArray | None:
    """Day on the axis from which too little is left, ``[member]``; of several the longest."""
    day = ground.day(last.date)
    if day < 0 or not residual:
        return None
    soil = ground.axis.state.soil_5cm_c[:, day:]
    held = ground.values.loss.half_lives_held
    place = spread_evenly(len(soil), 1)
    found = []
    for material in residual:
        low, _, high = material.range_d
        life: FloatArray = np.asarray(low * (high / low) ** place, dtype=np.float64)
        lost = half_lives_lost(soil, life, ground.values.loss)[:, :-1]  # the last is after the axis
        found.append(first_day(lost >= held, np.isnan(lost)) + day)
    result: FloatArray = np.max(found, axis=0)
    return result


def _holds(until: DateRange, today: dt.date) -> Phrase:
    """Until when control is expected to last."""
    if until.median is None:
        return say("job.holds_beyond")
    if until.median <= today:
        return say("job.ran_out", day=until.median)
    if until.early is None:
        return say("job.holds", day=until.median)
    if until.late is None:
        return say("job.holds_from", day=until.median, early=until.early)
    return say("job.holds_between", day=until.median, ends=Span(until.early, until.late))


def _still_to_come(ends: FloatArray, purpose: Purpose, ground: LoggedGround) -> float:
    """Share of the season's weeds that emerge once too little is left, over the futures.

    0 where no weed of the purpose is watched.
    """
    axis = ground.axis
    first = int(ground.values.spring_from) if purpose.weeds == "spring" else 0
    dry = np.zeros_like(axis.state.soil_5cm_c)
    season = season_of(
        axis,
        axis.state.weeds_of(purpose.weeds),
        dry,
        first=first,
        candidates=np.zeros(len(axis.dates), dtype=bool),
    )
    if season is None:
        return 0.0
    begin = int((season.dates[0] - axis.dates[0]).astype(int))
    last = season.share.shape[1] - 1
    at = np.clip(np.nan_to_num(ends, posinf=begin + last) - begin, 0, last).astype(np.int64)
    then = np.take_along_axis(season.share, at[:, None], axis=1)[:, 0]
    return float(np.nanmean(season.share[:, -1] - then))

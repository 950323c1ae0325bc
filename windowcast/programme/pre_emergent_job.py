"""What is left of a pre-emergent: was it watered in, how long it lasts, when to renew it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from windowcast.core.phrase import NOTHING, Phrase, Quantity, Share, Span, names, say, sentences
from windowcast.core.record import FloatArray, Weather
from windowcast.materials.actives import Active
from windowcast.materials.spectrum import does_nothing
from windowcast.programme.logged_ground import LoggedGround, actives_of, applied_text
from windowcast.season.observed import Applied
from windowcast.windows.barrier import runs_out
from windowcast.windows.cover_plan import mean_share
from windowcast.windows.loss import watered_share
from windowcast.windows.model import Job
from windowcast.windows.odds import DateRange, date_range
from windowcast.windows.purposes import Purpose
from windowcast.windows.residual import ResidualActive, material_of


def pre_emergent_job(last: Applied, purpose: Purpose, ground: LoggedGround) -> Job:
    """Where a purpose stands by one application of a pre-emergent."""
    codes = [weed.weed for weed in ground.axis.state.weeds_of(purpose.weeds)]
    members = [m for m in ground.members(last) if m.pre and not does_nothing(m, codes, pre=True)]
    done = applied_text(last)
    job = Job("done" if last.whole else "partly done", done, NOTHING, last.date, actives_of(last))
    put_out = _put_out(last, members)
    water = _watering(last, members, ground)
    if water.dry:
        job = replace(job, text=sentences(done, water.said))
        return _dry(job, last, put_out, purpose, ground)
    ends, until = _lasting(last, put_out, ground, water_told=water.told)
    if ends is None or until is None:
        return replace(job, text=sentences(done, say("job.residual_unknown")), to_do=water.said)
    job = replace(job, residual_until=(until.early, until.median, until.late))
    again, left = _due_again(ends, until, purpose, ground)
    if again is None:
        job = replace(job, to_do=water.said)
    else:
        usual = _lasting(last, put_out, ground, water_told=water.told, usual=True)
        at_usual = _due_again(*usual, purpose, ground)[0]
        job = _renewed(replace(job, again=again), at_usual, left, water.said, ground)
    dose = _dose_unknown(put_out)
    sure = say("job.done_if_usual") if dose != NOTHING and job.state == "done" else NOTHING
    return replace(job, text=sentences(done, sure, dose, _holds(until, last.date, ground.today)))


def _dry(job: Job, last: Applied, put_out: PutOut, purpose: Purpose, ground: LoggedGround) -> Job:
    """The job where it still lies dry: to be watered in, or put out anew if too much of it is lost.

    What is put out anew needs the same water, so nothing is put out twice as long as what lies
    there would still last once it is watered in.
    """
    members = ground.members(last)
    known = len(put_out) == sum(m.pre for m in members) and len(members) == len(last.actives)
    until, left = _if_watered_today(last, put_out, purpose, ground)
    if until is None or not known:
        return replace(job, to_do=sentences(say("job.water_now"), say("job.residual_unknown")))
    if _lost(until, ground) and _lost(
        _if_watered_today(last, put_out, purpose, ground, usual=True)[0], ground
    ):
        if left < ground.values.still_to_come:
            return replace(job, to_do=say("job.lost"))
        return replace(job, state="failed", to_do=say("job.again"))
    water = say("job.water_now")
    if until.median is not None and until.early is not None and until.late is not None:
        ends = Span(until.early, until.late)
        water = say("job.water_now_until", day=until.median, ends=ends)
    return replace(job, to_do=sentences(water, say("job.not_twice"), _dose_unknown(put_out)))


def _if_watered_today(
    last: Applied, put_out: PutOut, purpose: Purpose, ground: LoggedGround, *, usual: bool = False
) -> tuple[DateRange | None, float]:
    """Until when it would hold if it were watered in today, and what is to come after, 0..1."""
    ends = residual_ends(last, put_out, ground, water_told=True, usual=usual, water_today=True)
    if ends is None:
        return None, 0.0
    until = date_range(ends, ground.axis.dates, ground.axis.year_of)
    return until, _still_to_come(ends, purpose, ground)


def _lost(until: DateRange | None, ground: LoggedGround) -> bool:
    """Whether too little would be left even if it were watered in today."""
    first = ground.today + dt.timedelta(1)  # the first day on which water of today would count
    return until is not None and until.median is not None and until.median <= first


def _renewed(
    job: Job, at_usual: dt.date | None, left: float, said: Phrase, ground: LoggedGround
) -> Job:
    """The job with when to treat again: never on the doubt of the dose alone.

    Parameters
    ----------
    at_usual
        From when to treat again if all that was put out went out at its usual rate, or as noted.
    """
    soon = ground.today + dt.timedelta(ground.horizon_d)
    assert job.again is not None
    if at_usual is None or job.again < at_usual >= soon:
        return replace(job, to_do=sentences(said, say("job.re_treat_if_less", day=job.again)))
    state = "re-treat" if job.again < soon and job.state == "done" else job.state
    then = say("job.re_treat", day=job.again, share=Share(left))
    if job.again <= ground.today:
        then = say("job.re_treat_now", share=Share(left))
    return replace(job, state=state, to_do=sentences(said, then))


def _due_again(
    ends: FloatArray | None, until: DateRange | None, purpose: Purpose, ground: LoggedGround
) -> tuple[dt.date | None, float]:
    """Day from which to treat again, None: not worth it; and what is then still to come, 0..1."""
    if ends is None or until is None:
        return None, 0.0
    left = _still_to_come(ends, purpose, ground)
    return (until.early if left >= ground.values.still_to_come else None), left


PutOut = Sequence[tuple[ResidualActive, float | None]]  # with its rate; None: not noted


def _put_out(last: Applied, members: Sequence[Active]) -> PutOut:
    """What lasts of an application, with the rate noted [kg a.i. ha-1]."""
    return [
        (m, next((rate for name, rate in last.actives if active.called(name)), None))
        for active in members
        if (m := material_of(active)) is not None
    ]


def _dose_unknown(put_out: PutOut) -> Phrase:
    """That the dose is not known of some of it, and what then counts."""
    if any(rate is None for _, rate in put_out):
        return say("job.rate_unknown")
    unknown = [material.name for material, rate in put_out if material.dose(rate) is None]
    return say("job.usual_unknown", actives=names(*unknown, join="and")) if unknown else NOTHING


def carried_over(applied: Sequence[Applied], ground: LoggedGround) -> Job | None:
    """What a pre-emergent put out for another purpose this season still does; None: nothing."""
    for last in reversed(applied):
        members = [m for m in ground.members(last) if m.pre]
        told = _watering(last, members, ground).told
        _, until = _lasting(last, _put_out(last, members), ground, water_told=told)
        if until is None or until.early is None or until.early <= ground.today:
            continue
        actives = names(*actives_of(last), join="plus")
        text = say("job.carried", day=last.date, actives=actives, until=until.early)
        return Job("due", text, NOTHING, None)
    return None


@dataclass(frozen=True)
class _Water:
    """The water an application got in time and since, as far as it is known.

    Attributes
    ----------
    told
        Whether the time is over and all that came in it is known.
    dry
        Whether the time is over and what came since reached too little of the ground.
    said
        What there is to say or do about it.
    """

    told: bool = False
    dry: bool = False
    said: Phrase = NOTHING


def _watering(last: Applied, members: Sequence[Active], ground: LoggedGround) -> _Water:
    needs = [m.activation_mm for m in members if m.activation_mm is not None]
    within = [m.activation_days for m in members if m.activation_days is not None]
    if not needs or not within:
        return _Water()
    need, days = max(map(float, needs)), int(min(map(float, within)))
    deadline, yesterday = last.date + dt.timedelta(days), ground.today - dt.timedelta(1)
    rain = _rain(ground.weather, last.date, yesterday)
    in_time = rain[:days]
    on = last.watered_in_on or last.date
    given = (last.watered_in_mm or 0.0) if on <= ground.today else 0.0
    fell = (given if on <= deadline else 0.0) + float(np.nansum(in_time))
    # a depth noted, be it none, is all there was; a day without a depth may have brought enough
    unsaid = last.watered_in_mm is None
    watered = ground.irrigated is not False or last.watered_in_on is not None
    told = deadline < ground.today and not np.isnan(in_time).any() and not (unsaid and watered)
    if fell >= need:
        return _Water(told)
    depth, in_time_said = Quantity(need, "mm"), Quantity(fell, "mm")
    if deadline >= ground.today:
        return _Water(said=say("job.water_in", depth=depth, day=deadline, fell=in_time_said))
    if not told:
        return _Water(said=say("job.watered_unknown", depth=depth, days=days))
    about: dict[str, Any] = {"days": days, "depth": depth, "fell": in_time_said}
    reached = _reached(fell, need, ground)
    if reached >= ground.values.watered_least:
        return _Water(told, said=say("job.watered_partly", share=Share(reached), **about))
    all_fell = given + float(np.nansum(rain))
    reached = _reached(all_fell, need, ground)
    if reached >= ground.values.watered_least:
        all_said = Quantity(all_fell, "mm")
        late = say("job.watered_late", share=Share(reached), by_now=all_said, **about)
        return _Water(told, said=late)
    if np.isnan(rain).any():
        return _Water(said=say("job.late_water_unknown", **about))
    return _Water(told, True, say("job.dry", **about))


def _reached(fell_mm: float, need_mm: float, ground: LoggedGround) -> float:
    """Share of the ground watered in by so much water, 0..1."""
    needed_mm = replace(ground.running.laying, irrigated=False).needed_mm(need_mm)
    return float(watered_share(fell_mm, needed_mm, ground.values.loss))


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


def _lasting(
    last: Applied, put_out: PutOut, ground: LoggedGround, *, water_told: bool, usual: bool = False
) -> tuple[FloatArray | None, DateRange | None]:
    """`residual_ends` of an application, and their range; None where it cannot be told."""
    ends = residual_ends(last, put_out, ground, water_told=water_told, usual=usual)
    if ends is None:
        return None, None
    return ends, date_range(ends, ground.axis.dates, ground.axis.year_of)


def residual_ends(
    last: Applied,
    residual: PutOut,
    ground: LoggedGround,
    *,
    water_told: bool,
    usual: bool = False,
    water_today: bool = False,
) -> FloatArray | None:
    """Day on the axis from which it no longer holds on most of the ground, ``[member]``.

    Of several actives the longest counts. A dose that is not known lies anywhere from a low one to
    the usual one, or is the `usual` one.
    Where the water it got cannot be told, or may still be given, it counts as watered in at once:
    ground that was treated is not to be treated twice on a guess.

    Parameters
    ----------
    water_today
        As if it were watered in today, whatever falls later.
    """
    day = ground.day(last.date)
    if day < 0 or not residual:
        return None
    soil = ground.axis.state.soil_5cm_c[:, day:]
    rain, at_once = ground.running.rain_mm[:, day:], 0.0
    if water_told and last.watered_in_mm:
        on = ((last.watered_in_on or last.date) - last.date).days
        if on == 0:
            at_once = last.watered_in_mm
        elif on < rain.shape[1]:
            rain = rain.copy()
            rain[:, on] = np.nan_to_num(rain[:, on]) + last.watered_in_mm
    if water_today:
        rain = rain.copy()
        rain[:, (ground.today - last.date).days] = 1e3  # mm, more than any ground asks for
    on_ground = replace(ground.running.laying, irrigated=not water_told)
    found = [
        runs_out(
            soil,
            rain,
            replace(material.left_by(rate, len(soil), on_ground, usual=usual), at_once_mm=at_once),
        )
        + day
        for material, rate in residual
    ]
    result: FloatArray = np.max(found, axis=0)
    return result


def _holds(until: DateRange, laid: dt.date, today: dt.date) -> Phrase:
    """Until when control is expected to last."""
    if until.median is None:
        return say("job.holds_beyond")
    if until.median <= laid:
        return say("job.never_held")
    if until.median <= today:
        return say("job.ran_out", day=until.median)
    if until.early is None:
        return say("job.holds", day=until.median)
    if until.late is None:
        return say("job.holds_from", day=until.median, early=until.early)
    return say("job.holds_between", day=until.median, ends=Span(until.early, until.late))


def _still_to_come(ends: FloatArray, purpose: Purpose, ground: LoggedGround) -> float:
    """Share of the season's weeds that emerge from today on once the residual has run out.

    A future in which its end cannot be told counts as one in which nothing is to come: ground that
    was treated is not to be treated twice on a guess. 0 where no weed of the purpose is watched.
    """
    axis = ground.axis
    season = ground.running.season(purpose)
    if season is None:
        return 0.0
    begin = int((season.dates[0] - axis.dates[0]).astype(int))
    last = season.share.shape[1] - 1
    ends_at = np.maximum(np.nan_to_num(ends, posinf=begin + last), ground.day(ground.today))
    at = np.clip(ends_at - begin, 0, last).astype(np.int64)
    then = np.take_along_axis(season.share, at[:, None], axis=1)[:, 0]
    left = np.where(np.isnan(ends), np.nan, season.share[:, -1] - then)
    return mean_share(left) or 0.0

"""Where each job stands by the season log: done and holding, to be looked at, or to do again.

An application serves the purpose it was noted for; the season's part decides for pre-emergents in
a mixture, and the turf of the day where no purpose was noted. What is left of a pre-emergent is
worked out from the soil's temperature since, for every future; that it was watered in must be
known, from rain measured or irrigation noted.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from windowcast.core.errors import InputError
from windowcast.core.first_last import first_day
from windowcast.core.phrase import (
    NOTHING,
    Phrase,
    Quantity,
    Share,
    Span,
    joined,
    names,
    say,
    sentences,
)
from windowcast.core.record import FloatArray, Weather
from windowcast.core.values import Tables
from windowcast.materials.actives import Active, Actives
from windowcast.season.model import TurfPhase
from windowcast.season.observed import Applied, Observed
from windowcast.season.scouting import Count
from windowcast.windows import advice
from windowcast.windows.barrier import Loss, half_lives_lost
from windowcast.windows.cover_plan import ResidualActive, material_of, season_of, spread_evenly
from windowcast.windows.model import Job, JobState, PurposeName, PurposeOutlook, Ranking
from windowcast.windows.odds import DateRange, date_range
from windowcast.windows.purposes import Purpose, purpose_of
from windowcast.windows.score import Rule
from windowcast.windows.season_axis import SeasonAxis


@dataclass(frozen=True)
class JobValues:
    """The numbers that decide (``data/plan.toml``, ``data/barrier.toml``).

    Attributes
    ----------
    loss
        How a residual is lost, and how much of it still works.
    spring_from
        Day of the season from which a pre-emergent is one of spring.
    still_to_come
        Share of the season's weeds yet to emerge from which a second application is worth naming.
    look_after_d
        Days after which to look for an effect where no source says when it shows.
    acceptable
        Share of the weeds gone from which an application worked.
    """

    loss: Loss
    spring_from: float
    still_to_come: float
    look_after_d: float
    acceptable: float

    @classmethod
    def of(cls, tables: Tables) -> JobValues:
        """Those of the tables."""
        plan = tables["plan"]
        return cls(
            Loss.of(tables["barrier"]),
            plan.number("spring_from"),
            plan.number("jobs.still_to_come"),
            plan.number("jobs.look_after"),
            tables["verdict"].number("control.worked") / 100,
        )


@dataclass(frozen=True)
class LoggedGround:
    """What the jobs of one piece of ground are judged by."""

    axis: SeasonAxis
    weather: Weather
    seen: Observed
    materials: Actives
    irrigated: bool | None
    horizon_d: int  # days ahead that are ranked
    values: JobValues

    @property
    def today(self) -> dt.date:
        """The day of the answer."""
        return self.weather.today

    def day(self, date: dt.date) -> int:
        """Index of a date on the axis; negative before it."""
        return int((np.datetime64(date, "D") - self.axis.dates[0]).astype(int))

    def members(self, applied: Applied) -> tuple[Active, ...]:
        """The active ingredients of an application that are known."""
        found = []
        for name, _ in applied.actives:
            try:
                found.append(self.materials[name])
            except InputError:
                continue  # no material of ours: review says so
        return tuple(found)


def jobs_of(ground: LoggedGround, purposes: Sequence[PurposeName]) -> dict[PurposeName, Job | None]:
    """Where each purpose stands; None where nothing was applied for it this season."""
    this_season = [a for a in ground.seen.applied if ground.axis.start <= a.date <= ground.today]
    found: dict[PurposeName, Job | None] = {}
    for name in purposes:
        purpose = purpose_of(name, ground.axis.tables)
        served = [a for a in this_season if serves(a, purpose, ground)]
        found[name] = _deciding(served, purpose, ground) if served else None
        if purpose.barrier and not served:
            found[name] = _carried(this_season, ground)
    return found


def _deciding(served: Sequence[Applied], purpose: Purpose, ground: LoggedGround) -> Job:
    """The job by the last application after which nothing is to do now, or else by the last.

    What was put on a part of the ground later does not open the rest again, nor does something
    short-lived end what still lasts.
    """
    judge = _pre_emergent if purpose.barrier else _post_emergent
    found = (judge(applied, purpose, ground) for applied in reversed(served))
    last = next(found)
    return last if not last.open else next((job for job in found if not job.open), last)


def _carried(applied: Sequence[Applied], ground: LoggedGround) -> Job | None:
    """What a pre-emergent put out for another purpose this season still does; None: nothing."""
    for last in reversed(applied):
        members = [m for m in ground.members(last) if m.timing.value != "post"]
        residual = [m for active in members if (m := material_of(active)) is not None]
        ends = _ends(last, residual, ground)
        until = None if ends is None else date_range(ends, ground.axis.dates, ground.axis.years)
        if until is None or until.early is None or until.early <= ground.today:
            continue
        actives = names(*_names(last), join="plus")
        text = say("job.carried", day=last.date, actives=actives, until=until.early)
        return Job("due", text, NOTHING, None)
    return None


def serves(applied: Applied, purpose: Purpose, ground: LoggedGround) -> bool:
    """Whether an application was one for the purpose.

    It is for the one it was noted for, unless all that was in it is known to do nothing for it.
    What else was in a mixture serves by the season's part or by the turf of the day.
    """
    members = ground.members(applied)
    timings = {m.timing.value for m in members}
    acts = timings - {"post" if purpose.barrier else "pre"}
    if applied.purpose == purpose.name:
        return bool(acts) or len(members) < len(applied.actives)
    if purpose.barrier:
        spring = ground.day(applied.date) + ground.axis.number[0] >= ground.values.spring_from
        noted_else = applied.purpose in ("pre-fall", "pre-spring") and timings != {"post"}
        return bool(acts) and not noted_else and spring == (purpose.weeds == "spring")
    if applied.purpose in ("post-early", "dormant") and timings != {"pre"}:
        return False
    # what works both ways was put out as a pre-emergent where it was noted as one
    if not (acts - {"both"} if applied.purpose else acts):
        return False
    day = ground.day(applied.date)
    phases = np.atleast_2d(ground.axis.state.turf.phase)
    dormant = day >= 0 and int(phases[0, day]) == TurfPhase.DORMANT
    return dormant == (purpose.name == "dormant")


# --- pre-emergents ------------------------------------------------------------------------------


def _pre_emergent(last: Applied, purpose: Purpose, ground: LoggedGround) -> Job:
    members = [m for m in ground.members(last) if m.timing.value != "post"]
    done = _done(last)
    job = Job("done" if last.whole else "partly done", done, NOTHING, last.date, _names(last))
    missed, water = _watering(last, members, ground)
    if missed:
        return replace(job, state="failed", text=sentences(done, water), to_do=say("job.again"))
    residual = [m for active in members if (m := material_of(active)) is not None]
    ends = _ends(last, residual, ground)
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


def _done(applied: Applied) -> Phrase:
    """What was applied, and when."""
    actives = names(*_names(applied), join="plus")
    if applied.whole:
        return say("job.applied", day=applied.date, actives=actives)
    where = names(applied.where)
    return say("job.applied_part", day=applied.date, actives=actives, where=where)


def _names(applied: Applied) -> tuple[str, ...]:
    return tuple(name for name, _ in applied.actives)


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


def _ends(
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


# --- post-emergents -----------------------------------------------------------------------------


def _post_emergent(last: Applied, purpose: Purpose, ground: LoggedGround) -> Job:
    weeks = [m.effect_weeks for m in ground.members(last) if m.effect_weeks is not None]
    known = bool(weeks)
    first = 7 * min(w.ends[0] for w in weeks) if known else ground.values.look_after_d
    late = 7 * max(w.ends[1] for w in weeks) if known else ground.values.look_after_d
    look_from = last.date + dt.timedelta(round(first))
    look_to = last.date + dt.timedelta(round(late))
    job = Job(
        "done" if last.whole else "partly done",
        _done(last),
        NOTHING,
        last.date,
        _names(last),
        look_from=look_from,
        look_to=look_to,
    )
    if ground.today < look_from:
        return replace(job, to_do=say("job.look_from", day=look_from))
    if any(look_from <= date <= ground.today for date in ground.seen.survivors):
        return replace(job, state="failed", to_do=say("job.survivors"))
    newest = _newest_counts(look_from, purpose, ground)
    rated = [r for r in ground.seen.control if look_from <= r[0] <= ground.today]
    if rated and max(rated)[0] >= max((c.date for c in newest), default=dt.date.min):
        return _rated(job, rated, ground)
    if not newest:
        since = _emerged_since(last.date, purpose, ground)
        look = say("job.look_now", days=Span(look_from, look_to))
        return replace(job, state="look" if last.whole else job.state, to_do=sentences(look, since))
    most = max(newest, key=lambda count: count.per_m2)
    if most.per_m2 > 0:
        left = say("job.plants_left", plants=Quantity(most.per_m2, "m-2"), day=most.date)
        return replace(job, state="re-treat", to_do=left)
    seen = say("job.none_left", day=max(c.date for c in newest))
    if any(count.where for count in newest) and last.whole:  # clean in one place is not clean
        return replace(job, state="look", to_do=sentences(seen, say("job.look_elsewhere")))
    return replace(job, to_do=seen)


def _rated(job: Job, rated: Sequence[tuple[dt.date, float]], ground: LoggedGround) -> Job:
    """The job by the last day on which control was rated; of several spots the worst decides."""
    day = max(rated)[0]
    worst = min(control for date, control in rated if date == day)
    said = say("job.rated", share=Share(worst), day=day)
    if worst >= ground.values.acceptable:
        return replace(job, to_do=said)
    return replace(job, state="re-treat", to_do=sentences(said, say("job.change_group")))


def _newest_counts(since: dt.date, purpose: Purpose, ground: LoggedGround) -> list[Count]:
    """The counts of the last day on which each weed was counted; none of the other season's."""
    emergence = ground.axis.state.emergence
    counts = [
        count
        for count in ground.seen.counts
        if since <= count.date <= ground.today
        and (count.weed not in emergence or emergence[count.weed].season == purpose.weeds)
    ]
    weeds = {count.weed for count in counts}
    last = {weed: max(c.date for c in counts if c.weed == weed) for weed in weeds}
    return [count for count in counts if count.date == last[count.weed]]


def _emerged_since(date: dt.date, purpose: Purpose, ground: LoggedGround) -> Phrase:
    """How much of the season's weeds emerged since an application, where that is worth saying."""
    first, last = ground.day(date), ground.axis.gone - 1
    rises = [
        (weed.weed, float(np.mean(weed.share[:, last] - weed.share[:, first])))
        for weed in ground.axis.state.weeds_of(purpose.weeds)
        if 0 <= first < last
    ]
    said = [
        say("job.emerged", share=Share(rise), weed=say(f"weed.{code}"))
        for code, rise in rises
        if rise >= ground.values.still_to_come
    ]
    return say("job.emerged_since", of=joined(*said)) if said else NOTHING


# --- the ranking --------------------------------------------------------------------------------


def with_jobs(
    ranking: Ranking,
    jobs: Mapping[PurposeName, Job | None],
    rule: Rule,
    *,
    materials: Actives,
    stocked: bool,
) -> Ranking:
    """The ranking of ground still to do: no window is offered for what is done."""
    outlooks = []
    for outlook in ranking.purposes:
        job = jobs[outlook.purpose]
        found = _with(outlook, job, rule)
        if job is not None and job.look_from and job.state in ("re-treat", "failed"):
            found = _other_groups(found, job, materials, stocked)
        outlooks.append(found)
    return replace(ranking, purposes=tuple(outlooks))


def _other_groups(
    outlook: PurposeOutlook, job: Job, materials: Actives, stocked: bool
) -> PurposeOutlook:
    """The outlook without choices that have no mode of action but those that left plants alive."""
    used = _groups(job.actives, materials)
    kept = tuple(choice for choice in outlook.choices if set(choice.groups) - used)
    none = outlook.none_in_stock or (stocked and bool(outlook.choices) and not kept)
    return replace(outlook, choices=kept, none_in_stock=none)


def _groups(actives: Sequence[str], materials: Actives) -> set[int]:
    """Groups of those that are known."""
    found = set()
    for name in actives:
        try:
            found.add(int(float(materials[name].group)))
        except InputError:
            continue
    return found


def _with(outlook: PurposeOutlook, job: Job | None, rule: Rule) -> PurposeOutlook:
    if job is None or job.applied is None:
        state: JobState = "due" if outlook.in_season else "not due"
        return replace(outlook, job=replace(job or Job("due", NOTHING, NOTHING), state=state))
    again = (job.again if job.state == "re-treat" else None) or dt.date.min
    left = tuple(w for w in outlook.windows if job.open and w.date >= again)
    if job.open and left == outlook.windows:
        return replace(outlook, job=job)
    if left:
        return replace(outlook, windows=left, advice=advice.go(left, rule), job=job)
    return replace(
        outlook,
        advice=sentences(job.text, job.to_do),
        windows=(),
        closest=None,
        would_change=NOTHING,
        strip=None,
        stock=(),
        choices=(),
        none_in_stock=False,
        covers=(),
        cannot_tell=False,
        job=job,
    )

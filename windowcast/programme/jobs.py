"""Where each job stands by the season log: done and holding, to be looked at, or to do again.

An application serves the purpose it was noted for; the season's part decides for pre-emergents in
a mixture, and the turf of the day where no purpose was noted. What is left of a pre-emergent is
worked out from the soil's temperature since, for every future; that it was watered in must be
known, from rain measured or irrigation noted.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from windowcast.core.errors import InputError
from windowcast.core.phrase import NOTHING, Phrase, Quantity, Share, Span, joined, say, sentences
from windowcast.materials.actives import Actives, groups_of
from windowcast.materials.spectrum import does_nothing
from windowcast.programme.logged_ground import LoggedGround, actives_of, applied_text
from windowcast.programme.pre_emergent_job import carried_over, pre_emergent_job
from windowcast.season.model import TurfPhase
from windowcast.season.observed import Applied
from windowcast.season.scouting import Count
from windowcast.windows import advice
from windowcast.windows.model import Job, JobState, PurposeName, PurposeOutlook, Ranking
from windowcast.windows.purposes import Purpose, purpose_of
from windowcast.windows.score import Rule


def jobs_of(ground: LoggedGround, purposes: Sequence[PurposeName]) -> dict[PurposeName, Job | None]:
    """Where each purpose stands; None where nothing was applied for it this season."""
    this_season = [a for a in ground.seen.applied if ground.axis.start <= a.date <= ground.today]
    found: dict[PurposeName, Job | None] = {}
    for name in purposes:
        purpose = purpose_of(name, ground.axis.tables)
        served = [a for a in this_season if serves(a, purpose, ground)]
        found[name] = _deciding(served, purpose, ground) if served else None
        if purpose.barrier and not served:
            found[name] = carried_over(this_season, ground)
    return found


def _deciding(served: Sequence[Applied], purpose: Purpose, ground: LoggedGround) -> Job:
    """The job by the last application after which nothing is to do now, or else by the last.

    What was put on a part of the ground later does not open the rest again, nor does something
    short-lived end what still lasts.
    """
    judge = pre_emergent_job if purpose.barrier else post_emergent_job
    found = (judge(applied, purpose, ground) for applied in reversed(served))
    last = next(found)
    return last if not last.open else next((job for job in found if not job.open), last)


def serves(applied: Applied, purpose: Purpose, ground: LoggedGround) -> bool:
    """Whether an application was one for the purpose.

    It is for the one it was noted for, unless all that was in it is known to do nothing for it:
    it acts at another stage, or on none of the weeds.
    What else was in a mixture serves by the season's part or by the turf of the day.
    """
    members = ground.members(applied)
    codes = [weed.weed for weed in ground.axis.state.weeds_of(purpose.weeds)]
    timings = {m.timing.value for m in members if not does_nothing(m, codes, pre=purpose.barrier)}
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
            found |= set(groups_of([materials[name]]))
        except InputError:
            continue
    return found


def _with(outlook: PurposeOutlook, job: Job | None, rule: Rule) -> PurposeOutlook:
    if job is None or job.applied is None:
        state: JobState = "due" if outlook.in_season else "not due"
        return replace(outlook, job=replace(job or Job("due", NOTHING, NOTHING), state=state))
    again = (job.again if job.state == "re-treat" else None) or dt.date.min
    left = tuple(w for w in outlook.windows if job.open and w.date >= again)
    if job.open and left == outlook.windows and not outlook.over:
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
        over=False,
        job=job,
    )


def post_emergent_job(last: Applied, purpose: Purpose, ground: LoggedGround) -> Job:
    """Where a purpose stands by one application of a post-emergent."""
    weeks = [m.effect_weeks for m in ground.members(last) if m.effect_weeks is not None]
    known = bool(weeks)
    first = 7 * min(w.ends[0] for w in weeks) if known else ground.values.look_after_d
    late = 7 * max(w.ends[1] for w in weeks) if known else ground.values.look_after_d
    look_from = last.date + dt.timedelta(round(first))
    look_to = last.date + dt.timedelta(round(late))
    job = Job(
        "done" if last.whole else "partly done",
        applied_text(last),
        NOTHING,
        last.date,
        actives_of(last),
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

"""What a post-emergent did: when to look, and what counts, ratings and survivors say of it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from windowcast.core.phrase import NOTHING, Phrase, Quantity, Share, Span, joined, say, sentences
from windowcast.programme.logged_ground import LoggedGround, actives_of, applied_text
from windowcast.season.observed import Applied
from windowcast.season.scouting import Count
from windowcast.windows.model import Job
from windowcast.windows.purposes import Purpose


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

"""Where the season stands: a few facts of today and what comes next."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from windowcast.core.phrase import Phrase, Quantity, Share, Span, joined, say, sentence
from windowcast.limits.model import Permission
from windowcast.programme.model import KeyDate, PurposePlan
from windowcast.season.model import Emergence, TurfPhase
from windowcast.windows.odds import DateRange
from windowcast.windows.reasons import SOIL_DEPTH
from windowcast.windows.season_axis import SeasonAxis

WORTH_SAYING = 0.005  # share of a weed up
SOON_DAYS = 60  # from which first plants are warned of


def season_today(
    axis: SeasonAxis, dates: Sequence[KeyDate], purposes: Sequence[PurposePlan]
) -> tuple[Phrase, ...]:
    """A few sentences: soil and turf yesterday, weeds up, what is open, what comes next."""
    lines = []
    if axis.gone and (facts := list(_yesterday(axis))):
        lines.append(say("standing.yesterday", facts=joined(*facts, join="comma")))
    today = axis.dates[axis.gone].astype("datetime64[D]").astype(object)
    to_do = [p for p in purposes if p.to_do and p.status == "open"]
    running = [p for p in to_do if p.opened and not p.paused]
    opened = {answer: [_within(p) for p in running if _taken(p, today) == answer]
              for answer in ("yes", "cannot tell", "no")}  # fmt: skip
    if of := opened["yes"]:
        lines.append(say("standing.open", purposes=joined(*of, join="comma")))
    if of := opened["cannot tell"]:
        lines.append(say("standing.open_unknown", purposes=joined(*of, join="comma")))
    if of := opened["no"]:
        lines.append(say("standing.open_refused", purposes=joined(*of, join="comma")))
    for plan in (p for p in to_do if p.paused):
        lines.append(say("standing.paused", purpose=_within(plan), opening=plan.paused))
    about_to = [_within(p) for p in to_do if not p.opened]
    if about_to:
        lines.append(say("standing.about_to_open", purposes=joined(*about_to, join="comma")))
    ahead = [
        (d.ahead, d)
        for d in dates
        if d.ahead is not None and d.ahead.median is not None and d.ahead.median >= today
    ]
    for when, key in sorted(ahead, key=lambda pair: str(pair[0].median))[:2]:
        lines.append(say("standing.next", what=key.label, when=dated(when)))
    lines += _first_weeds(axis, {key.name: key for key in dates}, today)
    return tuple(sentence(line) for line in lines)


def _first_weeds(
    axis: SeasonAxis, dates: Mapping[str, KeyDate], today: dt.date
) -> Iterator[Phrase]:
    """Where two rules tell the first plants of a weed: the earlier as a warning, then the other."""
    for code, weed in axis.state.emergence.items():
        if weed.first_by_air is None:
            continue
        found = {
            by: when.median
            for by, name in (("air", f"{code}_air"), ("soil", f"{code}_1"))
            if (key := dates.get(name)) is not None
            and (when := key.ahead) is not None
            and when.median is not None
        }
        if len(found) < 2 or not 0 <= (min(found.values()) - today).days <= SOON_DAYS:
            continue
        first, then = sorted(found, key=lambda by: found[by])
        yield say(
            "standing.first_weeds",
            weed=say(f"weed.{code}"),
            by=say(f"standing.by_{first}"),
            first=found[first],
            other=say(f"standing.by_{then}"),
            then=found[then],
        )


def _yesterday(axis: SeasonAxis) -> Iterator[Phrase]:
    """Soil, turf and the weeds up on the last day known."""
    soil = float(axis.past.soil_5cm_c[-1])
    if np.isfinite(soil):
        yield say("standing.soil", depth=SOIL_DEPTH, soil=Quantity(soil, "degC"))
    phase = TurfPhase(int(axis.past.turf.phase[-1]))
    if phase != TurfPhase.UNKNOWN:
        yield turf_phase(phase)
    spring = axis.tables["plan"].number("spring_from")
    for weeds in axis.past.alike():
        share = float(weeds[0].share[-1])
        rest_of_last = weeds[0].season == "spring" and axis.number[axis.gone - 1] < spring
        if share >= WORTH_SAYING and not rest_of_last:
            yield weeds_up(weeds, share)


def turf_phase(phase: TurfPhase) -> Phrase:
    """``the turf is dormant``."""
    return say(f"turf.{phase.name.lower()}")


def weeds_up(weeds: Sequence[Emergence], share: float) -> Phrase:
    """``38 % of the season's annual bluegrass has emerged``; said as rough by a general clock."""
    named = joined(*(say(f"weed.{weed.weed}") for weed in weeds))
    if weeds[0].doubt_weeks:
        return say("standing.weed_up_roughly", share=Share(share), weed=named)
    return say("standing.weed_up", share=Share(share), weed=named)


def _taken(plan: PurposePlan, day: dt.date) -> Permission:
    """What the turf answers on a day; "yes" where nothing of it is asked."""
    return next((s.answer for s in plan.turf if s.first <= day <= s.last), "yes")


def _within(plan: PurposePlan) -> Phrase:
    """A purpose's title within a sentence."""
    return say("purpose.within", title=plan.title)


def dated(when: DateRange | None) -> Phrase:
    """``about 5 Apr (10 to 90 %: 15 Mar to 15 Apr)``."""
    if when is None:
        return say("date.unknown")
    if when.median is None:
        return say("date.seldom", never=Share(when.never))
    if when.early is None or when.early == when.late:
        return say("date.about", day=when.median)
    if when.late is None and when.unknown > when.never:
        return say("date.about", day=when.median)
    if when.late is None:
        return say("date.open_ended", day=when.median, early=when.early)
    return say("date.between", day=when.median, ends=Span(when.early, when.late))

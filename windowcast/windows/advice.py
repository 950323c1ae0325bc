"""What answers: what to do about a purpose, and why, as phrases."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Sequence

from windowcast.core.phrase import (
    NOTHING,
    Phrase,
    Quantity,
    Share,
    Span,
    joined,
    names,
    say,
    sentence,
)
from windowcast.core.season_calendar import season_start
from windowcast.core.values import Table
from windowcast.core.weed_codes import known, sets_days
from windowcast.limits.model import TurfSpan
from windowcast.materials.needs import ActiveNeeds
from windowcast.materials.resistance import Failing
from windowcast.season.model import Emergence
from windowcast.windows import reasons
from windowcast.windows.judge import HourScores
from windowcast.windows.model import FollowUp, Window
from windowcast.windows.purposes import Purpose, weights_of
from windowcast.windows.score import Block, Rule, limiting
from windowcast.windows.timing import Timing

REOPENS_FROM = 0.05  # share of the futures from which it is told that they bring it back


def go(windows: Sequence[Window], rule: Rule) -> Phrase:
    """What to do when there are windows, best first."""
    best = windows[0]
    more = _second(windows[1]) if len(windows) > 1 else NOTHING
    when, sure = _when(best), _sure(best)
    if best.verdict == "fit":
        if best.actives:
            actives = names(*best.actives, join="plus")
            return say("advice.spray_actives", actives=actives, when=when, sure=sure, more=more)
        return say("advice.spray", when=when, sure=sure, more=more)
    held = doubt = NOTHING
    if best.limiting:
        held = say("advice.held_back", criterion=best.limiting.label)
    if best.odds is not None and best.odds.share < rule.even:
        doubt = say("advice.doubtful")
    return say("advice.marginal", when=when, sure=sure, held=held, doubt=doubt, more=more)


def turf(spans: Sequence[TurfSpan]) -> Phrase:
    """What the turf says where it takes nothing on any of the days ranked."""
    first = spans[0]
    ends = first.until if first.until and first.until > spans[-1].last else None
    before = say("advice.not_before", day=ends) if ends else NOTHING
    if first.answer == "no":
        said = say("advice.turf_no", reason=first.reason, before=before)
    else:
        said = say("advice.turf_unknown", reason=first.reason)
    after = NOTHING
    if first.remedy:
        after = say("advice.remedy", of=first.remedy)
    return say("advice.turf", said=said, remedy=after)


def _second(window: Window) -> Phrase:
    """The second-best window, with its chance where it was counted."""
    odds = window.odds
    chance = say("advice.counted", share=Share(odds.share)) if odds else NOTHING
    return say("advice.second", when=_when(window), chance=chance)


def _when(window: Window) -> Span:
    return reasons.hours(window.start, window.end)


def _sure(window: Window) -> Phrase:
    """How sure a window is: its chance, or its score where no chance was counted."""
    if window.odds is not None:
        return say("advice.holds", share=Share(window.odds.share))
    return say("advice.score", score=Quantity(window.score or 0.0, "1", "score"))


def cannot_tell(closest: Window | None, days: int, criteria: Table, *, forecast: bool) -> Phrase:
    """What to say when an input is missing; hours are named only where a forecast reaches."""
    if closest is None:
        return say("advice.no_hour", days=days)
    unknown = [j.criterion for j in closest.judged if j.verdict == "cannot tell"]
    return say(
        "advice.cannot_tell",
        unknown=reasons.missing(unknown, criteria),
        look=say("advice.look_at", when=_when(closest)) if forecast else NOTHING,
    )


def wait(closest: Window | None, days: int) -> Phrase:
    """What to say when nothing qualifies."""
    if closest is None or closest.limiting is None:
        return say("advice.no_hours_allowed", days=days)
    limit = closest.limiting
    return say(
        "advice.wait",
        days=days,
        when=_when(closest),
        criterion=limit.label,
        reason=limit.reason,
    )


def would_change(scores: HourScores, block: Block) -> Phrase:
    """What would have to be known, or be different, for a block to become workable."""
    rule, found = scores.ctx.rule, {name: scores.at(name, block) for name in scores.scores}
    unknown = [n for n, (score, _) in found.items() if math.isnan(score)]
    if unknown:
        return say(
            "advice.takes", remedies=reasons.remedies(unknown, scores.ctx.tables["criteria"])
        )
    stops = [n for n, (score, _) in found.items() if score < rule.marginal]
    if not stops:
        lowest = sorted(found, key=lambda n: found[n][0] ** scores.weights[n])
        stops = [n for n in lowest[:3] if found[n][0] < 1.0]
    changes = [
        reasons.change(n, scores.ctx.criterion(n), scores.grades[n], found[n][1], rule.fit)
        for n in stops
    ]
    return sentence(joined(*changes)) if changes else NOTHING


def no_weeds(purpose: Purpose) -> Phrase:
    """Why a purpose is out: none of its weeds is watched, or none has a model."""
    return say(f"advice.no_weeds.{purpose.weeds}")


def burs(weeds: Iterable[Emergence], today: dt.date, *, southern: bool) -> tuple[Phrase, ...]:
    """What to kill before it sets burs, which hurt people after the plant is dead."""
    start = season_start(today, southern=southern)
    found = []
    for weed in weeds:
        span = (
            sets_days(weed.weed, southern=southern) if known()[weed.weed].sets == "burs" else None
        )
        if span is None:
            continue
        first, last = (start + dt.timedelta(days) for days in span)
        name = say(f"weed.{weed.weed}")
        if today < first:
            found.append(say("advice.burs.before", weed=name, first=first, last=last))
        else:
            found.append(say("advice.burs.now", weed=name))
    return tuple(found)


def serves_not(needs: ActiveNeeds) -> Phrase:
    """Why a purpose is out: the actives act at another stage of the weeds."""
    return say(f"advice.serves_not.{_acts(needs)}", actives=names(*needs.names, join="plus"))


def wrong_weeds(needs: ActiveNeeds, codes: Sequence[str]) -> Phrase:
    """Why a purpose is out: the actives do nothing to its weeds."""
    weeds = joined(*(say(f"weed.{code}") for code in codes), join="or")
    return say("advice.wrong_weeds", actives=names(*needs.names, join="plus"), weeds=weeds)


def resisted(failing: Failing) -> Phrase:
    """Why a purpose is out: a weed of it resists the active here."""
    return say("advice.resisted", why=failing.text)


def acts_only(needs: ActiveNeeds) -> Phrase:
    """The stage at which an active acts, as a clause."""
    return say(f"advice.acts_only.{_acts(needs)}")


def _acts(needs: ActiveNeeds) -> str:
    return "pre" if needs.pre else "post" if needs.post else "growth"


def why(purpose: Purpose, timing: Timing) -> Phrase:
    """Why a purpose is in or out of season today."""
    rules = purpose.rules
    today = {name: float(value[0, 0]) for name, value in timing.measured.items()}
    scores = {n: float(timing.grades[n](timing.measured[n])[0, 0]) for n in purpose.timing}
    if timing.in_season:
        facts = [
            _fact(purpose, n, today[n])
            if scores[n] > 0
            else reasons.reason(n, rules.table(n), timing.grades[n], today[n])
            for n in purpose.timing
        ]
        return sentence(joined(*facts)) if any(facts) else NOTHING
    if not timing.closed:
        head = say("advice.waits", what=say(f"purpose.{purpose.name}.waits_for"))
    elif not timing.closed_sure:
        head = say("advice.last_open", day=timing.closed)
    else:
        head = say("advice.on_hold" if timing.paused else "advice.ended", day=timing.closed)
    limit = limiting(scores, weights_of(purpose.timing, rules), purpose.rule)
    if limit in _SPEAK_FOR_THEMSELVES:
        return sentence(head)
    table = rules.table(limit)
    reason = reasons.reason(limit, table, timing.grades[limit], today[limit])
    because = reasons.because(reasons.label(limit, table), reason)
    return sentence(say("advice.for_reason", what=head, reason=because))


_SPEAK_FOR_THEMSELVES = ("season_months", "dormancy")  # the head has said it


def _fact(purpose: Purpose, name: str, value: float) -> Phrase:
    """What a criterion that is met says of today, in the purpose's own words where it has any."""
    if name in purpose.facts:
        return say(f"purpose.{purpose.name}.fact.{name}")
    return reasons.fact(name, purpose.rules.table(name), value)


def opening(timing: Timing) -> Phrase:
    """When a purpose opens: ``about 14 Dec (10 to 90 %: 2 Dec to 5 Jan)``; nothing when unknown."""
    for dates, basis in (
        (timing.opens, NOTHING),
        (timing.usual_ahead, say("opening.by_past_years")),
    ):
        if dates is None or dates.median is None:
            continue
        if dates.by_calendar and dates.late is not None:
            return reasons.from_start(dates.median, dates.late, basis)
        if dates.early is None or dates.late is None:
            never = Share(dates.never)
            return say("opening.seldom", day=dates.median, basis=basis, never=never)
        if dates.early == dates.late:
            return say("opening.about", day=dates.median, basis=basis)
        ends = Span(dates.early, dates.late)
        return say("opening.between", day=dates.median, ends=ends, basis=basis)
    return NOTHING


def out_of_season(purpose: Purpose, timing: Timing, reason: Phrase, rule: Rule) -> Phrase:
    """When a purpose opens; of one that is over this season, what is left to do."""
    opens = opening(timing)
    if timing.over:
        following = say("advice.next_season", opening=opens) if opens else NOTHING
        missed = say(f"purpose.{purpose.name}.if_missed")
        return say("advice.over", why=reason, maybe=_maybe(timing), missed=missed, again=following)
    if opens:
        again = "again" if timing.paused else "opens"
        return say(f"advice.not_now.{again}", opening=opens, why=reason)
    if timing.stays_closed and timing.opens is not None:
        share = Share(timing.opens.never)
        return say("advice.shut.this_season", why=reason, share=share)
    seldom = timing.usual is not None and timing.usual.never >= rule.even
    return say(f"advice.not_now.{'seldom' if seldom else 'unknown'}", why=reason)


def _maybe(timing: Timing) -> Phrase:
    """How many futures bring back what is over; nothing where hardly any does."""
    share = 0.0 if timing.opens is None else 1 - timing.opens.never
    return say("advice.may_reopen", share=Share(share)) if share >= REOPENS_FROM else NOTHING


def follow_up(
    needs: ActiveNeeds,
    end: dt.datetime,
    *,
    watering_days: float,
    irrigated: bool | None,
    rain_chance: float,
) -> tuple[FollowUp, ...]:
    """What must follow an application that ends at `end`."""
    items = []
    if needs.rain_free_h is not None and not math.isnan(needs.rain_free_h):
        until = end + dt.timedelta(hours=needs.rain_free_h)
        text = say(
            "follow_up.keep_dry" if needs.names else "follow_up.keep_dry_or_label",
            until=until,
            hours=Quantity(needs.rain_free_h, "h"),
        )
        items.append(FollowUp("keep dry", until, text))
    elif needs.rain_free_h is not None:
        items.append(FollowUp("keep dry", None, say("follow_up.keep_dry_by_label")))
    if needs.activation_mm is not None and not math.isnan(needs.activation_mm):
        by = None if math.isnan(watering_days) else end + dt.timedelta(days=watering_days)
        rain = NOTHING
        if not irrigated and not math.isnan(rain_chance):
            rain = say("follow_up.rain_does_it", share=Share(rain_chance))
        text = say(
            "follow_up.water_in",
            depth=Quantity(needs.activation_mm, "mm"),
            by=say("follow_up.by", day=by.date()) if by else NOTHING,
            rain=rain,
        )
        items.append(FollowUp("water in", by, text))
    elif needs.activation_mm is not None:
        items.append(FollowUp("water in", None, say("follow_up.water_in_by_label")))
    return tuple(items)

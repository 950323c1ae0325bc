"""The sentences that answer: what to do about a purpose, and why."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence

from windowcast.limits.model import TurfSpan
from windowcast.materials.needs import ActiveNeeds
from windowcast.windows import words
from windowcast.windows.judge import HourScores
from windowcast.windows.model import FollowUp, Odds, Window
from windowcast.windows.purposes import Purpose, weights_of
from windowcast.windows.score import Block, Rule, limiting
from windowcast.windows.timing import Timing


def in_words(odds: Odds | None) -> str:
    """``these hours hold in 87 of 100 possible futures``."""
    if odds is None:
        return ""
    return f"these hours hold {_counted(odds)} possible futures"


def _counted(odds: Odds) -> str:
    return f"in {round(odds.share * odds.members)} of {odds.members}"


def go(windows: Sequence[Window], rule: Rule) -> str:
    """What to do when there are windows, best first."""
    best = windows[0]
    when = words.span(best.start, best.end)
    facts = [f"score {best.score:.0f}"] + [t for t in (in_words(best.odds),) if t]
    if best.verdict == "fit":
        what = f" {' + '.join(best.actives)}" if best.actives else ""
        text = f"Spray{what} on {when} ({', '.join(facts)})"
    else:
        limit = f", held down by {best.limiting.label}" if best.limiting else ""
        if best.odds is not None and best.odds.share < rule.even:
            limit += ", more likely to fail than to hold"
        text = f"Only a marginal window: {when} ({', '.join(facts)}){limit}"
    if len(windows) > 1:
        second = windows[1]
        facts = [f"score {second.score:.0f}"]
        if second.odds is not None:  # the order goes by score and odds together
            facts.append(_counted(second.odds))
        text += f"; second best is {words.span(second.start, second.end)} ({', '.join(facts)})"
    return f"{text}."


def turf(spans: Sequence[TurfSpan]) -> str:
    """What the turf says where it takes nothing on any of the days ranked."""
    first = spans[0]
    if first.answer == "no":
        text = f"Do not spray: {first.reason}"
        ends = first.until if first.until and first.until > spans[-1].last else None
        text += f"; not before {words.day(ends)}." if ends else "."
    else:
        text = f"Cannot tell: {first.reason}."
    return f"{text} {words.sentence(first.remedy)}" if first.remedy else text


def cannot_tell(closest: Window | None, days: int, *, forecast: bool) -> str:
    """What to say when an input is missing; hours are named only where a forecast reaches."""
    if closest is None:
        return f"Cannot tell: no hour of the next {days} days can be judged."
    unknown = [words.missing(j.criterion) for j in closest.judged if j.verdict == "cannot tell"]
    text = f"Cannot tell; not known: {'; '.join(dict.fromkeys(unknown))}."
    if forecast:
        hours = words.span(closest.start, closest.end)
        text += f" By the rest, the hours to look at are {hours}, once that is known on site."
    return text


def wait(closest: Window | None, days: int) -> str:
    """What to say when nothing qualifies."""
    if closest is None or closest.limiting is None:
        return (
            f"No window in the next {days} days: the site allows no hours long enough by daylight."
        )
    limit = closest.limiting
    return (
        f"No window in the next {days} days. Closest is {words.span(closest.start, closest.end)}, "
        f"stopped by {limit.label}: {limit.reason}."
    )


def would_change(scores: HourScores, block: Block, rule: Rule) -> str:
    """What would have to be known, or be different, for a block to become workable."""
    found = {name: scores.at(name, block) for name in scores.scores}
    unknown = [n for n, (score, _) in found.items() if math.isnan(score)]
    if unknown:
        return f"It takes {words.remedies(unknown)}."
    stops = [n for n, (score, _) in found.items() if score < rule.marginal]
    if not stops:
        lowest = sorted(found, key=lambda n: found[n][0] ** scores.weights[n])
        stops = [n for n in lowest[:3] if found[n][0] < 1.0]
    changes = [words.change(n, scores.grades[n], found[n][1], rule.fit) for n in stops]
    return words.sentence(words.joined(list(dict.fromkeys(changes)))) if changes else ""


def no_weeds(purpose: Purpose) -> str:
    """Why a purpose is out: none of its weeds is watched, or none has a model."""
    kind = "winter" if purpose.weeds == "fall" else "summer"
    return f"Not judged: no {kind} annual with a model is among the site's weeds."


def why(purpose: Purpose, timing: Timing) -> str:
    """Why a purpose is in or out of season today."""
    today = {name: float(value[0, 0]) for name, value in timing.measured.items()}
    scores = {n: float(timing.grades[n](timing.measured[n])[0, 0]) for n in purpose.timing}
    if timing.in_season:
        facts = [
            purpose.facts.get(n, words.fact(n, today[n]))
            if scores[n] > 0
            else words.reason(n, timing.grades[n], today[n])
            for n in purpose.timing
        ]
        return words.sentence(words.joined(kept)) if (kept := [f for f in facts if f]) else ""
    if timing.closed:
        head = "on hold since" if timing.paused else "its season ended on"
        head = f"{head} {words.day(timing.closed)}"
        if not timing.closed_sure:
            head = f"last known open on {words.day(timing.closed)}, before a gap in the record"
    else:
        head = f"waits for {purpose.waits_for}"
    limit = limiting(scores, weights_of(purpose.timing))
    if limit in _SPEAK_FOR_THEMSELVES:
        return words.sentence(head)
    reason = words.reason(limit, timing.grades[limit], today[limit])
    return words.sentence(f"{head} ({words.label(limit)}: {reason})")


_SPEAK_FOR_THEMSELVES = ("season_months", "dormancy")  # the head has said it


def opening(timing: Timing) -> str:
    """When a purpose opens: ``about 14 Dec (10 to 90 %: 2 Dec to 5 Jan)``, "" when unknown."""
    for dates, basis in ((timing.opens, ""), (timing.usual, ", by past years")):
        if dates is None or dates.median is None:
            continue
        middle = f"about {dates.median.day} {dates.median:%b}"
        if dates.by_calendar and dates.late is not None:
            return words.from_start(dates.median, dates.late) + basis
        if dates.early is None or dates.late is None:
            return f"{middle}{basis}, though in {100 * dates.never:.0f} % of cases not at all"
        early, late = (f"{d.day} {d:%b}" for d in (dates.early, dates.late))
        return middle + (f" (10 to 90 %: {early} to {late}{basis})" if early != late else basis)
    return ""


def out_of_season(timing: Timing, reason: str, rule: Rule) -> str:
    """When a purpose opens."""
    opens = opening(timing)
    if not opens:
        seldom = timing.usual is not None and timing.usual.never >= rule.even
        never = "In most past years it does not open here."
        return f"Not now. {reason} {never if seldom else 'When it opens cannot be told yet.'}"
    return f"Not now: it opens {'again ' if timing.paused else ''}{opens}. {reason}"


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
        hours = f"{needs.rain_free_h:g} h" + ("" if needs.names else ", or your label's hours")
        text = f"keep dry until {words.day(until.date())} {until:%H:%M} ({hours}): no irrigation"
        items.append(FollowUp("keep dry", until, text))
    elif needs.rain_free_h is not None:
        text = "keep dry for the rain-free hours of your label"
        items.append(FollowUp("keep dry", None, text))
    if needs.activation_mm is not None and not math.isnan(needs.activation_mm):
        by = None if math.isnan(watering_days) else end + dt.timedelta(days=watering_days)
        when = f" by {words.day(by.date())}" if by else ""
        text = f"water in with {needs.activation_mm:g} mm{when}"
        if not irrigated and not math.isnan(rain_chance):
            text += f"; rain does it in {100 * rain_chance:.0f} % of the possible futures"
        items.append(FollowUp("water in", by, text))
    elif needs.activation_mm is not None:
        items.append(FollowUp("water in", None, "water in as your label says"))
    return tuple(items)

"""What the turf takes, in words: days it refuses, what is not known, and the chance of harm."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from windowcast.core.phrase import NOTHING, Phrase, Span, Value, say
from windowcast.limits.model import STATE, TurfSpan
from windowcast.windows.model import PurposeOutlook

EXACT_TO = 20  # rarer chances are said in tens
LEAST_TOLD = 0.005  # smaller chances of harm are not spoken of


def turf_lines(outlook: PurposeOutlook) -> list[Phrase]:
    """The turf's limits on the days ranked, and the chance of harm of the best window.

    The first refusal is left out where the answer itself has said it.
    """
    refused = [span for span in outlook.turf if span.answer != "yes"]
    said = len(refused) == len(outlook.turf)
    lines = [span_line(span) for span in refused[1 if said else 0 :]]
    if outlook.windows:
        harm = outlook.windows[0].harm
        if harm is not None and harm >= LEAST_TOLD:
            lines.append(say("limit.harm", chance=chance(harm)))
    return lines


def asks_for_look(turf: Sequence[TurfSpan]) -> bool:
    """Whether somebody is to look at the turf and log what is seen."""
    return any(span.remedy.id in ("limit.look_and_log", "limit.part_canopy") for span in turf)


def plan_lines(turf: Sequence[TurfSpan]) -> list[Phrase]:
    """What the turf refuses, or leaves open, through the season of a purpose; each reason once."""
    alike: dict[tuple[object, ...], list[TurfSpan]] = {}
    for span in turf:
        if span.answer != "yes":
            alike.setdefault((span.answer, span.rule, span.reason, span.remedy), []).append(span)
    return [span_line(_whole(spans), some_days=len(spans) > 1) for spans in alike.values()]


def _whole(spans: Sequence[TurfSpan]) -> TurfSpan:
    """From the first day of the first to the last day of the last, with the greatest harm."""
    harm = max((s.harm for s in spans if s.harm is not None), default=None)
    return replace(spans[0], last=spans[-1].last, harm=harm)


def chance(share: float) -> Phrase:
    """``1 in 20``; from an even chance on in tenths, ``6 in 10``."""
    if share >= 1.0:
        return say("limit.certain")
    if share >= 0.5:
        return say("limit.in_ten", count=min(9, round(10 * share)))
    if share <= 0:
        return say("limit.none")
    one_in = 1 / share
    return say("limit.one_in", count=round(one_in, -1 if one_in > EXACT_TO else None))


def span_line(span: TurfSpan, *, some_days: bool = False) -> Phrase:
    """Days on which the turf refuses or cannot tell, why, and what to do about it."""
    days: Value = span.first if span.last == span.first else Span(span.first, span.last)
    if some_days:
        days = say("limit.some_days", days=days)
    harm = remedy = NOTHING
    if span.rule == STATE and span.harm is not None and LEAST_TOLD <= span.harm < 1.0:
        harm = say("limit.harm_too", chance=chance(span.harm))
    if span.remedy:
        remedy = say("advice.remedy", of=span.remedy)
    if span.answer == "no":
        return say("limit.days_no", days=days, reason=span.reason, harm=harm, remedy=remedy)
    return say("limit.days_unknown", days=days, reason=span.reason, harm=harm, remedy=remedy)

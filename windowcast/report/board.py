"""The board: for each application one sentence that starts with a verb, and the facts under it.

Terminal, page, message and calendar all say these, in this order. What the turf takes stands here
too: days it refuses, what is not known, and the chance of harm.
"""

from __future__ import annotations

import datetime as dt
import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from windowcast.core.phrase import (
    NOTHING,
    Phrase,
    Share,
    Span,
    Value,
    joined,
    say,
    sentence,
    sentences,
)
from windowcast.limits.model import STATE, TurfSpan
from windowcast.report import wording
from windowcast.report.catalogue import Voice
from windowcast.windows.decision import answer_word, decide
from windowcast.windows.model import Judged, PurposeOutlook, Ranking, Window

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


_ORDER = {"go": 0, "marginal": 1}
_URGENT = ("flag.cut_off", "flag.distrusted", "flag.distrusted_wind", "flag.no_forecast")
_NEXT_SEASON_D = 183  # a day so far ahead is named with its year
_OPENS_LATER = ("advice.not_now.opens", "advice.not_now.again")


@dataclass(frozen=True, slots=True)
class BoardFact:
    """One line of a board: what it is about, and what there is to say, one text or several."""

    name: Phrase
    said: tuple[Phrase, ...]


def in_order(outlooks: Sequence[PurposeOutlook]) -> list[PurposeOutlook]:
    """The open applications, those with hours to take first: fit, then marginal, then others."""
    of = [outlook for outlook in outlooks if outlook.in_season]
    return sorted(of, key=lambda outlook: _ORDER.get(answer_word(outlook), len(_ORDER)))


def urgent(*rankings: Ranking) -> list[Phrase]:
    """Remarks on the weather without which no answer may be read: they stand in its first lines."""
    notes = dict.fromkeys(note for ranking in rankings for note in ranking.weather_notes)
    return [note for note in notes if any(part.id in _URGENT for part in _clauses(note))]


def _clauses(note: Phrase) -> Iterator[Phrase]:
    for _, value in note.values:
        if isinstance(value, Phrase):
            yield value


def lead(outlook: PurposeOutlook) -> Phrase:
    """What to do about an application, as one sentence that starts with a verb."""
    word = answer_word(outlook)
    if word not in ("go", "marginal"):
        return outlook.advice
    best = outlook.windows[0]
    return say("board.spray" if word == "go" else "board.if_you_must", when=_when(best))


def sure(outlook: PurposeOutlook) -> Phrase:
    """Which application the lead is about, and how likely its hours stay fit."""
    best = outlook.windows[0] if outlook.windows else None
    if best is None or best.odds is None:
        return say("board.about", title=outlook.title)
    return say("board.sure", title=outlook.title, share=Share(best.odds.share))


def facts(outlook: PurposeOutlook, today: dt.date) -> Iterator[BoardFact]:
    """What stands under the lead of an open application, most needed first."""
    job = wording.job_lines(outlook)
    if job:
        yield BoardFact(say("board.so_far"), tuple(job))
    burs = (BoardFact(say("board.burs"), outlook.burs),) if outlook.burs else ()
    if not outlook.windows:
        if outlook.would_change:
            yield BoardFact(say("board.needed"), (_needed(outlook.would_change),))
        yield from burs
        return
    best, *others = outlook.windows
    if best.limiting is not None:
        yield BoardFact(say("board.held_back"), (wording.limit(best.limiting),))
    if best.follow_up:
        yield BoardFact(say("board.then"), tuple(item.text for item in best.follow_up))
    decided = decide(outlook, today)
    if decided.why_not_today and any(window.date == today for window in others):
        yield BoardFact(say("board.why_not_today"), (sentence(decided.why_not_today),))
    sooner = next((w for w in others if today < w.date < best.date), None)
    if sooner is not None:
        yield BoardFact(say("board.sooner"), (_other(sooner, best.limiting),))
    following = next((window for window in others if window.date > best.date), None)
    yield BoardFact(say("board.if_you_wait"), (_if_you_wait(outlook, following),))
    yield from burs
    if covers := wording.covers(outlook):
        yield BoardFact(say("board.effect"), tuple(covers))
    if choices := wording.with_what(outlook):
        yield BoardFact(say("board.with"), tuple(choices))


def idle(ranking: Ranking) -> Phrase:
    """What to say first where no application is open; nothing where one is."""
    if any(outlook.in_season for outlook in ranking.purposes):
        return NOTHING
    ahead = [
        (o.opens, o.purpose, o) for o in ranking.purposes if o.opens and o.opens > ranking.today
    ]
    if not ahead:
        return say("board.nothing_open")
    opens, _, first = min(ahead, key=lambda one: one[:2])
    if first.over or (opens - ranking.today).days > _NEXT_SEASON_D:
        return say("board.next_season", title=first.title, day=opens)
    return say("board.next_to_open", title=first.title, day=opens)


def closed(outlook: PurposeOutlook) -> Phrase:
    """A closed application in one line: when it opens; why it is closed stands further down."""
    if outlook.over:
        maybe = outlook.advice.value("maybe")
        return say("board.over", title=outlook.title, maybe=maybe)
    if outlook.advice.id in _OPENS_LATER:
        opening = outlook.advice.value("opening")
        return say("board.opens", title=outlook.title, opening=opening)
    return wording.out_of_season(outlook)


def window_facts(window: Window) -> Iterator[Phrase]:
    """What is said of one window where it stands by itself: its chance, and what goes with it."""
    if window.odds is not None:
        yield say("board.chance", share=Share(window.odds.share))
    if window.limiting is not None:
        yield say("board.held_back_by", limit=wording.limit(window.limiting))
    if window.follow_up:
        items = (item.text for item in window.follow_up)
        yield say("board.follow_up", items=joined(*items, join="clauses"))


def _needed(change: Phrase) -> Phrase:
    """What would have to change, without the word that already stands before it."""
    return sentence(change.value("remedies")) if change.id == "advice.takes" else change


def _when(window: Window) -> Span:
    return Span(window.start, window.end)


def _chance(window: Window) -> Phrase:
    return say("advice.counted", share=Share(window.odds.share)) if window.odds else NOTHING


def _other(window: Window, said_before: Judged | None) -> Phrase:
    """A window before the best one, and what holds it back unless that was said already."""
    held = NOTHING
    known = said_before.criterion if said_before is not None else ""
    if window.limiting is not None and window.limiting.criterion != known:
        held = say("board.but", limit=wording.limit(window.limiting))
    return say("board.also", when=_when(window), chance=_chance(window), held=held)


def _if_you_wait(outlook: PurposeOutlook, following: Window | None) -> Phrase:
    """The next window after the best one, and when the application closes."""
    after = say("board.nothing_later")
    if following is not None:
        after = say("board.next", when=_when(following), chance=_chance(following))
    closes = NOTHING
    if outlook.closes is not None:
        closes = say("board.closes", day=outlook.closes)
    return sentences(after, closes)


WIDTH = 72


def message_text(*rankings: Ranking, voice: Voice) -> str:
    """A summary of a few short paragraphs: the answer, best and second-best window, cautions."""
    first = rankings[0]
    parts = [f"{first.site}, {voice.write(first.today, 'long')}"]
    first_said = urgent(*rankings)
    parts += [_wrap(voice.text(note), "! ") for note in first_said]
    for ranking in rankings:
        parts += _ground(ranking, voice)
    notes = dict.fromkeys(note for ranking in rankings for note in ranking.weather_notes)
    weather = [note for note in notes if note not in first_said]
    if weather:
        lines = (_wrap(voice.text(note), "- ") for note in weather)
        parts.append("\n".join([voice.say("board.weather_used"), *lines]))
    cautions = dict.fromkeys(caution for ranking in rankings for caution in ranking.cautions)
    parts.append("\n".join(_wrap(voice.text(caution), "! ") for caution in cautions))
    return "\n\n".join(parts) + "\n"


def _ground(ranking: Ranking, voice: Voice) -> list[str]:
    """What is said of one piece of ground."""
    parts = [", ".join(ranking.areas)] if ranking.areas else []
    if shut := idle(ranking):
        parts.append(_wrap(voice.text(shut)))
    parts += [_purpose(o, ranking.today, voice) for o in in_order(ranking.purposes)]
    waiting = [o for o in ranking.purposes if not o.in_season]
    if waiting:
        lines = [_wrap(voice.text(closed(o)), "- ") for o in waiting]
        parts.append("\n".join([f"{voice.say('board.not_now')}:", *lines]))
    return parts


def _purpose(outlook: PurposeOutlook, today: dt.date, voice: Voice) -> str:
    said = (lead(outlook), sure(outlook), *turf_lines(outlook))
    lines = [_wrap(voice.text(phrase)) for phrase in said]
    for fact in facts(outlook, today):
        texts = " ".join(voice.text(one) for one in fact.said)
        lines.append(_wrap(f"{voice.text(fact.name)}: {texts}", "  "))
    return "\n".join(lines)


def _wrap(text: str, lead: str = "") -> str:
    return textwrap.fill(
        text, WIDTH, initial_indent=lead, subsequent_indent=" " * len(lead), break_long_words=False
    )

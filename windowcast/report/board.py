"""The board: for each application one sentence that starts with a verb, and the facts under it.

Terminal, page, message and calendar all say these, in this order.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from windowcast.core.phrase import NOTHING, Phrase, Share, Span, joined, say, sentence, sentences
from windowcast.report import wording
from windowcast.windows.decision import answer_word, decide
from windowcast.windows.model import Judged, PurposeOutlook, Ranking, Window

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

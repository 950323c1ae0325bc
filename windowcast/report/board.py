"""The board: for each application one sentence that starts with a verb, and the facts under it.

Terminal, page, message and calendar all say these, in this order.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from windowcast.core.phrase import NOTHING, Phrase, Share, Span, joined, say, sentence, sentences
from windowcast.limits.model import refused
from windowcast.report import wording
from windowcast.report.turf_lines import chance
from windowcast.windows.model import Judged, PurposeOutlook, Ranking, Window

_DAY = dt.timedelta(days=1)
_ROWS = 4  # days with hours in the table of choices
_ORDER = {"go": 0, "marginal": 1}
_OPENS_LATER = ("advice.not_now.opens", "advice.not_now.again")


@dataclass(frozen=True, slots=True)
class BoardFact:
    """One line of a board: what it is about, and what there is to say, one text or several."""

    name: Phrase
    said: tuple[Phrase, ...]


def in_order(outlooks: Sequence[PurposeOutlook]) -> list[PurposeOutlook]:
    """The open applications, those with hours to take first: fit, then marginal, then others."""
    of = [outlook for outlook in outlooks if outlook.in_season]
    return sorted(of, key=lambda outlook: _ORDER.get(wording.answer_word(outlook), len(_ORDER)))


def lead(outlook: PurposeOutlook) -> Phrase:
    """What to do about an application, as one sentence that starts with a verb."""
    if not outlook.windows or refused(outlook.turf) or not outlook.in_season:
        return outlook.advice
    best = outlook.windows[0]
    fit = best.verdict == "fit"
    return say("board.spray" if fit else "board.if_you_must", when=_when(best))


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
    sooner = next((window for window in others if window.date < best.date), None)
    if sooner is not None:
        soon = sooner.date == today
        name = say("board.why_not_today" if soon else "board.sooner")
        said_before = None if soon else best.limiting
        yield BoardFact(name, (_other(sooner, said_before),))
    following = next((window for window in others if window.date > best.date), None)
    yield BoardFact(say("board.if_you_wait"), (_if_you_wait(outlook, following),))
    yield from burs
    if covers := wording.covers(outlook):
        yield BoardFact(say("board.effect"), tuple(covers))
    if choices := wording.with_what(outlook):
        yield BoardFact(say("board.with"), tuple(choices))


@dataclass(frozen=True, slots=True)
class Option:
    """A day to decide for: when, how likely the weather stays fit, and what may go wrong."""

    name: Phrase
    window: Window | None
    works: Phrase
    hurt: Phrase
    washed: Phrase
    best: bool


def options(outlook: PurposeOutlook, today: dt.date) -> list[Option]:
    """Today, tomorrow, the best hours and the next best; none without hours."""
    if not outlook.windows or refused(outlook.turf):
        return []
    best = outlook.windows[0]
    by_day = {window.date: window for window in outlook.windows}
    near = [(say("board.day.today"), today), (say("board.day.tomorrow"), today + _DAY)]
    rows = [_option(name, by_day.get(day), best) for name, day in near]
    shown = {row.window.date for row in rows if row.window is not None}
    further = [window for window in outlook.windows if window.date not in shown]
    rows += [_option(NOTHING, window, best) for window in further[: _ROWS - len(shown)]]
    return rows


def _option(name: Phrase, window: Window | None, best: Window) -> Option:
    if window is None:
        return Option(name, None, say("board.no_hours"), NOTHING, NOTHING, best=False)
    works = say("board.counted", share=Share(window.odds.share)) if window.odds else NOTHING
    return Option(
        name,
        window,
        works,
        NOTHING if window.harm is None else chance(window.harm),
        NOTHING if window.washed is None else chance(window.washed),
        best=window is best,
    )


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
    return say("board.next_to_open", title=first.title, day=opens)


def closed(outlook: PurposeOutlook) -> Phrase:
    """A closed application in one line: when it opens; why it is closed stands further down."""
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

"""What is new since the last look: windows whose odds passed the threshold or fell back below it.

A told window stays told while its odds stay above the threshold less a margin, so that odds that
hover about the threshold do not ring twice; a told window whose time has passed is forgotten in
silence.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from windowcast.core.phrase import NOTHING, Phrase, Share, Span, names, say
from windowcast.windows.model import PurposeOutlook, Ranking, Window

MARGIN = 0.05  # how far odds must fall below the threshold before a told window is taken back


@dataclass(frozen=True, slots=True)
class Told:
    """A window that was told of."""

    start: dt.datetime
    end: dt.datetime
    share: float


@dataclass(frozen=True, slots=True)
class News:
    """Something new about one purpose."""

    purpose: str
    kind: Literal["opened", "fell back"]
    text: Phrase


def compare(
    told: Mapping[str, Told], rankings: Sequence[Ranking], threshold: float, now: dt.datetime
) -> tuple[tuple[News, ...], dict[str, Told]]:
    """What is new, and what has now been told.

    Parameters
    ----------
    told
        Purpose, with its areas where there are any (see `key`) → the window last told of.
    rankings
        One for each piece of the site's ground.
    threshold
        Least odds of a fit window worth a message, 0..1.
    now
        Aware; windows that have ended are over.
    """
    news: list[News] = []
    kept: dict[str, Told] = {}
    seen = {key(ranking, o): (ranking, o) for ranking in rankings for o in ranking.purposes}
    for name, (ranking, outlook) in seen.items():
        before = told.get(name)
        if before is not None and before.end <= now:
            before = None
        if outlook.job is not None and not outlook.job.open:
            continue  # done: a window that was told of served its turn
        holds = before is not None and _still(outlook, before, threshold - MARGIN)
        if before is not None and holds:
            kept[name] = before
            continue
        best = _best(outlook.windows, threshold, now)
        if before is not None:
            news.append(_on(ranking, _fell_back(outlook, before, threshold)))
        if best is not None and best.odds is not None:
            news.append(_on(ranking, _opened(outlook, best, instead=before is not None)))
            kept[name] = Told(best.start, best.end, best.odds.share)
    others = {name: t for name, t in told.items() if name not in seen and t.end > now}
    return tuple(news), kept | others


def key(ranking: Ranking, outlook: PurposeOutlook) -> str:
    """What a purpose's window is told under: ``"pre-fall"``, ``"pre-fall: greens, tees"``."""
    return ": ".join(filter(None, (outlook.purpose, ", ".join(ranking.areas))))


def _on(ranking: Ranking, news: News) -> News:
    """The news with the areas that it is about."""
    if not ranking.areas:
        return news
    return replace(news, text=say("news.on", areas=names(*ranking.areas), text=news.text))


def _best(windows: Sequence[Window], threshold: float, now: dt.datetime) -> Window | None:
    """The first ranked window that is fit, likely enough, and not over."""
    for window in windows:
        likely = window.odds is not None and window.odds.share >= threshold
        if window.verdict == "fit" and likely and window.end > now:
            return window
    return None


def _on_day(outlook: PurposeOutlook, date: dt.date) -> Window | None:
    """The purpose's window on a day, also where it no longer qualifies."""
    candidates: list[Window] = [*outlook.windows]
    if outlook.closest is not None:
        candidates.append(outlook.closest)
    for window in candidates:
        if window.start.date() == date:
            return window
    return None


def _still(outlook: PurposeOutlook, before: Told, least: float) -> bool:
    window = _on_day(outlook, before.start.date())
    return (
        window is not None
        and window.verdict in ("fit", "marginal")
        and window.odds is not None
        and window.odds.share >= least
    )


def _opened(outlook: PurposeOutlook, window: Window, *, instead: bool) -> News:
    return News(
        outlook.purpose,
        "opened",
        say(
            "news.opened",
            what=say("news.instead") if instead else outlook.title,
            when=Span(window.start, window.end),
            share=Share(window.odds.share if window.odds else 0.0),
        ),
    )


def _fell_back(outlook: PurposeOutlook, before: Told, threshold: float) -> News:
    window = _on_day(outlook, before.start.date())
    if window is not None and window.odds is not None:
        held = NOTHING
        if window.limiting is not None:
            held = say("advice.held_down", criterion=window.limiting.label)
        if window.odds.share >= threshold - MARGIN:
            reason = say("news.unqualified", held=held)
        else:
            reason = say(
                "news.odds_fell",
                before=Share(before.share),
                now=Share(window.odds.share),
                asked=Share(threshold),
                held=held,
            )
    elif not outlook.in_season:
        reason = say("news.out_of_season")
    else:
        reason = say("news.gone")
    when = Span(before.start, before.end)
    text = say("news.fell_back", title=outlook.title, when=when, reason=reason)
    return News(outlook.purpose, "fell back", text)

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
    """Something new about one purpose.

    `kind` is ``"opened"``, ``"fell back"``, or ``"moved"`` where a window that was told of is lost
    and another takes its place.
    """

    purpose: str
    kind: Literal["opened", "moved", "fell back"]
    text: Phrase


def compare(
    told: Mapping[str, Told], rankings: Sequence[Ranking], threshold: float, now: dt.datetime
) -> tuple[tuple[News, ...], dict[str, Told]]:
    """What is new, and what has now been told.

    Ground on which a purpose is done is passed over in silence: a window that was told of served
    its turn.

    Parameters
    ----------
    told
        Purpose, with its area where there are any (see `key`) → the window last told of.
    rankings
        One for each piece of the site's ground.
    threshold
        Least odds of a fit window worth a message, 0..1.
    now
        Aware; windows that have ended are over.
    """
    news: list[News] = []
    kept: dict[str, Told] = {}
    seen: set[str] = set()
    for ranking in rankings:
        for outlook in ranking.purposes:
            alike: dict[Told | None, list[str]] = {}  # areas by what was told of them
            for area in ranking.areas or ("",):
                name = key(outlook.purpose, area)
                before = told.get(name, told.get(outlook.purpose))  # told before areas were named
                over = before is None or before.end <= now
                alike.setdefault(None if over else before, []).append(area)
                seen |= {name, outlook.purpose}
            if outlook.job is not None and not outlook.job.open:
                continue
            for before, areas in alike.items():
                item, now_told = _since(outlook, before, threshold, now)
                if item is not None:
                    news.append(_on([area for area in areas if area], item))
                if now_told is not None:
                    kept |= {key(outlook.purpose, area): now_told for area in areas}
    others = {name: t for name, t in told.items() if name not in seen and t.end > now}
    return tuple(news), kept | others


def key(purpose: str, area: str) -> str:
    """What a purpose's window is told under: ``"pre-fall"``, ``"pre-fall: greens"``."""
    return f"{purpose}: {area}" if area else purpose


def _on(areas: Sequence[str], news: News) -> News:
    """The news with the areas that it is about."""
    if not areas:
        return news
    return replace(news, text=say("news.on", areas=names(*areas), text=news.text))


def _since(
    outlook: PurposeOutlook, before: Told | None, threshold: float, now: dt.datetime
) -> tuple[News | None, Told | None]:
    """What is new of a purpose since a window was told of, and the window now told of."""
    if before is not None and _still(outlook, before, threshold - MARGIN):
        return None, before
    best = _best(outlook.windows, threshold, now)
    if best is None or best.odds is None:
        return (None if before is None else _fell_back(outlook, before, threshold)), None
    share = best.odds.share
    told = Told(best.start, best.end, share)
    when = Span(best.start, best.end)
    if before is None:
        text = say("news.opened", title=outlook.title, when=when, share=Share(share))
        return News(outlook.purpose, "opened", text), told
    text = say(
        "news.moved",
        lost=_fell_back(outlook, before, threshold).text,
        when=when,
        share=Share(share),
    )
    return News(outlook.purpose, "moved", text), told


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

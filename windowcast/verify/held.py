"""What came of the windows announced: their hours in the weather measured, by the same criteria."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence

import numpy as np

from windowcast.core.record import Grade, Weather
from windowcast.core.site import Site
from windowcast.materials.needs import ActiveNeeds
from windowcast.season.model import SiteState
from windowcast.sources.foretold import AnnouncedOnce, HeldWindow
from windowcast.verify.days_of import days_of
from windowcast.windows.hindsight import decided, season_context
from windowcast.windows.hours import HourContext
from windowcast.windows.judge import HourScores, Judge
from windowcast.windows.model import PURPOSES
from windowcast.windows.purposes import purpose_of
from windowcast.windows.score import Block, combine, holds

SETTLED_H = 36  # hours after a window's end that criteria on rain may look at
HOURS_UNKNOWN = "hours"  # in the place of a criterion: its hours were not measured
_STATE_DAYS = 60  # of the state before the first window that days may look back on


def held_windows(
    site: Site,
    weather: Weather,
    past: SiteState,
    announced: Sequence[AnnouncedOnce],
    needs_of: Callable[[str], ActiveNeeds | None],
) -> list[HeldWindow]:
    """Which of the windows announced held, those whose weather is over.

    A window held where its measured hours contain the shortest useful run of workable ones: what
    its odds are odds of. It did not where that cannot be, whatever is unknown; else, where a
    criterion is unknown, it cannot be told.

    Parameters
    ----------
    past
        State of the site over the days of the record before today.
    announced
        Of one piece of ground.
    needs_of
        Of the actives asked for, as stored; None where one is not known any more.
    """
    if weather.hourly is None or not announced:
        return []
    seen = weather.hourly.times[weather.hourly.grade("temp_c") == Grade.OBSERVED]
    if not len(seen):
        return []
    first, last = (int(t.astype(np.int64)) * 3600 for t in seen[[0, -1]])
    due = {
        (w.ground, w.window.purpose, w.window.start, w.window.stop, w.window.actives): w
        for w in announced
        if first <= w.window.start and w.window.stop + 3600 * SETTLED_H <= last
    }
    if not due:
        return []
    begin = min(w.window.start for w in due.values())
    day = dt.datetime.fromtimestamp(begin, site.zone).date() - dt.timedelta(days=1)
    yesterday = weather.today - dt.timedelta(days=1)
    late = _STATE_DAYS + (yesterday - day).days
    state = days_of(past, slice(-late, None))
    context = season_context(site, weather, state, day, yesterday)
    judge = Judge(context, past)
    found: list[HeldWindow] = []
    scored: dict[tuple[str, tuple[str, ...]], HourScores] = {}
    for one in due.values():
        window = one.window
        name = next((p for p in PURPOSES if p == window.purpose), None)
        if name is None:
            continue
        purpose = purpose_of(name, context.tables)
        needs = needs_of(window.actives) if window.actives else purpose.generic
        if needs is None:
            continue
        key = (name, needs.names)
        if key not in scored:
            scored[key] = decided(judge.scores(purpose, needs), needs)
        held, unknown = _judged(context, scored[key], _block(context, window.start, window.stop))
        found.append(
            HeldWindow(one.ground, name, window.start, window.stop, window.actives, held, unknown)
        )
    return found


def _judged(
    context: HourContext, scores: HourScores, block: Block
) -> tuple[bool | None, tuple[str, ...]]:
    """Whether a block held, and what is not known of it."""
    rows = {
        name: np.broadcast_to(score[0], scores.open.shape)[block.hours]
        for name, score in scores.scores.items()
    }
    unknown = tuple(name for name, row in rows.items() if np.isnan(row).any())
    marks = context.grade.get("temp_c")
    where = slice(context.lead + block.start, context.lead + block.stop)
    if marks is None or (marks[where] != Grade.OBSERVED).any():
        return None, (HOURS_UNKNOWN, *unknown)
    best = combine((np.where(np.isnan(r), 1.0, r), scores.weights[n]) for n, r in rows.items())
    if not holds(np.broadcast_to(best, (block.stop - block.start,)), context.rule):
        return False, ()
    return (None, unknown) if unknown else (True, ())


def _block(context: HourContext, start: int, stop: int) -> Block:
    first = int(context.times[context.lead].astype(np.int64))
    return Block(start // 3600 - first, -(-stop // 3600) - first)

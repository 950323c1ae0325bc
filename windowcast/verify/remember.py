"""Every answer given is put on record: what it said of the days ahead, the windows and their odds.

And what came of windows announced before, as soon as their weather is over: the hours measured are
kept for some weeks only, and are judged by the same criteria.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from zoneinfo import ZoneInfo

import numpy as np

from windowcast.core.errors import InputError
from windowcast.core.local_days import local_today, midnights_s
from windowcast.core.record import FloatArray, Grade, Weather
from windowcast.core.site import Site
from windowcast.materials.needs import ActiveNeeds
from windowcast.programme.answer import Answer
from windowcast.season.model import SiteState, days_of
from windowcast.sources.foretold import (
    DAY_S,
    Announced,
    AnnouncedOnce,
    Foretold,
    HeldWindow,
    Issue,
    Said,
    ground_key,
)
from windowcast.windows.hindsight import decided, season_context
from windowcast.windows.hours import HourContext
from windowcast.windows.judge import HourScores, Judge
from windowcast.windows.model import PURPOSES, Window
from windowcast.windows.purposes import purpose_of
from windowcast.windows.score import Block, combine, holds

SETTLED_H = 36  # hours after a window's end that criteria on rain may look at
HOURS_UNKNOWN = "hours"  # in the place of a criterion: its hours were not measured
_STATE_DAYS = 60  # of the state before the first window that days may look back on

OWN = "windowcast"  # the source of an answer's own values
DAYS = 10  # ahead that are kept
LOOK_BACK_DAYS = 21  # in which windows are still judged


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


def ground_of(site: Site, areas: Sequence[str], asked: str = "") -> str:
    """The key of a piece of ground and of the actives asked for."""
    return ground_key(site.turf.species, *areas, "|", asked)


def remember(
    answers: Sequence[Answer],
    store: Foretold,
    *,
    asked: str = "",
    needs_of: Callable[[Answer, str], ActiveNeeds | None] = lambda answer, actives: None,
) -> bool:
    """Put answers on record, and what came of windows announced before; False where it cannot be.

    Answers about another day, and those without a forecast, are none to be held to account.

    Parameters
    ----------
    asked
        Actives that were asked for; "" for the standing question.
    needs_of
        Of an answer's ground and actives as stored; None for what is usual.
    """
    try:
        for answer in answers:
            issue = _issue(answer, store.clock(), asked)
            if issue is None:
                continue
            place = answer.weather.place
            windows = [w for o in answer.ranking.purposes for w in o.windows]
            fresh = store.keep(
                place, issue, said_in(answer, issue.made), [_announced(w) for w in windows]
            )
            if fresh:
                _judge(answer, issue.ground, store, needs_of)
    except InputError:
        return False  # the weather's remark has said so
    return True


def _judge(
    answer: Answer,
    ground: str,
    store: Foretold,
    needs_of: Callable[[Answer, str], ActiveNeeds | None],
) -> None:
    """Keep what came of the ground's windows that are over and not judged yet."""
    place, since = answer.weather.place, store.clock() - LOOK_BACK_DAYS * DAY_S
    known = {(w.purpose, w.start, w.stop, w.actives) for w in store.held(place, since)
             if w.ground == ground}  # fmt: skip
    open_ = [
        one for one in store.announced(place, since)
        if one.ground == ground
        and (one.window.purpose, one.window.start, one.window.stop, one.window.actives) not in known
    ]  # fmt: skip
    store.keep_held(
        place,
        held_windows(
            answer.site, answer.weather, answer.past, open_, lambda names: needs_of(answer, names)
        ),
    )


def _issue(answer: Answer, now: float, asked: str) -> Issue | None:
    """The answer as an issue; None where it is not about today's forecast."""
    weather = answer.weather
    if weather.today != local_today(answer.site.zone) or not answer.members.forecast_days:
        return None
    records = [weather.daily, *([weather.hourly] if weather.hourly is not None else [])]
    origins = [p for record in records for p in record.provenance if p.issued is not None]
    if not origins or origins[0].issued is None:
        return None
    issued = int(origins[0].issued.timestamp())
    return Issue(
        ground_of(answer.site, answer.areas, asked), OWN, issued, int(now), origins[0].digest
    )


def said_in(answer: Answer, made_s: float) -> list[Said]:
    """Highs, lows and soil of whole days that begin after the answer: median and 10 to 90 %."""
    daily = answer.members.daily
    bounds = midnights_s(ZoneInfo(daily.place.timezone), daily.times[:DAYS])
    by_name = {name: daily.get(name) for name in ("tmax_c", "tmin_c")}
    by_name["soil_5cm_c"] = answer.ahead.soil_5cm_c
    said = []
    for name, members in by_name.items():
        points = _points(np.atleast_2d(members)[1:, :DAYS])
        for at in np.flatnonzero(np.isfinite(points[1]) & (bounds[:-1] >= made_s)):
            low, middle, high = (float(v) for v in points[:, at])
            said.append(Said(name, int(bounds[at]), int(bounds[at + 1]), middle, low, high))
    return said


def _points(members: FloatArray) -> FloatArray:
    """10, 50 and 90 % of the futures, ``[3, day]``; NaN where any is unknown."""
    if not len(members):
        return np.full((3, members.shape[-1]), np.nan)
    return np.quantile(members, [0.1, 0.5, 0.9], axis=0)


def _announced(window: Window) -> Announced:
    odds = window.odds
    share, low, high, futures, basis = (
        (None, None, None, 0, "") if odds is None
        else (odds.share, odds.low, odds.high, odds.members, odds.basis)
    )  # fmt: skip
    return Announced(
        window.purpose, int(window.start.timestamp()), int(window.end.timestamp()),
        window.verdict, window.score, share, low, high, futures, basis,
        "+".join(window.actives),
    )  # fmt: skip

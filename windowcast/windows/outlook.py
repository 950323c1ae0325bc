"""What can be said of one purpose: whether it is in season, its windows, what is against others."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

import numpy as np

from windowcast.core.phrase import NOTHING, Phrase
from windowcast.limits.answer import ground_limits
from windowcast.limits.ground import ground_of
from windowcast.limits.model import TurfAnswer, TurfSpan, refused, spans
from windowcast.materials.needs import ActiveNeeds
from windowcast.windows import advice
from windowcast.windows.covers import covers_working
from windowcast.windows.day_windows import DayWindows
from windowcast.windows.decision_model import Shut
from windowcast.windows.hours_ahead import strip_of
from windowcast.windows.model import PurposeOutlook, Window
from windowcast.windows.purposes import Purpose
from windowcast.windows.tanks import Tanks
from windowcast.windows.timing import Timing, timing_of


def outlook(
    purpose: Purpose, mixture: ActiveNeeds | None, stock: Sequence[ActiveNeeds], tanks: Tanks
) -> PurposeOutlook:
    """All that can be said of a purpose.

    Parameters
    ----------
    mixture
        What the actives to be used need; None for what is usual for the purpose.
    stock
        Needs of the actives at hand; none where nobody says what is.
    """
    needs = mixture or purpose.generic
    timing = timing_of(purpose, needs, running=tanks.running, days=tanks.windows.days)
    ctx = tanks.windows.ctx
    if not any(e.season == purpose.weeds for e in ctx.ahead.emergence.values()):
        reason = advice.no_weeds(purpose)
        return _closed(purpose, timing, reason, reason)
    never = _never(purpose, mixture, tanks)
    if never is not None:
        return replace(_closed(purpose, timing, never, never), opens=None)
    if not timing.in_season:
        why = advice.why(purpose, timing)
        closed = _closed(purpose, timing, why, advice.out_of_season(purpose, timing, why, ctx.rule))
        turf = _on_opening(tanks.windows, needs, closed.opens)
        return replace(closed, turf=turf, over=timing.over)
    return _open(purpose, mixture, stock, tanks, timing)


def _never(purpose: Purpose, mixture: ActiveNeeds | None, tanks: Tanks) -> Phrase | None:
    """Why these actives are of no use for a purpose on this ground, whatever the day."""
    needs = mixture or purpose.generic
    failing = tanks.against(purpose)(needs.names)
    if failing is not None and failing.standing == "resistant":
        return advice.resisted(failing)
    if not purpose.serves(needs):
        return advice.serves_not(needs)
    if mixture is not None and tanks.misses_all(purpose, mixture):
        return advice.wrong_weeds(mixture, tanks.codes(purpose))
    return None


def _open(
    purpose: Purpose,
    mixture: ActiveNeeds | None,
    stock: Sequence[ActiveNeeds],
    tanks: Tanks,
    timing: Timing,
) -> PurposeOutlook:
    """A purpose in season."""
    days, today = tanks.windows, tanks.running.today
    ctx, needs = days.ctx, mixture or purpose.generic
    scores = days.judge.scores(purpose, needs)
    found = days.ordered(needs, scores)
    shut = tuple(
        _shut(days, needs, days.window(purpose, needs, rated))
        for rated in found
        if not rated.offered and days.day_of(rated.block) <= 1  # today and tomorrow
    )
    go = tuple(days.window(purpose, needs, rated) for rated in found if rated.offered)
    go, chosen = tanks.by_effect(purpose, mixture, go)
    closest, change = None, NOTHING
    if not go and found:
        closest = days.window(purpose, needs, found[0])
        change = advice.would_change(scores, found[0].block, ctx.rule)
    blind = closest is None or closest.verdict == "cannot tell"
    blind = not go and blind and bool(np.isnan(scores.score[0, scores.open]).any())
    turf = spans(days.judge.turf(needs)[: days.days])
    if refused(turf):
        text, change, closest = advice.turf(turf), NOTHING, None
    elif go:
        text = advice.go(go, ctx.rule)
    elif blind:
        day = None if closest is None else (closest.date - today).days
        known = day is not None and day < days.members.forecast_days
        text = advice.cannot_tell(closest, days.days, ctx.tables["criteria"], forecast=known)
        closest = closest if known else None  # no hour is near where no forecast reaches
    else:
        text = advice.wait(closest, days.days)
    return PurposeOutlook(
        purpose=purpose.name,
        title=purpose.title,
        in_season=True,
        why=advice.why(purpose, timing),
        opens=timing.opening,
        closes=timing.closing,
        advice=text,
        burs=_burs(purpose, tanks),
        windows=go,
        closest=closest,
        would_change=change,
        strip=strip_of(ctx, scores, days.last_hour) if tanks.in_full else None,
        stock=tuple(tanks.stock_fit(purpose, one) for one in stock) if tanks.in_full else (),
        cannot_tell=blind,
        turf=turf,
        choices=chosen,
        none_in_stock=bool(go) and bool(stock) and bool(tanks.candidates) and not chosen,
        covers=covers_working(purpose, needs, tanks.running, tanks.barriers, tanks.against(purpose))
        if tanks.in_full
        else (),
        shut=shut,
    )


def _shut(days: DayWindows, needs: ActiveNeeds, window: Window) -> Shut:
    """A day that offers nothing: what the turf says goes before the weather."""
    answer: Literal["no", "cannot tell"] = "no" if window.verdict == "unfit" else "cannot tell"
    taken = days.taken(needs, days.block_of(window))
    turf = next((j for j in window.judged if j.criterion == "turf_safety"), None)
    limit = window.limiting
    if taken.answer != "yes" and turf is not None:
        answer, limit = taken.answer, turf
    if limit is None:
        limit = min(window.judged, key=lambda j: -1.0 if j.score is None else j.score)
    return Shut(window.date, answer, limit.label, limit.reason)


def _burs(purpose: Purpose, tanks: Tanks) -> tuple[Phrase, ...]:
    """What a post-emergent has to come before."""
    if purpose.barrier:
        return ()
    ctx = tanks.windows.ctx
    own = ctx.ahead.watched(purpose.weeds)
    return advice.burs(own, tanks.running.today, southern=ctx.site.place.southern)


def _on_opening(
    days: DayWindows, needs: ActiveNeeds, opens: dt.date | None
) -> tuple[TurfSpan, ...]:
    """What ground and date say against the day on which a purpose opens; nothing: no word."""
    if opens is None:
        return ()
    against = ground_limits(needs, ground_of(days.ctx.site), opens, days.ctx.tables)
    return spans((TurfAnswer(opens, against),)) if against else ()


def _closed(purpose: Purpose, timing: Timing, why: Phrase, text: Phrase) -> PurposeOutlook:
    """A purpose that is not open."""
    return PurposeOutlook(
        purpose=purpose.name,
        title=purpose.title,
        in_season=False,
        why=why,
        opens=timing.opening,
        closes=None,
        advice=text,
        windows=(),
        closest=None,
        would_change=NOTHING,
    )

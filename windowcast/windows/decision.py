"""The one decision about an application: what to do, on which day, and why not today.

Sentence, table and "now or wait" all come from here, so that they cannot disagree. The order of
the windows is made once, by `order_key`: fit before marginal, then by the expected effect times the
chance that the weather stays fit, then the earlier.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence

from windowcast.core.phrase import NOTHING, Phrase, Share, say
from windowcast.limits.model import refused
from windowcast.windows.criteria import RAIN_AFTER
from windowcast.windows.decision_model import Decided, Now, Option, OptionName
from windowcast.windows.model import PurposeOutlook, Verdict, Window
from windowcast.windows.score import nearness

_DAY = dt.timedelta(days=1)
_NOW: dict[str, Now] = {"cannot tell": "cannot tell", "wait": "wait", "out of season": "wait"}
_ORDER = {"fit": 0, "marginal": 1, "cannot tell": 2, "unfit": 3}


def order_key(window: Window) -> tuple[float, ...]:
    """What windows of one application are sorted by, best first.

    Of those that are no go the nearest to one comes first.
    """
    if window.verdict in ("unfit", "cannot tell"):
        worth = nearness(j.score for j in window.judged)
    else:
        worth = strength(window) * (1.0 if window.odds is None else window.odds.share)
    return (*order_of(window.verdict, worth), window.start.timestamp())


def order_of(verdict: Verdict, worth: float) -> tuple[float, ...]:
    """What goes before the hour: how windows of a verdict that are worth so much are sorted."""
    return (_ORDER[verdict], -round(worth, 3))


def strength(window: Window) -> float:
    """Share of the season's weeds controlled; where no source tells, how well its hours suit."""
    return (window.score or 0.0) / 100 if window.effect is None else window.effect.reached


def answer_word(outlook: PurposeOutlook) -> str:
    """What to do, as a key: go, marginal, wait, do not spray, done, look, out of season ..."""
    if outlook.job is not None and not outlook.job.open:
        return outlook.job.state
    if not outlook.in_season:
        return "out of season"
    if refused(outlook.turf):
        return "do not spray" if outlook.turf[0].answer == "no" else "cannot tell"
    if outlook.windows:
        return "go" if outlook.windows[0].verdict == "fit" else "marginal"
    return "cannot tell" if outlook.cannot_tell else "wait"


def decide(outlook: PurposeOutlook, today: dt.date) -> Decided:
    """The decision about an application, from its windows in their order.

    Parameters
    ----------
    today
        Day of the answer.
    """
    do = answer_word(outlook)
    if do not in ("go", "marginal"):
        return Decided(do, _NOW.get(do, "neither"), (), NOTHING, outlook.advice)
    best = outlook.windows[0]
    options = tuple(_options(outlook, today))
    if best.date == today:
        later = any(window.date > today for window in outlook.windows)
        if do == "marginal":
            text = say("decide.now_marginal")
        else:
            text = say("decide.now_best") if later else say("decide.now_only")
        return Decided(do, "act", options, NOTHING, text)
    why = _why_not_today(outlook, today, options[0])
    if do == "go":
        text = say("decide.wait", day=best.date, why=why)
    else:
        text = say("decide.wait_marginal", day=best.date, why=why)
    return Decided(do, "wait", options, why, text)


def _why_not_today(outlook: PurposeOutlook, today: dt.date, now: Option) -> Phrase:
    """What speaks for the best day against today, of what the order goes by."""
    best = outlook.windows[0]
    here = _on(outlook.windows, today)
    if here is None:
        return now.why
    if here.verdict == "marginal" and best.verdict == "fit":
        held = here.limiting
        return say("decide.marginal", limit=held.label) if held else say("decide.marginal_only")
    chances = here.odds, best.odds
    likelier = 1.0
    if chances[0] is not None and chances[1] is not None:
        likelier = chances[1].share / max(chances[0].share, 1e-9)
        if likelier >= strength(best) / max(strength(here), 1e-9):
            shares = {"then": Share(chances[1].share), "now": Share(chances[0].share)}
            return say("decide.likelier", **shares)
    if here.effect is not None and best.effect is not None:
        up = best.effect.up, here.effect.up
        if up[0] is not None and up[1] is not None and best.effect.middle <= here.effect.middle:
            return say("decide.more_up", then=Share(up[0]), now=Share(up[1]))
        middles = {"then": Share(best.effect.middle), "now": Share(here.effect.middle)}
        return say("decide.stronger", **middles)
    held = here.limiting
    if held is not None:
        return say("decide.better_but", limit=held.label)
    return say("decide.better")


def _options(outlook: PurposeOutlook, today: dt.date) -> Iterator[Option]:
    """The columns of the table."""
    windows = outlook.windows
    near: tuple[tuple[OptionName, dt.date], ...] = (("today", today), ("tomorrow", today + _DAY))
    for name, day in near:
        window = _on(windows, day)
        yield _no_window(outlook, name, day) if window is None else _option(outlook, name, window)
    further = [window for window in windows if window.date > today + _DAY]
    if further:
        name = "best" if further[0] is windows[0] else "next"
        yield _option(outlook, name, further[0])
    yield Option("skip", None, None, None, "skip", NOTHING, NOTHING)


def _option(outlook: PurposeOutlook, name: OptionName, window: Window) -> Option:
    chance = None if window.odds is None else window.odds.share
    cost = outlook.choices[0].cost_per_ha if outlook.choices else None
    return Option(
        name,
        window.date,
        window.start,
        window.end,
        "fit" if window.verdict == "fit" else "marginal",
        NOTHING,
        NOTHING,
        best=window is outlook.windows[0],
        effect=window.effect,
        chance=chance,
        hurt=window.harm,
        rain_matters=any(j.criterion in RAIN_AFTER for j in window.judged),
        washed=window.washed,
        lost=window.lost,
        at_risk_per_ha=None if cost is None or chance is None else cost * (1 - chance),
        money="" if cost is None else outlook.choices[0].money,
    )


def _no_window(outlook: PurposeOutlook, name: OptionName, day: dt.date) -> Option:
    """A day without a spray window, and why."""
    again = outlook.job.again if outlook.job is not None else None
    if again is not None and again > day:
        return Option(name, day, None, None, "no", say("decide.again", day=again), NOTHING)
    shut = next((one for one in outlook.shut if one.date == day), None)
    if shut is None:
        return Option(name, day, None, None, "no", say("decide.no_hours"), NOTHING)
    about = {"limit": shut.limit, "reason": shut.reason}
    no = shut.answer == "no"
    why = say("decide.ruled_out", **about) if no else say("decide.unknown", **about)
    return Option(name, day, None, None, shut.answer, why, shut.limit)


def _on(windows: Sequence[Window], day: dt.date) -> Window | None:
    return next((window for window in windows if window.date == day), None)

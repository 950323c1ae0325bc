"""Act on today's or tomorrow's window, or wait: a purpose's decision, and the numbers behind it.

Three things are weighed: acting today or tomorrow, the best single day of those ahead that are
judged by the hour, and holding out for the first good one, then or later.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from windowcast.core.phrase import NOTHING, Phrase, Share, say
from windowcast.core.record import FloatArray, Members
from windowcast.core.values import Tables
from windowcast.programme.model import DayAhead, Decision
from windowcast.programme.stopping import wait
from windowcast.windows.hours import HourContext
from windowcast.windows.judge import HourScores
from windowcast.windows.model import Odds
from windowcast.windows.odds import odds
from windowcast.windows.purposes import Purpose
from windowcast.windows.score import BoolArray, Rule

Choice = Literal["act", "wait", "neither", "cannot tell"]
SOON = 2  # today and tomorrow
HARDLY = 0.005  # a risk that is not worth a number


def day_offers(scores: HourScores, ctx: HourContext, days: int) -> FloatArray:
    """Score 0..1 of the best shortest run of hours of each day, ``[member, day]``.

    Hours that are closed or below what is workable offer nothing, so that a run offers only what
    every hour of it holds. NaN where no run offers anything and some might, could it be told.
    """
    rule = ctx.rule
    maybe = scores.open & ~(scores.score < rule.marginal)
    value = np.where(maybe, scores.score, 0.0)
    runs = np.lib.stride_tricks.sliding_window_view(value, rule.shortest_h, axis=-1)
    possible = np.lib.stride_tricks.sliding_window_view(maybe, rule.shortest_h, axis=-1)
    best = np.where(possible.all(axis=-1), runs.mean(axis=-1), 0.0)
    day = ctx.day[ctx.lead :][: best.shape[-1]]
    offers = np.zeros((len(best), days))
    for index in range(days):
        here = best[:, day == index]
        if here.shape[1]:
            known = np.fmax.reduce(here, axis=1)
            blind = np.isnan(here).any(axis=1) & ~(known > 0)
            offers[:, index] = np.where(blind, np.nan, known)
    return offers


@dataclass(frozen=True)
class Later:
    """What is left beyond the days judged by the hour, ``[member]``.

    Attributes
    ----------
    value
        What it is worth, 0..1.
    comes
        Whether any workable day comes before the purpose closes.
    """

    value: FloatArray
    comes: BoolArray


def decision(
    purpose: Purpose,
    offers: FloatArray,
    later: Later,
    members: Members,
    *,
    today: dt.date,
    closes: dt.date | None,
) -> Decision:
    """Decide now or wait.

    Parameters
    ----------
    offers
        Score of the best window of each coming day, 0..1, ``[member, day]``, the forecast as
        issued first; NaN where it cannot be told, which counts as none.
    later
        What is left after those days.
    """
    unknown = np.isnan(offers[1:, :SOON]).any(axis=1).mean() > 0.5
    issued, offers = 100 * np.nan_to_num(offers[0]), np.nan_to_num(offers[1:])
    expected = 100 * offers.mean(axis=0)
    day = int(np.argmax(expected[:SOON]))
    waiting = wait(offers[:, SOON:], later.value)
    act, hold, error = float(expected[day]), 100 * waiting.value, 100 * waiting.error
    choice: Choice = "act" if act >= hold - error else "wait"
    if act <= 0 and hold <= 0:
        choice = "neither"
    if unknown:
        choice = "cannot tell"

    def chance(index: int) -> Odds | None:
        return odds((offers[:, index] > 0).astype(np.float64), members, index, index + 1)

    def best(scores: FloatArray) -> DayAhead | None:
        index = SOON + int(np.argmax(scores[SOON:]))
        if scores[index] <= 0:
            return None
        date = today + dt.timedelta(days=index)
        return DayAhead(date, float(issued[index]), float(expected[index]), chance(index))

    made = Decision(
        purpose=purpose.name,
        act_on=today + dt.timedelta(days=day),
        act_score=act,
        act_odds=chance(day),
        best_ahead=best(issued),
        surest=best(expected),
        wait_score=hold,
        wait_error=error,
        none_risk=float(((offers[:, SOON:] <= 0).all(axis=1) & ~later.comes).mean()),
        closes=closes,
        choice=choice,
        advice=NOTHING,
    )
    return replace(made, advice=_advice(made, today, offers.shape[1], purpose.rule))


def later_value(
    day_score: FloatArray, timing: FloatArray, offers: FloatArray, first: int, tables: Tables
) -> Later:
    """What is left beyond the days judged by the hour.

    Worth the mean score of the workable days of the fortnight with which the purpose's time goes
    on from then, 0 where there is none. Whole days are judged by fewer criteria than hours, so
    their scores are scaled to those the hours of the coming days reach.

    Parameters
    ----------
    day_score, timing
        Whole-day and timing scores, ``[member, day]`` from today to the season's end.
    offers
        By the hour, ``[member, day]``.
    first
        First day beyond those.
    tables
        The science values to go by.
    """
    rule = Rule.of(tables["criteria"])
    in_season = timing >= rule.season
    value = np.nan_to_num(np.where(in_season, day_score * timing, 0.0))
    near = value[:, : offers.shape[1]]
    both = np.isfinite(offers) & (near > 0)
    reached, possible = offers[both].sum(), near[both].sum()
    ratio = min(1.0, float(reached / possible)) if reached > 0 else 1.0
    rest = value[:, first:]
    workable = rest >= rule.marginal
    begins = in_season[:, first:].argmax(axis=1)[:, None]
    days = np.arange(rest.shape[1])
    span = (days >= begins) & (days < begins + tables["plan"].number("later_days"))
    counted = workable & span
    total = np.where(counted, ratio * rest, 0.0).sum(axis=1)
    mean: FloatArray = total / np.maximum(counted.sum(axis=1), 1)
    return Later(mean, np.any(workable, axis=1, keepdims=False))


def _advice(made: Decision, today: dt.date, days: int, rule: Rule) -> Phrase:
    """The decision: now, the best day ahead, and holding out."""
    when = say("decision.today" if made.act_on == today else "decision.tomorrow")
    if made.choice == "cannot tell":
        return say("decision.cannot_tell")
    before = say("decision.before", day=made.closes) if made.closes else NOTHING
    if made.choice == "neither":
        return say("decision.neither", before=before)
    if made.none_risk < HARDLY:
        risk = say("decision.sure", before=before)
    else:
        risk = say("decision.risk", share=Share(made.none_risk), before=before)
    if made.choice == "act":
        return say("decision.act", when=when, risk=risk)
    best = _days_ahead(made, days)
    if made.act_score >= 100 * rule.fit:
        return say("decision.fit_to_act", when=when, risk=risk, best=best)
    now = say("decision.nothing_soon")
    if made.act_score > 0:
        now = say("decision.acting", when=when)
    return say("decision.wait", now=now, risk=risk, best=best)


def _days_ahead(made: Decision, days: int) -> Phrase:
    """The best single days ahead, so that the plan and the ranking are seen to agree."""
    first, surest = made.best_ahead, made.surest
    if surest is None:
        return say("decision.no_day", days=days)
    if first is None:
        return say("decision.none_forecast", days=days, surest=_surest(surest))
    if first.date == surest.date or _chance(first) >= _chance(surest):
        return say("decision.best_and_surest", day=first.date, hopes=_hopes(first))
    return say("decision.best", day=first.date, hopes=_hopes(first), surest=_surest(surest))


def _surest(day: DayAhead) -> Phrase:
    return say("decision.surest", day=day.date, hopes=_hopes(day))


def _hopes(day: DayAhead) -> Phrase:
    """The chance that a day is a spray day."""
    return say("decision.hopes", share=Share(_chance(day)))


def _chance(day: DayAhead) -> float:
    return day.odds.share if day.odds is not None else 0.0

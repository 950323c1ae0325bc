"""What waiting is worth beside the ranking's decision: the numbers of the plan's "now or wait".

Three things are weighed: acting today or tomorrow, the best single day of those ahead that are
judged by the hour, and holding out for the first good one, then or later. What to do is decided by
`windowcast.windows.decision` alone; here stands what waiting may cost.

Each day offers a window's score; taking it ends the wait, leaving it means a later one may be
better or may never come. The value of waiting is found by backward induction (least squares on the
day's offer, Longstaff & Schwartz 2001, *Rev. Financial Studies* 14:113). With a hundred members a
rule judged on the futures it was made from looks too good, so each half of the members is judged
by the rule made from the other.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from windowcast.core.phrase import NOTHING, Phrase, Share, say, sentences
from windowcast.core.record import FloatArray, Members
from windowcast.core.values import Tables
from windowcast.programme.model import DayAhead, Decision
from windowcast.windows.decision_model import Decided
from windowcast.windows.hours import HourContext
from windowcast.windows.judge import HourScores
from windowcast.windows.model import Odds
from windowcast.windows.odds import odds
from windowcast.windows.purposes import Purpose
from windowcast.windows.score import BoolArray, Rule

SOON = 2  # today and tomorrow
HARDLY = 0.005  # a risk that is not worth a number
SURE_SLOPE = 2.0  # standard errors from which the day's offer is taken to tell of later ones
_EQUAL = 1e-9  # scores closer than this are the same


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


class Later(NamedTuple):
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
    decided: Decided | None,
) -> Decision:
    """What waiting is worth, beside what is decided.

    Parameters
    ----------
    decided
        What the ranking decides about it; None: nothing was ranked, and nothing can be said.
    offers
        Score of the best window of each coming day, 0..1, ``[member, day]``, the forecast as
        issued first; NaN where it cannot be told, which counts as none.
    later
        What is left after those days.
    """
    issued, offers = 100 * np.nan_to_num(offers[0]), np.nan_to_num(offers[1:])
    expected = 100 * offers.mean(axis=0)
    day = int(np.argmax(expected[:SOON]))
    waiting = wait(offers[:, SOON:], later.value)
    act, hold, error = float(expected[day]), 100 * waiting.value, 100 * waiting.error

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
        choice="cannot tell" if decided is None else decided.now,
        advice=NOTHING,
    )
    return replace(made, advice=_advice(made, decided))


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


def _advice(made: Decision, decided: Decided | None) -> Phrase:
    """What the ranking decides, and the chance that waiting loses the last spray day."""
    if decided is None or decided.now not in ("act", "wait"):
        return NOTHING if decided is None else decided.text
    before = say("decide.before", day=made.closes) if made.closes else NOTHING
    if made.none_risk < HARDLY:
        return sentences(decided.text, say("decide.sure", before=before))
    risk = say("decide.risk", share=Share(made.none_risk), before=before)
    return sentences(decided.text, risk)


class StoppingRule(NamedTuple):
    """When to take an offer: on day t if it is at least ``level[t] + slope[t] · offer``."""

    level: FloatArray  # [day]
    slope: FloatArray  # [day]

    def takes(self, offers: FloatArray) -> npt.NDArray[np.bool_]:
        """Whether each offer is taken, ``[..., day]``."""
        demanded = self.level + self.slope * offers
        return (offers > 0) & (offers >= demanded - _EQUAL)


class Wait(NamedTuple):
    """What waiting is worth.

    Attributes
    ----------
    value
        Expected score of waiting under the rule.
    error
        Standard error of `value` from the number of members.
    taken_day
        Day on which each member takes an offer, ``[member]``; the number of days where it never
        does.
    """

    value: float
    error: float
    taken_day: npt.NDArray[np.int64]


def best_rule(offers: FloatArray, later: FloatArray) -> StoppingRule:
    """Backward induction over the offers.

    Parameters
    ----------
    offers
        ``[member, day]``, in the order they come; without recall.
    later
        What is left after the last day when nothing was taken, ``[member]``.
    """
    days = offers.shape[1]
    level, slope = np.zeros(days), np.zeros(days)
    payoff = later.astype(np.float64)
    for day in range(days - 1, -1, -1):
        offer = offers[:, day]
        level[day], slope[day] = _continuation(offer, payoff)
        take = StoppingRule(level[day : day + 1], slope[day : day + 1]).takes(offer)
        payoff = np.where(take, offer, payoff)
    return StoppingRule(level, slope)


def _continuation(offer: FloatArray, payoff: FloatArray) -> tuple[float, float]:
    """Expected later payoff given the day's offer; its mean alone unless the slope is sure."""
    centred = offer - offer.mean()
    square = float(centred @ centred)
    if len(offer) > 3 and square > _EQUAL:
        slope = float(centred @ payoff) / square
        rest = payoff - payoff.mean() - slope * centred
        spread = float(np.sqrt(rest @ rest / (len(offer) - 2) / square))
        if abs(slope) > SURE_SLOPE * spread:
            return float(payoff.mean() - slope * offer.mean()), slope
    return float(payoff.mean()), 0.0


def taken(offers: FloatArray, rule: StoppingRule) -> npt.NDArray[np.int64]:
    """Day on which each member takes an offer under a rule; the number of days where never."""
    takes = rule.takes(offers)
    day: npt.NDArray[np.int64] = np.where(takes.any(axis=1), takes.argmax(axis=1), offers.shape[1])
    return day


def wait(offers: FloatArray, later: FloatArray | float = 0.0) -> Wait:
    """What waiting for one of the coming offers is worth.

    Parameters
    ----------
    offers
        Score of the best window of each day, ``[member, day]``; NaN (cannot be told) counts as
        none. Pairs of opposite errors stay in one half.
    later
        What is left after the last day when nothing was taken, ``[member]`` or a number.
    """
    known = np.nan_to_num(offers)
    left = np.broadcast_to(np.asarray(later, dtype=np.float64), len(known))
    half = np.arange(len(known)) // 2 % 2 == 0  # both of a pair of opposite errors in one half
    chosen = np.empty(len(known), dtype=np.int64)
    for own in (half, ~half):
        chosen[own] = taken(known[own], best_rule(known[~own], left[~own]))
    payoff = np.column_stack([known, left])[np.arange(len(known)), chosen]
    error = float(payoff.std(ddof=1) / np.sqrt(len(payoff)))
    return Wait(float(payoff.mean()), error, chosen)

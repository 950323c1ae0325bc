"""Act on today's or tomorrow's window, or wait: a purpose's decision in numbers and a sentence."""

from __future__ import annotations

import datetime as dt
from typing import Literal

import numpy as np

from windowcast.values import load
from windowcast.weather.record import FloatArray, Members
from windowcast.windows.decide import wait
from windowcast.windows.hours import HourContext
from windowcast.windows.judge import HourScores
from windowcast.windows.odds import odds
from windowcast.windows.plan_model import Decision
from windowcast.windows.purposes import Purpose
from windowcast.windows.score import Rule

Choice = Literal["act", "wait", "neither", "cannot tell"]
SOON = 2  # today and tomorrow
HARDLY = 0.005  # a risk that is not worth a number


def day_offers(scores: HourScores, ctx: HourContext, days: int) -> FloatArray:
    """Score 0..1 of the best shortest run of hours of each day, ``[member, day]``.

    Hours that are closed or below what is workable offer nothing, so that a run offers only what
    every hour of it holds. NaN where no run offers anything and some might, could it be told.
    """
    rule = Rule.load()
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


def decision(
    purpose: Purpose,
    offers: FloatArray,
    later: FloatArray,
    members: Members,
    *,
    today: dt.date,
    closes: dt.date | None,
) -> Decision:
    """Decide now or wait.

    Parameters
    ----------
    offers
        Score of the best window of each coming day, 0..1, ``[member, day]``, without the forecast
        as issued; NaN where it cannot be told, which counts as none.
    later
        What is left after those days, 0..1, ``[member]``; 0 where no workable day follows before
        the purpose closes.
    """
    unknown = np.isnan(offers[:, :SOON]).any(axis=1).mean() > 0.5
    offers = np.nan_to_num(offers)
    expected = offers[:, :SOON].mean(axis=0)
    day = int(np.argmax(expected))
    act_on = today + dt.timedelta(days=day)
    waiting = wait(offers[:, SOON:], later)
    none = float(((offers[:, SOON:] <= 0).all(axis=1) & (later <= 0)).mean())
    act, hold = 100 * float(expected[day]), 100 * waiting.value
    error = 100 * waiting.error
    choice: Choice = "act" if act >= hold - error else "wait"
    if act <= 0 and hold <= 0:
        choice = "neither"
    if unknown:
        choice = "cannot tell"
    text = _advice(choice, act_on, today, act=act, hold=hold, none=none, closes=closes)
    return Decision(
        purpose=purpose.name,
        act_on=act_on,
        act_score=act,
        act_odds=odds((offers[:, day] > 0).astype(np.float64), members, day, day + 1),
        wait_score=hold,
        wait_error=error,
        none_risk=none,
        closes=closes,
        choice=choice,
        advice=text,
    )


def later_value(
    day_score: FloatArray, timing: FloatArray, offers: FloatArray, first: int
) -> FloatArray:
    """What is left beyond the days judged by the hour, 0..1, ``[member]``.

    The mean score of the workable days of the following fortnight on which the purpose is in
    season, 0 where there is none. Whole days are judged by fewer criteria than hours, so their
    scores are scaled to those the hours of the coming days reach.

    Parameters
    ----------
    day_score, timing
        Whole-day and timing scores, ``[member, day]`` from today.
    offers
        By the hour, ``[member, day]``.
    first
        First day of the fortnight.
    """
    rule = Rule.load()
    value = np.nan_to_num(np.where(timing >= rule.season, day_score * timing, 0.0))
    near = value[:, : offers.shape[1]]
    both = np.isfinite(offers) & (near > 0)
    reached, possible = offers[both].sum(), near[both].sum()
    ratio = min(1.0, float(reached / possible)) if reached > 0 else 1.0
    span = value[:, first : first + int(load("plan").number("later_days"))] * ratio
    workable = span >= rule.marginal * ratio
    count = workable.sum(axis=1)
    total = np.where(workable, span, 0.0).sum(axis=1)
    result: FloatArray = np.where(count > 0, total / np.maximum(count, 1), 0.0)
    return result


def _advice(
    choice: Choice,
    act_on: dt.date,
    today: dt.date,
    *,
    act: float,
    hold: float,
    none: float,
    closes: dt.date | None,
) -> str:
    when = "today" if act_on == today else "tomorrow"
    before = f" before about {closes.day} {closes:%b}" if closes else ""
    risk = f"in {100 * none:.0f} % of the futures no workable window comes after tomorrow{before}"
    if none < HARDLY:
        risk = f"one still comes{before} in all futures"
    if choice == "cannot tell":
        return (
            "Cannot tell whether to act or wait: for today or tomorrow the hours cannot be judged "
            "(see the ranking for what is missing)."
        )
    if choice == "neither":
        return f"Nothing to act on: no workable window today, tomorrow or in the futures{before}."
    if choice == "act":
        return f"Act {when}: expected score {act:.0f} against {hold:.0f} for waiting, and {risk}."
    if act <= 0:
        return f"Wait: nothing workable today or tomorrow; waiting is worth {hold:.0f}, and {risk}."
    if act >= 100 * Rule.load().fit:
        return (
            f"{when.capitalize()} is fit to act on, at {act:.0f}; waiting for a better day is "
            f"worth {hold:.0f}, and {risk}."
        )
    return f"Wait: worth {hold:.0f} against {act:.0f} for acting {when}; {risk}."

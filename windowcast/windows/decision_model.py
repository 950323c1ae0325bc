"""What a decision about one application is made of; see `windowcast.windows.decision`."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from windowcast.core.phrase import Phrase

OptionName = Literal["today", "tomorrow", "best", "next", "skip"]
SAME_UP = 0.05  # of a season's weeds: fewer tell no days apart
Now = Literal["act", "wait", "neither", "cannot tell"]


@dataclass(frozen=True, slots=True)
class Effect:
    """What a tank is expected to do when it goes out in a window, 0..1.

    Attributes
    ----------
    kind
        "trials": control of `weed` that published trials let expect, of the weeds tried the one
        controlled least; "own": control by the user's own materials file; "residual": share of
        the season's weeds that emerge while the residual holds.
    weed
        EPPO code; "" where the figure is of all.
    middle, low, high
        Median or mean with its 10-90 % band; the lower end where the file gives a range.
    up
        Of a spray on the leaves: share of the season's weeds that are up on the day and so can be
        met; None of a residual, and where it cannot be told.
    """

    kind: Literal["trials", "own", "residual"]
    weed: str
    middle: float
    low: float
    high: float
    actives: tuple[str, ...]
    up: float | None = None

    @property
    def reached(self) -> float:
        """Share of the season's weeds that it controls, as far as can be told how many are up."""
        return self.middle if self.up is None else self.middle * self.up


def told_apart(effects: Sequence[Effect]) -> list[Effect]:
    """Effects of days that are compared; how many weeds are up counts only if it tells them apart.

    Where it is not known of one day, or differs by hardly any, it is left out of all: no day is
    waited for on account of it.
    """
    ups = [effect.up for effect in effects]
    known = [up for up in ups if up is not None]
    if len(known) == len(ups) and known and max(known) - min(known) >= SAME_UP:
        return list(effects)
    return [replace(effect, up=None) for effect in effects]


@dataclass(frozen=True, slots=True)
class Shut:
    """A day without a spray window: whether that is a no or cannot be told, and by what limit."""

    date: dt.date
    answer: Literal["no", "cannot tell"]
    limit: Phrase
    reason: Phrase


@dataclass(frozen=True, slots=True)
class Option:
    """One way to decide, with what is to be expected of it. None: it cannot be told.

    Attributes
    ----------
    answer
        "no" where the day has no spray window; "skip" for leaving it out.
    best
        Whether it is the one that is advised.
    chance
        Chance that the weather stays fit, 0..1.
    hurt
        Chance that the turf is hurt, 0..1.
    rain_matters
        Whether rain can wash it off; where it cannot, `washed` is None.
    washed
        Chance that it is washed off, 0..1.
    lost
        Share of the season's weeds, 0..1, that waiting from today has put out of its reach:
        emerged before a pre-emergent is down, or past the stage that an early post-emergent
        controls. None also where the application knows no such loss.
    why, shut_by
        Why a day has no spray window, as a clause, and the name of what rules it out.
    at_risk_per_ha, money
        What the product of the best choice costs on a hectare times the chance that the weather
        does not stay fit, and in what money; None and "" without a price.
    """

    name: OptionName
    date: dt.date | None
    start: dt.datetime | None
    end: dt.datetime | None
    answer: Literal["fit", "marginal", "no", "cannot tell", "skip"]
    why: Phrase
    shut_by: Phrase
    best: bool = False
    effect: Effect | None = None
    chance: float | None = None
    hurt: float | None = None
    rain_matters: bool = False
    washed: float | None = None
    lost: float | None = None
    at_risk_per_ha: float | None = None
    money: str = ""


@dataclass(frozen=True, slots=True)
class Decided:
    """What to do about one application.

    Attributes
    ----------
    do
        One of `windowcast.windows.decision.answer_word`: what the sentence with the verb says.
    now
        Whether to act today or to wait; "neither" where there is nothing to wait for.
    options
        Today, tomorrow, the best day, the next best and skipping it; none without a spray window.
    why_not_today
        A clause; empty where today is the day, or nothing is open.
    text
        Now or wait, as one sentence.
    """

    do: str
    now: Now
    options: tuple[Option, ...]
    why_not_today: Phrase
    text: Phrase

"""Decide now or wait: optimal stopping over the members.

Each day offers a window's score; taking it ends the wait, leaving it means a later one may be
better or may never come. The value of waiting is found by backward induction (least squares on the
day's offer, Longstaff & Schwartz 2001, *Rev. Financial Studies* 14:113). With a hundred members a
rule judged on the futures it was made from looks too good, so each half of the members is judged
by the rule made from the other.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from windowcast.core.record import FloatArray

SURE_SLOPE = 2.0  # standard errors from which the day's offer is taken to tell of later ones
_EQUAL = 1e-9  # scores closer than this are the same


@dataclass(frozen=True)
class StoppingRule:
    """When to take an offer: on day t if it is at least ``level[t] + slope[t] · offer``."""

    level: FloatArray  # [day]
    slope: FloatArray  # [day]

    def takes(self, offers: FloatArray) -> npt.NDArray[np.bool_]:
        """Whether each offer is taken, ``[..., day]``."""
        demanded = self.level + self.slope * offers
        return (offers > 0) & (offers >= demanded - _EQUAL)


@dataclass(frozen=True)
class Wait:
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
    rule
        Made from all members: what to demand on each day.
    """

    value: float
    error: float
    taken_day: npt.NDArray[np.int64]
    rule: StoppingRule


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
    return Wait(float(payoff.mean()), error, chosen, best_rule(known, left))

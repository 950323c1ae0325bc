"""From criteria to a score for every hour, and from hours to the best block of a day.

The rule
--------
An hour's score is the product of its criteria's scores, each raised to its weight:

* a criterion that is fully met (1) changes nothing, so adding one never lifts a score;
* a no (0) is a no whatever else holds, even where other criteria cannot be told;
* otherwise a criterion that cannot be told makes the hour's score unknown (NaN).

The limiting criterion is the one whose weighted score is lowest. A window's score is that of its
best shortest useful run of hours (`run_score`). It *holds* in a possible future when such a run
within it is workable there.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from windowcast.core.record import FloatArray
from windowcast.core.values import Table
from windowcast.windows.model import Verdict

BoolArray = npt.NDArray[np.bool_]
_FLOOR = 0.05  # stands for a no when hours without a go-ahead are compared with one another
_UNKNOWN = 0.5  # stands for what cannot be told there


@dataclass(frozen=True, slots=True)
class Rule:
    """How scores become verdicts and hours become blocks; see ``data/criteria.toml``, ``rule``."""

    fit: float
    even: float
    marginal: float
    shortest_h: int
    longest_h: int
    extend: float
    season: float
    normal_years: int
    limits: float
    members: float

    @classmethod
    def of(cls, criteria: Table) -> Rule:
        """The rule of a table such as ``data/criteria.toml``."""
        table = criteria.table("rule")
        return cls(
            fit=table.number("fit"),
            even=table.number("even"),
            marginal=table.number("marginal"),
            shortest_h=int(table.number("shortest_h")),
            longest_h=int(table.number("longest_h")),
            extend=table.number("extend"),
            season=table.number("season"),
            normal_years=int(table.number("normal_years")),
            limits=table.number("limits"),
            members=table.number("members"),
        )

    def verdict(self, score: float | None) -> Verdict:
        """The verdict on a score 0..1; None and NaN cannot be told."""
        if score is None or np.isnan(score):
            return "cannot tell"
        if score >= self.fit:
            return "fit"
        return "marginal" if score >= self.marginal else "unfit"


def combine(scores: Iterable[tuple[FloatArray, float]]) -> FloatArray:
    """Weighted product of scores; 0 where one is a no, else NaN where one is unknown.

    Parameters
    ----------
    scores
        Pairs of scores 0..1 (NaN: unknown), any shapes that broadcast, and their weights.
    """
    product = np.ones(())
    no = np.zeros((), dtype=bool)  # kept apart: a product of small scores may underflow to 0
    for score, weight in scores:
        no = no | (score == 0)
        product = product * (score if weight == 1.0 else score**weight)
    return np.where(no, 0.0, product)


def closeness(scores: Iterable[tuple[FloatArray, float]]) -> FloatArray:
    """How near hours come to a go-ahead: the same product, with noes and unknowns softened."""
    product = np.ones(())
    for score, weight in scores:
        product = product * np.maximum(np.where(np.isnan(score), _UNKNOWN, score), _FLOOR) ** weight
    return product


def nearness(scores: Iterable[float | None]) -> float:
    """How near one block comes to a go-ahead, from its criteria's mean scores, 0..1."""
    return math.prod(_UNKNOWN if score is None else max(score, _FLOOR) for score in scores)


def limiting(scores: Mapping[str, float], weights: Mapping[str, float], rule: Rule) -> str:
    """Name of the criterion with the lowest weighted score, "" when all are as good as met.

    One that cannot be told comes before every graded one, a no before all; of equals the first.
    """

    def rank(name: str) -> float:
        score = scores[name]
        if np.isnan(score):
            return 1e-9
        return score ** weights[name] if score > 0 else 0.0

    worst = min(scores, key=rank, default="")
    return worst if worst and rank(worst) < rule.limits else ""


class Block(NamedTuple):
    """Hours ``start:stop`` of the axis."""

    start: int
    stop: int

    @property
    def hours(self) -> slice:
        """The hours as a slice."""
        return slice(self.start, self.stop)


def best_block(
    value: FloatArray, allowed: BoolArray, rule: Rule, *, offset: int = 0
) -> Block | None:
    """The best continuous hours: the best shortest run, grown by neighbours nearly as good.

    Parameters
    ----------
    value
        Score of each hour of a day, ``[hour]``.
    allowed
        Hours that may be used.
    offset
        Index of the first hour on the whole axis.

    Returns
    -------
    Block or None
        None when no run of allowed hours is long enough. Of equals the earliest.
    """
    size = rule.shortest_h
    if len(value) < size:
        return None
    usable = np.where(allowed, value, -np.inf)
    runs = np.lib.stride_tricks.sliding_window_view(usable, size)
    means = np.round(runs.mean(axis=-1), 9)  # equal hours stay equal whatever the order of sums
    start = int(np.argmax(means))
    if not np.isfinite(means[start]):
        return None
    stop, enough = start + size, rule.extend * float(usable[start : start + size].max())
    if means[start] >= rule.fit:
        enough = max(enough, rule.fit)  # what is called fit is fit in each hour that it gains
    while stop - start < rule.longest_h:
        left = usable[start - 1] if start > 0 else -np.inf
        right = usable[stop] if stop < len(usable) else -np.inf
        if max(left, right) < enough:
            break
        if left > right:
            start -= 1
        else:
            stop += 1
    return Block(offset + start, offset + stop)


def run_score(score: FloatArray, rule: Rule) -> float:
    """Mean of the best shortest useful run of hours of a window; NaN where an hour is unknown.

    Hours nearly as good make a window longer and leave its score. So no hour that gets worse, or
    drops out, ever lifts the score of a day's best window.

    Parameters
    ----------
    score
        Hour scores of the window, ``[hour]``.
    """
    size = min(rule.shortest_h, len(score))
    return float(np.lib.stride_tricks.sliding_window_view(score, size).mean(axis=-1).max())


def holds(score: FloatArray, rule: Rule) -> BoolArray:
    """Whether a window holds: its shortest useful run of hours is workable somewhere within it.

    Parameters
    ----------
    score
        Hour scores of the window, ``[..., hour]``; NaN counts as not workable.

    Returns
    -------
    BoolArray
        ``[...]``.
    """
    workable = score >= rule.marginal
    size = min(rule.shortest_h, workable.shape[-1])
    runs = np.lib.stride_tricks.sliding_window_view(workable, size, axis=-1)
    return np.asarray(runs.all(axis=-1).any(axis=-1))

"""The control that a user's own trials found, weighed with what is published.

An own trial counts as one more trial of the same kind. The published fit knows a weed and an active
by a level and its fall with the plants' size, each with its doubt; a result of a new trial scatters
around them by the spread between trials and by its own error. The level and the fall are updated
by that (normal theory: precisions add), so that an own trial never widens what is known of them,
and the figure for a new trial never becomes surer than the spread between trials. Nothing else is
touched: a result speaks for its weed, its actives together and its timing alone.

What nobody wrote down of an own trial counts as what made control easiest, so that a good result
promises the least, and its doubt is added.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from windowcast.core.record import FloatArray
from windowcast.core.values import Table, Value
from windowcast.materials.efficacy import PLUS, Timing, log_rate, plant_size

_VAGUE = 10.0  # standard deviation of a level that nobody published (choice): as good as unknown
_ACROSS = math.sqrt(12.0)  # a range over the standard deviation of what may lie anywhere within


@dataclass(frozen=True, slots=True)
class OwnResult:
    """Control of a weed that one own trial found, over its sites.

    Attributes
    ----------
    actives
        ISO common names, in order of the alphabet.
    logit, error
        Share of the weed controlled on the logit scale, and its standard error.
    stage_bbch
        Of the weeds when they were sprayed; None: nobody says.
    rate_share
        Share of the full rate; None: nobody says.
    """

    trial: str
    weed: str
    actives: tuple[str, ...]
    timing: Timing
    logit: float
    error: float
    stage_bbch: float | None
    rate_share: float | None


def counts(result: OwnResult, table: Table) -> bool:
    """Whether anything is known of a kind of weed, so that its results can be weighed."""
    named = all(name and "." not in name for name in result.actives)
    return named and f"kind.{result.weed}" in table and math.isfinite(result.logit + result.error)


def with_own(table: Table, results: Iterable[OwnResult]) -> Table:
    """``data/efficacy.toml`` with a user's own results weighed in.

    Parameters
    ----------
    results
        One for each own trial, weed, actives and timing; those that do not `counts` are left out.

    Examples
    --------
    >>> from windowcast.core.values import load
    >>> from windowcast.materials.efficacy import expected_control
    >>> mine = OwnResult("Fall 2024", "POAAN", ("prodiamine",), "pre", 0.4, 0.3, 0.0, 1.0)
    >>> meets = {"timing": "pre", "stage_bbch": 0.0, "rate_share": 1.0, "air_c": None}
    >>> usual = expected_control("POAAN", ["prodiamine"], table=load("efficacy"), **meets)
    >>> weighed = with_own(load("efficacy"), [mine])
    >>> found = expected_control("POAAN", ["prodiamine"], table=weighed, **meets)
    >>> found.middle < usual.middle, found.own
    (True, 1)
    """
    cells: dict[tuple[str, str, str], list[OwnResult]] = {}
    for result in results:
        if counts(result, table):
            key = result.timing, result.weed, PLUS.join(result.actives)
            cells.setdefault(key, []).append(result)
    raw: dict[str, Any] = {}
    for (timing, weed, mixture), own in cells.items():
        at = f"{timing}.{weed}"
        known = table.table(at) if at in table else {}
        tried = [known[m] for m in known if set(m.split(PLUS)) <= set(own[0].actives)]
        old = known[mixture] if mixture in known else max(tried, key=_level, default=None)
        cell = _weighed(old, own, table)
        raw.setdefault(timing, {}).setdefault(weed, {})[mixture] = cell
    return Table("efficacy", raw).over(table) if raw else table


def _level(cell: Value) -> float:
    return float(cell.value[0])


def _weighed(old: Value | None, own: Sequence[OwnResult], table: Table) -> dict[str, Any]:
    """A cell of the fit with own results in it, as the table holds it."""
    mean, spread, published = _prior(old, own[0].timing, table)
    for result in own:
        size, easier, doubt = _met(result, table)
        row = np.array([1.0, size])
        scatter = table.number("slope.new_trial") ** 2 + result.error**2 + doubt
        pull = spread @ row / float(row @ spread @ row + scatter)
        mean = mean + pull * (result.logit - easier - float(row @ mean))
        spread = spread - np.outer(pull, row @ spread)
    trials = dict.fromkeys(result.trial.replace(";", ",") for result in own)
    sources = ([old.source] if old is not None else []) + list(trials)
    level_sd, slope_sd = np.sqrt(np.diag(spread))
    return {
        "value": [
            float(mean[0]), float(level_sd), float(mean[1]), float(slope_sd), float(spread[0, 1]),
            published, len(trials),
        ],
        "unit": "logit",
        "source": "; ".join(sources),
        "status": "derived",
    }  # fmt: skip


def _prior(old: Value | None, timing: Timing, table: Table) -> tuple[FloatArray, FloatArray, int]:
    """Level and fall with their covariance, and how many published trials they rest on.

    A mixture that nobody published starts from its best part, as it is judged without own trials.
    Where nobody published a trial of any part, the level is as good as unknown, and the fall is
    that of the other cells with the largest doubt among them.
    """
    if old is not None:
        level, level_sd, slope, slope_sd, together, trials = old.value[:6]
        spread = np.array([[level_sd**2, together], [together, slope_sd**2]])
        return np.array([level, slope]), spread, int(trials)
    cells = np.array([value.value[:4] for value in table.table(timing).values_below()])
    mean = np.array([cells[:, 0].mean(), cells[:, 2].mean()])
    return mean, np.diag([_VAGUE**2, float(cells[:, 3].max()) ** 2]), 0


def _met(result: OwnResult, table: Table) -> tuple[float, float, float]:
    """Size of the plants of an own trial, what its rate brought, and the doubt about both.

    A stage that nobody says is the smallest, a rate the highest that was tried, and the air that of
    the season: of these a good result tells the least. The variance is that of anything between.
    """
    sizes = table.value("scale.size").value
    least = sizes[0] if result.timing == "pre" else sizes[1]
    rate, rate_sd = table.value("slope.rate").value
    cold, cold_sd = table.value("slope.cold").value
    low, high = (float(log_rate(end, table)) for end in table.value("scale.rate").ends)
    doubt = 0.0
    if result.stage_bbch is None:
        size = float(least)
        steepest = max(abs(v.value[2]) for v in table.table(result.timing).values_below())
        doubt += (steepest * (sizes[-1] - least) / _ACROSS) ** 2
    else:
        size = max(float(plant_size(result.stage_bbch, table)), float(least))
    share = high
    if result.rate_share is not None:  # beyond what was tried it may have brought more still
        share = math.log(max(result.rate_share, math.exp(low)))
    else:
        doubt += (rate * (high - low) / _ACROSS) ** 2
    doubt += (rate_sd * share) ** 2
    if result.timing == "post":
        coldest = table.number("scale.coldest")
        doubt += (cold * coldest / _ACROSS) ** 2 + (cold_sd * coldest) ** 2 / 3
    return size, rate * share, doubt

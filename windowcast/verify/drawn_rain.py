"""Chance and amount of rain as bulletins might have told them, drawn from the rain that came.

Behind the rain of six hours stands a normal score: above a bound it rains, the more the higher. A
bulletin knows a part of the score, more with each day that it comes nearer. Its chance of rain is
that of the score to lie above the bound, given that part; so chances keep what they promise, and
bulletins in a row agree as far as they know alike.
"""

from __future__ import annotations

from statistics import NormalDist

import numpy as np

from windowcast.core.lingering import lingering
from windowcast.core.record import FloatArray
from windowcast.core.values import Table
from windowcast.verify.drawn_forecast import LEADS, about_days

PERIOD_H = 6
PERIODS = 24 // PERIOD_H  # of a day
_NODES = 24
_GRID = np.linspace(-6.0, 6.0, 2401)
_BELOW = np.array([NormalDist().cdf(z) for z in _GRID])
MOST = 1 - 1e-6
_DAYS = np.linspace(-4.0, 4.0, 81)  # what a day's periods may have in common


def below(scores: FloatArray) -> FloatArray:
    """Share of a standard normal below scores."""
    share: FloatArray = np.interp(scores, _GRID, _BELOW)
    return share


def score_at(share: FloatArray) -> FloatArray:
    """The score below which a share of a standard normal lies."""
    score: FloatArray = np.interp(np.clip(share, 1 - MOST, MOST), _BELOW, _GRID)
    return score


def scores_that_came(
    rain_mm: FloatArray,
    chance: FloatArray,
    amounts_mm: FloatArray,
    *,
    wet: float,
    together: float,
    draws: FloatArray,
    day_draws: FloatArray,
) -> FloatArray:
    """The scores behind the rain that came, ``[period]``.

    Periods of a day go together: those that stay dry on a wet day came nearer to rain than those
    of a dry one. So chances of rain gather on days, as they do in real bulletins.

    Parameters
    ----------
    rain_mm, chance
        Rain of each period of whole days, and the climate's share of wet ones, ``[period]``.
    amounts_mm
        The climate's amounts of wet periods in order, ``[wet period]``.
    wet
        Least amount that counts as rain [mm].
    together
        Correlation of the scores of one day.
    draws, day_draws
        Uniform, for what an amount does not tell, ``[period]``, and for what a day's periods have
        in common, ``[day]``.

    Notes
    -----
    A score is ``sqrt(c) d + sqrt(1 - c) e`` with d the day's. d is drawn from its distribution
    given the wet and dry periods of the day, then each dry period's e given d.
    """
    low = np.searchsorted(amounts_mm, rain_mm, side="left") / len(amounts_mm)
    high = (np.searchsorted(amounts_mm, rain_mm, side="right") + 1) / (len(amounts_mm) + 1)
    rank = np.clip(low + draws * np.maximum(high - low, 0.0), 0.0, 1.0)
    rained, bound = rain_mm >= wet, score_at(1 - chance)
    of_wet = score_at(1 - chance + chance * rank)
    shared, own = np.sqrt(together), np.sqrt(1 - together)
    at_bound = below((bound[:, None] - shared * _DAYS) / own)
    likely = np.where(
        rained[:, None],
        -0.5 * ((of_wet[:, None] - shared * _DAYS) / own) ** 2,
        np.log(np.maximum(at_bound, 1 - MOST)),
    )
    by_day = likely.reshape(-1, PERIODS, len(_DAYS)).sum(axis=1) - 0.5 * _DAYS**2
    weight = np.cumsum(np.exp(by_day - by_day.max(axis=1, keepdims=True)), axis=1)
    picked = (weight < day_draws[:, None] * weight[:, -1:]).sum(axis=1)
    base = shared * np.repeat(_DAYS[picked], PERIODS)
    of_dry = base + own * score_at(draws * below((bound - base) / own))
    scores: FloatArray = np.where(rained, of_wet, np.minimum(of_dry, bound))
    return scores


def told_rain(
    scores: FloatArray,
    chance: FloatArray,
    amounts_mm: FloatArray,
    correlation: FloatArray,
    noise: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Chance of rain and expected amount [mm] that each bulletin tells, ``[period, lead]``.

    Parameters
    ----------
    scores, chance
        What came, and the climate's share of wet periods, ``[period]``.
    amounts_mm
        The climate's amounts of wet periods in order, ``[wet period]``.
    correlation
        Of what a bulletin knows with what comes, falling with lead, ``[lead]``.
    noise
        Standard normal scores, ``[period, lead]``.
    """
    known, before = scores, 1.0
    signals = np.empty_like(noise)
    for lead, r in enumerate(correlation):
        part = (r / before) ** 2
        known = part * known + r * np.sqrt(1 - part) * noise[:, lead]
        signals[:, lead] = known
        before = r
    rest = np.sqrt(1 - correlation**2)
    bound = score_at(1 - chance)[:, None]
    told = 1 - below((bound - signals) / np.maximum(rest, 1e-6))
    nodes, weights = np.polynomial.hermite_e.hermegauss(_NODES)
    possible = signals[..., None] + rest[:, None] * nodes
    dry = 1 - chance[:, None, None]
    rank = (below(possible) - dry) / np.maximum(1 - dry, 1e-9)
    at = np.clip(rank, 0.0, 1.0) * (len(amounts_mm) - 1)
    amount = np.where(rank > 0, np.interp(at, np.arange(len(amounts_mm)), amounts_mm), 0.0)
    expected: FloatArray = amount @ (weights / weights.sum())
    return told, expected


def period_scores(rng: np.random.Generator, days: int, values: Table) -> FloatArray:
    """What is new about periods in the bulletin of each lead, ``[period, lead]``."""
    keep = values.number("rain.next_period")
    bulletins = days + LEADS - 1
    along = lingering(rng.standard_normal((bulletins, LEADS * PERIODS)), keep)
    parts = about_days(along.reshape(bulletins, LEADS, PERIODS), days)
    scores: FloatArray = parts.transpose(0, 2, 1).reshape(days * PERIODS, LEADS)
    return scores

"""Means of all treatments on the linear scale, also of those that a model has no place for.

A check whose plots all gave the same is known and keeps out of the error. Another treatment without
spread gets the error of the others. Where all plots lie at one end of a measure, nothing was left
or nothing was hurt, the mean lies half a unit from that end, with the doubt of half a unit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from windowcast.core.record import FloatArray
from windowcast.trials.linked import LinkedFit
from windowcast.trials.mixed import MixedFit

Standing = Literal["fitted", "known", "even", "end"]


@dataclass(frozen=True, slots=True)
class LinearMeans:
    """Means of treatments on the linear scale, in the shape of a fit.

    Attributes
    ----------
    fit
        Effects of all treatments, in order, with their covariances.
    standing
        How each is known: "fitted", "known" (a check without spread), "even" (another treatment
        without spread), "end" (all plots at one end).
    units
        How many independent units the plots of one treatment are worth, for the means at an end.
    """

    fit: MixedFit
    standing: tuple[Standing, ...]
    units: FloatArray


def all_means(
    found: LinkedFit,
    standing: Sequence[Standing],
    *,
    levels: Sequence[float],
    units: FloatArray,
) -> LinearMeans:
    """Put treatments that were not fitted beside those that were.

    Parameters
    ----------
    found
        The fit of those that are "fitted", in order; what follows them is dropped.
    levels
        Value of each treatment that was not fitted, scaled as the values.
    """
    fit, measure = found.fit, found.measure
    inside = [n for n, how in enumerate(standing) if how == "fitted"]
    t, p = len(standing), len(inside)
    beta = np.empty(t)
    beta[inside] = fit.beta[:p]
    stacked = [fit.covariance, fit.naive, *fit.slopes]
    square = np.zeros((len(stacked), t, t))
    for number, matrix in enumerate(stacked):
        own = matrix[:p, :p]
        square[number][np.ix_(inside, inside)] = own
        mean = float(np.diag(own).mean())
        beside = float((own.sum() - np.trace(own)) / (p * (p - 1))) if p > 1 else 0.0
        for n, how in enumerate(standing):
            if how == "even":
                square[number, n, :] = square[number, :, n] = beside
                square[number, n, n] = mean
            elif how in {"known", "end"}:
                square[number, n, :] = square[number, :, n] = 0.0
    for n, how in enumerate(standing):
        if how == "fitted":
            continue
        beta[n] = levels[n] if measure.link == "none" else measure.nearly_end(levels[n], units[n])
        if how == "end":  # half a unit: the variance of its logarithm is 1 / 0.5
            square[:2, n, n] = 2.0
            square[-1, n, n] = 2.0 / fit.variances[-1]
    whole = replace(fit, beta=beta, covariance=square[0], naive=square[1], slopes=square[2:])
    return LinearMeans(whole, tuple(standing), units)

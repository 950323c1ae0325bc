"""Mixed models of percentages and counts: the linear mixed model, fitted again and again.

Each step takes the values to the linear scale around the means so far, with the spread that the
measure has at those means, and fits the linear mixed model there (pseudo-likelihood).

Treatments that a model has no place for have means too. A check whose plots all gave the same is
known and keeps out of the error. Another treatment without spread gets the error of the others.
Where all plots lie at one end of a measure, nothing was left or nothing was hurt, the mean lies
half a unit from that end, with the doubt of half a unit.

References
----------
Wolfinger, R. & O'Connell, M. 1993. J. Stat. Comput. Simul. 48:233-243; Breslow, N.E. & Clayton,
D.G. 1993. J. Am. Stat. Assoc. 88:9-25 (citations from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from windowcast.core.record import FloatArray
from windowcast.trials.links import LinkScale, shape_of
from windowcast.trials.mixed import MixedFit, fit_mixed

ROUNDS = 30
STEPS = 8  # towards the variances in a round
SHAPED = 8  # rounds after which the shape of counts stays
NEARLY = 1e-4  # of change on the linear scale
LEAP = 2.0  # most that an effect moves in a round

Standing = Literal["fitted", "known", "even", "end"]


@dataclass(frozen=True, slots=True)
class LinkedFit:
    """A fit with what its places add.

    Attributes
    ----------
    places
        What sites and blocks add to each plot on the linear scale [n].
    measure
        With the shape that was found.
    settled
        Whether rounds came to rest.
    """

    fit: MixedFit
    places: FloatArray
    measure: LinkScale
    settled: bool


def fit_linked(
    y: FloatArray,
    x: FloatArray,
    terms: Sequence[FloatArray],
    measure: LinkScale,
    *,
    first: FloatArray,
    offset: FloatArray | None = None,
    of_places: int,
    of_plots: bool = False,
) -> LinkedFit:
    """Fit a mixed model of a measure.

    Parameters
    ----------
    y
        Values [n], scaled to 0..1 where the measure has two ends.
    x, terms
        As for `fit_mixed`.
    first
        Effects [p] to start from.
    offset
        What is known to be added on the linear scale [n].
    of_places
        So many of the first terms are places, whose own level the means are taken around.
    of_plots
        Whether the last term gives some plots another spread: in shares of theirs.
    """
    if measure.link == "none":
        fit = fit_mixed(y, x, terms)
        return LinkedFit(fit, _places(fit, y - x @ fit.beta, terms, of_places, None), measure, True)
    known = np.zeros(len(y)) if offset is None else offset
    beta, places, start = first, np.zeros(len(y)), None
    rank = np.linalg.matrix_rank(np.column_stack([x, *terms[:of_places]]))
    df = max(len(y) - float(rank), 1.0)
    plots = terms[-1] if of_plots else None
    settled = False
    for number in range(ROUNDS):
        eta = x @ beta + known + places
        mean = measure.mean(eta)
        if measure.kind == "count" and number < SHAPED:
            measure = replace(measure, shape=shape_of(y, mean, df))
        slope = measure.slope(mean)
        work = eta - known + (y - mean) / slope
        weights = slope**2 / measure.spread(mean)
        if plots is not None:
            terms = [*terms[:-1], plots / np.sqrt(weights)[:, None]]
        fit = fit_mixed(work, x, terms, weights=weights, start=start, steps=STEPS, corrected=False)
        step = np.clip(fit.beta - beta, -LEAP, LEAP)
        moved = _places(fit, work - x @ fit.beta, terms, of_places, weights)
        change = max(float(np.abs(step).max()), float(np.abs(moved - places).max()))
        beta, start = beta + step, fit.variances
        places = (places + moved) / 2 if number > SHAPED else moved
        if change < NEARLY:
            settled = True
            break
    fit = fit_mixed(work, x, terms, weights=weights, start=start)
    return LinkedFit(replace(fit, beta=beta), places, measure, settled)


def _places(
    fit: MixedFit,
    rest: FloatArray,
    terms: Sequence[FloatArray],
    of_places: int,
    weights: FloatArray | None,
) -> FloatArray:
    """What sites and blocks add to each plot, as far as their variance says (BLUP)."""
    used = [k for k, variance in enumerate(fit.variances[:-1]) if variance > 0]
    if not any(k < of_places for k in used):
        return np.zeros(len(rest))
    z = np.column_stack([terms[k] for k in used])
    sizes = [terms[k].shape[1] for k in used]
    scaled = z * ((1.0 if weights is None else weights[:, None]) / fit.variances[-1])
    inner = scaled.T @ z + np.diag(np.repeat(1 / fit.variances[used], sizes))
    added = np.linalg.solve(inner, scaled.T @ rest)
    of_place = np.repeat([k < of_places for k in used], sizes)
    return np.asarray(z[:, of_place] @ added[of_place])


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

"""Several trials taken together: random effects over years and sites, with how much they differ.

References
----------
Paule, R.C. & Mandel, J. 1982. J. Res. Natl. Bur. Stand. 87:377-385; Hartung, J. & Knapp, G. 2001.
Stat. Med. 20:3875-3889; Higgins, J.P.T. & Thompson, S.G. 2002. Stat. Med. 21:1539-1558 (citations
from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from windowcast.core.errors import InputError
from windowcast.core.record import FloatArray
from windowcast.trials.model import LEVEL


@dataclass(frozen=True, slots=True)
class PooledEffect:
    """One effect over several trials, on the linear scale of its measure.

    Attributes
    ----------
    mean, low, high
        Over trials like these, with the 95 % interval of Hartung and Knapp.
    next_low, next_high
        Between which the effect of one more trial like these lies, 95 %; NaN for fewer than three.
    between
        Variance of the true effects between trials.
    share
        Part of the spread seen that is not chance (I²), 0..1.
    p_alike
        Chance of a spread like this if all trials had the same effect.
    """

    trials: int
    mean: float
    low: float
    high: float
    next_low: float
    next_high: float
    between: float
    share: float
    p_alike: float


def pooled_effect(effects: Sequence[float], errors: Sequence[float]) -> PooledEffect:
    """Take an effect of several trials together.

    Parameters
    ----------
    effects, errors
        A difference and its standard error from each trial, all on one linear scale.

    Raises
    ------
    InputError
        Fewer than two trials, or an error that is not above zero.
    """
    from scipy.stats import chi2
    from scipy.stats import t as student

    y, v = np.asarray(effects, dtype=np.float64), np.asarray(errors, dtype=np.float64) ** 2
    k = len(y)
    if k < 2 or len(v) != k:
        raise InputError("one trial cannot be taken together with others", field="trial")
    if not (np.isfinite(y).all() and np.isfinite(v).all() and (v > 0).all()):
        raise InputError(
            "each trial needs an effect with a standard error above zero", field="error"
        )
    q, _ = _spread(y, v, 0.0)
    between = _between(y, v)
    weights = 1 / (v + between)
    mean = float(weights @ y / weights.sum())
    own = max(float(weights @ (y - mean) ** 2) / (k - 1), 1.0 if between == 0 else 0.0)
    error = math.sqrt(own / float(weights.sum()))
    half = float(student.ppf(0.5 + LEVEL / 2, k - 1)) * error
    reach = math.nan
    if k > 2:
        reach = float(student.ppf(0.5 + LEVEL / 2, k - 2)) * math.sqrt(between + error**2)
    return PooledEffect(
        k, mean, mean - half, mean + half, mean - reach, mean + reach, between,
        max(1 - (k - 1) / q, 0.0) if q > 0 else 0.0, float(chi2.sf(q, k - 1)),
    )  # fmt: skip


def _spread(y: FloatArray, v: FloatArray, between: float) -> tuple[float, float]:
    """Weighted squares around the weighted mean, and that mean."""
    weights = 1 / (v + between)
    mean = float(weights @ y / weights.sum())
    return float(weights @ (y - mean) ** 2), mean


def _between(y: FloatArray, v: FloatArray) -> float:
    """Variance between trials at which the weighted squares are what is expected."""
    if _spread(y, v, 0.0)[0] <= len(y) - 1:
        return 0.0
    low, high = 0.0, float(np.var(y, ddof=1)) + 1e-12
    while _spread(y, v, high)[0] > len(y) - 1:
        high *= 2
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if _spread(y, v, middle)[0] > len(y) - 1 else (low, middle)
    return (low + high) / 2

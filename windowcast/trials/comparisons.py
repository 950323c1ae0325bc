"""Comparisons of treatments: against a check (Dunnett) and all pairs (Tukey)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import combinations

import numpy as np

from windowcast.core.record import FloatArray
from windowcast.trials.families import all_pairs_limit, all_pairs_p, check_limit, check_p
from windowcast.trials.mixed import MixedFit
from windowcast.trials.model import Comparison, Family

ALIKE = 1e-12  # variance below which two means are known to be what they are


def against(
    fit: MixedFit, names: Sequence[str], standard: int, *, errors: int = 1
) -> tuple[Comparison, ...]:
    """Every treatment against one of them, with one error rate (Dunnett).

    `errors` is how many plot variances were estimated: each beyond the first counts as one more
    comparison, for either may be small by chance (a choice of ours).
    """
    others = [n for n in range(len(names)) if n != standard]
    rows = np.zeros((len(others), len(names)))
    rows[np.arange(len(others)), others] = 1.0
    rows[:, standard] = -1.0
    if not others:
        return ()
    covariance = rows @ fit.covariance @ rows.T
    variance = np.diag(covariance)
    many = len(others) + errors - 1
    common = (covariance.sum() - np.trace(covariance)) / max(len(others) * (len(others) - 1), 1)
    share = round(math.sqrt(min(max(common / max(variance.mean(), ALIKE), 0.0), 1.0)), 4)
    found = []
    for row, n, df, var in zip(rows, others, fit.dfs(rows), variance, strict=True):
        error = math.sqrt(max(float(var), 0.0))
        limit = check_limit(many, share, _rounded(df))
        difference = float(row @ fit.beta)
        p = (
            check_p(difference / error, many, share, df)
            if error > ALIKE
            else float(difference == 0)
        )
        half = limit * error
        found.append(
            Comparison(
                "check", names[n], names[standard], difference, difference - half,
                difference + half, float(df), p, error=error,
            )
        )  # fmt: skip
    return tuple(found)


def pairs(
    fit: MixedFit,
    names: Sequence[str],
    rows: FloatArray | None = None,
    *,
    family: Family = "all",
    within: str = "",
    errors: int = 1,
) -> tuple[Comparison, ...]:
    """All pairs of means with one error rate (Tukey).

    Parameters
    ----------
    names, rows
        What is compared: means that are `rows` [q, p] of the effects; None: the effects.
    errors
        As for `against`: each beyond the first counts as one more mean.
    """
    means = np.eye(len(fit.beta)) if rows is None else rows
    chosen = list(combinations(range(len(names)), 2))
    if not chosen:
        return ()
    contrasts = np.array([means[i] - means[j] for i, j in chosen])
    variances = np.einsum("qi,ij,qj->q", contrasts, fit.covariance, contrasts)
    many = len(names) + errors - 1
    found = []
    for (i, j), row, df, var in zip(chosen, contrasts, fit.dfs(contrasts), variances, strict=True):
        error = math.sqrt(max(float(var), 0.0))
        difference = float(row @ fit.beta)
        half = all_pairs_limit(many, float(df)) * error
        p = float(difference == 0)
        if error > ALIKE:
            p = all_pairs_p(difference / error, many, df)
        found.append(
            Comparison(
                family, names[i], names[j], difference, difference - half, difference + half,
                float(df), p, within, error=error,
            )
        )  # fmt: skip
    return tuple(found)


def _rounded(df: float) -> float:
    """Degrees of freedom for a limit: never more than there are, in steps that do not matter."""
    df = max(min(float(df), 1e6), 1.0)
    step = 10.0 ** (math.floor(math.log10(df)) - 2)
    return float(round(math.floor(df / step) * step, 6))

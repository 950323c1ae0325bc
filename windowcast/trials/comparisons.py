"""Comparisons of treatments: against a check (Dunnett), all pairs (Tukey), and by factors.

Factors of a trial, such as timing by active, are tested by F, and their levels compared.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import combinations, product

import numpy as np

from windowcast.core.record import FloatArray
from windowcast.trials.families import all_pairs_limit, all_pairs_p, check_limit, check_p
from windowcast.trials.mixed import MixedFit
from windowcast.trials.model import Comparison, FactorTest, Family

ALIKE = 1e-12  # variance below which two means are known to be what they are

Factors = tuple[tuple[str, str], ...]


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


class Factorial:
    """The treatments that are every combination of the levels of some factors.

    Parameters
    ----------
    factors
        Treatment → its level of each factor; treatments outside the factorial are left out.
    names
        All treatments, in the order of the effects.
    """

    def __init__(self, factors: Mapping[str, Factors], names: Sequence[str]) -> None:
        inside = {name: dict(f) for name in names if (f := factors.get(name))}
        self.names = tuple(dict.fromkeys(key for levels in inside.values() for key in levels))
        self.levels = {
            key: tuple(dict.fromkeys(lv[key] for lv in inside.values() if key in lv))
            for key in self.names
        }
        cells = {tuple(lv.get(key, "") for key in self.names): n for n, lv in inside.items()}
        wanted = list(product(*(self.levels[key] for key in self.names)))
        self.complete = (
            bool(self.names)
            and all(len(levels) > 1 for levels in self.levels.values())
            and len(cells) == len(inside) == len(wanted)
            and set(cells) == set(wanted)
        )
        order = {name: n for n, name in enumerate(names)}
        self.at = np.zeros((len(wanted), len(names)))  # cell → effect
        if self.complete:
            for row, cell in enumerate(wanted):
                self.at[row, order[cells[cell]]] = 1.0

    def _rows(self, parts: Mapping[str, FloatArray]) -> FloatArray:
        """Contrasts over cells: a part for each factor, the mean over its levels where none."""
        whole: FloatArray = np.ones((1, 1))
        for key in self.names:
            count = len(self.levels[key])
            part = parts.get(key, np.full((1, count), 1 / count))
            whole = np.kron(whole, part).astype(np.float64)
        return whole @ self.at

    def tests(self, fit: MixedFit) -> tuple[FactorTest, ...]:
        """F of every factor and of their interactions."""
        from scipy.stats import f as fisher

        found = []
        for size in range(1, len(self.names) + 1):
            for chosen in combinations(self.names, size):
                rows = self._rows({key: _steps(len(self.levels[key])) for key in chosen})
                value, df = fit.f_test(rows)
                p = float(fisher.sf(value, len(rows), df if np.isfinite(df) else 1e9))
                found.append(FactorTest(" x ".join(chosen), value, float(len(rows)), df, p))
        return tuple(found)

    def comparisons(self, fit: MixedFit) -> tuple[Comparison, ...]:
        """Levels of each factor over all others, and within each combination of the others."""
        found: list[Comparison] = []
        for key in self.names:
            levels = self.levels[key]
            found += pairs(fit, levels, self._rows({key: np.eye(len(levels))}), family="factor")
            others = [other for other in self.names if other != key]
            for cell in product(*(range(len(self.levels[other])) for other in others)):
                parts = {other: np.eye(len(self.levels[other]))[[n]]
                         for other, n in zip(others, cell, strict=True)}  # fmt: skip
                if not parts:
                    continue
                within = ", ".join(
                    self.levels[other][n] for other, n in zip(others, cell, strict=True)
                )
                rows = self._rows({key: np.eye(len(levels)), **parts})
                found += pairs(fit, levels, rows, family="factor", within=within)
        return tuple(found)


def _steps(levels: int) -> FloatArray:
    """Each level less the next."""
    return np.eye(levels)[:-1] - np.eye(levels)[1:]

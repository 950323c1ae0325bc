"""Factors of a trial, such as timing by active: F tests, and levels compared."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import combinations, product

import numpy as np

from windowcast.core.record import FloatArray
from windowcast.trials.comparisons import pairs
from windowcast.trials.mixed import MixedFit
from windowcast.trials.model import Comparison, FactorTest

Factors = tuple[tuple[str, str], ...]


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

"""The rows of a trial as arrays: how treatments stand, what the design makes random."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from windowcast.core.record import FloatArray
from windowcast.trials.linked import Standing
from windowcast.trials.links import LinkScale, step_of, unit_of
from windowcast.trials.mixed import groups
from windowcast.trials.model import PlotRow, TrialOptions

Terms = dict[str, FloatArray]
"""Indicators of each random term's groups, ``[row, group]``, by the term's name."""


class TrialArrays:
    """Rows as arrays, with what stands for a fit and what does not.

    Attributes
    ----------
    names
        Of the treatments, in order of their first row.
    low, width
        What `values` count from and in: the ends of a scale, what one plant adds; else 0 and 1.
    values
        Of each row, ``[row]``.
    of
        Number of each row's treatment, ``[row]``.
    standing
        How the mean of each treatment is known; see `windowcast.trials.linked`.
    step
        Of rounding, scaled as the values.
    """

    def __init__(self, rows: Sequence[PlotRow], options: TrialOptions) -> None:
        self.rows, self.options = rows, options
        self.names = tuple(dict.fromkeys(r.treatment for r in rows))
        self.low, self.width = 0.0, 1.0
        if options.kind in {"percent", "ordinal"}:
            self.low, self.width = options.low, options.high - options.low
        values = np.array([r.value for r in rows])
        if options.kind == "count":
            self.width = unit_of(values)
        self.values = (values - self.low) / self.width
        self.of = np.array([self.names.index(r.treatment) for r in rows])
        self.measure = LinkScale(options.kind)
        self.sites = len({r.site for r in rows})
        self.standing = tuple(self._standing(n) for n in range(len(self.names)))
        self.step = step_of(self.values * self.width) / self.width

    def own(self, treatment: int) -> FloatArray:
        """Values of a treatment, by its number."""
        return np.asarray(self.values[self.of == treatment])

    def _standing(self, treatment: int) -> Standing:
        own = self.own(treatment)
        if self.measure.at_end(own):
            return "end"
        if self.measure.link == "none" and len(own) > 1 and not np.ptp(own):
            return "known" if self.names[treatment] in self.options.checks else "even"
        return "fitted"

    def confounded(self) -> bool:
        """Whether treatments do not meet in blocks, or at sites: either may be the cause."""
        terms = self.designed(self.rows)
        place = terms.get("block", terms.get("site"))
        if place is None:
            return False
        count = len(self.names)
        x = (self.of[:, None] == range(count)).astype(np.float64)
        together = np.linalg.matrix_rank(np.column_stack([x, place]))
        return bool(together < place.shape[1] + count - 1)

    def one_a_site(self, cells: FloatArray, y: FloatArray) -> list[int] | None:
        """A plot of each treatment at each site, where all of its plots there gave the same."""
        if self.sites < 2 or self.options.before != "none" or cells.shape[1] == len(y):
            return None
        each = [np.flatnonzero(cell) for cell in cells.T]
        return None if any(np.ptp(y[own]) for own in each) else [int(own[0]) for own in each]

    def before(self, rows: Sequence[PlotRow]) -> FloatArray:
        """Values before on the linear scale, less their mean."""
        before = (np.array([r.before for r in rows], dtype=np.float64) - self.low) / self.width
        half = self.step / 2
        if self.measure.two_ends:
            before = np.clip(before, half, 1 - half)
        elif self.measure.link == "log":
            before = before + half
        linear = self.measure.linear(before)
        return np.asarray(linear - linear.mean())

    def designed(self, rows: Sequence[PlotRow]) -> Terms:
        """Random terms of the design, as far as there is more than one of each."""
        site = [r.site for r in rows]
        found: Terms = {}
        if self.sites > 1:
            found["site"] = groups(site)
        if self.options.design != "crd":
            found["block"] = groups(site, [r.block for r in rows])
        if self.options.design == "split-plot":
            found["whole plot"] = groups(
                site, [r.block for r in rows], [r.whole_plot for r in rows]
            )
        if self.sites > 1:
            found["treatment x site"] = groups(site, [r.treatment for r in rows])
        check = np.array([r.treatment in self.options.checks for r in rows])
        others = [n for n in range(len(self.names)) if self.names[n] not in self.options.checks]
        if 1 < check.sum() < len(rows) and any(np.ptp(self.own(n)) for n in others):
            found["check"] = np.eye(len(rows))[:, check]
        return {name: t for name, t in found.items() if 1 < t.shape[1] < len(t) or name == "check"}

    def near(self, level: float, reach: float) -> tuple[float, float]:
        """How far from what all plots gave the mean may be; at least half a step of rounding."""
        reach = max(reach, self.step / 2)
        low, high = level - reach, level + reach
        if self.measure.link != "none":
            low = max(low, 0.0)
        if self.measure.two_ends:
            high = min(high, 1.0)
        return self.back(low), self.back(high)

    def back(self, value: float) -> float:
        """A value in the unit of the measure."""
        return self.low + self.width * value

    def unspread(self, level: float) -> tuple[float, float]:
        """Linear mean and error of plots that all gave the same, where no fit tells more.

        Rounding tells of the error (0); at an end the mean is half way to the bound, with the doubt
        of half a unit.
        """
        at_end = self.measure.at_end(np.array([level]))
        inside = level + (self.step / 4 if level <= 0 else -self.step / 4) * at_end
        return float(self.measure.linear(np.array(inside))), math.sqrt(2.0) * at_end

"""The analysis of one measure of a trial on one date: means, comparisons, factors.

Sites, blocks, whole plots and treatment x site are random, so that what is said holds for places
like these. With few sites that costs: of three sites and t treatments, 2 (t - 1) degrees of freedom
are left for differences, for a trial has then shown its treatments at three places only.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from windowcast.core.extras import there
from windowcast.core.phrase import NOTHING, Name, Phrase, joined, names, say
from windowcast.core.record import FloatArray
from windowcast.trials.comparisons import Factorial, against, pairs
from windowcast.trials.families import letters_of
from windowcast.trials.linked import LinearMeans, LinkedFit, all_means, fit_linked
from windowcast.trials.mixed import groups
from windowcast.trials.model import (
    DF_PER_SITE,
    LEVEL,
    AdjustedMean,
    Comparison,
    PlotRow,
    TrialAnalysis,
    TrialOptions,
)
from windowcast.trials.percent_control import too_uneven
from windowcast.trials.trial_arrays import TrialArrays

FEW_PLOTS = 4  # fewer leave an interval of more than three standard errors
FEW_SITES = 4
NO_WIDTH = 1e-9  # of an interval on the linear scale: the fit left a mean no doubt
PLACES = ("site", "block", "whole plot")


def analyse(rows: Sequence[PlotRow], options: TrialOptions) -> TrialAnalysis:
    """Analyse one measure of a trial on one date.

    Parameters
    ----------
    rows
        One for each plot; NaN where it is missing. Several values of one plot are averaged before.

    Returns
    -------
    TrialAnalysis
        With `problem` where it cannot be worked out: nothing is raised for what the values are.
    """
    try:
        return _analysed(rows, options)
    except ImportError as error:
        problem = say("analysis.needs_scipy")
        if there("scipy"):
            problem = say("analysis.damaged_scipy", problem=Name(" ".join(str(error).split())))
        return TrialAnalysis(options.kind, problem=problem)
    except (np.linalg.LinAlgError, ArithmeticError, ValueError, LookupError):
        return TrialAnalysis(options.kind, problem=say("analysis.not_worked_out"))


def _analysed(rows: Sequence[PlotRow], options: TrialOptions) -> TrialAnalysis:
    said: list[Phrase] = []
    kept = [r for r in rows if math.isfinite(r.value)]
    if len(kept) < len(rows):
        said.append(say("analysis.missing", missing=len(rows) - len(kept), plots=len(rows)))
    if options.before != "none":
        counted = [r for r in kept if r.before is not None and math.isfinite(r.before)]
        if len(counted) < len(kept):
            left_out = len(kept) - len(counted)
            said.append(say("analysis.before_missing", missing=left_out, plots=len(kept)))
        kept = counted
    problem = _problem(kept, options)
    if problem:
        return TrialAnalysis(options.kind, problem=problem, notes=tuple(said))
    trial = _Trial(kept, options)
    if trial.confounded():
        return TrialAnalysis(options.kind, problem=say("analysis.confounded"), notes=tuple(said))
    found = trial.fitted()
    if found is None:
        return trial.bounds_only(said)
    return trial.analysis(found, said)


def _problem(rows: Sequence[PlotRow], options: TrialOptions) -> Phrase:
    """Why rows cannot be analysed; nothing where they can."""
    if not rows:
        return say("analysis.no_values")
    values = [r.value for r in rows]
    low = {"amount": -math.inf, "count": 0.0, "biomass": 0.0}.get(options.kind, options.low)
    high = options.high if options.kind in {"percent", "ordinal"} else math.inf
    outside = [r for r in rows if not low <= r.value <= high]
    if outside:
        return say("analysis.outside", plot=Name(outside[0].plot), value=outside[0].value)
    if len(values) == len({r.treatment for r in rows}):
        return say("analysis.no_error_left")
    return NOTHING


class _Trial(TrialArrays):
    """Rows with the model that was fitted to them."""

    def fitted(self) -> LinkedFit | None:
        """The model of all treatments that can be fitted; None where no error is left."""
        inside = [n for n, how in enumerate(self.standing) if how == "fitted"]
        keep = np.isin(self.of, inside)
        if not any(np.ptp(self.own(n)) for n in inside):
            return None
        y, of = self.values[keep], self.of[keep]
        rows = [r for r, use in zip(self.rows, keep, strict=True) if use]
        x = (of[:, None] == inside).astype(np.float64)
        first = self.measure.linear(np.array([self.own(n).mean() for n in inside]))
        offset = None
        if self.options.before != "none":
            before = self.before(rows)
            if self.options.before == "offset":
                offset = before
            elif np.ptp(before):
                x, first = np.column_stack([x, before]), np.append(first, 0.0)
        terms = self.designed(rows)
        cells = groups([r.site for r in rows], [r.treatment for r in rows])
        one = self.one_a_site(cells, y)
        if one is not None:  # plots that repeat each other tell no more than one of them
            y, x, cells = y[one], x[one], cells[one]
            terms = {"site": groups([rows[n].site for n in one])}
        places = [terms[name] for name in PLACES if name in terms]
        left = len(y) - int(np.linalg.matrix_rank(np.column_stack([x, *places])))
        if left < 1:
            return None
        if "treatment x site" in terms:
            apart = np.linalg.matrix_rank(np.column_stack([x[:, : len(inside)], terms["site"]]))
            left = min(left, max(cells.shape[1] - int(apart), 1))
        self.terms, self.repeated = tuple(terms), one is not None
        found = fit_linked(
            y, x, list(terms.values()), self.measure,
            first=first, offset=offset, of_places=len(places),
            of_plots="check" in terms,
        )  # fmt: skip
        return replace(found, fit=replace(found.fit, most_df=float(left)))

    def analysis(self, found: LinkedFit, said: list[Phrase]) -> TrialAnalysis:
        plot_variance = float(found.fit.variances[-1])
        if self.options.kind == "count":
            plot_variance = max(plot_variance, 1.0)
        counts = np.array([float((self.of == n).sum()) for n in range(len(self.names))])
        if self.sites > 1:  # plots of one site do not speak for others
            counts = np.array([
                float(len({r.site for r in self.rows if r.treatment == name}))
                for name in self.names
            ])  # fmt: skip
        levels = [float(self.own(n).mean()) for n in range(len(self.names))]
        linear = all_means(found, self.standing, levels=levels, units=counts / plot_variance)
        compared = self._compared(linear)
        means = self._means(linear, found, levels)
        order = [self.names[n] for n in np.argsort(-linear.fit.beta)]
        different = [(c.first, c.second) for c in compared if c.family == "all" and c.differs]
        letters = letters_of(order, different)
        factorial = Factorial({r.treatment: r.factors for r in self.rows}, self.names)
        tests = factorial.tests(linear.fit) if factorial.complete else ()
        if factorial.complete:
            compared += factorial.comparisons(linear.fit)
        elif factorial.names:
            said.append(say("analysis.not_factorial"))
        variances = {
            name: float(v)
            for name, v in zip((*self.terms, "plot"), found.fit.variances, strict=True)
            if np.isfinite(v)
        }
        said += self._notes(found, variances)
        dfs = [c.df for c in compared if c.family == "all" and math.isfinite(c.df)]
        return TrialAnalysis(
            self.options.kind,
            model=self._model(variances),
            link=self.measure.link,
            means=tuple(replace(m, letters=letters[m.treatment]) for m in means),
            comparisons=compared,
            factors=tests,
            variances=variances,
            error_df=float(np.median(dfs)) if dfs else math.nan,
            unit=self.width if self.options.kind == "count" else 1.0,
            shape=found.measure.shape,
            notes=tuple(said),
        )

    def _compared(self, linear: LinearMeans) -> tuple[Comparison, ...]:
        fit = linear.fit
        own = "check" in self.terms  # an error of its own is one more that can be small by chance
        found = pairs(fit, self.names, errors=1 + own)
        standard = self.options.standard or next(
            (name for name in self.options.checks if name in self.names), ""
        )
        if standard in self.names:
            found += against(fit, self.names, self.names.index(standard), errors=1 + own)
        return tuple(self._with_percent(c, linear) for c in found)

    def _with_percent(self, c: Comparison, linear: LinearMeans) -> Comparison:
        """With how much less the first is than the second, where a ratio makes sense."""
        of = {name: n for n, name in enumerate(self.names)}
        ends = linear.standing[of[c.second]] == "end"
        if self.measure.link != "log" or ends:
            return c
        if linear.standing[of[c.first]] == "end":  # none left: a bound
            most = self.measure.furthest(linear.units[of[c.first]])
            second = float(np.exp(linear.fit.beta - self._half(linear))[of[c.second]])
            low = max(100 * (1 - most / second), -100.0) if second > 0 else -100.0
            return replace(c, percent=100.0, percent_low=low, percent_high=100.0)
        less, low, high = (100 * -math.expm1(v) for v in (c.difference, c.high, c.low))
        return replace(c, percent=less, percent_low=low, percent_high=high)

    def _means(
        self, linear: LinearMeans, found: LinkedFit, levels: Sequence[float]
    ) -> list[AdjustedMean]:
        """Means on the scale of the data, over the places of the trial."""
        fit, measure, half = linear.fit, found.measure, self._half(linear)
        errors = np.sqrt(np.maximum(np.diag(fit.covariance), 0.0))
        means = []
        for n, name in enumerate(self.names):
            standing = linear.standing[n]
            level, at, error = levels[n], float(fit.beta[n]), float(errors[n])
            ends = self.near(level, 0.0)
            bound = standing in {"end", "known"}
            if standing == "end":
                ends = self.near(level, measure.furthest(linear.units[n]))
            elif not bound:
                over = measure.mean(fit.beta[n] + found.places)
                level = float(over.mean()) if measure.link != "none" else at
                at = float(measure.linear(np.array(level)))
                flat = float(measure.slope(over).mean() / measure.slope(np.array(level)))
                error *= flat
                bound = not half[n] > NO_WIDTH  # nothing but rounding is left to doubt it
                reach = flat * half[n]
                low, high = measure.mean(np.array([at - reach, at + reach]))
                ends = self.back(float(low)), self.back(float(high))
                if bound:
                    ends = self.near(level, 0.0)
            plots = int((self.of == n).sum())
            means.append(AdjustedMean(name, plots, self.back(level), *ends, "", bound, at, error))
        return means

    def _half(self, linear: LinearMeans) -> FloatArray:
        """Half the interval of each mean on the linear scale."""
        from scipy.stats import t as student

        fit = linear.fit
        errors = np.sqrt(np.maximum(np.diag(fit.covariance), 0.0))
        dfs = fit.dfs(np.eye(len(self.names)))
        if self.sites > 1:
            dfs = np.minimum(dfs, DF_PER_SITE * (self.sites - 1))
        return np.asarray(student.ppf(0.5 + LEVEL / 2, dfs) * errors)

    def bounds_only(self, said: list[Phrase]) -> TrialAnalysis:
        """Where no treatment has any spread: what rounding lets each mean be."""
        if any(np.ptp(self.own(n)) for n in range(len(self.names))):
            return TrialAnalysis(
                self.options.kind, problem=say("analysis.no_error_left"), notes=tuple(said)
            )
        levels = [float(self.own(n)[0]) for n in range(len(self.names))]
        means = tuple(
            AdjustedMean(
                name, int((self.of == n).sum()), self.back(levels[n]),
                *self.near(levels[n], 0.0), "", True, *self.unspread(levels[n]),
            )
            for n, name in enumerate(self.names)
        )  # fmt: skip
        said.append(say("analysis.no_spread"))
        return TrialAnalysis(
            self.options.kind, model=say("analysis.bounds"), link=self.measure.link, means=means,
            notes=tuple(said),
        )  # fmt: skip

    def _model(self, variances: dict[str, float]) -> Phrase:
        random = [name for name in variances if name not in {"plot", "check"}]
        said = {
            "site": say("analysis.term.site", count=self.sites),
            "block": say("analysis.term.block"),
            "whole plot": say("analysis.term.whole_plot"),
            "treatment x site": say("analysis.term.treatment_site"),
        }
        of = say(f"analysis.of.{self.options.kind}")
        if not random:
            return say("analysis.fixed_only", of=of)
        return say("analysis.mixed", of=of, random=joined(*(said[name] for name in random)))

    def _notes(self, found: LinkedFit, variances: dict[str, float]) -> list[Phrase]:
        said = []
        if not (found.settled and found.fit.settled):
            said.append(say("analysis.unsettled"))
        fewest = min(int((self.of == n).sum()) for n in range(len(self.names)))
        if fewest < FEW_PLOTS:
            said.append(say("analysis.few_plots", plots=fewest))
        if 1 < self.sites < FEW_SITES:
            said.append(say("analysis.few_sites", sites=self.sites))
        if min((variances.get(k, 1.0) for k in ("site", "block")), default=1.0) <= 0:
            several = self.sites > 1
            said.append(say("analysis.no_variance" if several else "analysis.no_variance_blocks"))
        if self.repeated:
            said.append(say("analysis.repeated"))
        uneven = [
            name
            for n, name in enumerate(self.names)
            if name in self.options.checks and self.measure.link == "log"
            and too_uneven(self.own(n))
        ]  # fmt: skip
        if uneven:
            said.append(say("analysis.check_uneven", treatments=names(*uneven)))
        for how in ("known", "even", "end"):
            those = [n for n, s in zip(self.names, self.standing, strict=True) if s == how]
            if those:
                said.append(say(f"analysis.standing.{how}", treatments=names(*those)))
        return said

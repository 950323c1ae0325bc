"""Analysis of plot trials: means with intervals, blocked or mixed, and letters for differences.

One location with blocks: treatments and blocks as fixed effects. Several locations: locations, and
blocks within them, as random effects (REML), so that the means speak of places like these. What
follows is stated with each result. Needs statsmodels (the ``trials`` extra).
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from itertools import combinations
from typing import Any, Literal

import numpy as np

from windowcast.core.errors import InputError
from windowcast.core.phrase import Phrase, say
from windowcast.core.record import FloatArray
from windowcast.records.model import Rating
from windowcast.trials.percent_control import LEVEL

Transform = Literal["none", "sqrt"]
ZERO_VARIANCE = 1e-4  # of the residual's
FEW_PLOTS = 4  # fewer leave a t-interval of more than three standard errors


@dataclass(frozen=True, slots=True)
class TreatmentMean:
    """Adjusted mean of a treatment with its 95 % interval, on the scale of the data.

    Treatments that share a letter do not differ at 5 % (Tukey).
    """

    treatment: str
    plots: int
    mean: float
    low: float
    high: float
    letters: str


@dataclass(frozen=True, slots=True)
class Difference:
    """Difference of two adjusted means on the scale analysed, with Tukey's 95 % limits.

    `p` is adjusted too, and never given below 0.001 or above 0.9.
    """

    first: str
    second: str
    difference: float
    low: float
    high: float
    p: float

    @property
    def differs(self) -> bool:
        """Whether the limits leave out zero."""
        return self.low > 0 or self.high < 0


@dataclass(frozen=True, slots=True)
class Analysis:
    """An analysis of one measure of a trial."""

    model: Phrase
    transform: Transform
    means: tuple[TreatmentMean, ...]
    differences: tuple[Difference, ...]
    residual_df: float
    residual_variance: float
    warnings: tuple[Phrase, ...]


def analyse(ratings: Sequence[Rating], *, transform: Transform = "none") -> Analysis:
    """Adjusted means, their differences and letters for one measure on one date.

    Parameters
    ----------
    ratings
        Values after treatment, untreated plots included.
    transform
        "sqrt" for counts, whose spread grows with the mean; means come back on the scale of the
        counts, differences stay on that of the roots.

    Raises
    ------
    InputError
        Fewer than two plots more than treatments, or statsmodels is not installed.
    """
    treatments = sorted({r.treatment for r in ratings})
    locations = sorted({r.location for r in ratings})
    if len(ratings) < len(treatments) + 2:
        raise InputError(
            f"{len(ratings)} plots of {len(treatments)} treatments are too few to analyse",
            field="ratings",
            remedy="repeat each treatment",
        )
    values = np.array([r.value for r in ratings])
    if transform == "sqrt":
        if (values < 0).any():
            raise InputError("negative values have no square root", field="value")
        values = np.sqrt(values)
    fit = _mixed if len(locations) > 1 else _blocked
    model, beta, covariance, df, scale, said = fit(ratings, values, treatments)
    if transform == "sqrt":
        model = say("analysis.of_roots", model=model)
    if df < 1:
        raise InputError(
            "no plot is left over to tell the error from", field="ratings", remedy="add blocks"
        )
    differences = _differences(treatments, beta, covariance, df)
    letters = _letters(treatments, beta, differences)
    from scipy.stats import t as student

    half = float(student.ppf(0.5 + LEVEL / 2, df)) * np.sqrt(np.diag(covariance))

    def back(value: float) -> float:
        return max(value, 0.0) ** 2 if transform == "sqrt" else value

    means = tuple(
        TreatmentMean(
            name,
            sum(r.treatment == name for r in ratings),
            back(float(b)),
            back(float(b - h)),
            back(float(b + h)),
            letters[name],
        )
        for name, b, h in zip(treatments, beta, half, strict=True)
    )
    fewest = min(m.plots for m in means)
    if fewest < FEW_PLOTS:
        said.append(say("analysis.few_plots", plots=fewest))
    return Analysis(model, transform, means, differences, df, scale, tuple(said))


Fit = tuple[Phrase, FloatArray, FloatArray, float, float, list[Phrase]]


def _blocked(ratings: Sequence[Rating], values: FloatArray, treatments: Sequence[str]) -> Fit:
    """Ordinary least squares with one mean for each treatment and blocks that sum to zero."""
    sm = _statsmodels()
    columns = [[float(r.treatment == name) for r in ratings] for name in treatments]
    blocks = sorted({r.block for r in ratings})
    for block in blocks[:-1]:
        columns.append([float(r.block == block) - float(r.block == blocks[-1]) for r in ratings])
    design = np.array(columns).T
    if np.linalg.matrix_rank(design) < design.shape[1]:
        raise InputError(
            "treatments and blocks cannot be told apart", field="block", remedy="check the blocks"
        )
    found = sm.OLS(values, design).fit()
    count = len(treatments)
    model = say("analysis.treatments")
    if len(blocks) > 1:
        model = say("analysis.fixed_blocks", blocks=len(blocks))
    return (
        model,
        np.asarray(found.params[:count]),
        np.asarray(found.cov_params())[:count, :count],
        float(found.df_resid),
        float(found.scale),
        [],
    )


def _mixed(ratings: Sequence[Rating], values: FloatArray, treatments: Sequence[str]) -> Fit:
    """REML with random locations, and random blocks within them where blocks are repeated."""
    _statsmodels()
    import pandas as pd
    from statsmodels.regression.mixed_linear_model import MixedLM

    frame = pd.DataFrame(
        {
            "value": values,
            "treatment": [r.treatment for r in ratings],
            "location": [r.location for r in ratings],
            "block": [r.block for r in ratings],
        }
    )
    blocks = frame.groupby(["location", "block"]).size()
    with_blocks = len(blocks) > frame["location"].nunique() and bool((blocks > 1).any())
    formula = "value ~ 0 + C(treatment, levels=treatments)" if len(treatments) > 1 else "value ~ 1"
    said: list[Phrase] = []
    model = MixedLM.from_formula(
        formula,
        groups="location",
        re_formula="1",
        vc_formula={"block": "0 + C(block)"} if with_blocks else None,
        data=frame,
    )
    # Following gradients stops short where a variance is zero; searching without them does not,
    # but is less exact elsewhere: the likelier of the two results is the estimate.
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # what they warn of is said below
        found = max(
            (model.fit(reml=True, method=method) for method in ("lbfgs", "powell")),
            key=lambda fit: fit.llf,
        )
    if min(*np.diag(found.cov_re), *found.vcomp) < ZERO_VARIANCE * found.scale:
        said.append(say("analysis.no_variance"))
    if not found.converged:
        said.append(say("analysis.unsettled"))
    places = int(frame["location"].nunique())
    if places < FEW_PLOTS:
        said.append(say("analysis.few_places", places=places))
    count = len(treatments)
    covariance = np.asarray(found.cov_params())[:count, :count]
    groups = len(blocks) if with_blocks else places
    df = float(len(frame) - groups - (count - 1))
    how = say("analysis.random_places", places=places)
    if with_blocks:
        how = say("analysis.random_blocks", places=places, blocks=len(blocks))
    return how, np.asarray(found.fe_params), covariance, df, float(found.scale), said


def _statsmodels() -> Any:
    try:
        import statsmodels.api as sm
    except ImportError:
        raise InputError(
            "trials need statsmodels, which is not installed",
            remedy="install it with: pip install windowcast[trials]",
        ) from None
    return sm


def _differences(
    treatments: Sequence[str], beta: FloatArray, covariance: FloatArray, df: float
) -> tuple[Difference, ...]:
    """All pairwise differences with Tukey's adjustment (Tukey-Kramer for unequal numbers)."""
    from statsmodels.stats.libqsturng import psturng  # close enough for p, and much faster

    if len(treatments) < 2:
        return ()
    critical = _tukey(len(treatments), df) / math.sqrt(2)
    found = []
    for i, j in combinations(range(len(treatments)), 2):
        difference = float(beta[i] - beta[j])
        variance = covariance[i, i] + covariance[j, j] - 2 * covariance[i, j]
        error = float(np.sqrt(max(variance, 0.0)))
        statistic = abs(difference) / error * np.sqrt(2) if error else np.inf
        p = float(np.squeeze(psturng(statistic, len(treatments), df))) if error else 0.0
        found.append(
            Difference(
                treatments[i],
                treatments[j],
                difference,
                difference - critical * error,
                difference + critical * error,
                p,
            )
        )
    return tuple(found)


@cache
def _tukey(treatments: int, df: float) -> float:
    """Critical value of the studentized range."""
    from scipy.stats import studentized_range

    return float(studentized_range.ppf(LEVEL, treatments, df))


def _letters(
    treatments: Sequence[str], beta: FloatArray, differences: Sequence[Difference]
) -> dict[str, str]:
    """Letters so that two treatments share one exactly when they do not differ.

    Insert and absorb: Piepho, H.-P. 2004. J. Comput. Graph. Stat. 13:456-466 (citation from
    memory).
    """
    columns: list[set[str]] = [set(treatments)]
    for pair in differences:
        if not pair.differs:
            continue
        for column in [c for c in columns if {pair.first, pair.second} <= c]:
            columns.remove(column)
            columns += [column - {pair.first}, column - {pair.second}]
        columns = [c for c in columns if not any(c < other for other in columns)]
        columns = [c for i, c in enumerate(columns) if c not in columns[:i]]
    order = [treatments[i] for i in np.argsort(-beta)]
    columns.sort(key=lambda c: [name not in c for name in order])
    return {
        name: "".join(chr(ord("a") + i) for i, column in enumerate(columns) if name in column)
        for name in treatments
    }

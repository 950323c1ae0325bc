"""Dose and response: log-logistic curves, doses that do 50 or 90 %, ratios of resistance.

    y = low + (high - low) / (1 + (dose / ed50) ** slope)

`high` is the response without a dose and `low` that of the highest doses, so that one curve serves
for what falls (live weight) and, with `high` below `low`, for what rises (control). The slope is
above zero.

References
----------
Streibig, J.C. 1980. Acta Agric. Scand. 30:59-64; Seefeldt, S.S., Jensen, J.E. & Fuerst, E.P. 1995.
Weed Technol. 9:218-227 (citations from memory); Ritz, C., Baty, F., Streibig, J.C. & Gerhard, D.
2015. PLoS ONE 10(12):e0146021.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from windowcast.core.errors import InputError
from windowcast.core.record import FloatArray
from windowcast.trials.model import LEVEL

FEWEST_DOSES = 4
FEWEST_LEFT = 3  # degrees of freedom of the error
IntArray = npt.NDArray[np.intp]
Doses = tuple[Sequence[float], Sequence[float]]  # doses, and the response to each


@dataclass(frozen=True, slots=True)
class EffectiveDose:
    """A dose that does `percent` of what lies between the curve's ends.

    `dose`, and its 95 % limits from the logarithm of the dose, in the unit of the doses. `tested`
    says whether it lies among the doses that were given.
    """

    percent: float
    dose: float
    low: float
    high: float
    tested: bool


@dataclass(frozen=True, slots=True)
class DoseCurve:
    """A log-logistic curve that was fitted.

    Attributes
    ----------
    slope, low, high, ed50
        Its four numbers: the slope above zero, the ends in the unit of the response.
    errors
        Their standard errors, in that order; 0 of an end that was given.
    residual
        Standard deviation of the values around the curve.
    df
        Degrees of freedom of it.
    covariance
        Of slope, low, high and the logarithm of ed50 [4, 4].
    least, most
        The lowest dose above zero and the highest that were given.
    misfit_p
        Chance of means of doses so far from the curve if it is right (F test for lack of fit); NaN
        where no dose was repeated.
    """

    slope: float
    low: float
    high: float
    ed50: float
    errors: tuple[float, float, float, float]
    residual: float
    df: int
    covariance: FloatArray
    least: float
    most: float
    misfit_p: float = math.nan

    def response(self, doses: FloatArray) -> FloatArray:
        """What the curve gives at doses of zero or more, in the unit of the response."""
        safe = np.where(doses > 0, doses, 1.0)
        power = np.clip(self.slope * (np.log(safe) - math.log(self.ed50)), -500, 500)
        inside = self.low + (self.high - self.low) / (1 + np.exp(power))
        return np.where(doses > 0, inside, self.high)

    def gradient(self, percent: float) -> FloatArray:
        """Change of the logarithm of a dose with the four numbers."""
        odds = math.log(percent / (100 - percent))
        return np.array([-odds / self.slope**2, 0.0, 0.0, 1.0])

    def log_dose(self, percent: float) -> tuple[float, float]:
        """Logarithm of the dose that does a percentage, and its variance (delta method)."""
        gradient = self.gradient(percent)
        variance = float(gradient @ self.covariance @ gradient)
        return math.log(self.ed50) + math.log(percent / (100 - percent)) / self.slope, variance

    def dose_of(self, percent: float) -> EffectiveDose:
        """The dose that does a percentage, 0 < percent < 100."""
        from scipy.stats import t as student

        log_dose, variance = self.log_dose(percent)
        half = float(student.ppf(0.5 + LEVEL / 2, self.df)) * math.sqrt(variance)
        return EffectiveDose(
            percent, _exp(log_dose), _exp(log_dose - half), _exp(log_dose + half),
            self.least <= _exp(log_dose) <= self.most,
        )  # fmt: skip


def _exp(power: float) -> float:
    return math.exp(min(max(power, -600.0), 600.0))


def fit_curve(
    doses: Sequence[float], responses: Sequence[float], *, low: float | None = None
) -> DoseCurve:
    """Fit a log-logistic curve by least squares.

    Parameters
    ----------
    doses
        Zero or more, one for each value; zero is the untreated check.
    responses
        Live weight, live plants, control, or another value that ends at `low`.
    low
        The response at the highest doses where it is known, such as 0 for survivors; None: it is
        fitted.

    Raises
    ------
    InputError
        Fewer than four different doses or three values more than numbers to fit, a negative dose,
        or no curve that comes to rest.

    Examples
    --------
    >>> from windowcast.trials.dose_response import fit_curve
    >>> doses = [0, 0.01, 0.019, 0.038, 0.075, 0.15, 0.3]
    >>> curve = fit_curve(doses, [5.5, 5.7, 5.4, 4.6, 3.3, 0.7, 0.4])
    >>> round(curve.ed50, 4), round(curve.dose_of(90).dose, 3)
    (0.0804, 0.184)
    """
    return fit_together({"": (doses, responses)}, low=low)[0][""]


@dataclass(frozen=True, slots=True)
class ResistanceRatio:
    """How many times the dose a population needs, against one that is susceptible (95 % limits)."""

    percent: float
    ratio: float
    low: float
    high: float
    p: float

    @property
    def resistant(self) -> bool:
        """Whether it surely needs more."""
        return self.low > 1


def resistance_ratio(
    suspected: DoseCurve,
    susceptible: DoseCurve,
    percent: float = 50.0,
    between: FloatArray | None = None,
) -> ResistanceRatio:
    """The ratio of the doses that do a percentage in two populations.

    Its logarithm has the doubt of both; the degrees of freedom are Satterthwaite's.

    Parameters
    ----------
    between
        Covariance of the numbers of the first with those of the second [4, 4], where the curves
        were fitted together; None where each was fitted by itself.
    """
    from scipy.stats import t as student

    (one, of_one), (other, of_other) = (c.log_dose(percent) for c in (suspected, susceptible))
    variance = of_one + of_other
    df = variance**2 / (of_one**2 / suspected.df + of_other**2 / susceptible.df)
    if between is not None:
        shared = suspected.gradient(percent) @ between @ susceptible.gradient(percent)
        variance, df = variance - 2 * float(shared), suspected.df
    error, log_ratio = math.sqrt(variance), one - other
    half = float(student.ppf(0.5 + LEVEL / 2, df)) * error
    return ResistanceRatio(
        percent, _exp(log_ratio), _exp(log_ratio - half), _exp(log_ratio + half),
        float(2 * student.sf(abs(log_ratio) / error, df)),
    )  # fmt: skip


def fit_together(
    populations: Mapping[str, Doses], *, low: float | None = None
) -> tuple[dict[str, DoseCurve], dict[tuple[str, str], FloatArray]]:
    """Fit curves of several populations that end at the same responses.

    Parameters
    ----------
    populations
        Doses and responses of each, by name.
    low
        As for `fit_curve`.

    Returns
    -------
    The curves by name, and for each two of them the covariance that `resistance_ratio` takes.

    Raises
    ------
    InputError
        As `fit_curve`.
    """
    names = list(populations)
    x, y, of = _checked(populations, low)
    many, free = len(names), 2 * len(names) + (2 if low is None else 1)
    scale = float(np.ptp(y)) or 1.0
    safe, dosed = np.where(x > 0, x, 1.0), x > 0

    def curve(p: FloatArray) -> FloatArray:
        """Of slopes, logs of ed50, the end without a dose and that of the highest doses."""
        bottom = p[-1] if low is None else low
        power = np.clip(p[:many][of] * (np.log(safe) - p[many : 2 * many][of]), -500, 500)
        inside = bottom + (p[2 * many] - bottom) / (1 + np.exp(power))
        return np.asarray(np.where(dosed, inside, p[2 * many]))

    found = _least(lambda p: (curve(p) - y) / scale, _starts(x, y, of, many, low))
    df = len(x) - free
    variance = 2 * float(found.cost) * scale**2 / df
    bend = found.jac.T @ found.jac
    slopes = found.x[:many]
    if not np.isfinite(bend).all() or np.linalg.cond(bend) > 1e14 or (slopes <= 0).any():
        raise InputError(
            "no curve fits these values", field="dose",
            remedy="test doses on both sides of the one that does half",
        )  # fmt: skip
    whole = np.linalg.inv(bend) * variance / scale**2
    ends = float(found.x[-1]) if low is None else low, float(found.x[2 * many])
    misfit = _misfit_p(x, y, of, 2 * float(found.cost) * scale**2, df)

    def at(n: int) -> list[int]:
        """Where slope, end, other end and log ed50 of a population stand; -1: it was given."""
        return [n, -1 if low is not None else 2 * many + 1, 2 * many, many + n]

    def part(one: int, other: int) -> FloatArray:
        rows, columns = at(one), at(other)
        padded = np.pad(whole, (0, 1))  # the last row and column are those of what was given
        return padded[np.ix_(rows, columns)]

    curves = {}
    for n, name in enumerate(names):
        own, given = part(n, n), x[of == n]
        ed50, errors = math.exp(found.x[many + n]), np.sqrt(np.diag(own))
        curves[name] = DoseCurve(
            float(slopes[n]), *ends, ed50,
            (float(errors[0]), float(errors[1]), float(errors[2]), float(errors[3] * ed50)),
            math.sqrt(variance), df, own, float(given[given > 0].min()), float(given.max()), misfit,
        )  # fmt: skip
    pairs = [(i, j) for i in range(many) for j in range(many) if i != j]
    return curves, {(names[i], names[j]): part(i, j) for i, j in pairs}


def _checked(
    populations: Mapping[str, Doses], low: float | None
) -> tuple[FloatArray, FloatArray, IntArray]:
    """Doses, responses, and the number of the population of each; refuses what gives no curve."""
    doses, responses, of = [], [], []
    for number, (name, (own, values)) in enumerate(populations.items()):
        x, y = np.asarray(own, dtype=np.float64), np.asarray(values, dtype=np.float64)
        if len(x) != len(y) or not np.isfinite(x).all() or not np.isfinite(y).all():
            raise InputError("each value needs a dose", field="dose", remedy="fill both in")
        if (x < 0).any():
            raise InputError("a dose is below zero", field="dose", remedy="correct it")
        if too_few(own, values, low):
            whose = f" of {name}" if name else ""
            raise InputError(
                f"{len(np.unique(x))} doses{whose} with {len(x)} values are too few for a curve",
                field="dose", remedy="test four doses or more, each several times",
            )  # fmt: skip
        doses.append(x)
        responses.append(y)
        of.append(np.full(len(x), number))
    return np.concatenate(doses), np.concatenate(responses), np.concatenate(of)


def too_few(doses: Sequence[float], responses: Sequence[float], low: float | None) -> bool:
    """Whether values cannot give a curve, whatever they are; `low` as for `fit_curve`."""
    free = 4 if low is None else 3
    return len(set(doses)) < FEWEST_DOSES or len(responses) - free < FEWEST_LEFT


def _starts(
    x: FloatArray, y: FloatArray, of: IntArray, many: int, low: float | None
) -> list[FloatArray]:
    """Where the search begins: ends from the values, several slopes and places of the middle."""
    rises = float(y[x <= np.median(x)].mean()) < float(y[x >= np.median(x)].mean())
    ends = [float(y.min()), float(y.max())] if rises else [float(y.max()), float(y.min())]
    if low is not None:
        ends.pop()
    found = []
    for slope in (1.0, 3.0):
        for share in (0.25, 0.5, 0.75):
            middles = [float(np.quantile(np.log(x[(of == n) & (x > 0)]), share))
                       for n in range(many)]  # fmt: skip
            found.append(np.array([slope] * many + middles + ends))
    return found


def _least(rest: Callable[[FloatArray], FloatArray], starts: Sequence[FloatArray]) -> Any:
    """The best of the least squares that come to rest, else the best of all."""
    from scipy.optimize import least_squares

    found = [least_squares(rest, start, method="lm", xtol=1e-12) for start in starts]
    settled = [each for each in found if each.success and np.isfinite(each.x).all()]
    if not settled:
        raise InputError(
            "no curve fits these values", field="dose",
            remedy="test doses on both sides of the one that does half",
        )  # fmt: skip
    return min(settled, key=lambda each: float(each.cost))


def _misfit_p(x: FloatArray, y: FloatArray, of: IntArray, squares: float, df: int) -> float:
    """F test of the curve against a mean for each dose; NaN where no dose was repeated."""
    from scipy.stats import f as fisher

    cells = np.unique(np.column_stack([of, x]), axis=0, return_inverse=True)[1].ravel()
    counts = np.bincount(cells)
    means = np.bincount(cells, weights=y) / counts
    pure, left = float(((y - means[cells]) ** 2).sum()), len(y) - len(counts)
    if left < 1 or df <= left or pure <= 0:
        return math.nan
    return float(fisher.sf((squares - pure) / (df - left) / (pure / left), df - left, left))

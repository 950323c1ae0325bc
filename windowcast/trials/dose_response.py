"""Dose and response: log-logistic curves, doses that do 50 or 90 %, ratios of resistance.

    y = low + (high - low) / (1 + (dose / ed50) ** slope)

References
----------
Streibig, J.C. 1980. Acta Agric. Scand. 30:59-64; Seefeldt, S.S., Jensen, J.E. & Fuerst, E.P. 1995.
Weed Technol. 9:218-227; Ritz, C. et al. 2015. PLoS ONE 10(12):e0146021 (citations from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from windowcast.core.errors import InputError
from windowcast.core.record import FloatArray
from windowcast.trials.model import LEVEL

FEWEST_DOSES = 4
FEWEST_LEFT = 3  # degrees of freedom of the error


@dataclass(frozen=True, slots=True)
class EffectiveDose:
    """A dose that takes away `percent` of what lies between the curve's ends.

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
        Its four numbers: above zero the response falls with the dose; ends in the unit of the
        response.
    errors
        Their standard errors, in that order.
    residual
        Standard deviation of the values around the curve.
    df
        Degrees of freedom of it.
    covariance
        Of slope, low, high and the logarithm of ed50 [4, 4].
    least, most
        The lowest dose above zero and the highest that were given.
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

    def log_dose(self, percent: float) -> tuple[float, float]:
        """Logarithm of the dose that does a percentage, and its variance (delta method)."""
        odds = math.log(percent / (100 - percent))
        gradient = np.array([-odds / self.slope**2, 0.0, 0.0, 1.0])
        variance = float(gradient @ self.covariance @ gradient)
        return math.log(self.ed50) + odds / self.slope, variance

    def dose_of(self, percent: float) -> EffectiveDose:
        """The dose that does a percentage, 0 < percent < 100."""
        from scipy.stats import t as student

        log_dose, variance = self.log_dose(percent)
        half = float(student.ppf(0.5 + LEVEL / 2, self.df)) * math.sqrt(variance)
        return EffectiveDose(
            percent, math.exp(log_dose), math.exp(log_dose - half), math.exp(log_dose + half),
            self.least <= math.exp(log_dose) <= self.most,
        )  # fmt: skip


def fit_curve(
    doses: Sequence[float], responses: Sequence[float], *, low: float | None = None
) -> DoseCurve:
    """Fit a log-logistic curve by least squares.

    Parameters
    ----------
    doses
        Zero or more, one for each value; zero is the untreated check.
    responses
        Live weight, live plants, or another value that ends at `low`.
    low
        The lower end where it is known, such as 0 for survivors; None: it is fitted.

    Raises
    ------
    InputError
        Fewer than four different doses or three values more than numbers to fit, a negative dose,
        or no curve that comes to rest.
    """
    from scipy.optimize import least_squares

    x, y = np.asarray(doses, dtype=np.float64), np.asarray(responses, dtype=np.float64)
    if len(x) != len(y) or not np.isfinite(x).all() or not np.isfinite(y).all():
        raise InputError("each value needs a dose", field="dose", remedy="fill both in")
    if (x < 0).any():
        raise InputError("a dose is below zero", field="dose", remedy="correct it")
    free = 4 if low is None else 3
    if len(np.unique(x)) < FEWEST_DOSES or len(x) - free < FEWEST_LEFT:
        raise InputError(
            f"{len(np.unique(x))} doses with {len(x)} values are too few for a curve", field="dose",
            remedy="test four doses or more, each several times",
        )  # fmt: skip
    scale = float(np.ptp(y)) or 1.0
    safe = np.where(x > 0, x, 1.0)

    def curve(p: FloatArray) -> FloatArray:
        """Slope, ends and log ed50; at dose 0 the upper end, whatever the slope above zero."""
        slope, bottom, top, log_ed = p[0], (p[1] if low is None else low), p[-2], p[-1]
        power = np.clip(slope * (np.log(safe) - log_ed), -500, 500)
        inside = bottom + (top - bottom) / (1 + np.exp(power))
        return np.where(x > 0, inside, top if slope > 0 else bottom)

    best = None
    positive = x[x > 0]
    for start_slope in (1.0, 3.0):
        for share in (0.25, 0.5, 0.75):
            first = [start_slope, float(y.min()), float(y.max())]
            if low is not None:
                first.pop(1)
            first.append(float(np.quantile(np.log(positive), share)))
            found = least_squares(lambda p: (curve(p) - y) / scale, first, method="lm", xtol=1e-12)
            if best is None or found.cost < best.cost:
                best = found
    assert best is not None
    df = len(x) - free
    variance = 2 * float(best.cost) * scale**2 / df
    bend = best.jac.T @ best.jac
    if not best.success or not np.isfinite(bend).all() or np.linalg.cond(bend) > 1e14:
        raise InputError(
            "no curve fits these values", field="dose",
            remedy="test doses on both sides of the one that does half",
        )  # fmt: skip
    part = np.linalg.inv(bend) * variance / scale**2
    whole = np.zeros((4, 4))
    at = [0, 1, 2, 3] if low is None else [0, 2, 3]
    whole[np.ix_(at, at)] = part
    slope, top, log_ed = float(best.x[0]), float(best.x[-2]), float(best.x[-1])
    ed50 = math.exp(log_ed)
    errors = np.sqrt(np.diag(whole))
    return DoseCurve(
        slope, float(best.x[1]) if low is None else low, top, ed50,
        (float(errors[0]), float(errors[1]), float(errors[2]), float(errors[3] * ed50)),
        math.sqrt(variance), df, whole, float(positive.min()), float(positive.max()),
    )  # fmt: skip


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
    suspected: DoseCurve, susceptible: DoseCurve, percent: float = 50.0
) -> ResistanceRatio:
    """The ratio of the doses that do a percentage in two populations, each with its own curve.

    Its logarithm has the doubt of both; the degrees of freedom are Satterthwaite's.
    """
    from scipy.stats import t as student

    (one, of_one), (other, of_other) = (c.log_dose(percent) for c in (suspected, susceptible))
    variance = of_one + of_other
    df = variance**2 / (of_one**2 / suspected.df + of_other**2 / susceptible.df)
    error, log_ratio = math.sqrt(variance), one - other
    half = float(student.ppf(0.5 + LEVEL / 2, df)) * error
    return ResistanceRatio(
        percent, math.exp(log_ratio), math.exp(log_ratio - half), math.exp(log_ratio + half),
        float(2 * student.sf(abs(log_ratio) / error, df)),
    )  # fmt: skip

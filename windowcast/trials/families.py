"""Families of comparisons with one error rate: all pairs (Tukey) and against a check (Dunnett).

Both ask for the chance that the largest of several statistics lies beyond a limit. With the plots'
error known they are independent given one normal variate; integrating over that variate and over
the error's chi distribution gives the chance, by quadrature: Gauss-Legendre, and where a check
brings nearly all of the error, so that the integrand is almost a step, as many even steps as that
needs.

References
----------
Tukey, J.W. 1953 and Kramer, C.Y. 1956. Biometrics 12:307-310 (all pairs, unequal numbers); Dunnett,
C.W. 1955. J. Am. Stat. Assoc. 50:1096-1121; Piepho, H.-P. 2004. J. Comput. Graph. Stat. 13:456-466
(letters). Citations from memory.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from functools import cache

import numpy as np

from windowcast.core.record import FloatArray
from windowcast.trials.model import LEVEL

NODES, ERROR_NODES = 96, 24
MANY_DF = 5e4  # from here on the error counts as known
FEW_DF = 4.0  # below, the error may be far from the true one: more nodes
LEAST_DF = 1.0  # below it no limit is useful: it is worked out for this
REACH = 8.5  # standard deviations of a normal variate that count
STEPS_OF_WIDTH = 1.5  # over the width of what is integrated
MOST_SHARE = 0.999  # of a check in the error; taken for more, which is on the safe side


@cache
def _legendre(nodes: int) -> tuple[FloatArray, FloatArray]:
    return np.polynomial.legendre.leggauss(nodes)


@cache
def _normal(nodes: int) -> tuple[FloatArray, FloatArray]:
    """Nodes of a standard normal variate with their weights."""
    at, weight = _legendre(nodes)
    z = REACH * at
    return z, REACH * weight * np.exp(-z * z / 2) / math.sqrt(2 * math.pi)


@cache
def _even(width: float) -> tuple[FloatArray, FloatArray]:
    """Even steps of a standard normal variate, finer than what changes over `width`, with weights.

    The sum over even steps is right to rounding where the integrand is that of a normal variate
    and changes over more than a step.
    """
    z = np.linspace(-REACH, REACH, 2 * math.ceil(REACH * STEPS_OF_WIDTH / width) + 1)
    return z, (z[1] - z[0]) * np.exp(-z * z / 2) / math.sqrt(2 * math.pi)


@cache
def _error(df: float) -> tuple[FloatArray, FloatArray]:
    """Nodes of the error estimated with `df`, in units of the true one, with their weights."""
    if df > MANY_DF:
        return np.array([1.0]), np.array([1.0])
    from scipy.stats import chi2

    low, high = np.sqrt(chi2.ppf([1e-12, 1 - 1e-12], df) / df)
    at, weight = _legendre(ERROR_NODES if df > FEW_DF else 8 * ERROR_NODES)
    s = low + (high - low) * (at + 1) / 2
    return s, (high - low) / 2 * weight * 2 * s * df * chi2.pdf(s * s * df, df)


def all_pairs_p(t: float, groups: int, df: float) -> float:
    """Chance that any of all pairs of `groups` equal means differs by `t` standard errors or more.

    Parameters
    ----------
    t
        A difference in units of its own standard error.
    df
        Degrees of freedom of the error.
    """
    from scipy.special import ndtr

    s, of_s = _error(max(df, LEAST_DF))
    z, of_z = _normal(NODES)
    width = math.sqrt(2) * abs(t) * s[:, None]
    inside = groups * ((ndtr(z + width) - ndtr(z)) ** (groups - 1) @ of_z)
    return _chance(1 - float(inside @ of_s))


def check_p(t: float, comparisons: int, share: float, df: float) -> float:
    """Chance that any of several comparisons with one check is `t` standard errors or more.

    Parameters
    ----------
    share
        Square root of the part of a comparison's variance that the check brings: the correlation
        of two comparisons is its square, 0.5 where all have as many plots.
    df
        Degrees of freedom of the error.
    """
    from scipy.special import ndtr

    s, of_s = _error(max(df, LEAST_DF))
    part = min(max(share, 0.0), MOST_SHARE)
    own = math.sqrt(1 - part * part)
    z, of_z = _even(own)
    limit, shift = abs(t) * s[:, None] / own, part * z / own
    inside = (ndtr(limit - shift) - ndtr(-limit - shift)) ** comparisons
    return _chance(1 - float((inside @ of_z) @ of_s))


@cache
def check_limit(comparisons: int, share: float, df: float) -> float:
    """Critical value of `check_p`, in standard errors of a difference."""
    return limit_of(lambda t: check_p(t, comparisons, share, df), comparisons, df)


def _chance(value: float) -> float:
    return min(max(value, 0.0), 1.0)


def limit_of(p_of: Callable[[float], float], comparisons: int, df: float) -> float:
    """The statistic beyond which the largest of several goes in 5 % of trials by chance.

    It lies between that of one comparison and Bonferroni's.
    """
    from scipy.optimize import brentq
    from scipy.stats import t as student

    ends = student.ppf([0.5 + LEVEL / 2, 1 - (1 - LEVEL) / 2 / comparisons], max(df, LEAST_DF))
    if comparisons < 2:
        return float(ends[0])
    return float(brentq(lambda t: p_of(t) - (1 - LEVEL), 0.99 * ends[0], 1.01 * ends[1], xtol=1e-5))


def all_pairs_limit(groups: int, df: float) -> float:
    """Critical value of `all_pairs_p`, in standard errors of a difference.

    Read from a curve over the degrees of freedom, which is right to 1 in 10,000.
    """
    return float(np.exp(_limits(groups)(1 / max(df, LEAST_DF))))


@cache
def _limits(groups: int) -> Callable[[float], float]:
    from scipy.interpolate import CubicSpline

    part = np.linspace(0, 1, 25) ** 2  # of 1 / df, closest where there are many
    many = groups * (groups - 1) // 2

    def at_df(df: float) -> float:
        return limit_of(lambda t: all_pairs_p(t, groups, df), many, df)

    limits = [at_df(1 / max(at, 1e-9)) for at in part]
    curve: Callable[[float], float] = CubicSpline(part, np.log(limits))
    return curve


def shown(limit: float, shift: float, df: float) -> float:
    """Chance that a statistic goes beyond a limit where the truth is `shift` standard errors."""
    from scipy.special import ndtr

    s, of_s = _error(max(df, LEAST_DF))
    return _chance(float((ndtr(shift - limit * s) + ndtr(-shift - limit * s)) @ of_s))


def letters_of(order: Sequence[str], different: Iterable[tuple[str, str]]) -> dict[str, str]:
    """Letters so that two treatments share one exactly when no difference shows.

    Parameters
    ----------
    order
        The treatments, those that get the first letters first.
    different
        The pairs that differ.
    """
    columns: list[set[str]] = [set(order)]
    for first, second in different:
        for column in [c for c in columns if {first, second} <= c]:
            columns.remove(column)
            columns += [column - {first}, column - {second}]
        columns = [c for c in columns if not any(c < other for other in columns)]
        columns = [c for i, c in enumerate(columns) if c not in columns[:i]]
    columns.sort(key=lambda c: [name not in c for name in order])
    return {
        name: "".join(_letter(i) for i, column in enumerate(columns) if name in column)
        for name in order
    }


def _letter(at: int) -> str:
    """a to z, then A to Z, then with a number behind."""
    names = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ"
    return names[at] if at < len(names) else f"{names[at % len(names)]}{at // len(names)}"

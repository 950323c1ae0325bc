"""Linear mixed models by REML, with the Kenward-Roger correction for few plots.

    y = X b + Z_1 u_1 + ... + Z_k u_k + e,   V = sum_k s_k Z_k Z_k' + s_e W^-1

A variance s_k of a random term may be negative: plots of a group may be less alike than chance, as
where they compete, and in a balanced trial the tests are then those of its analysis of variance,
whatever the variances. V itself stays positive definite.

References
----------
Patterson, H.D. & Thompson, R. 1971. Biometrika 58:545-554 (REML); Kenward, M.G. & Roger, J.H.
1997. Biometrics 53:983-997; on negative variances Stroup, W.W. & Littell, R.C. 2002, Applied
Statistics in Agriculture (all citations from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from windowcast.core.record import FloatArray

FLOOR = 0.02  # least eigenvalue of V, of the plot variance: no plot is told without error
STEPS = 60
NEARLY = 1e-7  # of what a step may still gain in log likelihood
INDEPENDENT = 1e-7  # of a term's share that other terms do not explain


@dataclass(frozen=True, slots=True)
class MixedFit:
    """A mixed model that was fitted.

    Attributes
    ----------
    beta, covariance
        Fixed effects [p] and their covariance [p, p], corrected for few plots.
    naive
        The same not corrected.
    variances
        Of each random term, NaN for one that could not be told apart, and of a plot, last.
    slopes
        Change of `naive` with each variance [k, p, p].
    spread
        Covariance of the estimated variances [k, k].
    log_likelihood
        Restricted; without the constant that does not depend on the variances.
    most_df
        What the design leaves for the error: Satterthwaite's degrees of freedom go beyond it where
        a variance is zero by chance, and its doubt with it.
    """

    beta: FloatArray
    covariance: FloatArray
    naive: FloatArray
    variances: FloatArray
    slopes: FloatArray
    spread: FloatArray
    log_likelihood: float
    settled: bool
    most_df: float = np.inf

    def dfs(self, rows: FloatArray) -> FloatArray:
        """Degrees of freedom of each of several contrasts [q, p] (Satterthwaite's, up to most)."""
        variance = np.einsum("qi,ij,qj->q", rows, self.naive, rows)
        changed = np.einsum("qi,kij,qj->kq", rows, self.slopes, rows)
        slope = changed / np.where(variance > 0, variance, np.inf)
        doubt = np.einsum("kq,kl,lq->q", slope, self.spread, slope)
        found = np.where(doubt > 0, 2 / np.maximum(doubt, 1e-300), np.inf)
        return np.minimum(found, self.most_df)

    def f_test(self, rows: FloatArray) -> tuple[float, float]:
        """F and its error degrees of freedom for contrasts [q, p] that are zero together."""
        q = len(rows)
        inverse = np.linalg.inv(rows @ self.naive @ rows.T)
        change = np.array([inverse @ rows @ slope @ rows.T for slope in self.slopes])
        trace = np.einsum("kii->k", change)
        a1 = float(trace @ self.spread @ trace)
        a2 = float(np.einsum("kl,kij,lji->", self.spread, change, change))
        wald = rows @ self.beta
        f = float(wald @ np.linalg.solve(rows @ self.covariance @ rows.T, wald)) / q
        if a2 <= 0:
            return f, self.most_df
        if q == 1:
            return f, min(2 / a2, self.most_df)
        b = (a1 + 6 * a2) / (2 * q)
        g = ((q + 1) * a1 - (q + 4) * a2) / ((q + 2) * a2)
        bottom = 3 * q + 2 * (1 - g)
        c1, c2, c3 = g / bottom, (q - g) / bottom, (q + 2 - g) / bottom
        mean = 1 / max(1 - a2 / q, 1e-3)
        variance = (2 / q) * (1 + c1 * b) / ((1 - c2 * b) ** 2 * (1 - c3 * b))
        ratio = variance / (2 * mean**2)
        df = 4 + (q + 2) / (q * ratio - 1) if q * ratio > 1 else np.inf
        scaled = f * df / (mean * (df - 2)) if np.isfinite(df) and df > 2 else f
        return scaled, min(df, self.most_df)


def groups(*labels: Sequence[str]) -> FloatArray:
    """Indicator columns of the distinct combinations of labels, in order of their first row."""
    rows = list(zip(*labels, strict=True))
    names = list(dict.fromkeys(rows))
    at = {name: column for column, name in enumerate(names)}
    found = np.zeros((len(rows), len(names)))
    found[np.arange(len(rows)), [at[row] for row in rows]] = 1.0
    return found


def fit_mixed(
    y: FloatArray,
    x: FloatArray,
    terms: Sequence[FloatArray],
    *,
    weights: FloatArray | None = None,
    start: FloatArray | None = None,
    steps: int = STEPS,
    corrected: bool = True,
) -> MixedFit:
    """Fit a linear mixed model.

    Parameters
    ----------
    y
        Values [n].
    x
        Fixed part [n, p], of full rank.
    terms
        Indicators of each random term's groups [n, g]; one that equals others together with the
        plots is left out (its variance comes back as NaN).
    weights
        The plot variance of a row is s_e / weight; None: 1.
    start
        Variances to start from, as `MixedFit.variances`.
    steps
        Most steps towards the likeliest variances.
    corrected
        Whether the covariance is corrected for few plots; not worth its time in the rounds of a
        measure's fit but the last.

    Raises
    ------
    ArithmeticError
        No degree of freedom is left for the error, or the columns of `x` hang together.
    """
    n, p = x.shape
    root = np.ones(n) if weights is None else np.sqrt(weights)
    y1, x1 = y * root, x * root[:, None]
    z1 = [term * root[:, None] for term in terms]
    from scipy.linalg import qr

    if np.linalg.matrix_rank(x1) < p:
        raise ArithmeticError("fixed effects cannot be told apart")
    # what lies outside the span of x and z tells of the plot variance only
    q, r, _ = qr(np.column_stack([x1, *z1]), mode="economic", pivoting=True)
    sizes = np.abs(np.diag(r))
    q = q[:, : len(sizes)][:, sizes > 1e-9 * sizes[0]]
    ys, xs, zs = q.T @ y1, q.T @ x1, [q.T @ z for z in z1]
    rest_df = n - len(ys)
    rest = max(float(y1 @ y1 - ys @ ys), 0.0) if rest_df else 0.0
    contrasts = np.linalg.qr(xs, mode="complete")[0][:, p:]
    m = contrasts.shape[1]
    if m + rest_df < 1:
        raise ArithmeticError("no degree of freedom is left for the error")
    u = contrasts.T @ ys
    shapes = [(contrasts.T @ z) @ (contrasts.T @ z).T for z in zs]
    used = _independent(shapes, m, rest_df)
    shapes = [*(shapes[k] for k in used), np.eye(m)]
    data = _Contrasts(u, np.array(shapes), rest, rest_df)
    theta, info, loglik, settled = _reml(data, _start(start, used), steps)
    spread: FloatArray = np.linalg.inv(info).astype(np.float64)
    whole = [*(zs[k] @ zs[k].T for k in used), np.eye(len(ys))]
    fit = _fixed(ys, xs, whole, theta, spread if corrected else None)
    variances = np.full(len(terms) + 1, np.nan)
    variances[[*used, len(terms)]] = theta
    return MixedFit(*fit[:3], variances, fit[3], spread, loglik, settled)


def _start(start: FloatArray | None, used: Sequence[int]) -> FloatArray | None:
    if start is None or np.isnan(start[[*used, -1]]).any():
        return None
    return start[[*used, -1]]


def _independent(shapes: Sequence[FloatArray], m: int, rest_df: int) -> list[int]:
    """Terms whose variance can be told apart from those before them and from the plots'."""
    plots = np.append(np.eye(m).ravel(), np.sqrt(float(rest_df)))
    base, used = [plots / np.linalg.norm(plots)], []
    for k, shape in enumerate(shapes):
        whole = np.append(shape.ravel(), 0.0)
        size = np.linalg.norm(whole)
        if size < INDEPENDENT:
            continue
        left = whole / size
        for direction in base:
            left = left - (left @ direction) * direction
        for direction in base:  # twice, for the sake of rounding
            left = left - (left @ direction) * direction
        if np.linalg.norm(left) > INDEPENDENT**0.5:
            base.append(left / np.linalg.norm(left))
            used.append(k)
    return used


@dataclass(frozen=True, slots=True)
class _Contrasts:
    """Error contrasts [m], what each variance adds to theirs [k, m, m], and pure error beside."""

    values: FloatArray
    shapes: FloatArray
    rest: float
    rest_df: int


def _reml(
    data: _Contrasts, start: FloatArray | None, steps: int
) -> tuple[FloatArray, FloatArray, float, bool]:
    """Variances of the highest restricted likelihood, by Fisher scoring with guarded steps."""
    u, shapes, rest, rest_df = data.values, data.shapes, data.rest, data.rest_df
    k, m = len(shapes), len(u)
    total = (float(u @ u) + rest) / (m + rest_df)
    if total <= 0:
        raise ArithmeticError("the values do not vary")
    # in units of the whole variance, so that tolerances fit any measure
    data = _Contrasts(u / np.sqrt(total), shapes, rest / total, rest_df)
    theta = np.zeros(k)
    theta[-1] = 1.0
    if start is not None and _allowed(start / total, shapes) is not None:
        theta = start / total
    value, score, info = _likelihood(theta, data)
    settled = False
    for _ in range(steps):
        step = np.linalg.solve(info, score)
        if float(step @ score) < NEARLY:
            settled = True
            break
        part = 1.0
        while part > 1e-4:
            trial = theta + part * step
            if _allowed(trial, shapes) is not None:
                found = _likelihood(trial, data)
                if found[0] > value:
                    break
            part /= 2
        else:
            settled = True  # no step upwards is allowed: the best lies on the boundary
            break
        theta, gain = trial, found[0] - value
        value, score, info = found
        if gain < NEARLY:
            settled = True
            break
    return theta * total, info / total**2, value - 0.5 * (m + rest_df) * np.log(total), settled


def _allowed(theta: FloatArray, shapes: FloatArray) -> FloatArray | None:
    """V of the contrasts, where no direction is told with much less error than a plot."""
    if theta[-1] <= 0:
        return None
    v = np.tensordot(theta, shapes, 1)
    if not len(v):
        return v
    try:
        np.linalg.cholesky(v - FLOOR * theta[-1] * np.eye(len(v)))
    except np.linalg.LinAlgError:
        return None
    return v


def _likelihood(theta: FloatArray, data: _Contrasts) -> tuple[float, FloatArray, FloatArray]:
    """Restricted log likelihood, its slope and the expected information, at given variances."""
    u, shapes, rest, rest_df = data.values, data.shapes, data.rest, data.rest_df
    v = np.tensordot(theta, shapes, 1)
    inverse = np.linalg.inv(v) if len(v) else v
    a = inverse @ u
    part = inverse @ shapes  # [k, m, m]
    score = -0.5 * (np.einsum("kii->k", part) - np.einsum("i,kij,j->k", a, shapes, a))
    info = 0.5 * np.einsum("kij,lji->kl", part, part)
    log_det = float(np.linalg.slogdet(v)[1]) if len(v) else 0.0
    value = -0.5 * (log_det + float(u @ a))
    plot = theta[-1]
    if rest_df:
        value -= 0.5 * (rest_df * np.log(plot) + rest / plot)
        score[-1] -= 0.5 * (rest_df / plot - rest / plot**2)
        info[-1, -1] += 0.5 * rest_df / plot**2
    return value, score, info


def _fixed(
    y: FloatArray,
    x: FloatArray,
    shapes: Sequence[FloatArray],
    theta: FloatArray,
    w: FloatArray | None,
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Fixed effects, corrected and naive covariance, slopes of the latter."""
    v = np.tensordot(theta, np.array(shapes), 1)
    vx = np.linalg.solve(v, x)
    naive = np.linalg.inv(x.T @ vx)
    beta: FloatArray = naive @ (vx.T @ y)
    turned = [shape @ vx for shape in shapes]
    p = [-(vx.T @ t) for t in turned]
    slopes = np.array([-naive @ each @ naive for each in p])
    if w is None:
        return beta, naive, naive, slopes
    within = [np.linalg.solve(v, t) for t in turned]
    middle = np.zeros_like(naive)
    for k, first in enumerate(turned):
        for j, second in enumerate(within):
            middle += w[k, j] * (first.T @ second - p[k] @ naive @ p[j])
    correction = 2 * naive @ middle @ naive
    return beta, naive + (correction + correction.T) / 2, naive, slopes

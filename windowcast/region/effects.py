"""Effects of stations and of years: a region's seasons as if every station had been there in each.

In a region, value = station effect + year effect + error. Both effects are fitted together by least
squares over the cells that are known, so that a station that begins late, ends early or stands high
does not move the years it was there: the anomaly of a year is measured against each station's own
level. This is the two-way analysis without interaction of unbalanced data (Searle 1971, Linear
Models, ch. 7), and what the least squares method does in records of climate (Hansen & Lebedeff
1987, J. Geophys. Res. 92:13345; Rohde et al. 2013, Geoinfor. Geostat. 1:2).

Intervals come from the pigeonhole bootstrap (Owen 2007, Ann. Appl. Stat. 1:386): stations and years
are drawn anew, each by itself, years in all regions at once. One fewer is drawn than there are,
which makes the variance right in small samples (Rao & Wu 1988, J. Am. Stat. Assoc. 83:231).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from windowcast.core.record import FloatArray

DRAWS = 400
_SEED = 20_250_101


@dataclass(frozen=True, slots=True)
class Effects:
    """A region's season values, adjusted for which stations were there.

    Attributes
    ----------
    station
        Effect of each station, ``[station, ...]``; NaN where it is not tied to the other stations.
    by_year
        Mean over all stations of station effect plus the effect of the year, ``[year, ...]``.
    draws
        `by_year` with the stations drawn anew, ``[draw, year, ...]``; equal to it where there is
        one station.
    """

    station: FloatArray
    by_year: FloatArray
    draws: FloatArray


def station_draws(stations: int, draws: int = DRAWS) -> FloatArray:
    """How often each station is drawn, ``[draw, station]``; a single one every time."""
    return _drawn(stations, draws, _SEED)


def year_draws(years: int, draws: int = DRAWS) -> FloatArray:
    """How often each year is drawn, ``[draw, year]``."""
    return _drawn(years, draws, _SEED + 1)


def _drawn(count: int, draws: int, seed: int) -> FloatArray:
    if count < 2:
        return np.ones((draws, count))
    rng = np.random.default_rng(seed)
    return rng.multinomial(count - 1, np.full(count, 1 / count), draws).astype(np.float64)


def effects(values: FloatArray, drawn: FloatArray) -> Effects:
    """Station and year effects of the known cells, each item of the last axes by itself.

    Parameters
    ----------
    values
        ``[station, year]`` or ``[station, year, item]``; NaN unknown.
    drawn
        Of `station_draws`, ``[draw, station]``.
    """
    flat = values.reshape(*values.shape[:2], -1)
    known = np.isfinite(flat)
    known &= _tied(known)
    cells = np.where(known, flat, 0.0)
    here = known.astype(np.float64)
    in_station = here.sum(axis=1)
    share = np.where(in_station > 0, 1 / np.maximum(in_station, 1), 0.0)
    year = _year_effects(cells, here, share)
    station = np.where(
        in_station > 0, (cells.sum(axis=1) - np.einsum("syi,yi->si", here, year)) * share, np.nan
    )
    found = in_station > 0
    level = np.where(found, station, 0.0)
    anomaly = np.where(known, flat - level[:, None], 0.0)
    shape = len(flat), -1

    def years(weights: FloatArray) -> FloatArray:
        """Adjusted years with stations by weight, ``[draw, year, item]``."""
        top = (weights @ anomaly.reshape(shape)).reshape(-1, *flat.shape[1:])
        count = (weights @ here.reshape(shape)).reshape(-1, *flat.shape[1:])
        stations = weights @ found.astype(np.float64)
        middle = (weights @ level) / np.where(stations > 0, stations, np.nan)
        # a year none of the drawn stations was there keeps the effect it has with all of them
        own = np.divide(top, count, out=np.broadcast_to(year, top.shape).copy(), where=count > 0)
        return np.where(known.any(axis=0), own + middle[:, None], np.nan)

    all_of_them = years(np.ones((1, len(flat))))[0]
    drawn_anew = years(drawn) if len(flat) > 1 else np.repeat(all_of_them[None], len(drawn), axis=0)
    tail = values.shape[1:]
    return Effects(
        station.reshape(values.shape[0], *values.shape[2:]),
        all_of_them.reshape(tail),
        drawn_anew.reshape(len(drawn), *tail),
    )


Statistic = Callable[[FloatArray, FloatArray], FloatArray]
"""Of values and weights of the years, both ``[..., year]``; gives ``[...]``."""


def mean(values: FloatArray, weights: FloatArray) -> FloatArray:
    """Weighted mean over the years."""
    result: FloatArray = (values * weights).sum(axis=-1) / weights.sum(axis=-1)
    return result


def slope(years: FloatArray) -> Statistic:
    """Least-squares change per decade over these years, ``[year]``."""

    def of(values: FloatArray, weights: FloatArray) -> FloatArray:
        whole = weights.sum(axis=-1, keepdims=True)
        off = years - (weights * years).sum(axis=-1, keepdims=True) / whole
        spread = (weights * off**2).sum(axis=-1)
        with np.errstate(invalid="ignore", divide="ignore"):
            found: FloatArray = 10 * (weights * off * values).sum(axis=-1) / spread
        return found

    return of


@dataclass(frozen=True, slots=True)
class Interval:
    """A value, its 95 % interval and the p value of it being 0; arrays ``[...]``."""

    middle: FloatArray
    low: FloatArray
    high: FloatArray
    p: FloatArray
    error: FloatArray  # standard


def interval(
    statistic: Statistic,
    values: FloatArray,
    drawn: Sequence[tuple[FloatArray, int]],
    years_factor: npt.ArrayLike = 1.0,
) -> Interval:
    """A statistic over years with its interval from stations and years drawn anew.

    The variances from stations and from years add up; Student's t has the degrees of freedom of
    such a sum (Satterthwaite 1946, Biometrics Bull. 2:110).

    Parameters
    ----------
    values
        A value for each year, all known, ``[..., year]``.
    drawn
        For each region with a part in them: the values with its stations drawn anew,
        ``[draw, ..., year]``, and its number of stations.
    years_factor
        By what the variance of the years is larger as one year resembles the next, ``[...]``.
    """
    from scipy.special import stdtr, stdtrit

    every = np.ones(values.shape[-1])
    count = values.shape[-1]
    weights = year_draws(count).reshape(-1, *(1 for _ in values.shape[:-1]), count)
    middle = statistic(values, every)
    of_years: FloatArray = _variance(statistic(values, weights)) * np.asarray(years_factor)
    parts = [(of_years, count - 1)]
    for anew, stations in drawn:
        if stations > 1:
            parts.append((_variance(statistic(anew, every)), stations - 1))
    variance, squares = np.zeros(values.shape[:-1]), np.zeros(values.shape[:-1])
    for part, free in parts:
        variance, squares = variance + part, squares + part**2 / free
    with np.errstate(invalid="ignore", divide="ignore"):
        freedom = np.where(squares > 0, variance**2 / squares, 1.0)
        error = np.sqrt(variance)
        half = stdtrit(freedom, 0.975) * error
        p = np.where(error > 0, 2 * stdtr(freedom, -abs(middle) / error), middle == 0)
    return Interval(middle, middle - half, middle + half, p, error)


def _variance(draws: FloatArray) -> FloatArray:
    result: FloatArray = np.nanvar(draws, axis=0)
    return result


def _year_effects(cells: FloatArray, here: FloatArray, share: FloatArray) -> FloatArray:
    """Least-squares effects of years, ``[year, item]``, by taking the stations out first.

    The system of a year's equations is as large as there are years, whatever the stations.
    """
    items = cells.shape[-1]
    out = np.zeros(cells.shape[1:])
    means = cells.sum(axis=1) * share
    for i in range(items):
        own = here[..., i]
        system = np.diag(own.sum(axis=0)) - own.T @ (own * share[:, i, None])
        right = (cells[..., i] - own * means[:, i, None]).sum(axis=0)
        out[:, i] = np.linalg.pinv(system, hermitian=True) @ right
    return out


def _tied(known: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Cells of the years that hang together by common stations, ``[1, year, item]``.

    Where a network was replaced at once, nothing says how the years before compare with those
    after: the part with more cells is kept.
    """
    out = np.ones((1, *known.shape[1:]), dtype=bool)
    for i in range(known.shape[-1]):
        own = known[..., i]
        cells = own.sum(axis=0)
        if (own.all(axis=1)).any():
            continue
        shared = (own.T.astype(np.float32) @ own.astype(np.float32)) > 0
        part = np.arange(len(cells))
        while True:
            joined = np.where(shared, part[None], len(part)).min(axis=1, initial=len(part))
            joined = np.minimum(part, joined)
            if (joined == part).all():
                break
            part = joined
        size = np.bincount(part, cells, len(cells))
        out[0, :, i] = part == size.argmax()
    return out

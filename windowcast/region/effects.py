"""Effects of stations and of years: a region's seasons as if every station had been there in each.

In a region, value = station effect + year effect + error. Both effects are fitted together by least
squares over the cells that are known, so that a station that begins late, ends early or stands high
does not move the years it was there: the anomaly of a year is measured against each station's own
level. This is the two-way analysis without interaction of unbalanced data (Searle 1971, Linear
Models, ch. 7), and what the least squares method does in records of climate (Hansen & Lebedeff
1987, J. Geophys. Res. 92:13345; Rohde et al. 2013, Geoinfor. Geostat. 1:2).

Intervals come from drawing stations and years anew, each by itself (the pigeonhole bootstrap, Owen
2007, Ann. Appl. Stat. 1:386): years in all regions at once, and stations of one place in all
regions at once, so that what two regions share does not count as a difference between them. A
drawn station has a random weight (Owen & Eckles 2012, Ann. Appl. Stat. 6:895), one fewer year is
drawn than there are (Rao & Wu 1988, J. Am. Stat. Assoc. 83:231). A place draws its weights by
itself, from a generator that its own number is the key of (Salmon et al. 2011, Proc. SC11, 16): so
a region's interval is the same whichever other stations are compared.

Of what does not come in every season, chances and medians are told with the same intervals.
Citations from memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache, lru_cache

import numpy as np
import numpy.typing as npt

from windowcast.core.record import FloatArray
from windowcast.region.statistics import MIN_YEARS, lag_one, variance_factor

DRAWS = 400
_SEED = 20_250_101
ROUNDING = 1e-9  # of a value: all that fitting leaves where every year and station is alike

_Z = 1.959964


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
    places
        How many different weights there are among the stations.
    """

    station: FloatArray
    by_year: FloatArray
    draws: FloatArray
    places: int


def station_draws(places: npt.NDArray[np.int64]) -> FloatArray:
    """Weight of each station in each draw, ``[draw, station]``: that of its place alone.

    Exponential, by inversion of the generator's own bits, which no release of NumPy changes.

    Parameters
    ----------
    places
        Number of the place each station stands at, 0 or more; stations of one place are drawn
        together.
    """
    own, where = np.unique(places, return_inverse=True)
    bits = np.empty((DRAWS, len(own)), np.uint64)
    for n, place in enumerate(own):
        bits[:, n] = np.random.Philox(key=[_SEED, place]).random_raw(DRAWS)
    return np.asarray(-np.log1p((bits >> 11) * -(2.0**-53))[:, where])


@cache
def year_draws(years: int) -> FloatArray:
    """How often each year is drawn, ``[draw, year]``."""
    if years < 2:
        return np.ones((DRAWS, years))
    rng = np.random.default_rng(_SEED + 1)
    return rng.multinomial(years - 1, np.full(years, 1 / years), DRAWS).astype(np.float64)


def effects(values: FloatArray, drawn: FloatArray) -> Effects:
    """Station and year effects of the known cells, each item of the last axes by itself.

    Parameters
    ----------
    values
        ``[station, year]`` or ``[station, year, item]``; NaN unknown.
    drawn
        Of `station_draws`, ``[draw, station]``.
    """
    some = np.isfinite(values).any(axis=(0, *range(2, values.ndim)))
    if some.all() or not some.any():
        return _effects(values, drawn)
    # years of other regions alone are left out, so that they change no last digit
    found = _effects(values[:, some], drawn)
    by_year = np.full(values.shape[1:], np.nan)
    by_year[some] = found.by_year
    draws = np.full((len(drawn), *by_year.shape), np.nan)
    draws[:, some] = found.draws
    return replace(found, by_year=by_year, draws=draws)


def _effects(values: FloatArray, drawn: FloatArray) -> Effects:
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
    places = len(np.unique(drawn[0]))
    drawn_anew = np.broadcast_to(all_of_them, (len(drawn), *all_of_them.shape))
    if places > 1:  # a mean with such weights varies less than a mean of as many stations
        wider = ((places + 1) / (places - 1)) ** 0.5
        drawn_anew = all_of_them + wider * (years(drawn) - all_of_them)
    tail = values.shape[1:]
    return Effects(
        station.reshape(values.shape[0], *values.shape[2:]),
        all_of_them.reshape(tail),
        drawn_anew.reshape(len(drawn), *tail),
        places,
    )


@dataclass(frozen=True, slots=True)
class Interval:
    """A value, its 95 % interval and the p value of it being 0."""

    middle: float
    low: float
    high: float
    p: float
    error: float  # standard


UNKNOWN = Interval(np.nan, np.nan, np.nan, np.nan, np.nan)


def interval(
    found: Effects,
    years: FloatArray,
    *,
    less: Effects | None = None,
    trend: bool = False,
) -> Interval:
    """Mean over years, or trend per decade, with its interval from stations and years drawn anew.

    The variances from stations and from years add up, that of the years enlarged as one year
    resembles the next (`lag_one`), at most threefold: a third of the degrees of freedom is
    left, as a correlation from so few years may come out far too high (a choice). Student's t has
    the degrees of freedom of such a sum (Satterthwaite 1946, Biometrics Bull. 2:110).

    Parameters
    ----------
    found
        Of one region; its known years count.
    years
        ``[year]``, rising, not always by one.
    less
        Of a region to take from it, year by year: those known in both count.

    Returns
    -------
    Interval
        NaN with fewer than `MIN_YEARS` years.
    """
    from scipy.special import stdtr, stdtrit

    parts = [found] if less is None else [found, less]
    values = found.by_year if less is None else found.by_year - less.by_year
    known = np.isfinite(values)
    if known.sum() < MIN_YEARS:
        return UNKNOWN
    years, values, some = years[known], values[known], slice(None) if known.all() else known
    fitted = 2 if trend else 1
    of, of_drawn = _statistic(tuple(years.tolist()), trend=trend)
    middle = float(of @ values)
    fit = middle / 10 * (years - years.mean()) if trend else 0.0
    on_axis = np.full(int(years[-1] - years[0]) + 1, np.nan)
    on_axis[(years - years[0]).astype(np.int64)] = values - values.mean() - fit
    correlation = lag_one(on_axis, fitted)
    count = len(values)
    like = count / float(variance_factor(correlation, count))  # as many independent years
    free = max(like - fitted, (count - fitted) / 3)
    of_years = np.var(of_drawn @ values) * (count - fitted) / free
    drawn = [part.draws[:, some] @ of for part in parts]
    alone = [
        (float(each.var()), part.places - 1.0)
        for each, part in zip(drawn, parts, strict=True)
        if part.places > 1
    ]
    both = drawn[0] if less is None else drawn[0] - drawn[1]
    of_stations = float(both.var()) if alone else 0.0
    variance = float(of_years) + of_stations
    nothing = ROUNDING * max(1.0, float(np.abs(values).max()))
    if variance <= nothing**2:
        return Interval(middle, middle, middle, float(abs(middle) <= nothing), 0.0)
    shares = [(of_stations, _freedom(alone)), (float(of_years), free)]
    freedom = _freedom(shares)
    error = variance**0.5
    half = float(stdtrit(freedom, 0.975)) * error
    p = 2 * float(stdtr(freedom, -abs(middle) / error))
    return Interval(middle, middle - half, middle + half, p, error)


def _freedom(parts: Sequence[tuple[float, float]]) -> float:
    """Degrees of freedom of a sum of variances, each with its own; infinite where it is 0."""
    squares = sum(part**2 / free for part, free in parts if part > 0)
    return sum(part for part, _ in parts) ** 2 / squares if squares > 0 else np.inf


@lru_cache(maxsize=64)
def _statistic(years: tuple[float, ...], *, trend: bool) -> tuple[FloatArray, FloatArray]:
    """What to multiply the values of years by, ``[year]`` and with years drawn, ``[draw, year]``.

    Gives their mean, or the least-squares change per decade, of draws with two years or more.
    """
    weights = np.concatenate([np.ones((1, len(years))), year_draws(len(years))])
    shares = weights / weights.sum(axis=-1, keepdims=True)
    if trend:
        off = np.array(years) - (shares @ np.array(years))[:, None]
        with np.errstate(invalid="ignore", divide="ignore"):
            shares = 10 * shares * off / (shares * off**2).sum(axis=-1, keepdims=True)
    return shares[0], shares[1:][np.isfinite(shares[1:]).all(axis=-1)]


def _year_effects(cells: FloatArray, here: FloatArray, share: FloatArray) -> FloatArray:
    """Least-squares effects of years, ``[year, item]``, by taking the stations out first.

    The system of a year's equations is as large as there are years, whatever the stations.
    """
    items = cells.shape[-1]
    out = np.zeros(cells.shape[1:])
    means = cells.sum(axis=1) * share
    for i in range(items):
        own = here[..., i]
        count = own.sum(axis=0)
        there = count > 0
        system = np.diag(np.where(there, count, 1.0)) - own.T @ (own * share[:, i, None])
        right = (cells[..., i] - own * means[:, i, None]).sum(axis=0)
        out[:, i] = np.linalg.solve(system + np.outer(there, there), right)  # effects sum to 0
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


def chance(share: float, error: float, years: int) -> tuple[float, float, float]:
    """A share of seasons with its interval (Wilson 1927, J. Am. Stat. Assoc. 22:209).

    The number of seasons is the one whose binomial error is as large as that found by drawing
    years and stations anew, as for shares in surveys (Korn & Graubard 1998, Surv. Methodol.
    24:193); where all seasons are alike, and no error shows, it is the number of years.

    Parameters
    ----------
    share, error
        Mean over years and stations, and its standard error.

    Examples
    --------
    >>> from windowcast.region.effects import chance
    >>> [round(v, 2) for v in chance(1.0, 0.0, 22)]
    [1.0, 0.85, 1.0]
    """
    if np.isnan(share):
        return np.nan, np.nan, np.nan
    p = min(max(share, 0.0), 1.0)
    spread = p * (1 - p)
    n = spread / error**2 if error > 0 and spread > 0 else float(years)
    middle = (p + _Z**2 / (2 * n)) / (1 + _Z**2 / n)
    half = _Z / (1 + _Z**2 / n) * np.sqrt(spread / n + _Z**2 / (4 * n**2))
    return p, max(float(middle - half), 0.0), min(float(middle + half), 1.0)


def typical_median(
    grid: FloatArray, found: Effects, drawn: FloatArray, years: FloatArray
) -> tuple[float, float, float]:
    """Median over stations and seasons, in which what did not come lies beyond all others.

    A season in which a station was not there has the value that its effects give; beyond all that
    was seen, and at a station where it never came, it does not come in that season. The interval is
    where the share of seasons below the median may lie (Woodruff 1952, J. Am. Stat. Assoc. 47:635).

    Parameters
    ----------
    grid
        ``[station, year]``; infinite where it did not come, NaN where it is not known.
    found
        Effects of the stations and years, of the grid with finite values.
    drawn
        Of `effects.station_draws`.
    years
        ``[year]``.
    """
    told = np.isfinite(found.by_year)
    stations = np.isfinite(found.station)
    fitted = found.station[stations, None] + (found.by_year - np.nanmean(found.station))[None, told]
    cells = grid[stations][:, told]
    never = cells[np.isinf(cells)]
    if never.size:  # all of one sign
        sign, seen = np.sign(never[0]), np.isfinite(cells)
        farthest = (sign * cells).max(where=seen, initial=-np.inf)
        beyond = (sign * fitted > farthest) | ~seen.any(axis=1, keepdims=True)
        fitted = np.where(beyond, never[0], fitted)
    whole = np.where(np.isnan(cells), fitted, cells)
    ordered = np.sort(whole, axis=None)
    middle = _at(ordered, 0.5)
    shares = effects((whole <= middle).astype(np.float64), drawn[:, stations])
    around = interval(shares, years[told])
    half = 0.5 * float(around.high - around.low)
    return middle, _at(ordered, 0.5 - half), _at(ordered, 0.5 + half)


def _at(ordered: FloatArray, share: float) -> float:
    """The value below which a share of ordered values lies, at most the first or the last."""
    place = min(max(share * len(ordered) - 0.5, 0.0), len(ordered) - 1.0)
    low, high = ordered[int(np.floor(place))], ordered[int(np.ceil(place))]
    part = place - np.floor(place)
    return float(low if low == high else (1 - part) * low + part * high)

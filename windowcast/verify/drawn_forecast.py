"""Forecasts as they might have been issued on each morning of a season, drawn from what came.

A forecast is the mean of what may come, given what a bulletin knows: ``(1 - v) d + x``, where d is
what came as a departure from normal, v the share of its variance that is not known at that lead,
and x what the bulletin takes for known. Then misses do not go with what was said, as in real
forecasts. Each bulletin brings something new of each day ahead, independent of the bulletins
before. So misses of one day in two bulletins correlate as ``sqrt(v / v of the next lead)``. How
large v is, and how what is new hangs together, is measured on forecasts as issued
(``data/lived.toml``). Nothing of this is shared with the ensemble, whose odds it serves to judge.

Behind the rain of six hours stands a normal score: above a bound it rains, the more the higher. A
bulletin knows a part of the score, more with each day that it comes nearer. Its chance of rain is
that of the score to lie above the bound, given that part; so chances keep what they promise, and
bulletins in a row agree as far as they know alike.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from windowcast.core.lingering import lingering
from windowcast.core.record import FloatArray
from windowcast.core.values import Table

LEADS = 7  # the date of issue and the six after it
HOURS = 24
KERNEL = np.array([1.0, 2.0, 3.0, 2.0, 1.0]) / 9  # a mean of three hours, twice
REACH = len(KERNEL) // 2
FORGOTTEN = 0.02  # of what an hour brings
SEASON_KEEP = 0.98  # from day to day, of what lasts for two months
MOST_LOST = 0.97

PERIOD_H = 6
PERIODS = 24 // PERIOD_H  # of a day
_NODES = 24
_GRID = np.linspace(-6.0, 6.0, 2401)
_BELOW = np.array([NormalDist().cdf(z) for z in _GRID])
MOST = 1 - 1e-6
_DAYS = np.linspace(-4.0, 4.0, 81)  # what a day's periods may have in common


def foretold(departure: FloatArray, lost: FloatArray, noise: FloatArray) -> FloatArray:
    """What each bulletin says of each day, as departures from normal.

    Parameters
    ----------
    departure
        What came, in units of the climate's spread, ``[day, ...]``.
    lost
        Share of the variance that is not known at each lead, rising, ``[lead]``.
    noise
        Standard normal scores of what is new of a day in the bulletin of each lead,
        ``[day, lead, ...]``.

    Returns
    -------
    FloatArray
        ``[day, lead, ...]``.

    Examples
    --------
    Nothing lost, nothing wrong; all lost, only the normal is told:

    >>> import numpy as np
    >>> from windowcast.verify.drawn_forecast import foretold
    >>> came, noise = np.array([2.0]), np.ones((1, 2))
    >>> foretold(came, np.array([0.0, 1.0]), noise).tolist()
    [[2.0, 0.0]]
    """
    said = np.empty_like(noise)
    known = np.zeros_like(departure)  # x of the lead before
    before = 0.0
    for lead, share in enumerate(lost):
        keep = (1 - share) / (1 - before) if before < 1 else 0.0
        new = share * (1 - share) - keep**2 * before * (1 - before)
        known = keep * known + np.sqrt(max(new, 0.0)) * noise[:, lead]
        said[:, lead] = (1 - share) * departure + known
        before = share
    return said


def scaled(lost: FloatArray, error_scale: float) -> FloatArray:
    """The shares lost where errors are larger or smaller by a factor."""
    return np.minimum(lost * error_scale**2, MOST_LOST)


@dataclass(frozen=True)
class Bulletins:
    """What is new in bulletins about highs and lows, ``[day, lead]``, scores of variance one."""

    high: FloatArray
    low: FloatArray

    @classmethod
    def drawn(cls, rng: np.random.Generator, days: int, values: Table) -> Bulletins:
        """Draw them for days in a row.

        Parameters
        ----------
        values
            ``data/lived.toml``.
        """
        noise = values.table("noise")
        next_lead = noise.number("next_lead")
        bulletins = days + LEADS - 1
        of_air, own_high, own_low = (
            lingering(rng.standard_normal((bulletins, LEADS)), next_lead) for _ in range(3)
        )
        together = numbers(noise, "high_with_low")
        shared, own = np.sqrt(together), np.sqrt(1 - together)
        hard = _hard_days(rng, days, noise.number("hard_sd"))[:, None]
        parts = []
        for one in (own_high, own_low):
            by_day = about_days(shared * of_air + own * one, days)
            by_day[:, 0] = _first_day(rng, by_day[:, 0], noise)
            parts.append(hard * by_day)
        return cls(*parts)


def about_days(by_bulletin: FloatArray, days: int) -> FloatArray:
    """What bulletins bring, ``[bulletin, lead, ...]``, by day, ``[day, lead, ...]``.

    The first bulletins are those issued `LEADS` - 1 days before the first day and on.
    """
    at = np.arange(days)[:, None] - np.arange(LEADS) + LEADS - 1
    return np.asarray(by_bulletin[at, np.arange(LEADS)])


def _first_day(rng: np.random.Generator, own: FloatArray, noise: Table) -> FloatArray:
    """Scores of the first day's misses, of which a part lasts and a part lingers, ``[day]``."""
    lasts, lingers, keep = numbers(noise, "first_day_lingers")
    slow = lingering(rng.standard_normal(len(own)), SEASON_KEEP)
    quick = lingering(rng.standard_normal(len(own)), keep)
    return np.asarray(
        np.sqrt(lasts) * slow + np.sqrt(lingers) * quick + np.sqrt(1 - lasts - lingers) * own
    )


def _hard_days(rng: np.random.Generator, days: int, sd: float) -> FloatArray:
    """Factors of mean square one: some days are harder to foretell, in all their bulletins."""
    return np.exp(sd * rng.standard_normal(days) - sd**2)


def numbers(table: Table, name: str) -> FloatArray:
    """A list of a table as an array."""
    return np.array(table.value(name).value, dtype=np.float64)


def hourly_scores(rng: np.random.Generator, days: int, values: Table) -> FloatArray:
    """What is new about hours in the bulletin of each lead, ``[day, lead, hour]``.

    Without jumps: through all days of one bulletin, and on the day of issue from day to day.
    """
    hours = values.table("hours")
    share = hours.number("slow_share")
    parts = [
        np.sqrt(weight) * np.convolve(_fading(hours.number(keep)), KERNEL)
        for keep, weight in (("slow", share), ("quick", 1 - share))
    ]
    spread = np.sqrt(sum(float(part @ part) for part in parts))

    def course(count: int) -> FloatArray:
        drawn = (rng.standard_normal(count + len(part) - 1) for part in parts)
        both = [np.convolve(d, p, mode="valid") for d, p in zip(drawn, parts, strict=True)]
        return np.asarray(np.sum(both, axis=0) / spread)

    in_a_row = course(  # so the end of one bulletin goes with the first hours of the next
        (days + LEADS - 1) * LEADS * HOURS
    )
    scores = about_days(in_a_row.reshape(-1, LEADS, HOURS), days)
    scores[:, 0] = course(days * HOURS).reshape(days, HOURS)
    return scores


def _fading(keep: float) -> FloatArray:
    """Weights of what each hour brings on the hours after it, which keep so much an hour."""
    steps = np.arange(int(np.log(FORGOTTEN) / np.log(keep)) + 1)
    return np.asarray(np.sqrt(1 - keep**2) * keep**steps)


def smoothed(hours: FloatArray) -> FloatArray:
    """Hours without what differs from one to the next, same shape; all axes are one course."""
    flat = np.concatenate([hours.ravel()[:1].repeat(REACH), hours.ravel(),
                           hours.ravel()[-1:].repeat(REACH)])  # fmt: skip
    return np.convolve(flat, KERNEL, mode="valid").reshape(hours.shape)


def below(scores: FloatArray) -> FloatArray:
    """Share of a standard normal below scores."""
    return np.asarray(np.interp(scores, _GRID, _BELOW))


def score_at(share: FloatArray) -> FloatArray:
    """The score below which a share of a standard normal lies."""
    return np.interp(np.clip(share, 1 - MOST, MOST), _BELOW, _GRID)


def scores_that_came(
    rain_mm: FloatArray,
    chance: FloatArray,
    amounts_mm: FloatArray,
    *,
    wet: float,
    together: float,
    draws: FloatArray,
    day_draws: FloatArray,
) -> FloatArray:
    """The scores behind the rain that came, ``[period]``.

    Periods of a day go together: those that stay dry on a wet day came nearer to rain than those
    of a dry one. So chances of rain gather on days, as they do in real bulletins.

    Parameters
    ----------
    rain_mm, chance
        Rain of each period of whole days, and the climate's share of wet ones, ``[period]``.
    amounts_mm
        The climate's amounts of wet periods in order, ``[wet period]``.
    wet
        Least amount that counts as rain [mm].
    together
        Correlation of the scores of one day.
    draws, day_draws
        Uniform, for what an amount does not tell, ``[period]``, and for what a day's periods have
        in common, ``[day]``.

    Notes
    -----
    A score is ``sqrt(c) d + sqrt(1 - c) e`` with d the day's. d is drawn from its distribution
    given the wet and dry periods of the day, then each dry period's e given d.
    """
    low = np.searchsorted(amounts_mm, rain_mm, side="left") / len(amounts_mm)
    high = (np.searchsorted(amounts_mm, rain_mm, side="right") + 1) / (len(amounts_mm) + 1)
    rank = np.clip(low + draws * np.maximum(high - low, 0.0), 0.0, 1.0)
    rained, bound = rain_mm >= wet, score_at(1 - chance)
    of_wet = score_at(1 - chance + chance * rank)
    shared, own = np.sqrt(together), np.sqrt(1 - together)
    at_bound = below((bound[:, None] - shared * _DAYS) / own)
    likely = np.where(
        rained[:, None],
        -0.5 * ((of_wet[:, None] - shared * _DAYS) / own) ** 2,
        np.log(np.maximum(at_bound, 1 - MOST)),
    )
    by_day = likely.reshape(-1, PERIODS, len(_DAYS)).sum(axis=1) - 0.5 * _DAYS**2
    weight = np.cumsum(np.exp(by_day - by_day.max(axis=1, keepdims=True)), axis=1)
    picked = (weight < day_draws[:, None] * weight[:, -1:]).sum(axis=1)
    base = shared * np.repeat(_DAYS[picked], PERIODS)
    of_dry = base + own * score_at(draws * below((bound - base) / own))
    return np.where(rained, of_wet, np.minimum(of_dry, bound))


def told_rain(
    scores: FloatArray,
    chance: FloatArray,
    amounts_mm: FloatArray,
    correlation: FloatArray,
    noise: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Chance of rain and expected amount [mm] that each bulletin tells, ``[period, lead]``.

    Parameters
    ----------
    scores, chance
        What came, and the climate's share of wet periods, ``[period]``.
    amounts_mm
        The climate's amounts of wet periods in order, ``[wet period]``.
    correlation
        Of what a bulletin knows with what comes, falling with lead, ``[lead]``.
    noise
        Standard normal scores, ``[period, lead]``.
    """
    known, before = scores, 1.0
    signals = np.empty_like(noise)
    for lead, r in enumerate(correlation):
        part = (r / before) ** 2
        known = part * known + r * np.sqrt(1 - part) * noise[:, lead]
        signals[:, lead] = known
        before = r
    rest = np.sqrt(1 - correlation**2)
    bound = score_at(1 - chance)[:, None]
    told = 1 - below((bound - signals) / np.maximum(rest, 1e-6))
    nodes, weights = np.polynomial.hermite_e.hermegauss(_NODES)
    possible = signals[..., None] + rest[:, None] * nodes
    dry = 1 - chance[:, None, None]
    rank = (below(possible) - dry) / np.maximum(1 - dry, 1e-9)
    at = np.clip(rank, 0.0, 1.0) * (len(amounts_mm) - 1)
    amount = np.where(rank > 0, np.interp(at, np.arange(len(amounts_mm)), amounts_mm), 0.0)
    expected: FloatArray = amount @ (weights / weights.sum())
    return told, expected


def period_scores(rng: np.random.Generator, days: int, values: Table) -> FloatArray:
    """What is new about periods in the bulletin of each lead, ``[period, lead]``."""
    keep = values.number("rain.next_period")
    bulletins = days + LEADS - 1
    along = lingering(rng.standard_normal((bulletins, LEADS * PERIODS)), keep)
    parts = about_days(along.reshape(bulletins, LEADS, PERIODS), days)
    return parts.transpose(0, 2, 1).reshape(days * PERIODS, LEADS)

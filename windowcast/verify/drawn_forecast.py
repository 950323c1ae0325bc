"""Forecasts as they might have been issued on each morning of a season, drawn from what came.

A forecast is the mean of what may come, given what a bulletin knows: ``(1 - v) d + x``, where d is
what came as a departure from normal, v the share of its variance that is not known at that lead,
and x what the bulletin takes for known. Then misses do not go with what was said, as in real
forecasts. Each bulletin brings something new of each day ahead, independent of the bulletins
before. So misses of one day in two bulletins correlate as ``sqrt(v / v of the next lead)``. How
large v is, and how what is new hangs together, is measured on forecasts as issued
(``data/lived.toml``). Nothing of this is shared with the ensemble, whose odds it serves to judge.
"""

from __future__ import annotations

from dataclasses import dataclass

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
    result: FloatArray = by_bulletin[at, np.arange(LEADS)]
    return result


def _first_day(rng: np.random.Generator, own: FloatArray, noise: Table) -> FloatArray:
    """Scores of the first day's misses, of which a part lasts and a part lingers, ``[day]``."""
    lasts, lingers, keep = numbers(noise, "first_day_lingers")
    slow = lingering(rng.standard_normal(len(own)), SEASON_KEEP)
    quick = lingering(rng.standard_normal(len(own)), keep)
    scores: FloatArray = (
        np.sqrt(lasts) * slow + np.sqrt(lingers) * quick + np.sqrt(1 - lasts - lingers) * own
    )
    return scores


def _hard_days(rng: np.random.Generator, days: int, sd: float) -> FloatArray:
    """Factors of mean square one: some days are harder to foretell, in all their bulletins."""
    factor: FloatArray = np.exp(sd * rng.standard_normal(days) - sd**2)
    return factor


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
        scores: FloatArray = np.sum(both, axis=0) / spread
        return scores

    in_a_row = course(  # so the end of one bulletin goes with the first hours of the next
        (days + LEADS - 1) * LEADS * HOURS
    )
    scores = about_days(in_a_row.reshape(-1, LEADS, HOURS), days)
    scores[:, 0] = course(days * HOURS).reshape(days, HOURS)
    return scores


def _fading(keep: float) -> FloatArray:
    """Weights of what each hour brings on the hours after it, which keep so much an hour."""
    steps = np.arange(int(np.log(FORGOTTEN) / np.log(keep)) + 1)
    weights: FloatArray = np.sqrt(1 - keep**2) * keep**steps
    return weights


def smoothed(hours: FloatArray) -> FloatArray:
    """Hours without what differs from one to the next, same shape; all axes are one course."""
    flat = np.concatenate([hours.ravel()[:1].repeat(REACH), hours.ravel(),
                           hours.ravel()[-1:].repeat(REACH)])  # fmt: skip
    result: FloatArray = np.convolve(flat, KERNEL, mode="valid").reshape(hours.shape)
    return result

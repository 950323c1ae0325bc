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
        first_dof, later_dof = numbers(noise, "tail_dof")
        scale = _tails(rng, bulletins, later_dof)[:, None]
        first = _tails(rng, days, first_dof)
        parts = []
        for one in (own_high, own_low):
            by_bulletin = scale * (shared * of_air + own * one)
            by_day = about_days(by_bulletin, days)
            by_day[:, 0] = first * _first_day(rng, about_days(one, days)[:, 0], noise)
            parts.append(by_day)
        return cls(*parts)


def about_days(by_bulletin: FloatArray, days: int) -> FloatArray:
    """What bulletins bring, ``[bulletin, lead]``, by the day it is about, ``[day, lead]``.

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


def _tails(rng: np.random.Generator, count: int, dof: float) -> FloatArray:
    """Factors that make normal scores Student's t of variance one."""
    factor: FloatArray = np.sqrt((dof - 2) / rng.chisquare(dof, count))
    return factor


def numbers(table: Table, name: str) -> FloatArray:
    """A list of a table as an array."""
    return np.array(table.value(name).value, dtype=np.float64)


def hourly_scores(rng: np.random.Generator, days: int, values: Table) -> FloatArray:
    """What is new about hours in the bulletin of each lead, ``[day, lead, hour]``.

    A part lasts the day and hangs together within a bulletin; the rest fades in some hours.
    """
    hours = values.table("hours")
    share = hours.number("day_share")
    bulletins = rng.standard_normal((days + LEADS - 1, LEADS))
    day = about_days(lingering(bulletins, values.number("noise.next_lead")), days)
    quick = lingering(rng.standard_normal((days, LEADS, 24)), hours.number("keep"))
    scores: FloatArray = np.sqrt(share) * day[..., None] + np.sqrt(1 - share) * quick
    return scores

"""The daily series of the charts: one season cut out of the past record and the members ahead.

All arrays are ``[day]`` along a season's dates, which run from the season's first day (1 July, or
1 January in the southern hemisphere) to its last; NaN where nothing is known.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

from windowcast.core.record import DateArray, FloatArray
from windowcast.core.season_calendar import season_end, season_start
from windowcast.core.time_axis import steps
from windowcast.programme.answer import Answer

MIN_YEARS = 5  # fewer past seasons give no band


@dataclass(frozen=True)
class Fan:
    """The 10, 50 and 90 % lines of the members, ``[day]``."""

    low: FloatArray
    mid: FloatArray
    high: FloatArray


def season_dates(answer: Answer) -> DateArray:
    """The days of the season of the answer."""
    today, southern = answer.ranking.today, answer.site.place.southern
    first, last = season_start(today, southern=southern), season_end(today, southern=southern)
    return steps(np.datetime64(first, "D"), np.datetime64(last, "D"))


def onto(dates: DateArray, own_dates: DateArray, values: FloatArray) -> FloatArray:
    """Values ``[..., own day]`` moved onto `dates`, NaN where there are none."""
    out = np.full((*values.shape[:-1], len(dates)), np.nan)
    if not len(own_dates):
        return out
    place = (dates - own_dates[0]).astype(int)
    here = (place >= 0) & (place < len(own_dates))
    out[..., here] = values[..., place[here]]
    return out


def fan(dates: DateArray, own_dates: DateArray, members: FloatArray) -> Fan:
    """Percentiles over the futures (member 0, the forecast as issued, is not one of them)."""
    return fan_of_futures(dates, own_dates, _futures(members))


def fan_of_futures(dates: DateArray, own_dates: DateArray, futures: FloatArray) -> Fan:
    """Percentiles over rows that are all futures."""
    low, mid, high = _percentiles(futures, (10, 50, 90))
    return Fan(*(onto(dates, own_dates, line) for line in (low, mid, high)))


def mean_of_futures(futures: FloatArray) -> FloatArray:
    """Mean over the futures that can be told, ``[day]``; NaN where half of them cannot."""
    known = np.isfinite(futures)
    total = np.where(known, futures, 0.0).sum(axis=0)
    mean = total / np.maximum(known.sum(axis=0), 1)
    return np.where(known.mean(axis=0) > 0.5, mean, np.nan)


def known_then_ahead(known: FloatArray, ahead: FloatArray) -> FloatArray:
    """What is known, and the days ahead where it is not."""
    return np.where(np.isfinite(known), known, ahead)


def _futures(members: FloatArray) -> FloatArray:
    return members[1:] if members.ndim > 1 and len(members) > 1 else np.atleast_2d(members)


def past_band(
    dates: DateArray, own_dates: DateArray, values: FloatArray
) -> tuple[FloatArray, FloatArray, int]:
    """10 and 90 % of the same days in earlier seasons, and how many seasons there were."""
    first = dates[0].astype(dt.date)
    seasons = []
    earliest = own_dates[0].astype(dt.date).year if len(own_dates) else first.year
    for year in range(earliest - 1, first.year):
        start = np.datetime64(first.replace(year=year), "D")
        same_days = start + np.arange(len(dates)).astype("timedelta64[D]")
        season = onto(same_days, own_dates, values)
        if np.isfinite(season).mean() > 0.5:
            seasons.append(season)
    if len(seasons) < MIN_YEARS:
        nothing = np.full(len(dates), np.nan)
        return nothing, nothing, len(seasons)
    low, high = _percentiles(np.array(seasons), (10, 90))
    return low, high, len(seasons)


def _percentiles(values: FloatArray, shares: tuple[int, ...]) -> list[FloatArray]:
    """Percentiles of the rows that are known on each day, straight between ranks; NaN without any.

    As ``numpy.nanpercentile``, which goes from column to column and takes a hundred times as long.
    """
    ranked = np.sort(values, axis=0)  # what is not known comes last
    last = np.isfinite(values).sum(axis=0) - 1
    days = np.arange(values.shape[-1])
    found = []
    for share in shares:
        rank = np.maximum(last, 0) * share / 100
        below = rank.astype(int)
        low, high = ranked[below, days], ranked[np.minimum(below + 1, np.maximum(last, 0)), days]
        found.append(low + (rank - below) * (high - low))
    return found

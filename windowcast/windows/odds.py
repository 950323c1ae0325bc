"""Odds: shares of members with an interval, and distributions of dates.

The members are a sample, and beyond the forecast a small one: moving a past year by some days
gives another member but hardly another year. Intervals therefore count the futures that are truly
different, not the rows of the array. A member in which it cannot be told counts as a no in the
share and widens the interval upwards.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from statistics import NormalDist
from typing import Literal

import numpy as np
import numpy.typing as npt

from windowcast.core.record import DateArray, FloatArray, Members
from windowcast.windows.model import Odds

LEVEL = 0.8  # of every interval: from 10 to 90 %
Basis = Literal["forecast", "forecast and past years", "past years"]


def wilson(share: float, trials: float, level: float = LEVEL) -> tuple[float, float]:
    """Score interval of a share seen in `trials` draws.

    References
    ----------
    Wilson 1927, *J. Am. Stat. Assoc.* 22:209-212; recommended for small samples by Brown, Cai &
    DasGupta 2001, *Statistical Science* 16:101-133.
    """
    z2 = NormalDist().inv_cdf((1 + level) / 2) ** 2
    middle = (share + z2 / (2 * trials)) / (1 + z2 / trials)
    half = np.sqrt(z2 * (share * (1 - share) / trials + z2 / (4 * trials**2))) / (1 + z2 / trials)
    return max(0.0, float(middle - half)), min(1.0, float(middle + half))


def basis_of(first_day: int, last_day: int, forecast_days: int) -> Basis:
    """What odds rest on that need the weather of these days (0 is today)."""
    if last_day < forecast_days:
        return "forecast"
    return "past years" if first_day >= forecast_days else "forecast and past years"


def effective_members(count: int, past_years: int, basis: Basis) -> float:
    """How many truly different futures stand behind `count` members.

    Forecast errors are drawn afresh for each member. Past years count once each, however often a
    year is moved against the calendar; where both matter, the harmonic mean is taken.
    """
    years = min(count, max(past_years, 1))
    if basis == "forecast":
        return float(count)
    return float(years) if basis == "past years" else 2 / (1 / count + 1 / years)


def odds_of(
    holds: npt.NDArray[np.bool_] | FloatArray, basis: Basis, past_years: int | None = None
) -> Odds | None:
    """Odds that something holds.

    Parameters
    ----------
    holds
        One value for each future (member 0, the forecast as issued, left out): 1 holds, 0 does
        not, NaN cannot be told.
    past_years
        Different past years behind the members; None: every member counts as a future of its own.

    Returns
    -------
    Odds or None
        None without futures or when it cannot be told in any.
    """
    known = np.isfinite(holds)
    if not known.any():
        return None
    count = len(holds)
    trials = count if past_years is None else effective_members(count, past_years, basis)
    share = float(np.count_nonzero(holds[known] > 0.5) / count)
    unknown = 1 - float(known.mean())
    low, _ = wilson(share, trials)
    _, high = wilson(share + unknown, trials)
    return Odds(share, min(low, share), max(high, share), count, basis)


def odds(holds: FloatArray, members: Members, first_day: int, last_day: int) -> Odds | None:
    """`odds_of` what needs the weather of the days `first_day` to `last_day` (0 is today)."""
    basis = basis_of(first_day, last_day, members.forecast_days)
    return odds_of(holds, basis, members.past_years)


@dataclass(frozen=True, slots=True)
class DateRange:
    """When something happens: 10, 50 and 90 % dates over members or years.

    A date is None where that part of the members does not reach it in the time looked at; `never`
    is the share that does not, `unknown` the share in which it cannot be told. `by_calendar` marks
    a median that is the first day a purpose's months allow: the weather would have it earlier.
    """

    early: dt.date | None
    median: dt.date | None
    late: dt.date | None
    never: float
    unknown: float
    count: int
    by_calendar: bool = False


FIRST_HIDDEN, LAST_HIDDEN = np.inf, -np.inf  # `unknown_as`: a gap hides what had not come before it


def date_range(
    index: FloatArray,
    dates: DateArray,
    year_of: npt.NDArray[np.int64] | None = None,
    unknown_as: float = np.nan,
) -> DateRange | None:
    """10, 50 and 90 % dates of day indices, ``[member]``, as `first_day` gives them.

    None when it cannot be told in more than half of the members.

    Parameters
    ----------
    year_of
        Past year behind each member, ``[member]``. A new year falls outside the inner 80 % of a few
        old ones more often than in one of five cases: the range is widened to the plotting
        positions at which it does not (r / (n + 1), Weibull 1939; see Makkonen 2006, *J. Appl.
        Meteorol. Climatol.* 45:334-340), with the members counted as `worth_of`. None: the
        members are what is described.
    unknown_as
        Where unknown members rank: infinity where a gap hides those that came later than the rest,
        minus infinity for earlier, NaN where unknown has nothing to do with the date. An end among
        them is None; so is the range whose middle is.
    """
    known = index[~np.isnan(index)]
    unknown = 1 - len(known) / len(index)
    if unknown > 0.5:
        return None
    late = np.sort(known if np.isnan(unknown_as) else np.where(np.isnan(index), unknown_as, index))
    tail = (1 - LEVEL) / 2
    worth = None if year_of is None else worth_of(index, year_of)
    low = tail if worth is None else max(0.0, tail - (0.5 - tail) / worth)
    picks = [late[max(int(np.ceil(q * len(late))) - 1, 0)] for q in (low, 0.5, 1 - low)]
    early, median, last = (
        dates[int(pick)].astype("datetime64[D]").astype(object) if np.isfinite(pick) else None
        for pick in picks
    )
    never = float(np.isinf(known).sum() / len(index))
    if median is None and never < 0.5 and not np.isnan(unknown_as):
        return None
    return DateRange(early, median, last, never, unknown, len(index))


def worth_of(index: FloatArray, year_of: npt.NDArray[np.int64]) -> float:
    """How many draws of their own the members are worth, of which several share a past year.

    Parameters
    ----------
    index
        Days, ``[member]``; only finite ones count.
    year_of
        Past year behind each member, ``[member]``.

    Returns
    -------
    float
        From the number of years, where these alone make the members differ, up to the number of
        members, where the years do not matter: each has errors of the models of its own.

    Notes
    -----
    ``s² / (v / n)``: the members' variance over that of their mean, which the means of n years tell
    with their variance v. It is the sample size over the design effect of clusters.

    References
    ----------
    Kish (1965), *Survey Sampling*, section 5.4.

    Examples
    --------
    Five years that tell one day each, and five that leave as much open as all together:

    >>> import numpy as np
    >>> from windowcast.windows.odds import worth_of
    >>> year_of = np.arange(100) % 5
    >>> worth_of(10.0 * year_of, year_of), worth_of(1.0 * (np.arange(100) // 5), year_of)
    (5.0, 100.0)
    """
    known = np.isfinite(index)
    row = np.unique(year_of[known], return_inverse=True)[1]
    members = np.bincount(row)
    if len(members) < 2:
        return float(max(len(members), 1))
    of_mean = float((np.bincount(row, index[known]) / members).var(ddof=1)) / len(members)
    worth = float(index[known].var()) / of_mean if of_mean > 0 else np.inf
    return float(np.clip(worth, len(members), known.sum()))


def normal_range(numbers: FloatArray, start: dt.date) -> DateRange | None:
    """Days of past seasons as dates of the one that begins at `start`; None without any."""
    if not len(numbers):
        return None
    return date_range(numbers, np.datetime64(start, "D") + np.arange(400).astype("timedelta64[D]"))

"""The season and its days of the year: the one place that knows when a season turns.

A season runs from 1 July to 30 June and is named by both years, "2024/25"; in the southern
hemisphere from 1 January to 31 December, "2025". Days of the year in the science tables are
northern, written "MM-DD"; in the south they lie half a year later.
"""

from __future__ import annotations

import datetime as dt
from functools import cache
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt

from windowcast.core.record import DateArray, FloatArray

SEASON_START = "07-01"  # northern


def first_month(southern: bool) -> int:
    """Month, 1 to 12, on whose first day a season begins."""
    return northern_month_day(SEASON_START, southern) // 100


def season_start(date: dt.date, *, southern: bool) -> dt.date:
    """First day of the season a date lies in."""
    start = dt.date(date.year, first_month(southern), 1)
    return start if start <= date else start.replace(year=date.year - 1)


def season_end(date: dt.date, *, southern: bool) -> dt.date:
    """Last day of the season a date lies in."""
    start = season_start(date, southern=southern)
    return start.replace(year=start.year + 1) - dt.timedelta(1)


def season_name(date: np.datetime64 | dt.date, southern: bool) -> str:
    """Name of the season a date lies in: "2024/25" in the north, "2025" in the south."""
    year = season_start(dt.date.fromisoformat(str(date)[:10]), southern=southern).year
    return str(year) if southern else f"{year}/{(year + 1) % 100:02d}"


def start_of_named(season: str) -> dt.date:
    """First day of a season by its name, ``2016/17`` or the one year of a southern one."""
    return dt.date(int(season[:4]), first_month(southern="/" not in season), 1)


def season_starts(first_year: npt.ArrayLike, southern: npt.ArrayLike) -> Any:
    """First days of seasons, by first year and hemisphere, which broadcast.

    ``datetime64[D]``, an array or a single one.
    """
    month = np.where(southern, first_month(southern=True), first_month(southern=False))
    months = (np.asarray(first_year) - 1970) * 12 + month - 1
    return months.astype("datetime64[M]").astype("datetime64[D]")


def days_into_season(text: str, first_year: npt.ArrayLike, southern: npt.ArrayLike) -> Any:
    """Days from a season's first to a northern ``"MM-DD"``; years and hemispheres broadcast.

    Examples
    --------
    >>> from windowcast.core.season_calendar import days_into_season
    >>> int(days_into_season("01-01", 2023, False)), int(days_into_season("01-01", 2024, True))
    (184, 182)
    """
    starts = season_starts(first_year, southern).astype("datetime64[M]")

    def days(south: bool) -> Any:
        month, day = divmod(northern_month_day(text, south), 100)
        later = np.timedelta64((month - first_month(south)) % 12, "M")
        first = (starts + later).astype("datetime64[D]")
        return (first - starts.astype("datetime64[D]")).astype(int) + day - 1

    return np.where(southern, days(True), days(False))


def paired_year(first_year: npt.ArrayLike, southern: npt.ArrayLike) -> Any:
    """Year by which seasons of both hemispheres are paired: the one they end in.

    A southern season goes with the northern one that begins half a year before it, so that both
    have the heart of their winter in this year: "2024/25" goes with "2025". Both arguments
    broadcast.

    Examples
    --------
    >>> from windowcast.core.season_calendar import paired_year
    >>> int(paired_year(2024, False)), int(paired_year(2025, True))
    (2025, 2025)
    """
    return np.asarray(first_year) + np.where(southern, 0, 1)


def season_day(dates: DateArray, *, southern: bool) -> FloatArray:
    """Days since the season of each date began, ``[day]``; 0 on its first day."""
    month = first_month(southern) - 1
    months = dates.astype("datetime64[M]").astype(np.int64)
    start = (months - (months - month) % 12).astype("datetime64[M]").astype("datetime64[D]")
    result: FloatArray = (dates - start).astype(np.float64)
    return result


def season_slices(dates: DateArray, southern: bool) -> tuple[tuple[str, slice], ...]:
    """Name and days of each season on a date axis; the first and last may be partial."""
    if not len(dates):
        return ()
    starts = np.flatnonzero(on_date(dates, SEASON_START, southern))
    edges = [0, *(int(i) for i in starts if i), len(dates)]
    return tuple(
        (season_name(dates[first], southern), slice(first, stop)) for first, stop in pairwise(edges)
    )


def month_of(dates: DateArray) -> npt.NDArray[np.int64]:
    """Calendar month, 1 to 12, same shape as `dates`."""
    return dates.astype("datetime64[M]").astype(np.int64) % 12 + 1


def month_day(dates: DateArray) -> npt.NDArray[np.int64]:
    """Calendar day as month * 100 + day, ``[day]``.

    Examples
    --------
    >>> import numpy as np
    >>> from windowcast.core.season_calendar import month_day
    >>> month_day(np.array(["2023-07-01", "2024-02-29"], dtype="datetime64[D]"))
    array([701, 229])
    """
    months = dates.astype("datetime64[M]").astype("datetime64[D]")
    day = (dates.astype("datetime64[D]") - months).astype(np.int64) + 1
    code: npt.NDArray[np.int64] = month_of(dates) * 100 + day
    return code


def half_year_later(months: Any) -> Any:
    """Months 1 to 12, an array or one, moved on by six: where the south has the same season."""
    return (months + 5) % 12 + 1


@cache
def northern_month_day(text: str, southern: bool) -> int:
    """A northern ``"MM-DD"`` as month * 100 + day, half a year later in the south.

    Examples
    --------
    >>> from windowcast.core.season_calendar import northern_month_day
    >>> northern_month_day("08-31", False), northern_month_day("08-31", True)
    (831, 228)
    """
    month, day = (int(part) for part in text.split("-"))
    if southern:
        month = int(half_year_later(month))
        day = min(day, 28) if month == 2 else min(day, 30)
    return month * 100 + day


def on_date(dates: DateArray, text: str, southern: bool) -> npt.NDArray[np.bool_]:
    """True on a (northern) calendar day of each year, ``[day]``.

    Examples
    --------
    >>> import numpy as np
    >>> from windowcast.core.season_calendar import on_date
    >>> days = np.array(["2023-07-01", "2024-01-01"], dtype="datetime64[D]")
    >>> on_date(days, "07-01", False), on_date(days, "07-01", True)
    (array([ True, False]), array([False,  True]))
    """
    return np.asarray(month_day(dates) == northern_month_day(text, southern))


def from_season_start(code: Any, southern: bool) -> Any:
    """Calendar days, month * 100 + day, counted from the season's first: they rise through it."""
    return (code - northern_month_day(SEASON_START, southern)) % 1200


def days_of_year_apart(one: dt.date, other: dt.date) -> int:
    """Days from the second date of the year to the first, −182 to 182; the years do not count."""
    return ((one - other).days + 182) % 365 - 182

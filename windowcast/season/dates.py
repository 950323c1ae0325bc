"""Key dates of a season: when soil, weeds and turf pass the marks that purposes hang on.

A date is a day number (days since 1970-01-01, as float) so that it can be NaN where a season does
not reach the mark, or where a day that decides is missing. Arrays are ``[..., season]``; leading
axes are members or stations.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial

import numpy as np
import numpy.typing as npt

from windowcast.core.record import DateArray, FloatArray
from windowcast.core.season_calendar import (
    from_season_start,
    month_day,
    northern_month_day,
    season_slices,
)
from windowcast.core.time_axis import first_day, last_day
from windowcast.core.values import PACKAGED, Tables
from windowcast.season.model import Emergence, SiteState, TurfPhase
from windowcast.season.runs import trailing_mean

SOIL_DAYS = 7
SEARCH_FALL_FROM = "08-01"  # northern
SEARCH_SPRING_FROM = "01-01"
SEARCHED_FROM: Mapping[str, str] = {
    **dict.fromkeys(("soil_21", "poaan_10", "poaan_50", "poaan_80"), SEARCH_FALL_FROM),
    **dict.fromkeys(("soil_13", "digis_10"), SEARCH_SPRING_FROM),
}
"""Dates that may lie before the first day searched, which they then give."""
WHOLE_DAYS = 365
SPRING_WEED = "DIGIS"
FALL_WEED = "POAAN"


@dataclass(frozen=True)
class KeyDates:
    """Key dates by season.

    Attributes
    ----------
    seasons
        Names such as "2024/25" (north) or "2025" (south), ``[season]``.
    days
        Id → day numbers ``[..., season]``, NaN where not reached within the days given. Ids:
        ``soil_21``, ``soil_13`` (soil rises), ``poaan_10``, ``poaan_50``, ``poaan_80``,
        ``digis_10``, ``dormant``, ``last_safe``, ``greenup``.
    happened
        Id → 1 where the mark was reached in the season, 0 where a whole season whose days are
        known did not reach it, NaN where that cannot be told, ``[..., season]``.
    """

    seasons: tuple[str, ...]
    days: Mapping[str, FloatArray]
    happened: Mapping[str, FloatArray]


def first_where(
    condition: npt.NDArray[np.bool_], unknown: npt.NDArray[np.bool_], dates: DateArray
) -> FloatArray:
    """Day number of the first True, ``[...]``; NaN if none, or if an unknown day comes before.

    Parameters
    ----------
    condition, unknown
        Whether it holds on a day, and whether that cannot be told, ``[..., day]``.
    dates
        ``datetime64[D]``, ``[day]``.

    Examples
    --------
    >>> import numpy as np
    >>> from windowcast.season.dates import first_where
    >>> days = np.arange("1970-01-11", "1970-01-15", dtype="datetime64[D]")
    >>> holds = np.array([False, False, True, True])
    >>> first_where(holds, np.zeros(4, dtype=bool), days).item()
    12.0
    >>> first_where(holds, np.array([False, True, False, False]), days).item()
    nan
    """
    return _day_number(first_day(condition & ~unknown, unknown), dates)


def whether(condition: npt.NDArray[np.bool_], unknown: npt.NDArray[np.bool_]) -> FloatArray:
    """1 where it holds on a known day, 0 where on none of days all known, else NaN, ``[...]``.

    As `first_where`, but an unknown day before the first does not matter: it came all the same.
    """
    came = (condition & ~unknown).any(axis=-1)
    return np.where(came, 1.0, np.where(unknown.any(axis=-1), np.nan, 0.0))


def fall_date(
    soil_c: FloatArray, dates: DateArray, threshold_c: float, *, southern: bool = False
) -> FloatArray:
    """Day the 7-day mean of soil temperature first lies below a threshold in fall, per season.

    Searched from 1 August (1 February in the south) to the end of the year's half; a soil
    already below it then gives that first day.

    Returns
    -------
    FloatArray
        Day numbers ``[..., season]`` for the seasons of `season_slices`.

    Examples
    --------
    A soil that cools by a quarter of a degree a day from 30 °C on 1 August:

    >>> import numpy as np
    >>> from windowcast.season.dates import fall_date
    >>> days = np.arange("2023-07-25", "2024-06-30", dtype="datetime64[D]")
    >>> soil_c = 30.0 - 0.25 * (days - np.datetime64("2023-08-01")).astype(float)
    >>> day = fall_date(soil_c, days, 21.1)[0]
    >>> str(np.datetime64(int(day), "D"))
    '2023-09-09'
    """
    week = trailing_mean(soil_c, SOIL_DAYS)
    return _per_season(week, dates, southern, SEARCH_FALL_FROM, lambda v: v < threshold_c)[0]


def spring_date(
    soil_c: FloatArray, dates: DateArray, threshold_c: float, *, southern: bool = False
) -> FloatArray:
    """Day the 7-day mean of soil temperature first reaches a threshold from midwinter on.

    Parameters
    ----------
    soil_c, dates, threshold_c, southern
        As of `fall_date`.

    Examples
    --------
    >>> import numpy as np
    >>> from windowcast.season.dates import spring_date
    >>> days = np.arange("2023-07-01", "2024-06-30", dtype="datetime64[D]")
    >>> soil_c = 0.1 * (days - np.datetime64("2024-01-01")).astype(float)
    >>> str(np.datetime64(int(spring_date(soil_c, days, 13.0)[0]), "D"))
    '2024-05-13'
    """
    week = trailing_mean(soil_c, SOIL_DAYS)
    return _per_season(week, dates, southern, SEARCH_SPRING_FROM, lambda v: v >= threshold_c)[0]


def share_date(
    emergence: Emergence, dates: DateArray, level: float, *, southern: bool = False
) -> FloatArray:
    """Day a weed's emerged share reaches a level, per season, ``[..., season]``."""
    start = SEARCH_FALL_FROM if emergence.season == "fall" else SEARCH_SPRING_FROM
    return _per_season(emergence.share, dates, southern, start, lambda v: v >= level)[0]


def key_dates(state: SiteState, *, southern: bool = False, tables: Tables = PACKAGED) -> KeyDates:
    """All key dates of each season in a state, by the marks of ``plan`` in the tables."""
    dates, turf = state.dates, state.turf
    slices = season_slices(dates, southern)
    marks, week = tables["plan"], trailing_mean(state.soil_5cm_c, SOIL_DAYS)
    falls, rises = marks.number("soil_fall"), marks.number("soil_spring")
    found = {
        "soil_21": _per_season(week, dates, southern, SEARCH_FALL_FROM, lambda v: v < falls),
        "soil_13": _per_season(week, dates, southern, SEARCH_SPRING_FROM, lambda v: v >= rises),
    }
    for code, levels in ((FALL_WEED, (10, 50, 80)), (SPRING_WEED, (10,))):
        if code in state.emergence:
            weed = state.emergence[code]
            start = SEARCH_FALL_FROM if weed.season == "fall" else SEARCH_SPRING_FROM
            for level in levels:
                reached = partial(np.less_equal, level / 100)
                name = f"{code.lower()}_{level}"
                found[name] = _per_season(weed.share, dates, southern, start, reached)
    dormant, unknown = turf.phase == TurfPhase.DORMANT, turf.phase < 0
    safe = turf.nonselective_safe == 1  # days on which only a look could tell are none
    days = {name: day for name, (day, _) in found.items()}
    came = {name: happened for name, (_, happened) in found.items()}
    days["dormant"] = _each(
        slices, lambda s: first_where(dormant[..., s], unknown[..., s], dates[s])
    )
    days["last_safe"] = _each(slices, lambda s: _day_number(last_day(safe[..., s]), dates[s]))
    days["greenup"] = _each(slices, lambda s: _greenup(turf.phase[..., s], dates[s]))
    came["dormant"] = _each(slices, lambda s: whether(dormant[..., s], unknown[..., s]))
    came["last_safe"] = _each(slices, lambda s: whether(safe[..., s], unknown[..., s]))
    never = np.where(came["dormant"] == 0, 0.0, np.nan)
    came["greenup"] = np.where(np.isfinite(days["greenup"]), 1.0, never)
    whole = np.array([part.stop - part.start >= WHOLE_DAYS for _, part in slices])
    came = {name: np.where(whole | (value == 1), value, np.nan) for name, value in came.items()}
    return KeyDates(tuple(name for name, _ in slices), days, came)


def _per_season(
    values: FloatArray,
    dates: DateArray,
    southern: bool,
    search_from: str,
    condition: Callable[[FloatArray], npt.NDArray[np.bool_]],
) -> tuple[FloatArray, FloatArray]:
    """First day in each season, from a calendar day on, on which a condition holds; whether any."""
    start = from_season_start(northern_month_day(search_from, southern), southern)

    def search(part: slice) -> FloatArray:
        keep = from_season_start(month_day(dates[part]), southern) >= start
        value = values[..., part][..., keep]
        holds, unknown = condition(value), np.isnan(value)
        return np.stack([first_where(holds, unknown, dates[part][keep]), whether(holds, unknown)])

    day, happened = _each(season_slices(dates, southern), search)
    return day, happened


def _each(
    slices: tuple[tuple[str, slice], ...], search: Callable[[slice], FloatArray]
) -> FloatArray:
    return np.stack([search(part) for _, part in slices], axis=-1)


def _day_number(index: FloatArray, dates: DateArray) -> FloatArray:
    """Day numbers of day indices, ``[...]``; NaN where no day is known."""
    known = np.isfinite(index)
    if not len(dates):
        return np.full(index.shape, np.nan)
    numbers = dates.astype("datetime64[D]").astype(np.int64).astype(np.float64)
    return np.where(known, numbers[np.where(known, index, 0).astype(np.int64)], np.nan)


def _greenup(phase: npt.NDArray[np.int8], dates: DateArray) -> FloatArray:
    """Day green-up begins for good: the one after the season's last dormant day.

    NaN where the turf was never dormant, or is so to the end of the days known.
    """
    last = _day_number(last_day(phase == TurfPhase.DORMANT), dates)
    end = _day_number(last_day(phase != TurfPhase.UNKNOWN), dates)
    return np.where(last < end, last + 1.0, np.nan)

"""Spray days on dormant turf of each season, and what took the others.

A spray day is one whose weather suits a dormant application, on which a non-selective product is
safe by the state of the turf, in the months in which such an application is made. A day on which
only a look into the canopy could tell is none. What cannot be told stays unknown.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from windowcast.core.record import FloatArray, Record
from windowcast.core.season_calendar import half_year_later, month_of, season_day
from windowcast.programme.workable_days import Parts
from windowcast.region.columns import LOST_COLUMNS, REASONS
from windowcast.season.model import TurfState
from windowcast.windows.grade import grade_of
from windowcast.windows.purposes import Purpose
from windowcast.windows.season_axis import SEASON_DAYS

WINTER = (12, 1, 2)  # northern months in which turf is usually dormant
_GROUPS = {
    "wet": ("rain_after", "washing_rain"),
    "windy": ("wind",),
    "cold": ("cold_after", "frozen_soil"),
    "warm": ("heat",),
}


def spray_days(
    record: Record,
    turf: TurfState,
    purpose: Purpose,
    *,
    workable: FloatArray,
    parts: Parts,
    seasons: Sequence[slice],
    recorded: npt.NDArray[np.bool_],
) -> tuple[FloatArray, dict[str, FloatArray]]:
    """Spray days, and of the days on which turf was safe those that the weather took.

    Parameters
    ----------
    record
        Daily values, ``[station, day]``, of stations of one hemisphere.
    workable, parts
        Of the purpose, by `programme.workable_days.workable` and `day_parts`, ``[station, day]``.
    recorded
        Days from a station's first to its last, ``[station, day]``: beyond them nothing is known.
    """
    needs, southern, dates = purpose.generic, record.place.southern, record.times
    grade = grade_of("season_months", needs, purpose.rules, purpose.own)
    in_time = grade(season_day(dates, southern=southern)) >= purpose.rule.season
    safe = in_time & (turf.nonselective_safe == 1)
    untold = np.where(in_time, turf.phase < 0, ~recorded)
    can = np.where(untold, np.nan, np.where(safe, workable, 0.0))
    month = month_of(dates)
    winter = np.isin(half_year_later(month) if southern else month, WINTER)
    days = {
        "spray_days_total": can,
        LOST_COLUMNS["not_dormant"]: np.where(
            ~recorded | (winter & (turf.phase < 0)), np.nan, winter & ~safe
        ),
    }
    refused = safe & (workable == 0)
    at = np.nonzero(refused)
    reason = _reasons(parts, record.get("tmax_c")[at], purpose, at)
    unknown = np.where(np.isnan(can), np.nan, 0.0)
    for n, name in enumerate(REASONS):
        lost = unknown.copy()
        lost[at] = reason == n
        days[LOST_COLUMNS[name]] = lost
    return can, {name: _by_season(value, seasons) for name, value in days.items()}


def _reasons(
    parts: Parts, high_c: FloatArray, purpose: Purpose, at: tuple[npt.NDArray[np.intp], ...]
) -> npt.NDArray[np.intp]:
    """Which of `REASONS` had the lowest score on days that were refused, ``[refused]``.

    A high outside the good range of air temperature counts as cold below it, as warm above.
    """
    lowest = np.ones((len(REASONS), len(at[0])))
    for group, names in _GROUPS.items():
        for name in names:
            if name in parts:
                _lower(lowest[REASONS.index(group)], parts[name], at)
    if "air_temperature" in parts:
        air, good = np.ones(len(at[0])), grade_of("air_temperature", purpose.generic, purpose.rules)
        _lower(air, parts["air_temperature"], at)
        warm = high_c > good.good[1]
        for group, own in (("cold", ~warm), ("warm", warm)):
            row = lowest[REASONS.index(group)]
            row[own] = np.minimum(row[own], air[own])
    return np.asarray(lowest.argmin(axis=0))


def _lower(
    row: FloatArray, part: tuple[FloatArray, float], at: tuple[npt.NDArray[np.intp], ...]
) -> None:
    score, weight = part
    np.fmin(row, score[at] ** weight, out=row)


def _by_season(days: FloatArray, seasons: Sequence[slice]) -> FloatArray:
    """Sums over whole seasons, ``[station, season]``; NaN for one that is cut."""
    return np.stack(
        [
            days[:, part].sum(axis=1)
            if part.stop - part.start >= SEASON_DAYS
            else np.full(len(days), np.nan)
            for part in seasons
        ],
        axis=1,
    )

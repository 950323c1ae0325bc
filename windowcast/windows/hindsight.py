"""Hours of the past as the criteria see them: measured ones, else estimated from their days.

When in its day a day's rain fell nobody knows where only days were measured: what hangs on that
cannot be told.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np

from windowcast.core.record import Grade, Members, Record, Weather
from windowcast.core.site import Site
from windowcast.core.values import PACKAGED, Tables
from windowcast.materials.needs import ActiveNeeds
from windowcast.season.model import SiteState
from windowcast.weather.hourly import daily_to_hourly
from windowcast.windows.criteria import FALLING, HOUR_CRITERIA
from windowcast.windows.hours import HourContext, hour_context
from windowcast.windows.judge import HourScores


def season_hours(weather: Weather, first: dt.date, last: dt.date) -> Record:
    """Hours of a span of local dates: measured ones, else estimated from the days."""
    hours = daily_to_hourly(weather.daily, first, (last - first).days + 1)
    if weather.hourly is None:
        return hours
    at = (hours.times - weather.hourly.times[0]).astype(np.int64)
    inside = (at >= 0) & (at < len(weather.hourly.times))
    values, grades = {}, {}
    for name in weather.hourly.values:
        value = hours.get(name).copy()
        grade = hours.grade(name).copy()
        measured = np.full(len(hours.times), np.nan)
        measured[inside] = weather.hourly.get(name)[..., at[inside]]
        known = np.isfinite(measured)
        value[known] = measured[known]
        grade[known] = weather.hourly.grade(name)[at[known]]
        values[name], grades[name] = value, grade
    return hours.with_variables(values, grades)


def season_context(
    site: Site,
    weather: Weather,
    state: SiteState,
    first: dt.date,
    last: dt.date,
    *,
    tables: Tables = PACKAGED,
) -> HourContext:
    """All that the criteria look at, over a span of past dates."""
    hours = season_hours(weather, first, last)
    members = Members(_alone(weather.daily), _alone(hours), 0)
    return hour_context(site, state, members, tables=tables)


def decided(scores: HourScores, needs: ActiveNeeds) -> HourScores:
    """Scores as they are, but NaN where they hang on the hour at which a day's rain fell.

    A score stands where it is the same whether all of that rain fell near the hour or none of it:
    on a dry day, or where the hours measured decide.
    """
    least, most = _rain_bounds(scores.ctx)
    kept = dict(scores.scores)
    for name in kept.keys() & set(FALLING):
        low, high = (
            scores.grades[name](np.atleast_2d(HOUR_CRITERIA[name](c, needs))[..., c.lead :])
            for c in (least, most)
        )
        kept[name] = np.where(np.isclose(low, high), kept[name], np.nan)
    return replace(scores, scores=kept)


def _rain_bounds(context: HourContext) -> tuple[HourContext, HourContext]:
    """The context with the least and the most rain that may have fallen about each hour."""
    marks = context.grade.get("precip_mm")
    total = context.daily.get("precip_mm")
    if marks is None or total is None:
        return context, context
    spread = marks == Grade.ESTIMATED
    placed = np.where(spread, 0.0, context.rain_mm)
    by_day = np.bincount(context.day, np.nan_to_num(placed[0]), minlength=total.shape[-1])
    blind = np.bincount(context.day, spread, minlength=total.shape[-1]) > 0
    rest = context.on_hours(np.where(blind, np.maximum(total - by_day, 0.0), 0.0))
    least = replace(context, hourly={**context.hourly, "precip_mm": placed})
    return least, replace(least, unplaced_mm=rest)


def _alone(record: Record) -> Record:
    """A record as an ensemble of one."""
    return replace(record, values={k: np.atleast_2d(v) for k, v in record.values.items()})

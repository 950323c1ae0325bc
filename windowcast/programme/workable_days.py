"""Workable days: the spray-weather criteria on whole days, for past years and long views.

Where there are no hours the same grades (``data/criteria.toml``) are put on the day's figures: the
high stands for the warm hours, the lower of this night's and the next night's low for the cold
after spraying, the day's rain for the rain after. It is coarser than the hours, and says so: wind
counts only where a daily mean is known, and humidity, cloud and inversions not at all.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from windowcast.core.record import DateArray, FloatArray, Record
from windowcast.core.site import Site
from windowcast.materials.needs import ActiveNeeds
from windowcast.physics.sun import day_length_h, day_of_year
from windowcast.programme.model import Fortnight
from windowcast.windows.criteria import over_limit
from windowcast.windows.grade import grade_of
from windowcast.windows.purposes import Purpose, weights_of
from windowcast.windows.score import Rule, combine

FORTNIGHT = 14
SAME = 1e-9  # counts closer than this are equal


def day_scores(
    daily: Record,
    purpose: Purpose,
    needs: ActiveNeeds,
    *,
    site: Site | None = None,
    frozen: npt.NDArray[np.bool_] | None = None,
) -> FloatArray:
    """Score of each day's spray weather, 0..1, ``[..., day]``; NaN where it cannot be told.

    Parameters
    ----------
    daily
        Daily values, ``[..., day]``. The last day has no next night and cannot be told where that
        matters.
    site
        Closes days by weekday and blackout, and sets the limit of the wind; None: any day.
    frozen
        Whether the ground is frozen, ``[..., day]``.
    """
    parts = day_parts(daily, purpose, needs, frozen=frozen, site=site)
    if site is not None:
        allowed = open_days(daily.times, site, purpose.rule).astype(np.float64)
        parts["open"] = (allowed, 1.0)
    return combine(parts.values())


Parts = dict[str, tuple[FloatArray, float]]  # criterion → score and its weight, for `combine`


def day_parts(
    daily: Record,
    purpose: Purpose,
    needs: ActiveNeeds,
    *,
    frozen: npt.NDArray[np.bool_] | None = None,
    site: Site | None = None,
) -> Parts:
    """What a purpose asks of a day's weather, criterion by criterion; as `day_scores`."""
    rules, rain = purpose.rules, daily.get("precip_mm")
    parts = temperature_parts(daily, purpose, needs)
    parts["rain_after"] = (grade_of("rain_after", needs, rules)(rain), 1.0)
    parts |= _asked("washing_rain", rain + shifted(rain), purpose, needs)
    if frozen is not None:
        parts["frozen_soil"] = (np.where(frozen, 0.0, 1.0), 1.0)
    if "wind_mean_m_s" in daily:
        wind = daily.get("wind_mean_m_s")
        score = grade_of("wind", needs, rules)(wind)
        if site is not None:
            score = np.where(over_limit(wind, site) == 1, 0.0, score)
        parts["wind"] = (np.where(np.isnan(wind), 1.0, score), 1.0)
    return parts


def temperature_parts(daily: Record, purpose: Purpose, needs: ActiveNeeds) -> Parts:
    """What a purpose asks of the day's high and of the nights around it, ``[..., day]``.

    Empty where it asks nothing of them.
    """
    high = daily.get("tmax_c")
    return {
        **_asked("air_temperature", high, purpose, needs),
        **_asked("heat", high, purpose, needs),
        **_asked("cold_after", lowest_night(daily.get("tmin_c")), purpose, needs),
    }


def _asked(name: str, measured: FloatArray, purpose: Purpose, needs: ActiveNeeds) -> Parts:
    """A criterion's score and weight where the purpose asks it of these actives."""
    if name not in purpose.asked(needs):
        return {}
    grade = grade_of(name, needs, purpose.rules, purpose.own)
    return {name: (grade(measured), weights_of([name], purpose.rules)[name])}


def workable(scores: FloatArray, rule: Rule) -> FloatArray:
    """1 where a day is workable, 0 where not, NaN where it cannot be told."""
    return np.where(np.isnan(scores), np.nan, scores >= rule.marginal)


def fewest_workable(
    scores: FloatArray,
    in_season: npt.NDArray[np.bool_],
    dates: DateArray,
    allowed: npt.NDArray[np.bool_],
    rule: Rule,
) -> Fortnight | None:
    """The fortnight of a purpose's time with the fewest workable days; the first of equals.

    None where its time is shorter than that or the days cannot be told.

    Parameters
    ----------
    scores
        As `day_scores` gives them, ``[member, day]``.
    in_season, allowed
        Days on which the purpose is likely open, and on which the site's calendar lets one work,
        ``[day]``.
    """
    can = workable(scores, rule)
    told = in_season & (np.isfinite(can).mean(axis=0) > 0.5)
    if not can.size or len(told) < FORTNIGHT:
        return None

    def sums(values: npt.NDArray[Any]) -> FloatArray:
        windows = np.lib.stride_tricks.sliding_window_view(values, FORTNIGHT, axis=-1)
        result: FloatArray = windows.sum(axis=-1).astype(np.float64)
        return result

    whole = sums(told) == FORTNIGHT
    if not whole.any():
        return None
    count = sums(np.nan_to_num(can))
    mean = np.where(whole, count.mean(axis=0), np.inf)
    at = int(np.flatnonzero(mean <= mean.min() + SAME)[0])
    low, high = np.quantile(count[:, at], [0.1, 0.9], method="inverted_cdf")
    return Fortnight(
        start=dates[at].astype("datetime64[D]").astype(object),
        days=float(mean[at]),
        low=float(low),
        high=float(high),
        open_days=int(sums(allowed)[at]),
    )


def shifted(values: FloatArray) -> FloatArray:
    """The next day's value, NaN after the last."""
    end = np.full((*values.shape[:-1], 1), np.nan)
    return np.concatenate([values[..., 1:], end], axis=-1)


def lowest_night(tmin_c: FloatArray) -> FloatArray:
    """Lower of the morning's low and the next morning's."""
    return np.minimum(tmin_c, shifted(tmin_c))


def open_days(dates: DateArray, site: Site, rule: Rule) -> npt.NDArray[np.bool_]:
    """Days on which the site may be sprayed: weekday, no whole-day blackout, enough daylight."""
    span = site.calendar.spray_span
    start, stop = span.start_min / 60, span.end_min / 60
    half = day_length_h(site.latitude, day_of_year(dates)) / 2
    light = np.minimum(stop, 12 + half) - np.maximum(start, 12 - half)
    return site.calendar.open_days(dates) & (light >= rule.shortest_h)

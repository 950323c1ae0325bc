"""What the hours ahead look like, so that people see why some are chosen."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Iterator

import numpy as np
import numpy.typing as npt

from windowcast.core.record import FloatArray
from windowcast.windows.grade import ScoreCurve
from windowcast.windows.hour_model import Bound, HourCheck, HoursAhead, HourStrip
from windowcast.windows.hours import HourContext
from windowcast.windows.judge import HourScores

DRAWN = ("air_temperature", "wind", "gusts", "rain_after")  # criteria whose ends are drawn


def hours_ahead(ctx: HourContext, stop: int) -> HoursAhead:
    """The weather of the first `stop` hours from today's midnight on."""
    hours = slice(ctx.lead, ctx.lead + stop)
    return HoursAhead(
        times=_times(ctx, hours),
        light=tuple(_light(ctx, hours).tolist()),
        temp_c=_issued(ctx.temp_c, hours),
        wind_m_s=_issued(ctx.wind_m_s, hours),
        gust_m_s=_issued(ctx.get("gust_m_s"), hours),
        rain_mm=_issued(ctx.rain_mm, hours),
        rain_chance=_issued(_rain_chance(ctx, ctx.rain_mm), hours),
        day_rain_chance=_issued(_rain_chance(ctx, _by_day(ctx)), hours),
        soil_5cm_c=_issued(ctx.on_hours(ctx.ahead.soil_5cm_c), hours),
    )


def _light(ctx: HourContext, hours: slice) -> npt.NDArray[np.bool_]:
    """Whether each hour is in daylight as a whole."""
    risen = min(ctx.criterion("daylight").value("at").value)
    return np.asarray(ctx.sun_deg[hours] > risen)


def strip_of(ctx: HourContext, scores: HourScores, stop: int) -> HourStrip:
    """What each of the first `stop` hours is worth for a purpose, and what limits it."""
    row, limits = scores.score[0, :stop], scores.limits()[:stop]
    measured = [
        float(scores.measured[name][0, hour]) if name and ctx.criterion(name)["unit"] else math.nan
        for hour, name in enumerate(limits)
    ]
    drawn = (name for name in DRAWN if name in scores.grades)
    return HourStrip(
        times=_times(ctx, slice(ctx.lead, ctx.lead + stop)),
        scores=tuple(None if np.isnan(s) else round(100 * float(s), 1) for s in row),
        limits=tuple(limits),
        measured=_known(measured, 2),
        bounds=tuple(_bound(name, scores.grades[name], ctx) for name in drawn),
        checks=tuple(_checks(ctx, scores, stop)),
    )


def _checks(ctx: HourContext, scores: HourScores, stop: int) -> Iterator[HourCheck]:
    """Every criterion by the hour of daylight; the sprayer's wind limit is part of the wind's."""
    own = ctx.site.equipment.wind_max_m_s
    light = _light(ctx, slice(ctx.lead, ctx.lead + stop))
    for name, grade in scores.grades.items():
        if name == "daylight" or (name == "sprayer_limit" and "wind" in scores.grades):
            continue  # the hours shown are in daylight
        worth = scores.scores[name][0, :stop] ** scores.weights[name]
        (low, high), yours = grade.good, False
        if name == "wind" and own is not None:
            worth = np.minimum(worth, scores.scores["sprayer_limit"][0, :stop])
            yours = own < high
            high = min(own, high)
        unit = str(ctx.criterion(name)["unit"])
        value = np.where(np.isnan(worth), np.nan, scores.measured[name][0, :stop])
        yield HourCheck(
            criterion=name,
            unit=unit,
            low=low if unit and math.isfinite(low) else None,
            high=high if unit and math.isfinite(high) else None,
            yours=yours,
            measured=_known(value[light].tolist(), 2) if unit else (None,) * int(light.sum()),
            scores=_known(worth[light].tolist(), 3),
        )


def _bound(name: str, grade: ScoreCurve, ctx: HourContext) -> Bound:
    """The ends of a criterion, and of the sprayer's own limit where it is the lower one."""
    possible = [at for at, score in zip(grade.at, grade.score, strict=True) if score > 0]
    low = None if grade.score[0] > 0 else min(possible)
    high = None if grade.score[-1] > 0 else max(possible)
    own = ctx.site.equipment.wind_max_m_s
    if name == "wind" and own is not None:
        high = own if high is None else min(own, high)
    return Bound(name, low, high, str(ctx.criterion(name)["unit"]))


def _rain_chance(ctx: HourContext, rain_mm: FloatArray) -> FloatArray:
    """Share of the futures with measurable rain; as issued, by the hour, where there are none."""
    wet = ctx.criterion("chance_of_rain").number("wet_mm")
    rain = np.atleast_2d(rain_mm)
    if len(rain) - 1 < ctx.rule.members:
        return ctx.get("precip_prob")
    futures = rain[1:]
    share: FloatArray = np.where(np.isnan(futures), np.nan, futures >= wet).mean(axis=0)
    return share[None]


def _by_day(ctx: HourContext) -> FloatArray:
    """Rain of each hour's day, ``[member, hour]``; NaN where any of its hours is unknown."""
    rain, first = np.atleast_2d(ctx.rain_mm)[:, ctx.lead :], ctx.day[ctx.lead :]
    edges = np.flatnonzero(np.diff(first, prepend=-1))
    total = np.add.reduceat(rain, edges, axis=-1)[:, first - first[0]]
    return np.concatenate([np.full((len(rain), ctx.lead), np.nan), total], axis=-1)


def _times(ctx: HourContext, hours: slice) -> tuple[dt.datetime, ...]:
    zone = ctx.site.zone
    stamps = ctx.times[hours].astype(np.int64)
    return tuple(dt.datetime.fromtimestamp(3600 * int(hour), zone) for hour in stamps)


def _issued(values: FloatArray, hours: slice) -> tuple[float | None, ...]:
    """The forecast's own row."""
    return _known(np.atleast_2d(values)[0, hours].tolist(), 3)


def _known(values: Iterable[float], digits: int) -> tuple[float | None, ...]:
    return tuple(round(value, digits) if math.isfinite(value) else None for value in values)

"""Hours of the members: the hourly forecast with errors, else hours made from the days.

A variable nobody forecasts by the hour stays missing; wind above all is never invented.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from windowcast.core.record import FloatArray, Grade, Record
from windowcast.core.time_axis import grades_of
from windowcast.core.values import Table, Tables
from windowcast.physics.humidity import dewpoint_from_rh_c, relative_humidity_pct
from windowcast.weather.ensemble_errors import (
    ErrorPart,
    dewpoint_sd_c,
    in_day_scores,
    middle_of_days,
    spread_of,
    wind_rmse_m_s,
    wind_with_errors,
)
from windowcast.weather.ensemble_years import PastYears
from windowcast.weather.hourly import daily_to_hourly

LOW_HOUR, HIGH_HOUR = 6, 15  # clock hours at which errors of the low and the high hold in full
NOON = 12


@dataclass(frozen=True)
class Drawn:
    """What the days of the members are, from which their hours follow.

    `daily` has member 0, the forecast as issued, as its first row; `scores` have not.
    """

    issued: Record  # daily forecast, [day]
    daily: Record  # daily members, [1 + member, day]
    said: Record | None  # hourly forecast on the hours of the horizon, [hour]
    scores: FloatArray  # [member, day, ErrorPart]
    past: PastYears
    reach: int
    day_of: npt.NDArray[np.int64]  # day index of each hour
    tables: Tables

    @property
    def values(self) -> Table:
        """``data/ensemble.toml``."""
        return self.tables["ensemble"]


def hourly_members(rng: np.random.Generator, drawn: Drawn, rain_mm: FloatArray) -> Record:
    """All hours of the horizon as one record, ``[1 + member, hour]``.

    Parameters
    ----------
    rain_mm
        Rain by the hour, ``[1 + member, hour]``.
    """
    days = int(drawn.day_of[-1]) + 1
    made = daily_to_hourly(drawn.daily, drawn.daily.times[0].astype(object), days, drawn.tables)
    hours = len(drawn.day_of)
    fallback = np.where(drawn.day_of < drawn.reach, Grade.ESTIMATED, Grade.CLIMATOLOGY)
    course, wind, sky = rng.spawn(3)
    values: dict[str, FloatArray] = {
        "temp_c": _of_their_own_shape(course, made.get("temp_c"), drawn),
        "dewpoint_c": made.get("dewpoint_c"),
    }
    grades = {name: fallback.astype(np.uint8) for name in (*values, "precip_mm", "rh_pct")}
    said = drawn.said
    if said is not None:
        certain = not drawn.scores.any()
        still_open = (said.grade("temp_c") != Grade.OBSERVED) & (not certain)
        for name, value in (
            _temperature(drawn, said, still_open)
            | _wind(wind, drawn, said, still_open)
            | _sky(sky, drawn, said, rain_mm, still_open)
        ).items():
            there = np.isfinite(value)
            base = values.get(name, np.full((1, hours), np.nan))
            values[name] = np.where(there, value, base)
            told = there.all(axis=0)
            grades[name] = np.where(told, _best(said, name), grades.get(name, Grade.MISSING))
    values["dewpoint_c"] = np.minimum(values["dewpoint_c"], values["temp_c"])
    values["rh_pct"] = relative_humidity_pct(values["temp_c"], values["dewpoint_c"])
    values["precip_mm"] = rain_mm
    if said is not None and "precip_mm" in said:
        grades["precip_mm"] = np.where(
            np.isfinite(said.get("precip_mm")), said.grade("precip_mm"), fallback
        )
    shape = (len(rain_mm), hours)
    kept = {k: np.broadcast_to(v, shape) for k, v in values.items() if np.isfinite(v).any()}
    return Record(
        made.place,
        made.times,
        kept,
        {name: grades_of(v, grades[name].astype(np.uint8)) for name, v in kept.items()},
        (*(said.provenance if said is not None else ()), *made.provenance),
        said.flags if said is not None else (),
    )


def _of_their_own_shape(rng: np.random.Generator, temp_c: FloatArray, drawn: Drawn) -> FloatArray:
    """Hours made from days, ``[1 + member, hour]``, with the error that their course has.

    The lowest and the highest of each day stay its bounds; row 0 and a forecast taken as certain
    have none.
    """
    if not drawn.scores.any() or not np.isfinite(temp_c).any():
        return temp_c
    table = drawn.tables["hourly"].table("shape")
    quick = np.zeros((len(temp_c) - 1, temp_c.shape[-1]))
    error = table.number("sd") * in_day_scores(rng, quick, table.number("fade"), day_share=0.0)
    low, high = (drawn.daily.get(name)[1:, drawn.day_of] for name in ("tmin_c", "tmax_c"))
    plain = temp_c[1:]
    moved = np.clip(plain + error, np.minimum(low, plain), np.maximum(high, plain))
    return np.vstack([temp_c[:1], moved])


def _best(said: Record, name: str) -> npt.NDArray[np.uint8]:
    """Grades of a variable; a dew point made from humidity has the humidity's."""
    grade = said.grade(name)
    return np.minimum(grade, said.grade("rh_pct")) if name == "dewpoint_c" else grade


def _between(anchors: FloatArray, at: FloatArray, hours: int) -> FloatArray:
    """Straight lines between anchors ``[member, anchor]`` at hours `at`, ``[member, hour]``."""
    clock = np.arange(hours)
    right = np.clip(np.searchsorted(at, clock), 1, len(at) - 1)
    weight = np.clip((clock - at[right - 1]) / (at[right] - at[right - 1]), 0.0, 1.0)
    return anchors[:, right - 1] * (1 - weight) + anchors[:, right] * weight


def _temperature(
    drawn: Drawn, said: Record, still_open: npt.NDArray[np.bool_]
) -> dict[str, FloatArray]:
    """Temperature and dew point: the day's errors of low and high laid through its hours."""
    hours, days = len(drawn.day_of), drawn.scores.shape[1]
    reach = max(drawn.reach, 1)
    errors = np.zeros((len(drawn.scores) + 1, 2 * days))
    at = np.empty(2 * days, dtype=np.float64)
    for offset, (name, clock_hour) in enumerate((("tmin_c", LOW_HOUR), ("tmax_c", HIGH_HOUR))):
        off = np.nan_to_num(drawn.daily.get(name)[:, :days] - drawn.issued.get(name)[:days])
        off[:, reach:] = off[:, reach - 1 : reach]
        errors[:, offset::2] = off
        at[offset::2] = np.arange(days) * 24 + clock_hour
    temp = said.get("temp_c") + _between(errors, at, hours) * still_open

    dew = said.get("dewpoint_c")
    dew = np.where(
        np.isfinite(dew), dew, dewpoint_from_rh_c(said.get("temp_c"), said.get("rh_pct"))
    )
    lead = middle_of_days(days)
    low = spread_of(ErrorPart.LOW, lead, drawn.past.departure_sd["tmin_c"], drawn.values)
    own = _own_by_day(said.get("dewpoint_sd_k"), drawn.day_of)
    spread = np.where(np.isfinite(own), own, dewpoint_sd_c(lead, low.sd_c, drawn.values))
    noon = np.arange(days, dtype=np.float64) * 24 + NOON
    error = _between(drawn.scores[..., ErrorPart.DEW] * spread, noon, hours) * still_open
    return {"temp_c": temp, "dewpoint_c": dew + _as_issued_first(error)}


def _own_by_day(sd: FloatArray, day_of: npt.NDArray[np.int64]) -> FloatArray:
    """Each day's mean of what the forecast says of its own error by the hour; NaN: nothing."""
    known = np.isfinite(sd)
    days = int(day_of[-1]) + 1
    with np.errstate(invalid="ignore"):
        mean: FloatArray = np.bincount(day_of, np.where(known, sd, 0.0), days) / np.bincount(
            day_of, known, days
        )
    return mean


def _as_issued_first(errors: FloatArray) -> FloatArray:
    """Errors with a first row of zeros for the forecast as issued."""
    return np.vstack([np.zeros(errors.shape[1]), errors])


def _wind(
    rng: np.random.Generator, drawn: Drawn, said: Record, still_open: npt.NDArray[np.bool_]
) -> dict[str, FloatArray]:
    """Wind, gusts in step with it, and its direction."""
    table = drawn.values.table("wind")
    lead = middle_of_days(int(drawn.day_of[-1]) + 1)[drawn.day_of]
    day = drawn.scores[:, drawn.day_of, ErrorPart.WIND]
    quick = table.number("hour_fade"), table.number("day_share")
    issued = said.get("wind_m_s")
    errors = in_day_scores(rng, day, *quick)
    wind = wind_with_errors(issued, errors, lead, drawn.values, said.get("wind_sd_m_s"))
    wind = np.vstack([issued, np.where(still_open, wind, issued)])
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(issued > 0, wind / issued, 1.0)
    noise = rng.standard_normal(day.shape) * still_open
    excess = np.exp(table.number("gust_sd") * _as_issued_first(noise))
    over = np.maximum(said.get("gust_m_s") - issued, 0.0)
    gust = wind + over * np.sqrt(ratio) * excess
    rmse = wind_rmse_m_s(lead, drawn.values) / table.number("rmse_first_day")
    turn = table.number("direction_sd") * rmse
    other = rng.standard_normal(drawn.scores.shape[:2])[:, drawn.day_of]
    swing = in_day_scores(rng, other, *quick)
    direction = (said.get("wind_from_deg") + _as_issued_first(swing * turn * still_open)) % 360
    return {"wind_m_s": wind, "gust_m_s": gust, "wind_from_deg": direction}


def _sky(
    rng: np.random.Generator,
    drawn: Drawn,
    said: Record,
    rain_mm: FloatArray,
    still_open: npt.NDArray[np.bool_],
) -> dict[str, FloatArray]:
    """Cloud about the forecast, pressure as issued, rain or none as 1 or 0 (as issued: chance)."""
    sd = drawn.values.number("cloud.sd") * still_open
    noise = rng.standard_normal(drawn.scores.shape[:2])[:, drawn.day_of]
    cloud = np.clip(said.get("cloud_fraction") + sd * _as_issued_first(noise), 0.0, 1.0)
    rains = np.where(np.isfinite(rain_mm), rain_mm > 0, np.nan)
    chance = np.vstack([said.get("precip_prob"), rains[1:]])
    pressure = np.broadcast_to(said.get("pressure_hpa"), cloud.shape)
    return {"cloud_fraction": cloud, "pressure_hpa": pressure, "precip_prob": chance}

"""Putting weather of several origins on one axis: hours into local days, observed before forecast.

Each value is taken from the first record that has it, so that no day is counted twice and a
forecast never replaces a measurement.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

from windowcast.core.local_days import day_starts, local_dates
from windowcast.core.phrase import Quantity, of_variable, say
from windowcast.core.record import OWN_ERRORS, Flag, FloatArray, Grade, Place, Record
from windowcast.core.time_axis import extended, span_flag
from windowcast.core.values import PACKAGED, Tables
from windowcast.physics.humidity import relative_humidity_pct

# daily variable → (hourly variable, how)
_FROM_HOURS: dict[str, tuple[str, str]] = {
    "tmax_c": ("temp_c", "max"),
    "tmin_c": ("temp_c", "min"),
    "tmean_c": ("temp_c", "mean"),
    "tmax_sd_k": ("temp_sd_k", "mean"),
    "tmin_sd_k": ("temp_sd_k", "mean"),
    "precip_mm": ("precip_mm", "sum"),
    "rh_mean_pct": ("rh_pct", "mean"),
    "wind_mean_m_s": ("wind_m_s", "mean"),
    "soil_5cm_c": ("soil_5cm_c", "mean"),
}


def hourly_to_daily(hourly: Record, tables: Tables = PACKAGED) -> Record:
    """Local days from UTC hours; days have 23, 24 or 25 hours.

    A day's temperatures, humidity and wind need most of its hours
    (`quality.toml`, ``hours_for_a_day``); its rain needs every hour, since a missing hour is not
    a dry one. The grade of a day is the worst of its hours.
    """
    zone = ZoneInfo(hourly.place.timezone)
    dates = local_dates(zone, hourly.times)
    axis = np.arange(dates[0], dates[-1] + np.timedelta64(1, "D"))
    bounds = day_starts(zone, np.append(axis, axis[-1] + np.timedelta64(1, "D")))
    full = np.diff(bounds).astype(np.float64)
    starts = np.searchsorted(hourly.times, bounds[:-1])
    needed = tables["quality"].number("hours_for_a_day") / 24
    values, grades = {}, {}
    hourly = with_relative_humidity(hourly)
    for name, (source, how) in _FROM_HOURS.items():
        if source not in hourly:
            continue
        day, count = _reduced(hourly.get(source), starts, how)
        enough = (count >= (full if how == "sum" else needed * full)) & (full > 0)
        values[name] = np.where(enough, day, np.nan)
        worst = np.maximum.reduceat(
            np.where(hourly.grade(source) == Grade.MISSING, 0, hourly.grade(source)), starts
        )
        any_known = enough.any(axis=tuple(range(enough.ndim - 1)))
        grades[name] = np.where(any_known, worst, Grade.MISSING).astype(np.uint8)
    return Record(hourly.place, axis, values, grades, hourly.provenance, hourly.flags)


def with_relative_humidity(hourly: Record) -> Record:
    """The record with relative humidity from the dew point in hours that have only that."""
    if "dewpoint_c" not in hourly or "temp_c" not in hourly:
        return hourly
    rh = hourly.get("rh_pct")
    made = relative_humidity_pct(hourly.get("temp_c"), hourly.get("dewpoint_c"))
    worst = np.maximum(hourly.grade("temp_c"), hourly.grade("dewpoint_c"))
    own = hourly.grade("rh_pct") != Grade.MISSING
    return hourly.with_variables(
        {"rh_pct": np.where(own, rh, made)},
        {"rh_pct": np.where(own, hourly.grade("rh_pct"), worst)},
    )


def _reduced(hours: FloatArray, starts: npt.NDArray[np.int64], how: str) -> tuple[FloatArray, ...]:
    """Each day's value and how many hours went into it, ``[..., day]``."""
    known = np.isfinite(hours)
    count = np.add.reduceat(known.astype(np.float64), starts, axis=-1)
    if how == "max":
        return np.fmax.reduceat(hours, starts, axis=-1), count
    if how == "min":
        return np.fmin.reduceat(hours, starts, axis=-1), count
    total = np.add.reduceat(np.where(known, hours, 0.0), starts, axis=-1)
    return (total if how == "sum" else total / np.maximum(count, 1.0)), count


def overlaid(records: Sequence[Record], place: Place | None = None) -> Record:
    """One record in which each value comes from the first of `records` that has it.

    What a forecast says of its own error counts only where its temperature was taken.
    """
    first = min(record.times[0] for record in records)
    last = max(record.times[-1] for record in records)
    layers = _own_errors_with_their_own([extended(record, first, last) for record in records])
    values, grades = {}, {}
    for name in dict.fromkeys(name for layer in layers for name in layer.values):
        value, grade = layers[0].get(name), layers[0].grade(name)
        for layer in layers[1:]:
            take = grade == Grade.MISSING
            value = np.where(take, layer.get(name), value)
            grade = np.where(take, layer.grade(name), grade)
        values[name], grades[name] = value, grade
    return Record(
        place or records[0].place,
        layers[0].times,
        values,
        grades,
        tuple(p for record in records for p in record.provenance),
        tuple(f for record in records for f in record.flags),
    )


def _own_errors_with_their_own(layers: Sequence[Record]) -> list[Record]:
    """The layers, each forecast's own error left out where another layer's temperature stands."""
    kept = list(layers)
    for error, name in OWN_ERRORS.items():
        if not any(error in layer for layer in layers):
            continue
        taken = np.zeros(len(layers[0].times), dtype=bool)
        for at, layer in enumerate(layers):
            own = ~taken & (layer.grade(name) != Grade.MISSING)
            if error in layer.values:
                value = np.where(own, layer.get(error), np.nan)
                grade = np.where(own, layer.grade(error), Grade.MISSING).astype(np.uint8)
                kept[at] = kept[at].with_variables({error: value}, {error: grade})
            taken |= own
    return kept


def as_forecast(record: Record, today: np.datetime64) -> Record:
    """The record with every value from `today` on (a date, or an hour UTC) graded no better than
    FORECAST."""
    ahead = record.times >= today.astype(record.times.dtype)
    return replace(
        record,
        grades={
            name: np.where(ahead, np.maximum(grade, Grade.FORECAST), grade).astype(np.uint8)
            for name, grade in record.grades.items()
        },
    )


def seam_flags(
    layers: Sequence[Record], today: np.datetime64, tables: Tables = PACKAGED
) -> tuple[Flag, ...]:
    """Say where two sources disagree over the days both have: a jump hides at their seam.

    Parameters
    ----------
    layers
        Daily records in order of preference.
    today
        The last weeks before it are compared (`quality.toml`, ``seam_days``).
    """
    number = tables["quality"].number
    limit, fewest = number("seam_difference"), number("seam_minimum")
    first = today - np.timedelta64(int(number("seam_days")), "D")
    recent = [extended(layer, first, today) for layer in layers]
    flags = []
    for upper, lower in pairwise(recent):
        for name in ("tmax_c", "tmin_c"):
            apart = lower.get(name) - upper.get(name)
            both = np.isfinite(apart)
            if both.sum() >= fewest:
                mean = float(apart[both].mean())
                if abs(mean) > limit:
                    jump = say("flag.seam", apart=Quantity(mean, "K"), days=int(both.sum()))
                    text = of_variable(name, jump)
                    flags.append(span_flag("seam", name, upper.times[both], "kept", text))
    return tuple(flags)

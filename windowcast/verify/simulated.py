"""Forecasts as they might have been issued in past years, made from what then came.

Odds must not be judged by errors drawn from their own model. So the first two days take the misses
of real bulletins, whole (``data/forecast_misses.csv``, 2021-22); later days are a blend of what
came with what another year's weather did in the same weeks, with a skill that falls as measured on
forecasts of 2014-17 and differs from issue to issue. Rain days are the true ones, in spells
replaced by another year's, with amounts that are off.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from importlib import resources
from statistics import NormalDist

import numpy as np

from windowcast.core.lingering import lingering
from windowcast.core.record import FloatArray, Grade, Record
from windowcast.core.time_axis import grades_of
from windowcast.core.values import load
from windowcast.weather.ensemble_years import TEMPERATURES, normal_course

ARCHIVED_DAYS = 2
SHIFT_DAYS = 15


@cache
def archived_misses_c() -> FloatArray:
    """Observed minus forecast of real bulletins, °C: high 1, low 1, high 2, low 2, month."""
    text = resources.files("windowcast.data").joinpath("forecast_misses.csv").read_text("utf-8")
    rows = csv.DictReader(line for line in text.splitlines() if not line.startswith("#"))
    order = ("high_day1", "low_day1", "high_day2", "low_day2")
    return np.array([[*(float(r[k]) / 1.8 for k in order), float(r["month"])] for r in rows])


@dataclass(frozen=True)
class Truth:
    """A station's record prepared for simulating forecasts."""

    record: Record
    normal: dict[str, FloatArray]  # tmax_c, tmin_c → normal course, [day]

    @classmethod
    def of(cls, record: Record) -> Truth:
        """Prepare a record."""
        return cls(record, {n: normal_course(record, n, record.times) for n in TEMPERATURES})

    def departure(self, name: str) -> FloatArray:
        """Departures from the normal course, ``[day]``."""
        return self.record.get(name) - self.normal[name]


def forecast(
    truth: Truth, issue: int, days: int, rng: np.random.Generator, error_scale: float = 1.0
) -> Record | None:
    """The record up to the day before `issue`, then a simulated forecast of `days` days.

    Parameters
    ----------
    issue
        Index of the first forecast day on the record's axis.
    error_scale
        Factor of the errors of temperature: of the misses on the first days, of the root of the
        variance lost on later ones. Rain keeps its skill.

    Returns
    -------
    Record or None
        None where what came, or the other year drawn, has gaps.
    """
    record = truth.record
    span = slice(issue, issue + days)
    other = _other_year(truth, issue, days, rng)
    if other is None:
        return None
    table = load("ensemble").table("simulated")
    lead = np.arange(1, days + 1)
    hard = np.exp(table.number("issue_sd") * rng.standard_normal())
    lost = np.interp(lead, table.value("lost_days").value, table.value("lost").value)
    lost = np.minimum(lost * hard * error_scale**2, 0.97)
    too_cool = {
        "tmax_c": np.interp(
            lead, table.value("cool_days").value, table.value("high_too_cool").value
        ),
        "tmin_c": np.full(days, table.number("low_too_cool")),
    }
    values = {}
    month = int(record.times[issue].astype("datetime64[M]").astype(int)) % 12 + 1
    misses = archived_misses_c()
    bulletin = misses[rng.choice(np.flatnonzero(misses[:, 4] == month))]
    for part, name in enumerate(TEMPERATURES):
        own, else_ = truth.departure(name)[span], truth.departure(name)[other]
        said = truth.normal[name][span] + (1 - lost) * own + np.sqrt(lost * (1 - lost)) * else_
        said -= too_cool[name]
        near = record.get(name)[span][:ARCHIVED_DAYS] - error_scale * bulletin[[part, part + 2]]
        said[:ARCHIVED_DAYS] = near
        values[name] = said
    values["tmin_c"] = np.minimum(values["tmin_c"], values["tmax_c"])
    skill = np.interp(lead, table.value("rain_days").value, table.value("rain_skill").value) / hard
    keep = _spells(rng, days, table.number("spell")) < np.sqrt(np.minimum(skill, 1.0))
    rain = record.get("precip_mm")
    amount_sd = table.number("amount_sd")
    off = np.exp(amount_sd * rng.standard_normal(days) - amount_sd**2 / 2)
    values["precip_mm"] = np.where(keep, rain[span] * off, rain[other])
    if not all(np.isfinite(v).all() for v in values.values()):
        return None
    joined = {n: np.append(record.get(n)[:issue], v) for n, v in values.items()}
    grades = {
        name: np.append(record.grade(name)[:issue], grades_of(v, Grade.FORECAST))
        for name, v in values.items()
    }
    return Record(record.place, record.times[: issue + days], joined, grades)


def _other_year(truth: Truth, issue: int, days: int, rng: np.random.Generator) -> slice | None:
    """The same weeks of another year, at random."""
    times = truth.record.times
    years = np.arange(-40, 41)
    starts = issue + np.round(years[years != 0] * 365.25).astype(int)
    starts = starts[(starts >= SHIFT_DAYS) & (starts + days + SHIFT_DAYS <= len(times))]
    if not len(starts):
        return None
    start = int(rng.choice(starts)) + int(rng.integers(-SHIFT_DAYS, SHIFT_DAYS + 1))
    return slice(start, start + days)


def _spells(rng: np.random.Generator, days: int, linger: float) -> FloatArray:
    """Uniforms that hang together from day to day."""
    spells = lingering(rng.standard_normal(days), linger)
    return np.array([NormalDist().cdf(float(z)) for z in spells])

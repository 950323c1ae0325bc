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
from windowcast.weather.ensemble_years import TEMPERATURES, normal_course

ARCHIVED_DAYS = 2
SHIFT_DAYS = 15
# share of the variance lost by day: measured on official forecasts of the high, 2014-17, September
# to April, 48 states, days 1 to 7; days 8 to 10 carried on by the formula of data/ensemble.toml
LOST_AT = (
    (1, 2, 3, 4, 5, 6, 7, 10),
    (0.119, 0.151, 0.189, 0.236, 0.302, 0.394, 0.504, 0.78),
)
# Brier skill of rain or none: between 10 airports of 2025-26 (0.45 on day 1, 0.18 on day 7) and
# stations of 2014-17 (0.31 to 0.38 on day 1); beyond day 7 to nothing, our choice
RAIN_SKILL_AT = (
    (1, 2, 3, 4, 5, 6, 7, 10, 12),
    (0.40, 0.40, 0.38, 0.34, 0.28, 0.22, 0.16, 0.03, 0.01),
)
# by how much days are said too cool, °C: highs of 2014-17, September to April, 23 cities of the US
# south-east; lows of 2021-22, carried on from day 2
TOO_COOL_AT = {
    "tmax_c": ((1, 2, 3, 4, 7), (0.48, 0.56, 0.69, 0.84, 0.84)),
    "tmin_c": ((1,), (0.28,)),
}
ISSUE_SD = 0.25  # spread of the logarithm of an issue's lost share: some weeks are harder
AMOUNT_SD = 0.6  # spread of the logarithm of a forecast amount about the true one: our choice
SPELL = 0.6  # day-to-day correlation of which rain days are replaced


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
    lead = np.arange(1, days + 1)
    hard = np.exp(ISSUE_SD * rng.standard_normal())
    lost = np.minimum(np.interp(lead, LOST_AT[0], LOST_AT[1]) * hard * error_scale**2, 0.97)
    values = {}
    month = int(record.times[issue].astype("datetime64[M]").astype(int)) % 12 + 1
    misses = archived_misses_c()
    bulletin = misses[rng.choice(np.flatnonzero(misses[:, 4] == month))]
    for part, name in enumerate(TEMPERATURES):
        own, else_ = truth.departure(name)[span], truth.departure(name)[other]
        said = truth.normal[name][span] + (1 - lost) * own + np.sqrt(lost * (1 - lost)) * else_
        said -= np.interp(lead, *TOO_COOL_AT[name])
        near = record.get(name)[span][:ARCHIVED_DAYS] - error_scale * bulletin[[part, part + 2]]
        said[:ARCHIVED_DAYS] = near
        values[name] = said
    values["tmin_c"] = np.minimum(values["tmin_c"], values["tmax_c"])
    skill = np.interp(lead, RAIN_SKILL_AT[0], RAIN_SKILL_AT[1]) / hard
    keep = _spells(rng, days) < np.sqrt(np.minimum(skill, 1.0))
    rain = record.get("precip_mm")
    off = np.exp(AMOUNT_SD * rng.standard_normal(days) - AMOUNT_SD**2 / 2)
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


def _spells(rng: np.random.Generator, days: int) -> FloatArray:
    """Uniforms that hang together from day to day."""
    spells = lingering(rng.standard_normal(days), SPELL)
    return np.array([NormalDist().cdf(float(z)) for z in spells])

"""Quality checks: a registry of small functions, each of which marks what it finds wrong.

To add a check: write a function from a record and the thresholds to findings, decorate it with
`check`, put its thresholds in ``data/quality.toml`` and add a test. Checks run in the order of this
file, each on what the ones before left.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from windowcast.core.phrase import Phrase, of_variable, say
from windowcast.core.record import (
    DAILY_VARIABLES,
    HOURLY_VARIABLES,
    DateArray,
    FloatArray,
    Grade,
    Record,
)
from windowcast.core.time_axis import around_day_of_year, by_day_of_year, span_flag
from windowcast.core.values import PACKAGED, Tables

Mask = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Finding:
    """What a check found in one variable of a record, ``mask [time]``."""

    variable: str
    mask: Mask
    text: Phrase
    remove: bool = True


Limit = Callable[[str], float]  # a threshold of ``data/quality.toml`` by its key
Check = Callable[[Record, Limit], Iterator[Finding]]
CHECKS: dict[str, Check] = {}


def check(name: str) -> Callable[[Check], Check]:
    """Register a check under the id its flags carry."""

    def register(function: Check) -> Check:
        CHECKS[name] = function
        return function

    return register


def checked(
    record: Record, names: Sequence[str] | None = None, tables: Tables = PACKAGED
) -> Record:
    """The record after the checks: faulty values missing, a flag for each finding.

    Parameters
    ----------
    record
        Daily or hourly, values ``[time]``.
    names
        Ids of the checks to run; all by default.
    tables
        The science values to go by: ``quality``.
    """
    limit = tables["quality"].number
    for name in CHECKS if names is None else names:
        for finding in CHECKS[name](record, limit):
            record = _applied(record, name, finding)
    return record


def _applied(record: Record, name: str, finding: Finding) -> Record:
    if not finding.mask.any():
        return record
    action = "removed" if finding.remove else "kept"
    flag = span_flag(name, finding.variable, record.times[finding.mask], action, finding.text)
    if not finding.remove:
        return replace(record, flags=(*record.flags, flag))
    variable = finding.variable
    value = np.where(finding.mask, np.nan, record.values[variable])
    grade = np.where(finding.mask, Grade.MISSING, record.grades[variable]).astype(np.uint8)
    return record.with_variables({variable: value}, {variable: grade}, flags=[flag])


def _temperatures(record: Record) -> Iterator[str]:
    return (name for name in record.values if name.endswith("_c") and name in record)


# ------------------------------------------------------------------------------------ checks


@check("range")
def outside_range(record: Record, limit: Limit) -> Iterator[Finding]:
    """Values no weather on Earth has: below or above the variable's limits."""
    limits = DAILY_VARIABLES if record.daily else HOURLY_VARIABLES
    for name, values in record.values.items():
        wrong = (values < limits[name].low) | (values > limits[name].high)
        yield Finding(name, wrong, of_variable(name, say("flag.impossible")))


@check("tmin-above-tmax")
def extremes_crossed(record: Record, limit: Limit) -> Iterator[Finding]:
    """Days whose lowest temperature lies above the highest: neither can be trusted."""
    wrong = record.get("tmin_c") > record.get("tmax_c")
    for name in ("tmin_c", "tmax_c"):
        if name in record.values:
            yield Finding(name, wrong, say("flag.crossed"))


@check("mean-outside-extremes")
def mean_outside(record: Record, limit: Limit) -> Iterator[Finding]:
    """24-hour means outside the day's extremes."""
    if "tmean_c" in record.values:
        mean, slack = record.get("tmean_c"), limit("mean_slack")
        wrong = (mean > record.get("tmax_c") + slack) | (mean < record.get("tmin_c") - slack)
        yield Finding("tmean_c", wrong, say("flag.mean_outside"))


@check("dewpoint-above-temperature")
def dewpoint_too_high(record: Record, limit: Limit) -> Iterator[Finding]:
    """Dew points above the air temperature."""
    if "dewpoint_c" in record.values:
        wrong = record.get("dewpoint_c") > record.get("temp_c") + limit("dewpoint_slack")
        yield Finding("dewpoint_c", wrong, say("flag.dewpoint"))


@check("gust-below-wind")
def gust_too_low(record: Record, limit: Limit) -> Iterator[Finding]:
    """Gusts weaker than the mean wind."""
    if "gust_m_s" in record.values:
        wrong = record.get("gust_m_s") < record.get("wind_m_s")
        yield Finding("gust_m_s", wrong, say("flag.gust"))


@check("stuck")
def stuck_sensor(record: Record, limit: Limit) -> Iterator[Finding]:
    """The same value for longer than weather stays the same."""
    length = int(limit("streak_days" if record.daily else "streak_hours"))
    for name in _temperatures(record):
        values = record.values[name]
        wrong = streaks(values, length)
        if name.startswith("soil"):
            wrong &= np.abs(values) > limit("freezing_plateau")
        yield Finding(name, wrong, of_variable(name, say("flag.stuck", steps=length)))


@check("spike")
def spikes(record: Record, limit: Limit) -> Iterator[Finding]:
    """Single values far above or below both neighbours."""
    size = limit("spike_day" if record.daily else "spike_hour")
    for name in _temperatures(record):
        step = np.diff(record.values[name])
        wrong = np.zeros(len(record.times), dtype=bool)
        wrong[1:-1] = (np.abs(step[:-1]) >= size) & (np.abs(step[1:]) >= size)
        wrong[1:-1] &= step[:-1] * step[1:] < 0
        yield Finding(name, wrong, of_variable(name, say("flag.spike")))


@check("outlier")
def climatological_outliers(record: Record, limit: Limit) -> Iterator[Finding]:
    """Daily temperatures many deviations away from the same time of year in all years."""
    if not record.daily:
        return
    for name in ("tmax_c", "tmin_c"):
        if name in record:
            wrong = _outliers(record.values[name], record.times, limit)
            yield Finding(name, wrong, of_variable(name, say("flag.outlier")))


@check("unlike-season")
def unlike_season(record: Record, limit: Limit) -> Iterator[Finding]:
    """Runs of days far from the same time of year in all other years: another unit, most likely."""
    if not record.daily or "tmax_c" not in record or "tmin_c" not in record:
        return
    middle = (record.values["tmax_c"] + record.values["tmin_c"]) / 2
    days = int(limit("season_days"))
    far = np.abs(unlike_season_k(record.times, middle, limit)) > limit("season_off")
    # a run counts for the day in its middle; all of its days are in doubt
    wrong = np.convolve(np.pad(far, days // 2), np.ones(2 * (days // 2) + 1), "valid") > 0
    for name in ("tmax_c", "tmin_c", "tmean_c"):
        if name in record.values:
            known = wrong & np.isfinite(record.values[name])
            yield Finding(name, known, of_variable(name, say("flag.unlike_season")))


@check("dead-gauge")
def dead_gauge(record: Record, limit: Limit) -> Iterator[Finding]:
    """A gauge that reports nothing but zero for a year: its zeros are not dry days."""
    if record.daily and "precip_mm" in record:
        rain = record.values["precip_mm"]
        dry = np.where(rain == 0, 0.0, np.nan)
        wrong = streaks(dry, int(limit("dead_gauge_days")))
        yield Finding("precip_mm", wrong, of_variable("precip_mm", say("flag.dead_gauge")))


@check("blank-rain")
def blank_rain(record: Record, limit: Limit) -> Iterator[Finding]:
    """Rain columns without a single zero: blanks may mean dry, or missing. Nobody can tell."""
    if "precip_mm" in record:
        rain = record.values["precip_mm"]
        blank = np.isnan(rain)
        suspicious = not (rain == 0).any() and blank.mean() > limit("blank_rain_share")
        text = of_variable("precip_mm", say("flag.blank_rain"))
        yield Finding("precip_mm", blank & suspicious, text, remove=False)


# ----------------------------------------------------------------------------------- helpers


def streaks(values: FloatArray, length: int) -> Mask:
    """True on runs of `length` or more equal values, ``[time]``; missing values end a run."""
    changed = np.ones(len(values), dtype=bool)
    changed[1:] = ~(values[1:] == values[:-1])
    starts = np.flatnonzero(changed)
    runs = np.diff(np.append(starts, len(values)))
    return np.repeat(runs >= length, runs) & np.isfinite(values)


def unlike_season_k(times: DateArray, middle_c: FloatArray, limit: Limit) -> FloatArray:
    """How far a run of days lies from the same days of all other years, ``[day]`` [K].

    Parameters
    ----------
    middle_c
        Middle of each day's high and low, ``[day]``. A run stands at the day in its middle.
    limit
        Thresholds of ``quality.toml``: a run has `season_days`, of which half must be known; the
        other years need `outlier_minimum` values around the date.

    Returns
    -------
    array
        NaN where too little is known.
    """
    table, row, column = by_day_of_year(times, middle_c)
    half = int(limit("season_days")) // 2
    known = np.isfinite(table)
    sums = np.stack([known.astype(np.float64), np.where(known, table, 0.0)])  # [2, year, 366]
    wide = around_day_of_year(sums, int(limit("outlier_window")) // 2)
    others = wide.sum(axis=1, keepdims=True) - wide
    padded = np.pad(
        np.stack([np.isfinite(middle_c), np.nan_to_num(middle_c)]), ((0, 0), (half,) * 2)
    )
    total = np.cumsum(np.pad(padded, ((0, 0), (1, 0))), axis=1)
    count, run = total[:, 2 * half + 1 :] - total[:, : -2 * half - 1]
    fewest, theirs = others[0][row, column], others[1][row, column]
    enough = (count > half) & (fewest >= limit("outlier_minimum"))
    off = run / np.maximum(count, 1.0) - theirs / np.maximum(fewest, 1.0)
    return np.where(enough, off, np.nan)


def _outliers(values: FloatArray, times: DateArray, limit: Limit) -> Mask:
    """Too far from the mean of a window of days of the year, over all years."""
    table, _, column = by_day_of_year(times, values)
    known = np.isfinite(table)
    filled = np.where(known, table, 0.0)
    by_day = np.stack([known.sum(axis=0), filled.sum(axis=0), (filled**2).sum(axis=0)])
    count, total, squares = around_day_of_year(by_day, int(limit("outlier_window")) // 2)
    mean = total / np.maximum(count, 1.0)
    deviation = np.sqrt(np.maximum(squares / np.maximum(count, 1.0) - mean**2, 0.0))
    deviation = np.maximum(deviation, limit("deviation_floor"))
    deviation = np.where(count >= limit("outlier_minimum"), deviation, np.inf)
    score = (values - mean[column]) / deviation[column]
    alone: Mask = np.abs(score) > limit("outlier_deviations")
    far = np.flatnonzero(alone)
    beside = np.nan_to_num(np.pad(score, 1)[far[:, None] + [0, 2]])
    support = (beside * np.sign(score[far])[:, None]).max(axis=1)
    alone[far] = support < limit("outlier_support")
    return alone

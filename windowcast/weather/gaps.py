"""Filling short gaps by stated rules, and saying which gaps stay open.

Rules (lengths in ``data/quality.toml``):

- temperature, humidity, radiation, dew point: a straight line between the values on either side,
  up to 3 days in a daily and 3 hours in an hourly record;
- rain, wind and gusts are never filled: no limit takes a guess for a fact. What the soil drinks on
  days without known rain is a variable of its own (`windowcast.weather.rain_filled`);
- longer gaps, and steps before the first or after the last value, stay missing.

Every filled value is graded ESTIMATED.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from windowcast.core.phrase import Phrase, of_variable, say
from windowcast.core.record import OWN_ERRORS, Flag, FloatArray, Grade, Record
from windowcast.core.values import PACKAGED, Table, Tables
from windowcast.weather.rain_filled import with_rain_filled

_LINEAR = {
    "tmax_c", "tmin_c", "tmean_c", "rh_mean_pct", "solar_mj_m2", "soil_5cm_c", "soil_10cm_c",
    "temp_c", "dewpoint_c", "rh_pct", "pressure_hpa",
}  # fmt: skip
RECENT_DAYS = 400  # gaps in this last part of a record are flagged one by one


def filled(record: Record, tables: Tables = PACKAGED) -> Record:
    """The record with short gaps filled and a flag for what was filled and what was not.

    Parameters
    ----------
    record
        Daily or hourly, values ``[time]``, after the checks.
    tables
        The science values to go by: ``quality`` and ``usual_rain``.

    Returns
    -------
    Record
        Known values are never changed. One flag for each variable with filled values; one for
        each recent gap that stays, one for all older ones together.
    """
    rules = tables["quality"]
    values, grades = {}, {}
    flags: list[Flag] = []
    for name, series in record.values.items():
        spans = gap_spans(series)
        if not len(spans) or name in OWN_ERRORS:  # a forecast's own error has no past to have gaps
            continue
        longest = _longest(name, record.daily, rules)
        short = spans[spans[:, 1] - spans[:, 0] <= longest]
        steps = _steps(short)
        if len(steps):
            known = np.isfinite(series)
            estimate = np.interp(steps, np.flatnonzero(known), series[known])
            values[name], grades[name] = series.copy(), record.grades[name].copy()
            values[name][steps] = estimate
            grades[name][steps] = Grade.ESTIMATED
            flags.append(_filled_flag(record, name, steps))
        flags.extend(_open_flags(record, name, gap_spans(values.get(name, series)), rules))
    done = record.with_variables(values, grades, flags=flags)
    return with_rain_filled(done, tables) if record.daily else done


def gap_spans(series: FloatArray) -> npt.NDArray[np.int64]:
    """Start and end (one past the last) of each run of NaN between known values, ``[gap, 2]``."""
    known = np.flatnonzero(np.isfinite(series))
    before = np.flatnonzero(np.diff(known) > 1)
    spans: npt.NDArray[np.int64] = np.stack([known[before] + 1, known[before + 1]], axis=-1)
    return spans.reshape(-1, 2)


def _longest(name: str, daily: bool, rules: Table) -> int:
    """How many steps of a variable may be filled."""
    if name not in _LINEAR:
        return 0
    return int(rules.number("gap_days" if daily else "gap_hours"))


def _steps(spans: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    """All steps of the spans, in order."""
    length = spans[:, 1] - spans[:, 0]
    before = np.cumsum(length) - length
    return np.asarray(np.arange(length.sum()) + np.repeat(spans[:, 0] - before, length))


def _said_steps(record: Record, count: int) -> Phrase:
    return say(f"flag_steps.{'days' if record.daily else 'hours'}", count=count)


def _filled_flag(record: Record, name: str, steps: npt.NDArray[np.int64]) -> Flag:
    rule = say("flag.by_line")
    first, last = str(record.times[steps[0]]), str(record.times[steps[-1]])
    text = of_variable(name, say("flag.filled", steps=_said_steps(record, len(steps)), rule=rule))
    return Flag("gap-filled", name, first, last, len(steps), "filled", text)


def _open_flags(
    record: Record, name: str, spans: npt.NDArray[np.int64], rules: Table
) -> list[Flag]:
    recent = len(record.times) - RECENT_DAYS * (1 if record.daily else 24)
    older, newer = spans[spans[:, 1] <= recent], spans[spans[:, 1] > recent]
    groups = [span.reshape(1, 2) for span in newer]
    if len(older):
        groups.insert(0, older)
    return [_open_flag(record, name, group, rules) for group in groups]


def _open_flag(record: Record, name: str, spans: npt.NDArray[np.int64], rules: Table) -> Flag:
    """One flag for the gaps that stay open in a group of spans."""
    missing = int((spans[:, 1] - spans[:, 0]).sum())
    first, last = str(record.times[spans[0, 0]]), str(record.times[spans[-1, 1] - 1])
    gaps = say("flag.gaps", count=len(spans))
    longest = _longest(name, record.daily, rules)
    why = _why_open(longest)
    text = of_variable(
        name, say("flag.gap", gaps=gaps, steps=_said_steps(record, missing), why=why)
    )
    return Flag("gap", name, first, last, missing, "refused", text)


def _why_open(longest: int) -> Phrase:
    """Why a gap was not filled, where so many steps at most may be."""
    if longest == 0:
        return say("flag_open.never")
    return say("flag_open.long")

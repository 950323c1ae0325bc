"""Days of a coarse grid where nothing better is known, each marked as such.

Rain goes where the usual rain would go (``rain_filled_mm``): no limit takes a grid's rain for a
fact. Humidity has a variable of its own for the soil, so that no hour's dew is told by it. Sun and
humidity are the mean of what the grid says and what the range of the day's temperature tells: both
err by as much, and not alike (``benchmarks/cost_of_coarse_grid.py``).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from windowcast.core.phrase import of_variable, say
from windowcast.core.record import Flag, FloatArray, Grade, Record
from windowcast.core.source_flags import COARSE_GRID
from windowcast.core.time_axis import extended, span_flag
from windowcast.core.values import PACKAGED, Tables
from windowcast.physics.soil_error import has_humid_rain
from windowcast.physics.soil_forcing import (
    estimate_solar_mj_m2,
    estimate_vapour_kpa,
    saturation_kpa,
)
from windowcast.physics.sun import day_of_year, extraterrestrial_radiation_mj_m2
from windowcast.weather.join import overlaid
from windowcast.weather.rain_filled import CHECK, FILLED, with_rain_filled

COARSE = "coarse-grid"  # the check of all but rain
HUMIDITY = "rh_filled_pct"
YEAR_DAYS = 365.25
# variable of the grid → where the record holds it
_FILLS = {
    "precip_mm": FILLED,
    "rh_mean_pct": HUMIDITY,
    "solar_mj_m2": "solar_mj_m2",
    "wind_mean_m_s": "wind_mean_m_s",
}


def of_grid(record: Record) -> bool:
    """Whether a record is of the coarse grid."""
    return any(origin.source == COARSE_GRID for origin in record.provenance)


def with_coarse_grid(
    record: Record, grids: Sequence[Record], today: np.datetime64, tables: Tables = PACKAGED
) -> Record:
    """The record with days of a coarse grid before `today` where it has nothing itself.

    Parameters
    ----------
    record
        Daily, values ``[time]``, before gaps are filled.
    grids
        Daily records of the grid; none changes nothing.
    tables
        The science values to go by: ``sources``, ``soil`` and ``usual_rain``.

    Returns
    -------
    Record
        Known values are never changed. One flag for each variable of which days were taken.
    """
    if not grids:
        return record
    grid = extended(overlaid(grids), record.times[0], record.times[-1])
    past = record.times < today
    values, grades, flags, used = {}, {}, [], set()
    said = _said(record, grid)
    for name, target in _FILLS.items():
        own = record.get(name)
        take = past & np.isnan(own) & np.isfinite(said[name])
        if not take.any():
            continue
        values[target] = np.where(take, said[name], own)
        grade = np.where(take, Grade.ESTIMATED, record.grade(name))
        grades[target] = grade.astype(np.uint8)
        flags.append(_flag(record, name, take, said["precip_mm"], tables))
        used.add(name)
    origins = tuple(
        replace(origin, variables=tuple(name for name in origin.variables if name in used))
        for origin in grid.provenance
        if used & set(origin.variables)
    )
    filled = record.with_variables(values, grades, flags=flags)
    return replace(filled, provenance=(*record.provenance, *origins))


def without_grid(record: Record, tables: Tables = PACKAGED) -> Record:
    """The record as it would drive the soil without the coarse grid; itself where it has none."""
    if not {COARSE, f"{CHECK}grid"} & {flag.check for flag in record.flags}:
        return record
    values = {name: v for name, v in record.values.items() if name not in (FILLED, HUMIDITY)}
    if "solar_mj_m2" in values:
        made = record.grade("solar_mj_m2") == Grade.ESTIMATED
        values["solar_mj_m2"] = np.where(made, np.nan, values["solar_mj_m2"])
    grades = {name: grade for name, grade in record.grades.items() if name in values}
    return with_rain_filled(replace(record, values=values, grades=grades, flags=()), tables)


def _said(record: Record, grid: Record) -> dict[str, FloatArray]:
    """What stands in for each variable, ``[time]``; NaN where the grid says nothing."""
    tmax, tmin = record.get("tmax_c"), record.get("tmin_c")
    rain = record.get("precip_mm")
    wet = np.nan_to_num(np.where(np.isnan(rain), grid.get("precip_mm"), rain))
    outside = extraterrestrial_radiation_mj_m2(record.place.latitude_deg, day_of_year(record.times))
    sun = estimate_solar_mj_m2(tmax, tmin, wet, outside)
    vapour = estimate_vapour_kpa(tmax, tmin, wet)
    humidity = np.clip(100 * vapour / saturation_kpa((tmax + tmin) / 2), 0, 100)
    return {
        "precip_mm": grid.get("precip_mm"),
        "rh_mean_pct": _mean(grid.get("rh_mean_pct"), humidity),
        "solar_mj_m2": _mean(grid.get("solar_mj_m2"), sun),
        "wind_mean_m_s": grid.get("wind_mean_m_s"),
    }


def _mean(grid: FloatArray, estimate: FloatArray) -> FloatArray:
    """The mean of both; the grid's alone where there is no estimate, NaN where there is no grid."""
    return np.where(np.isnan(estimate), grid, (grid + estimate) / 2)


def _flag(
    record: Record,
    name: str,
    take: npt.NDArray[np.bool_],
    grid_rain_mm: FloatArray,
    tables: Tables,
) -> Flag:
    """How many days were taken, and what that leaves open; rain tells its cost by itself."""
    steps = say("flag_steps.days", count=int(take.sum()))
    if name == "wind_mean_m_s":
        text = say("flag.coarse_wind", steps=steps)
    else:
        rain = record.get("precip_mm")
        mean = np.nanmean(np.append(np.where(np.isnan(rain), grid_rain_mm, rain), 0.0))
        climate = "humid" if has_humid_rain(float(mean) * YEAR_DAYS, tables["soil"]) else "dry"
        if name == "precip_mm":
            days = tables["usual_rain"].number(f"cost.grid.{climate}.dates")
        else:
            days = tables["sources"].number(f"coarse_grid.dates.{climate}")
        text = say("flag.coarse_grid", steps=steps, days=round(days))
    check = f"{CHECK}grid" if name == "precip_mm" else COARSE
    return span_flag(check, name, record.times[take], "filled", of_variable(name, text))

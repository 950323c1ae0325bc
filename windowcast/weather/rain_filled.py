"""The record with rain as is usual where it is unknown, beside what is known of it.

``precip_mm`` is left as it is: what was not measured is never taken for a fact by a limit. The new
variable ``rain_filled_mm`` drives the soil and what germinates in it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from windowcast.core.phrase import of_variable, say
from windowcast.core.record import FloatArray, Grade, Record
from windowcast.core.time_axis import span_flag
from windowcast.core.values import PACKAGED, Table, Tables
from windowcast.physics.usual_rain import RainClimate, filled_rain, month_of, own_climate
from windowcast.weather.rain_climate import nearby

FILLED = "rain_filled_mm"
CHECK = "usual-rain-"  # a flag's check: this and where the usual rain comes from


def with_rain_filled(record: Record, tables: Tables = PACKAGED) -> Record:
    """The record with ``rain_filled_mm`` where some rain is unknown.

    Parameters
    ----------
    record
        Daily, values ``[time]``. Its own years tell what is usual, else the stations around, else
        its temperature range (`windowcast.physics.usual_rain`).
    tables
        The science values to go by: ``usual_rain``.
    """
    rain = record.get("precip_mm")
    told = np.where(
        np.isfinite(rain), rain, record.get(FILLED)
    )  # a coarse grid's, where it has any
    unknown = ~np.isfinite(told)
    if not unknown.any():
        return record
    values, place = tables["usual_rain"], record.place
    climate = nearby(place.latitude_deg, place.longitude_deg, values=values)
    extremes = record.get("tmax_c"), record.get("tmin_c")
    made = filled_rain(record.times, *extremes, told, climate=climate, values=values)
    known = np.minimum(record.grade("precip_mm"), record.grade(FILLED))
    grade = np.where(unknown, Grade.CLIMATOLOGY, known).astype(np.uint8)
    origin = _origin(record, told, climate, values)
    text = of_variable("precip_mm", say("flag.usual_rain", origin=say(f"rain_origin.{origin}")))
    flag = span_flag(CHECK + origin, "precip_mm", record.times[unknown], "filled", text)
    return replace(
        record,
        values={**record.values, FILLED: made},
        grades={**record.grades, FILLED: grade},
        flags=(*record.flags, flag),
    )


def _origin(record: Record, rain: FloatArray, climate: RainClimate | None, values: Table) -> str:
    """Where the usual rain of the months with unknown days comes from; of several the poorest."""
    own = own_climate(record.times, rain, values)
    months = np.unique(month_of(record.times[~np.isfinite(rain)]))
    if np.isfinite(own.mean_mm[months]).all():
        return "own_years"
    return "range" if climate is None else "stations"

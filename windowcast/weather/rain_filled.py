"""The record with rain as is usual where it is unknown, beside what is known of it.

``precip_mm`` is left as it is: what was not measured is never taken for a fact by a limit. The new
variable ``rain_filled_mm`` drives the soil and what germinates in it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from windowcast.core.record import Grade, Record
from windowcast.core.values import PACKAGED, Tables
from windowcast.physics.usual_rain import filled_rain
from windowcast.weather.rain_climate import nearby

FILLED = "rain_filled_mm"


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
    unknown = ~np.isfinite(rain)
    if not unknown.any():
        return record
    values, place = tables["usual_rain"], record.place
    climate = nearby(place.latitude_deg, place.longitude_deg, values=values)
    extremes = record.get("tmax_c"), record.get("tmin_c")
    made = filled_rain(record.times, *extremes, rain, climate=climate, values=values)
    grade = np.where(unknown, Grade.CLIMATOLOGY, record.grade("precip_mm")).astype(np.uint8)
    return replace(
        record,
        values={**record.values, FILLED: made},
        grades={**record.grades, FILLED: grade},
    )

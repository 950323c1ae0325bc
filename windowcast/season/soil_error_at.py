"""How far the soil model may be off at the place of a record: the one source of that error.

Both the futures' soil and the turf's possible worlds go by it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from windowcast.core.record import Record
from windowcast.core.values import Table
from windowcast.physics.soil_error import SoilError, mild_and_humid, soil_error
from windowcast.season.model import Substitute
from windowcast.season.unknown_rain import rain_or_usual

YEAR_DAYS = 365.25


def soil_error_at(
    record: Record, readings: int, values: Table, substitutes: Sequence[Substitute] = ()
) -> SoilError:
    """How far the soil model may be off at the place of a record, at its end.

    Parameters
    ----------
    record
        Daily values up to yesterday, ``[time]``.
    readings
        Probe readings that corrected the model.
    values
        As in ``data/soil.toml``.
    substitutes
        What stands in for unknown inputs up to the end of the record; the slow part of the error
        carries what they cost.
    """
    return soil_error(
        readings,
        humid=_humid(record, values),
        unknown_rain_sd_c=math.hypot(*(found.soil_sd_c for found in substitutes)),
        distance_km=_distance_km(record),
        values=values,
    )


def _distance_km(record: Record) -> float:
    """How far away the air temperature was measured; 0 where that is not known.

    Of several sources the nearest counts: it has the most weight.
    """
    away = [
        p.distance_km
        for p in record.provenance
        if p.distance_km is not None and (not p.variables or "tmax_c" in p.variables)
    ]
    return min(away, default=0.0)


def _humid(record: Record, values: Table) -> bool | None:
    """Whether the climate is mild and humid; None where the record does not tell."""
    rain, air = rain_or_usual(record), (record.get("tmax_c") + record.get("tmin_c")) / 2.0
    month = record.times.astype("datetime64[M]").astype(np.int64) % 12
    days = np.bincount(month[np.isfinite(air)], minlength=12)
    if not days.all() or not np.isfinite(rain).any():
        return None
    known = np.isfinite(air)
    means = np.bincount(month[known], air[known], minlength=12) / days
    return mild_and_humid(float(np.nanmean(rain)) * YEAR_DAYS, float(means.min()), values)

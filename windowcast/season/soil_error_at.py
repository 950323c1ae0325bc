"""How far the soil model may be off at the place of a record: the one source of that error.

Both the futures' soil and the turf's possible worlds go by it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from windowcast.core.record import Place, Provenance, Record
from windowcast.core.values import Table
from windowcast.physics.soil_error import SoilError, mild_and_humid, soil_error
from windowcast.season.model import Substitute
from windowcast.season.unknown_rain import rain_or_usual

YEAR_DAYS = 365.25
TEMPERATURES = frozenset({"tmax_c", "temp_c"})


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
    sources = _measured(record)
    return soil_error(
        readings,
        humid=_humid(record, values),
        unknown_rain_sd_c=math.hypot(*(found.soil_sd_c for found in substitutes)),
        distance_km=_distance_km(sources),
        known_height=all(
            _on_site(p.distance_km, values) or _knows_height(p, record.place) for p in sources
        ),
        values=values,
    )


def _measured(record: Record) -> list[Provenance]:
    """Where the air temperature up to the end of a record was measured, as far as it says."""
    end = str(record.times[-1])
    return [
        p
        for p in record.provenance
        if p.first[:10] <= end and (not p.variables or not TEMPERATURES.isdisjoint(p.variables))
    ]


def _distance_km(sources: Sequence[Provenance]) -> float | None:
    """How far away that was; None where one does not tell.

    Of several sources the nearest counts: it has the most weight. A record that names no source is
    of its own place.
    """
    away = [p.distance_km for p in sources]
    known = [one for one in away if one is not None]
    return min(known, default=0.0) if len(known) == len(away) else None


def _on_site(distance_km: float | None, values: Table) -> bool:
    return distance_km is not None and distance_km <= values.number("error.on_site")


def _knows_height(source: Provenance, place: Place) -> bool:
    return source.elevation_m is not None and place.elevation_m is not None


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

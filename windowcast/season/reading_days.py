"""Probe readings of any hour and depth as daily means at 5 cm, to be held against what was said."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from windowcast.core.record import FloatArray, Record
from windowcast.core.site import Site
from windowcast.core.values import PACKAGED, Tables
from windowcast.physics.soil import simulate
from windowcast.physics.soil_site import NEAR_SURFACE_M, ProbeReading
from windowcast.season.soil_days import soil_forcing, soil_site


def readings_at_5cm_c(
    record: Record, site: Site, readings: Sequence[ProbeReading], tables: Tables = PACKAGED
) -> dict[np.datetime64, float]:
    """Probe readings as daily means at 5 cm, °C, by date; several of one date in the mean.

    From the depth and hour of the reading to the day at 5 cm goes the model's own difference
    between the two, which its error at the place hardly touches.
    """
    if not readings:
        return {}
    daily, hourly = _near_surface_c(record, site, readings, tables)
    found: dict[np.datetime64, list[float]] = {}
    for reading in readings:
        at = int((reading.date - record.times[0]).astype(np.int64))
        if 0 <= at < len(record.times):
            there = daily[at]
            if hourly is not None and reading.hour is not None:
                there = hourly[at, int(reading.hour) % 24]
            off = daily[at, 0] - np.interp(reading.depth_m, NEAR_SURFACE_M, there)
            if np.isfinite(off):
                found.setdefault(reading.date, []).append(reading.temp_c + float(off))
    return {date: sum(some) / len(some) for date, some in found.items()}


def _near_surface_c(
    record: Record, site: Site, readings: Sequence[ProbeReading], tables: Tables
) -> tuple[FloatArray, FloatArray | None]:
    """The uncorrected model's days, ``[time, 2]``; its hours where a reading tells its own."""
    forcing, soil = soil_forcing(record), soil_site(site, tables=tables)
    plain = simulate(forcing, soil, depths_m=NEAR_SURFACE_M)
    if all(r.hour is None for r in readings):
        return plain.temp_c, None
    from windowcast.physics.soil_hourly import hourly_top_c

    by_depth = [hourly_top_c(forcing, soil, plain, depth_m=z) for z in NEAR_SURFACE_M]
    return plain.temp_c, np.stack(by_depth, axis=-1)

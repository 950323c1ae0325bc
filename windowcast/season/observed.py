"""What people saw and did on a site: it corrects the models and spends modes of action."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from windowcast.core.record import Record
from windowcast.core.site import Site
from windowcast.core.values import PACKAGED, Tables
from windowcast.materials.rotation import Use
from windowcast.physics.soil import simulate
from windowcast.physics.soil_site import (
    NEAR_SURFACE_M,
    ProbeReading,
    SiteCorrection,
    fit_site_correction,
)
from windowcast.season.scouting import Count
from windowcast.season.sightings import CanopyLook, GreenCover
from windowcast.season.state import soil_forcing, soil_site


@dataclass(frozen=True)
class Observed:
    """What the season log knows of a site."""

    readings: tuple[ProbeReading, ...] = ()
    counts: tuple[Count, ...] = ()
    green_cover: tuple[GreenCover, ...] = ()
    looks: tuple[CanopyLook, ...] = ()  # by date
    uses: tuple[Use, ...] = ()  # past applications, for the rotation of modes of action


def soil_correction(
    record: Record, site: Site, seen: Observed, tables: Tables = PACKAGED
) -> SiteCorrection | None:
    """Of the soil model, from the site's own probe readings."""
    if not seen.readings:
        return None
    forcing, soil = soil_forcing(record), soil_site(site, tables=tables)
    plain = simulate(forcing, soil, depths_m=NEAR_SURFACE_M)
    hourly = None
    if any(r.hour is not None for r in seen.readings):
        from windowcast.physics.soil_hourly import hourly_top_c

        by_depth = [hourly_top_c(forcing, soil, plain, depth_m=z) for z in NEAR_SURFACE_M]
        hourly = np.stack(by_depth, axis=-1)
    return fit_site_correction(
        plain.temp_c, record.times, seen.readings, hourly_c=hourly, values=tables["soil"]
    )

"""What people saw and did on a site: it corrects the models and spends modes of action."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

from windowcast.core.record import Record
from windowcast.core.site import Site
from windowcast.core.values import PACKAGED, Tables
from windowcast.materials.resistance import NO_RESISTANCE, Resistances
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
from windowcast.season.soil_days import soil_forcing, soil_site


@dataclass(frozen=True, slots=True)
class Applied:
    """An application to the ground an answer is about.

    Attributes
    ----------
    purpose
        As noted, "" where it was not.
    actives
        ISO common name and rate [kg a.i. ha-1; None: not noted] of each active ingredient.
    watered_in_mm, watered_in_on
        Irrigation noted for it.
    where
        As noted; "" for all of the site.
    whole
        Whether all of that ground was treated, as far as the note says.
    """

    date: dt.date
    purpose: str
    actives: tuple[tuple[str, float | None], ...]
    watered_in_mm: float | None = None
    watered_in_on: dt.date | None = None
    where: str = ""
    whole: bool = True


@dataclass(frozen=True)
class Observed:
    """What the season log knows of a site, or of one of its areas."""

    readings: tuple[ProbeReading, ...] = ()
    counts: tuple[Count, ...] = ()
    green_cover: tuple[GreenCover, ...] = ()
    looks: tuple[CanopyLook, ...] = ()  # by date
    uses: tuple[Use, ...] = ()  # past applications, for the rotation of modes of action
    applied: tuple[Applied, ...] = ()  # by date
    control: tuple[tuple[dt.date, float], ...] = ()  # ratings of the ground, 0..1 of weeds gone
    survivors: tuple[dt.date, ...] = ()  # live plants were seen beside dying ones of the same size
    resistance: Resistances = NO_RESISTANCE


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

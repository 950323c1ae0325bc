"""What people saw and did on a site: it corrects the models and spends modes of action."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from windowcast.materials.rotation import Use
from windowcast.physics.soil_site import ProbeReading, SiteCorrection, fit_site_correction
from windowcast.season.scouting import Count
from windowcast.season.state import build
from windowcast.season.turf import GreenCover
from windowcast.site import Site
from windowcast.weather.record import Record


@dataclass(frozen=True)
class Observed:
    """What the season log knows of a site."""

    readings: tuple[ProbeReading, ...] = ()
    counts: tuple[Count, ...] = ()
    green_cover: tuple[GreenCover, ...] = ()
    uses: tuple[Use, ...] = ()  # past applications, for the rotation of modes of action


def soil_correction(record: Record, site: Site, seen: Observed) -> SiteCorrection | None:
    """Of the soil model, from the site's own probe readings."""
    if not seen.readings:
        return None
    plain, _ = build(record, site)
    model = np.stack([plain.soil_5cm_c, plain.soil_10cm_c], axis=-1)
    return fit_site_correction(model, plain.dates, seen.readings)

"""What people saw and did on a site: it corrects the models and spends modes of action."""

from __future__ import annotations

from dataclasses import dataclass

from windowcast.materials.rotation import Use
from windowcast.physics.soil_site import ProbeReading
from windowcast.season.scouting import Count
from windowcast.season.turf import GreenCover


@dataclass(frozen=True)
class Observed:
    """What the season log knows of a site."""

    readings: tuple[ProbeReading, ...] = ()
    counts: tuple[Count, ...] = ()
    green_cover: tuple[GreenCover, ...] = ()
    uses: tuple[Use, ...] = ()  # past applications, for the rotation of modes of action

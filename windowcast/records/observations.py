"""What the season log tells the models: readings, counts, green cover, groups used."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from os import PathLike

import numpy as np

from windowcast.core.errors import InputError
from windowcast.materials.actives import Actives, load_actives
from windowcast.materials.rotation import Use, same_place, use_of
from windowcast.physics.soil_site import ProbeReading
from windowcast.records.model import Application, CoverReading, ScoutingCount, SoilReading
from windowcast.records.store import SeasonLog
from windowcast.season.observed import Observed
from windowcast.season.scouting import Count
from windowcast.season.sightings import CanopyLook, GreenCover


def observed_in(
    path: str | PathLike[str], *, materials: Actives | None = None, southern: bool = False
) -> Observed:
    """What a season log knows of its site.

    Parameters
    ----------
    path
        The log; it must exist.
    materials
        To find the groups of the actives used; the packaged ones when None.
    southern
        Whether seasons turn in January.

    Raises
    ------
    InputError
        The log cannot be read.
    """
    with SeasonLog(path, create=False) as log:
        readings = [s.entry for s in log.all(SoilReading)]
        counts = [s.entry for s in log.all(ScoutingCount)]
        covers = [s.entry for s in log.all(CoverReading)]
        applications = [s.entry for s in log.all(Application)]
    return Observed(
        readings=tuple(
            ProbeReading(np.datetime64(r.date, "D"), r.depth_m, r.temp_c, _hour(r.time))
            for r in readings
        ),
        counts=tuple(
            Count(c.date, c.weed, c.per_m2, c.frame_m2) for c in counts if c.per_m2 is not None
        ),
        green_cover=tuple(
            GreenCover(c.date, c.green_pct / 100)
            for c in covers
            # no green in one place says nothing of the others
            if c.green_pct is not None and (c.green_pct or not c.where)
        ),
        looks=looks_in(covers),
        uses=uses_in(applications, materials or load_actives(), southern=southern),
    )


def looks_in(covers: Sequence[CoverReading]) -> tuple[CanopyLook, ...]:
    """What is known of live shoots, by date.

    Any green is a live shoot. No green at all says nothing: only who parted the canopy can say
    that there was none.
    """
    return tuple(
        CanopyLook(c.date, bool(c.live_shoots or c.green_pct), c.where)
        for c in sorted(covers, key=lambda cover: cover.date)
        if c.live_shoots is not None or c.green_pct
    )


def _hour(time: dt.time | None) -> float | None:
    """Hours since midnight."""
    return None if time is None else time.hour + time.minute / 60


def uses_in(
    applications: Sequence[Application], materials: Actives, *, southern: bool
) -> tuple[Use, ...]:
    """Applications in the terms of rotation; actives that are not known have no group."""
    uses = []
    for application in applications:
        members = []
        for name in application.actives:
            try:
                members.append(materials[name])
            except InputError:
                continue
        if members:
            uses.append(
                use_of(
                    application.date, application.purpose, members,
                    southern=southern, where=application.where,
                )
            )  # fmt: skip
    return tuple(uses)


def applied_kg_ha(
    applications: Sequence[Application], until: dt.date, where: str = ""
) -> dict[str, float]:
    """Active ingredient put out in the 365 days up to a date, by name.

    With `where` only applications to that place, or to no place that was noted, count. NaN where
    an application has no rate: then the total cannot be told.
    """
    first = until - dt.timedelta(days=364)
    total: dict[str, float] = {}
    for application in applications:
        here = same_place(application.where, where)
        if not here or not first <= application.date <= until:
            continue
        for material in application.materials:
            rate = math.nan if material.rate_kg_ha is None else material.rate_kg_ha
            total[material.active] = total.get(material.active, 0.0) + rate
    return total

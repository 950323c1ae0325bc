"""Dated sightings of turf held against what replayed seasons permit and what they call harm.

Where live leaf was seen, a non-selective on that day hurts; where turf was seen dormant, it does
not. `windowcast.verify.turf` holds dates and states against the same sightings; here only what a
replay makes of them counts: the limits by the weather that came, what hindsight may do, and the
chance that a spray is booked as harm.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from os import PathLike
from typing import Any

import numpy as np
from seen_scoring import NearStations

from windowcast.core.season_calendar import season_start
from windowcast.limits.model import TurfAnswer
from windowcast.season.observed import Applied
from windowcast.verify.foresight import allowed
from windowcast.verify.sprays import Tank
from windowcast.verify.turf_sightings import LIVE, Sighting, read_sightings
from windowcast.verify.worth import Worlds

NON_SELECTIVE: Tank = (("glyphosate", 0.42),)
DORMANT = frozenset({"dormant", "looked dormant"})


@dataclass(frozen=True)
class SeenTurf:
    """A sighting beside a replayed season.

    Attributes
    ----------
    answer
        What the limits say of a non-selective that day, by the weather that came.
    allowed
        Whether hindsight may spray.
    hurt_chance
        Chance at which a spray is booked as harm, 0..1.
    """

    sighting: Sighting
    station: str
    distance_km: float
    answer: str
    allowed: bool
    hurt_chance: float


def turf_seen(path: str | PathLike[str], stations: NearStations) -> dict[str, Any]:
    """Sightings of a file beside replayed seasons, as plain values for JSON.

    Raises
    ------
    InputError
        A row cannot be read.
    """
    seen = []
    for sighting in read_sightings(path):
        found = _held(sighting, stations)
        if found is not None:
            seen.append(found)
    live = [one for one in seen if one.sighting.kind in LIVE]
    dormant = [one for one in seen if one.sighting.kind in DORMANT]
    return {
        "rows": [_plain(one) for one in seen],
        "live": _totals(live),
        "live_well_founded": _totals([one for one in live if one.sighting.well_founded]),
        "dormant": _totals(dormant),
    }


def _held(sighting: Sighting, stations: NearStations) -> SeenTurf | None:
    """A sighting beside its season; None where it tells nothing or no station knows the season."""
    date = sighting.date
    told = sighting.kind in LIVE or sighting.kind in DORMANT
    if sighting.unusable or date is None or sighting.overseeded or not told:
        return None
    near = stations.near(
        sighting.latitude_deg,
        sighting.longitude_deg,
        [season_start(date, southern=False).year],
        species=sighting.species,
        else_last=False,
    )
    if near is None:
        return None
    (worlds,) = near.worlds
    return SeenTurf(
        sighting,
        near.name,
        near.distance_km,
        _answer(worlds, sighting).answer,
        allowed(worlds, NON_SELECTIVE, date),
        worlds.hurt_chance(Applied(date, "dormant", NON_SELECTIVE)),
    )


def _answer(worlds: Worlds, sighting: Sighting) -> TurfAnswer:
    assert sighting.date is not None
    return worlds.permits(NON_SELECTIVE, sighting.date)


def _totals(seen: Sequence[SeenTurf]) -> dict[str, Any]:
    return {
        "n": len(seen),
        **{
            name: sum(one.answer == answer for one in seen)
            for name, answer in (
                ("permitted", "yes"), ("refused", "no"), ("cannot_tell", "cannot tell"),
            )
        },
        "allowed_in_hindsight": sum(one.allowed for one in seen),
        "hurt_chance": round(float(np.mean([s.hurt_chance for s in seen])), 2) if seen else None,
    }  # fmt: skip


def _plain(one: SeenTurf) -> dict[str, Any]:
    s = one.sighting
    return {
        "row": s.row,
        "grass": s.grass,
        "event": s.event,
        "kind": s.kind,
        "date": str(s.date),
        "site": s.site,
        "well_founded": s.well_founded,
        "station": one.station,
        "distance_km": round(one.distance_km, 1),
        "answer": one.answer,
        "allowed_in_hindsight": one.allowed,
        "hurt_chance": round(one.hurt_chance, 2),
    }

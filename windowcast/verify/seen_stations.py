"""Stations near the places of what was seen, and the worlds of their seasons, made once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from windowcast.core.great_circle import distance_km
from windowcast.core.record import Record
from windowcast.core.site import Site, site_from
from windowcast.materials.actives import Actives, load_actives
from windowcast.verify.as_it_came import AsItCame
from windowcast.verify.as_known import in_its_zone
from windowcast.verify.lived import lived
from windowcast.verify.odds import last_seasons
from windowcast.verify.worth import Worlds

WITHIN_KM = 150.0
SEASONS_ELSE = 4  # last seasons that stand for those of a trial without years
HYBRID = "hybrid bermudagrass"


class Near(NamedTuple):
    """A station near a place, with the worlds of its seasons that are asked for."""

    name: str
    distance_km: float
    worlds: list[Worlds]


@dataclass
class NearStations:
    """Records of stations, and what is worked out for them once.

    Attributes
    ----------
    records
        Daily, with their places.
    within_km
        How far off a station may lie [km].
    """

    records: Sequence[Record]
    within_km: float = WITHIN_KM
    materials: Actives = field(default_factory=load_actives)
    _grounds: dict[tuple[int, str], AsItCame] = field(default_factory=dict)
    _worlds: dict[tuple[int, str, int], Worlds | None] = field(default_factory=dict)

    def near(
        self,
        latitude_deg: float,
        longitude_deg: float,
        seasons: Sequence[int],
        *,
        species: str = HYBRID,
        else_last: bool = True,
    ) -> Near | None:
        """The nearest station that knows one of some seasons, else the nearest that knows any.

        Parameters
        ----------
        seasons
            Years of their 1 July.
        else_last
            Whether a station's last seasons may stand for them.
        """
        places = np.array([(r.place.latitude_deg, r.place.longitude_deg) for r in self.records])
        far = distance_km(places[:, 0], places[:, 1], latitude_deg, longitude_deg)
        near = [n for n in np.argsort(far, kind="stable").tolist() if far[n] <= self.within_km]
        for last in (False, True) if else_last else (False,):
            for n in near:
                years = last_seasons(self.records[n], SEASONS_ELSE) if last else seasons
                worlds = [w for year in years if (w := self._of(n, species, year)) is not None]
                if worlds:
                    return Near(self.records[n].place.name, float(far[n]), worlds)
        return None

    def _of(self, index: int, species: str, season: int) -> Worlds | None:
        key = (index, species, season)
        if key not in self._worlds:
            record = self.records[index]
            came = lived(record, season)
            self._worlds[key] = None if came is None else Worlds.of(self._on(index, species), came)
        return self._worlds[key]

    def _on(self, index: int, species: str) -> AsItCame:
        if (index, species) not in self._grounds:
            record = in_its_zone(self.records[index])
            ground = AsItCame.of(record, _site(record, species), self.materials)
            self._grounds[index, species] = ground
        return self._grounds[index, species]


def _site(record: Record, species: str) -> Site:
    """Mature turf, irrigated, not overseeded."""
    place = record.place
    return site_from(
        {
            "name": "trial", "timezone": place.timezone,
            "latitude": float(place.latitude_deg), "longitude": float(place.longitude_deg),
            "weeds": ["POAAN", "DIGIS", "DIGSA"],
            "turf": {
                "species": species, "overseeded": False, "mature": True, "irrigated": True,
            },
        }
    )  # fmt: skip

"""Who follows the advice when whole seasons are replayed: their ground, hours and habits.

All keep mature hybrid bermudagrass that is not overseeded, and have the same three tanks in stock,
so that what they get differs by when they spray alone.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from windowcast.core.record import Place
from windowcast.core.site import Site, site_from
from windowcast.core.spray_calendar import WEEKDAYS, Weekday
from windowcast.core.values import Table
from windowcast.materials.actives import Actives
from windowcast.verify.sprays import Tank
from windowcast.windows.model import PurposeName

WEEDS = ("POAAN", "DIGSA")  # one of winter, one of summer, both with trials of the tanks below
TANKS: dict[PurposeName, str] = {
    "pre-fall": "prodiamine",
    "post-early": "foramsulfuron",
    "dormant": "glyphosate",
    "pre-spring": "prodiamine",
}
WIND_MAX_M_S = 4.5  # common practice
WORK_WEEK: tuple[Weekday, ...] = WEEKDAYS[:5]


@dataclass(frozen=True, slots=True)
class Follower:
    """One way to go by the advice.

    Attributes
    ----------
    name
        Under which it stands in results.
    irrigated
        Whether the ground can be watered; if so it is, on the day a pre-emergent went out.
    weekdays, hours
        On which days of the week and between which hours of the clock it may be sprayed.
    keeps_log
        Whether what went out is logged, so that the next answer knows of it.
    away_days
        Days on which nobody can spray from the first time on that each application is advised.
    """

    name: str
    irrigated: bool = True
    weekdays: tuple[Weekday, ...] = WORK_WEEK
    hours: str = "06:00-18:00"
    use: Literal["golf", "sports", "lawn", "sod", "other"] = "golf"
    keeps_log: bool = True
    away_days: int = 0

    def site(self, place: Place) -> Site:
        """Its ground, at a place."""
        return site_from(
            {
                "name": place.name,
                "latitude": place.latitude_deg,
                "longitude": place.longitude_deg,
                "elevation_m": place.elevation_m,
                "timezone": place.timezone,
                "weeds": list(WEEDS),
                "stock": list(dict.fromkeys(TANKS.values())),
                "turf": {
                    "species": "hybrid bermudagrass",
                    "use": self.use,
                    "mature": True,
                    "overseeded": False,
                    "irrigated": self.irrigated,
                },
                "equipment": {"wind_max_m_s": WIND_MAX_M_S},
                "calendar": {
                    "spray_hours": self.hours,
                    "spray_weekdays": list(self.weekdays),
                },
            }
        )


GOLF = Follower("golf")
FOLLOWERS = (
    GOLF,
    Follower("sports", weekdays=("tue", "thu"), use="sports"),
    Follower("rain_only", irrigated=False, use="lawn"),
    Follower("half_hours", irrigated=False, hours="06:00-12:00"),
    Follower("misses_first", away_days=7),
    Follower("no_log", keeps_log=False),
)


def by_ground(follower: Follower) -> Follower:
    """A follower as the ground and hours alone: habits taken away."""
    return replace(follower, name="", keeps_log=True, away_days=0)


def tanks_of(materials: Actives, efficacy: Table) -> dict[PurposeName, Tank]:
    """What goes out for each purpose: the usual rate of its active, else the full one of trials."""
    full = efficacy.table("full_rate")
    found: dict[PurposeName, Tank] = {}
    for purpose, active in TANKS.items():
        usual = materials[active].usual_kg_ha
        known = full.number(active) if active in full else None
        found[purpose] = ((active, known if usual is None else float(usual)),)
    return found

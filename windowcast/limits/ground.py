"""The ground a treatment goes on: species, what was sown into it, how old and how whole it is."""

from __future__ import annotations

import datetime as dt
from calendar import monthrange
from dataclasses import dataclass
from typing import Literal

from windowcast.core.site import Site

Sowing = Literal["none", "planned", "done", "undated"]


@dataclass(frozen=True)
class Ground:
    """What the turf limits need to know of an area. None: not said, so not known.

    Attributes
    ----------
    species_said
        Whether the site file names the species, or a usual one is taken.
    sowing
        Overseeding: none, planned or done on `sown`; "undated": it is said, but not when.
    mature
        Older than two growing seasons.
    established, rooted
        When it was laid, sprigged, plugged or sown; when it was seen well rooted and mown.
    """

    species: str
    southern: bool = False
    species_said: bool = True
    sowing: Sowing | None = None
    sown: dt.date | None = None
    sown_species: str | None = None
    sown_by: Literal["broadcast", "slit"] | None = None
    mature: bool | None = None
    established: dt.date | None = None
    established_by: Literal["sod", "sprigs", "plugs", "seed"] | None = None
    rooted: dt.date | None = None
    winterkill: Literal["none", "minimal", "moderate", "severe"] | None = None
    thin: bool | None = None

    @property
    def overseeded(self) -> bool | None:
        """Whether a cool-season grass is, or is to be, sown into it; None: not said."""
        return None if self.sowing is None else self.sowing != "none"


def ground_of(site: Site) -> Ground:
    """The ground that a site file describes."""
    turf = site.turf
    sowing: Sowing | None = None
    if turf.overseed is not None:
        sowing = turf.overseed.state
    elif turf.overseeded is not None:
        sowing = "undated" if turf.overseeded else "none"
    return Ground(
        species=str(turf.species),
        species_said="species" in turf.model_fields_set,
        southern=site.place.southern,
        sowing=sowing,
        sown=turf.overseed.date if turf.overseed else None,
        sown_species=turf.overseed.species if turf.overseed else None,
        sown_by=turf.overseed.method if turf.overseed else None,
        mature=turf.mature,
        established=turf.established,
        established_by=turf.established_by,
        rooted=turf.rooted,
        winterkill=turf.winterkill,
        thin=turf.thin,
    )


def nth_of(month_day: str, date: dt.date, *, southern: bool) -> dt.date:
    """The last ``MM-DD`` on or before a date; half a year later in the southern hemisphere."""
    month, day = (int(part) for part in month_day.split("-"))
    if southern:
        month = (month + 5) % 12 + 1
    here = _in_year(date.year, month, day)
    return here if here <= date else _in_year(date.year - 1, month, day)


def _in_year(year: int, month: int, day: int) -> dt.date:
    """A day of a month, or the month's last where it is shorter."""
    return dt.date(year, month, min(day, monthrange(year, month)[1]))

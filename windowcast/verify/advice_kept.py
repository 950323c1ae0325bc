"""Whether following the advice paid at the user's own site: the summary that is kept of it.

To play a site's seasons takes minutes (`windowcast.verify.advice_here`). What came of them is kept
under the site's place and ground, and found again by the same version of the program.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from windowcast.core.digest import digest_of
from windowcast.core.errors import InputError
from windowcast.core.phrase import Phrase, say
from windowcast.core.site import Site
from windowcast.core.turf import Species
from windowcast.core.version import __version__
from windowcast.season.soil_kept import Store

SOURCE = "advice"
GROUND = "site"  # name of the follower on the site's own ground
FORM = 2  # of what is kept
NEW_YEARS = 2  # turf older than two growing seasons is mature: `windowcast.core.turf.Turf`
GROWN_ON = Species.HYBRID_BERMUDAGRASS

Ends = tuple[float | None, float | None, float | None]


@dataclass(frozen=True)
class Sprayed:
    """Means over the seasons for one way to spray, each with its 5 and 95 % points.

    Attributes
    ----------
    controlled, winter, summer
        Share controlled of the season's weeds, its annual bluegrass and its large crabgrass, 0..1;
        None where the place has no curve of it.
    sprays
        Applications a season.
    hurt
        Of them on days on which the turf did not take it, a season.
    """

    controlled: Ends
    winter: Ends
    summer: Ends
    sprays: Ends
    hurt: Ends


@dataclass(frozen=True)
class SeasonsHere:
    """What a site's past seasons were worth, sprayed by the advice and by calendar dates.

    Attributes
    ----------
    seasons
        How many were played.
    first, last
        Years of the 1 July of the first and the last of them.
    gain
        Share controlled by the advice less that by the calendar, season by season, by applications
        that hurt nothing: mean, 5 and 95 %.
    """

    seasons: int
    first: int
    last: int
    irrigated: bool
    advice: Sprayed
    calendar: Sprayed
    gain: Ends
    program_version: str


@dataclass(frozen=True)
class AdviceHere:
    """What is known of whether the advice pays at a site.

    Attributes
    ----------
    refused
        Why seasons cannot be played there; None: they can.
    kept
        What came of them; None where they have not been played yet.
    same_grass
        Whether the site's turf is the grass that they are played on.
    """

    refused: Phrase | None
    kept: SeasonsHere | None
    same_grass: bool


def advice_here(store: Store, site: Site, today: dt.date) -> AdviceHere:
    """What is kept of a site, or why there is nothing; a store that cannot be used holds none."""
    refused = refused_ground(site, today)
    same = site.turf.species is GROWN_ON
    return AdviceHere(refused, None if refused else kept(store, site), same)


def refused_ground(site: Site, today: dt.date) -> Phrase | None:
    """Why a site's seasons cannot be played; None where they can."""
    turf = site.turf
    if site.place.southern:
        return say("here.advice.southern")
    if turf.overseeded or (turf.overseed is not None and turf.overseed.state != "none"):
        return say("here.advice.overseeded")
    grown = turf.established is None or (today - turf.established).days > 365 * NEW_YEARS
    if turf.mature is False or not grown:
        return say("here.advice.new_turf")
    return None


def summary(result: Mapping[str, Any], *, irrigated: bool) -> SeasonsHere:
    """The summary of what `windowcast.verify.advice.verify_advice` found on the site's ground."""
    found, years = result["grounds"][GROUND]["all"], result["seasons"]
    return SeasonsHere(
        seasons=found["seasons"],
        first=years[0],
        last=years[-1],
        irrigated=irrigated,
        advice=_sprayed(found["advice"]),
        calendar=_sprayed(found["calendar"]),
        gain=_ends(found["against"]["calendar"]["within"]),
        program_version=__version__,
    )


def keep(store: Store, site: Site, found: SeasonsHere) -> None:
    """Keep a summary in place of the one before.

    Raises
    ------
    InputError
        The store cannot be written.
    """
    store.put_derived(_key(site), SOURCE, _digest(), json.dumps(asdict(found)).encode())


def kept(store: Store, site: Site) -> SeasonsHere | None:
    """What this version of the program kept of a site's ground; None: nothing."""
    try:
        body = store.derived(_key(site), _digest())
    except InputError:
        return None
    if body is None:
        return None
    raw = json.loads(body)
    parts = {"advice": _sprayed(raw["advice"]), "calendar": _sprayed(raw["calendar"])}
    return SeasonsHere(**{**raw, **parts, "gain": _ends(raw["gain"])})


def _sprayed(found: Mapping[str, Any]) -> Sprayed:
    return Sprayed(**{name: _ends(found[name]) for name in Sprayed.__dataclass_fields__})


def _ends(values: Any) -> Ends:
    mean, low, high = values
    return mean, low, high


def _key(site: Site) -> str:
    """Of place, ground and hours; it names no site."""
    calendar, turf = site.calendar, site.turf
    at = site.latitude, site.longitude, site.elevation_m, site.timezone
    habits = calendar.spray_hours, calendar.spray_weekdays
    return f"advice {digest_of(at, habits, bool(turf.irrigated), turf.use)}"


def _digest() -> str:
    return digest_of(__version__, FORM)

"""The past seasons of the user's own site, lived by a follower on its ground."""

from __future__ import annotations

from functools import partial
from typing import Any

import numpy as np

from windowcast.core.errors import InputError
from windowcast.core.record import Record, Weather
from windowcast.core.site import Site
from windowcast.verify.advice import KNOWN_YEARS, Replay
from windowcast.verify.advice_kept import GROUND, refused_ground
from windowcast.verify.followers import Follower

SINCE = 2005  # seasons before it had another climate, and take as long
_SAID_BY = {  # why a ground is refused → the key of the site file that says so
    "here.advice.southern": "latitude",
    "here.advice.overseeded": "turf.overseeded",
    "here.advice.new_turf": "turf.mature",
}


def follower_at(site: Site) -> Follower:
    """Who follows the advice at a site: its hours, weekdays and use; not irrigated where unsaid."""
    return Follower(
        GROUND,
        irrigated=bool(site.turf.irrigated),
        weekdays=site.calendar.spray_weekdays,
        hours=site.calendar.spray_hours,
        use=site.turf.use,
    )


def replay_at(site: Site, weather: Weather, *, seasons: int | None = None, **asked: Any) -> Replay:
    """The seasons of a site that are to be lived.

    Parameters
    ----------
    weather
        As loaded for an answer: its days before today are the record.
    seasons
        The last so many; None: those since `SINCE`.
    **asked
        As `windowcast.verify.advice.Replay` has it.

    Raises
    ------
    InputError
        The site lies in the south, is overseeded or its turf is new.
    """
    refused = refused_ground(site, weather.today)
    if refused is not None:
        raise InputError(
            "seasons are lived only north of the equator, on mature turf that is not overseeded",
            field=_SAID_BY[refused.id],
            remedy="name a site of that kind",
        )
    count = weather.today.year - SINCE if seasons is None else seasons
    return Replay(
        site.name,
        partial(_record, weather, count),
        seasons=count,
        followers=(follower_at(site),),
        **asked,
    )


def _record(weather: Weather, seasons: int) -> Record:
    """The days before today of the seasons asked for and of those that their mornings know of."""
    daily = weather.daily
    early = np.datetime64(f"{weather.today.year - seasons - KNOWN_YEARS - 2}-07-01", "D")
    yesterday = np.datetime64(weather.today, "D") - np.timedelta64(1, "D")
    return daily.between(max(early, daily.times[0]), yesterday)

"""What went out in a season, and what it was worth."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

from windowcast.core.record import FloatArray
from windowcast.limits.model import Limit
from windowcast.season.observed import Applied

Tank = tuple[tuple[str, float | None], ...]  # actives with their rate [kg a.i. ha-1], as in Applied


@dataclass(frozen=True)
class Done:
    """An application that went out, with its first and last moment (aware)."""

    applied: Applied
    start: dt.datetime
    end: dt.datetime


@dataclass(frozen=True)
class Worth:
    """What a season's applications were worth.

    Attributes
    ----------
    winter
        Share of the season's winter annuals controlled, ``[draw]``; NaN where the place has no
        curve of them.
    summer
        The same of summer grasses, by what was applied before 1 July.
    lost
        Index of an application → what spoilt it: "rain", "wind", "cold", "dry" (not watered in).
        Rain, cold and want of water also take control away; wind does not, its cost is drift.
    hurt
        Index of an application → the limit that said no to it, by the weather that came.
    hurt_chance
        Chance that it hurt the turf, over the worlds of the turf's thresholds, ``[application]``.
    """

    winter: FloatArray
    summer: FloatArray
    lost: Mapping[int, tuple[str, ...]]
    hurt: Mapping[int, Limit]
    hurt_chance: FloatArray

"""What went out in a season, what weeds survive of it, and what it was worth.

A cohort is what emerges of a weed on one day. A pre-emergent takes of it what its trials let expect
on the share of the ground on which its residual holds that day; a spray on the leaves what they let
expect at the cohort's stage on the day. What several applications leave is multiplied: they act
independently (Bliss 1939; Colby 1967, Weeds 15:20-22).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from windowcast.core.record import FloatArray
from windowcast.core.values import Tables
from windowcast.limits.model import Limit
from windowcast.materials.efficacy import Control, Timing, expected_control, plant_size
from windowcast.season.observed import Applied
from windowcast.season.weeds import Z90, Weed

Tank = tuple[tuple[str, float | None], ...]  # actives with their rate [kg a.i. ha-1], as in Applied

_BIN = 0.1  # step of the plants' size in which control is told
_EDGE = 1e-6  # no draw is nearer to all or nothing


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


def drawn_control(controls: Sequence[Control | None], scores: FloatArray) -> FloatArray:
    """Control in each world, 0..1, ``[draw, control]``; none where no trial is at hand.

    Parameters
    ----------
    controls
        Median and 80 % interval, each side of which is followed on the logit scale.
    scores
        Place of each world in the interval, standard normal, ``[draw]``.

    Examples
    --------
    >>> import numpy as np
    >>> from windowcast.materials.efficacy import Control
    >>> from windowcast.season.weeds import Z90
    >>> from windowcast.verify.sprays import drawn_control
    >>> drawn_control([Control(0.9, 0.6, 0.98, 3, ())], np.array([-Z90, 0.0, Z90])).round(3).T
    array([[0.6 , 0.9 , 0.98]])
    """
    ends = [(0.0,) * 3 if c is None else (c.low, c.middle, c.high) for c in controls]
    kept = np.clip(np.array(ends, dtype=np.float64).reshape(-1, 3), _EDGE, 1 - _EDGE)
    low, middle, high = np.log(kept / (1 - kept)).T
    score = scores[:, None]
    side = np.where(score < 0, middle - low, high - middle)
    drawn = 1 / (1 + np.exp(-(middle + score / Z90 * side)))
    return np.where([c is None for c in controls], 0.0, drawn)


def leaf_stage(leaf_time: FloatArray, day: int, weed: Weed) -> FloatArray:
    """BBCH stage on a day of what emerged on each day before it, ``[day]`` of emergence.

    Parameters
    ----------
    leaf_time
        What leaves unfold by, at the end of each day [°C d].
    """
    grown = (leaf_time[max(day - 1, 0)] - leaf_time[:day]) / weed.phyllochron
    tillers = np.minimum(grown - weed.young_below + 1.0, 9.0)
    return np.asarray(np.where(grown < weed.young_below, 10.0 + grown, 20.0 + tillers))


def sprayed(
    stages_bbch: FloatArray,
    weed: str,
    actives: Sequence[str],
    *,
    rate_share: float | None,
    air_c: float | None,
    scores: FloatArray,
    tables: Tables,
) -> FloatArray:
    """Share of each cohort that a spray on the leaves kills, ``[draw, cohort]``, 0..1.

    Parameters
    ----------
    stages_bbch
        Of the cohorts, ``[cohort]``.
    rate_share, air_c
        As for `windowcast.materials.efficacy.expected_control`.
    scores
        As for `drawn_control`.
    """
    table = tables["efficacy"]
    names, sizes = (table.value(f"scale.{end}").value for end in ("size_bbch", "size"))
    steps = np.round(np.asarray(plant_size(stages_bbch, table)) / _BIN).astype(np.int64)
    met, which = np.unique(steps, return_inverse=True)
    air = None if air_c is None else round(air_c)
    controls = [
        _expected(tables, weed, tuple(actives), _Met("post", float(stage), rate_share, air))
        for stage in np.interp(met * _BIN, sizes, names)
    ]
    return drawn_control(controls, scores)[:, which]


def stopped(
    weed: str,
    actives: Sequence[str],
    *,
    rate_share: float | None,
    scores: FloatArray,
    tables: Tables,
) -> FloatArray:
    """Share of what germinates where the residual holds that it stops, ``[draw]``, 0..1."""
    control = _expected(tables, weed, tuple(actives), _Met("pre", 0.0, rate_share, None))
    return drawn_control([control], scores)[:, 0]


class _Met(NamedTuple):
    """What an application meets; see `expected_control`."""

    timing: Timing
    stage_bbch: float
    rate_share: float | None
    air_c: float | None


@lru_cache(maxsize=20_000)
def _expected(tables: Tables, weed: str, actives: tuple[str, ...], met: _Met) -> Control | None:
    return expected_control(weed, actives, **met._asdict(), table=tables["efficacy"])

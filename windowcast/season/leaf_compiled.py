"""Live leaf of many stations over decades, in all possible worlds at once, compiled.

What a day does is `windowcast.season.leaf.switched`, compiled as it stands; here are only the loops
over stations, days and worlds, so that no array of all worlds' days is ever made. A test holds the
counts to those that `windowcast.season.turf` makes from arrays.
"""

from __future__ import annotations

import hashlib
import inspect
from typing import Any

import numpy as np
from numba.extending import register_jitable

from windowcast.core.compiled import compiled
from windowcast.core.record import FloatArray
from windowcast.season import leaf
from windowcast.season.leaf import Counts, Driver, LeafDay, Run, Thresholds, switched
from windowcast.season.runs import BoolArray

register_jitable(error_model="numpy", forceinline=True)(switched)


def count_worlds(
    driver: Driver, runs: tuple[Run, Run, Run], start: BoolArray, enough_days: float
) -> Counts:
    """Worlds with leaf, day by day, from a start at which nothing is known.

    Parameters
    ----------
    driver
        ``[station, day]``.
    runs
        Worlds of the first leaf as the soil is modelled; those of them in which leaf comes early,
        with the soil's error; worlds of half the leaf.
    start
        Days on which a season begins, ``[day]``.
    enough_days
        Days without leaf that must have been before a green-up, less one.
    """
    stations = len(driver.soil_c)
    gain, loss = (
        np.concatenate([_moved(run, name, stations) for run in runs], axis=1)
        for name in ("gain_c", "loss_c")
    )
    heat, frost = (
        np.array([getattr(world, name) for run in runs for world in run.worlds])
        for name in ("heat", "frost")
    )
    out = np.zeros((5, *driver.soil_c.shape), np.uint8)
    days = (driver.soil_c, driver.heat, driver.frost, driver.frozen, driver.unseen)
    sizes = len(runs[0].worlds), len(runs[1].worlds)
    _RUN(days, (gain, loss, heat, frost), sizes, (start, enough_days), out)
    return Counts(*out)


def _moved(run: Run, name: str, stations: int) -> FloatArray:
    """A threshold of each world with its error, ``[station, world]``."""
    spread_c = np.broadcast_to(run.spread_c, stations)
    return np.stack([getattr(w, name) + w.score * spread_c for w in run.worlds], axis=1)


def _compile(edition: int) -> Any:
    """The compiled loops; `edition` makes Numba notice a change of what they call."""

    @compiled()
    def run(days, thresholds, sizes, season, out):  # type: ignore[no-untyped-def]
        soil, heat, frost, frozen, unseen = days
        gain, loss, heat_from, frost_from = thresholds
        first, early = sizes
        start, enough = season
        worlds = gain.shape[1]
        for row in range(soil.shape[0]):
            possible, sure = np.ones(worlds, np.uint8), np.zeros(worlds, np.uint8)
            idle, begun = np.full(first, -1), np.zeros(first, np.uint8)
            most, least = gain[row].max(), loss[row].min()
            was_warm = False
            for t in range(soil.shape[1]):
                # most days are so warm, or so cold, that the switch says the same in every world
                warm, cold = soil[row, t] >= most, soil[row, t] < least
                if warm and was_warm and enough >= 0:  # leaf as on the day before
                    if start[t]:
                        begun[:] = 0
                    out[:2, row, t] = first
                    out[2:4, row, t] = worlds - first - early
                    out[4, row, t] = begun.sum()
                    continue
                was_warm = warm
                if warm or cold:
                    possible[:], sure[:] = warm, warm
                unknown = np.isnan(soil[row, t])
                day = LeafDay(
                    soil[row, t], heat[row, t], frost[row, t], frozen[row, t], unseen[row, t],
                    unknown, unknown | np.isnan(heat[row, t]),
                )  # fmt: skip
                for w in range(0 if warm or cold else worlds):
                    at = Thresholds(
                        gain[row, w], loss[row, w], gain[row, w], heat_from[w], frost_from[w]
                    )
                    s = switched(day, at)
                    possible[w] = s.comes | s.may_come | (possible[w] & ~s.goes)
                    sure[w] = s.comes | (sure[w] & ~(s.goes | s.may_go))
                for w in range(first):
                    own = first + w if w < early else w
                    out[0, row, t] += possible[own]
                    out[1, row, t] += sure[own]
                    now = (possible[own] == 1) & (idle[w] >= enough)
                    begun[w] = now | ((begun[w] == 1) & ~start[t])
                    out[4, row, t] += begun[w]
                    idle[w] = -1 if possible[w] else idle[w] + 1
                for w in range(first + early, worlds):
                    out[2, row, t] += possible[w]
                    out[3, row, t] += sure[w]
        return edition

    return run


_RUN = _compile(int(hashlib.sha256(inspect.getsource(leaf).encode()).hexdigest()[:15], 16))

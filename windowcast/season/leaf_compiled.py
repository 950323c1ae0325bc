"""Live leaf of many stations over decades, in all possible worlds at once, compiled.

What a day does is `windowcast.season.leaf.switched`, compiled as it stands; here are only the loops
over stations, days and worlds, so that no array of all worlds' days is ever made. A test holds the
counts to those that `windowcast.season.turf` makes from arrays.
"""

from __future__ import annotations

import hashlib
import inspect
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
from numba.extending import register_jitable

from windowcast.core.compiled import compiled
from windowcast.core.record import FloatArray
from windowcast.season import leaf
from windowcast.season.leaf import Counts, Driver, LeafDay, Run, Thresholds, switched
from windowcast.season.leaf_counted import LeafEnds
from windowcast.season.runs import BoolArray

register_jitable(error_model="numpy", forceinline=True)(switched)


def count_worlds(
    driver: Driver,
    runs: tuple[Run, Run, Run],
    start: BoolArray,
    enough_days: float,
    before: LeafEnds | None = None,
) -> tuple[Counts, LeafEnds]:
    """Worlds with leaf, day by day, and as they are on the last day.

    Parameters
    ----------
    driver
        ``[..., day]``, of stations or futures.
    runs
        Worlds of the first leaf as the soil is modelled; those of them in which leaf comes early,
        with the soil's error; worlds of half the leaf.
    start
        Days on which a season begins, ``[day]``.
    enough_days
        Days without leaf that must have been before a green-up, less one.
    before
        The worlds on the day before; None: nothing is known of them.
    """
    shape = driver.soil_c.shape
    stations = int(np.prod(shape[:-1]))
    gain, loss = (
        np.concatenate([_moved(run, name, shape[:-1]) for run in runs], axis=1)
        for name in ("gain_c", "loss_c")
    )
    heat, frost = (
        np.array([getattr(world, name) for run in runs for world in run.worlds])
        for name in ("heat", "frost")
    )
    out = np.zeros((5, stations, shape[-1]), np.uint8)
    days = tuple(
        np.ascontiguousarray(np.broadcast_to(values, shape)).reshape(stations, -1)
        for values in (driver.soil_c, driver.heat, driver.frost, driver.frozen, driver.unseen)
    )
    first, early = len(runs[0].worlds), len(runs[1].worlds)
    worlds = _begin(before, first, early, shape[:-1])
    _RUN(days, (gain, loss, heat, frost), (first, early), (start, enough_days), worlds, out)
    return Counts(*out.reshape(5, *shape)), _ends(worlds, first, early, shape[:-1])


def _moved(run: Run, name: str, leading: tuple[int, ...]) -> FloatArray:
    """A threshold of each world with its error, ``[station, world]``."""
    spread_c = np.broadcast_to(run.spread_c, leading).ravel()
    return np.stack([getattr(w, name) + w.score * spread_c for w in run.worlds], axis=1)


class _Worlds(NamedTuple):
    """The worlds on a day, ``[station, world]``: of all runs, and of the first for the last two."""

    possible: npt.NDArray[np.uint8]
    sure: npt.NDArray[np.uint8]
    idle: npt.NDArray[np.int64]
    begun: npt.NDArray[np.uint8]


def _begin(before: LeafEnds | None, first: int, early: int, leading: tuple[int, ...]) -> _Worlds:
    stations, count = int(np.prod(leading)), 2 * first + early
    if before is None:
        return _Worlds(
            np.ones((stations, count), np.uint8),
            np.zeros((stations, count), np.uint8),
            np.full((stations, first), -1),
            np.zeros((stations, first), np.uint8),
        )

    def rows(values: npt.NDArray[Any], kind: npt.DTypeLike) -> npt.NDArray[Any]:
        full = np.broadcast_to(np.moveaxis(values, 0, -1), (*leading, len(values)))
        return np.array(full.reshape(stations, -1), dtype=kind, order="C")

    leaf = np.concatenate([before.leaf[0], before.leaf[1, :early], before.leaf[2]])
    sure, possible = (rows(leaf[:, n], np.uint8) for n in range(2))
    return _Worlds(possible, sure, rows(before.idle, np.int64), rows(before.begun, np.uint8))


def _ends(worlds: _Worlds, first: int, early: int, leading: tuple[int, ...]) -> LeafEnds:
    """As arrays have them; the second run goes on with the first's other worlds."""
    of = np.arange(2 * first + early)
    runs = of[:first], np.append(of[first : first + early], of[early:first]), of[first + early :]
    leaf = np.array([[worlds.sure[:, run].T, worlds.possible[:, run].T] for run in runs])
    return LeafEnds(
        leaf.swapaxes(1, 2).reshape(3, first, 2, *leading).astype(bool),
        worlds.idle.T.reshape(first, *leading).astype(np.float64),
        worlds.begun.T.reshape(first, *leading).astype(bool),
    )


def _compile(edition: int) -> Any:
    """The compiled loops; `edition` makes Numba notice a change of what they call."""

    @compiled()
    def run(days, thresholds, sizes, season, ends, out):  # type: ignore[no-untyped-def] # noqa: PLR0917
        soil, heat, frost, frozen, unseen = days
        gain, loss, heat_from, frost_from = thresholds
        first, early = sizes
        start, enough = season
        worlds = gain.shape[1]
        for row in range(soil.shape[0]):
            possible, sure = ends.possible[row], ends.sure[row]
            idle, begun = ends.idle[row], ends.begun[row]
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

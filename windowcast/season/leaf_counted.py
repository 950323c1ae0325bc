"""Live leaf in all possible worlds counted day by day, from arrays.

Most days of summer are so warm that there is leaf in every world and future: of a run of such days
only the first is worked out.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import reduce
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from windowcast.core.record import FloatArray
from windowcast.season.leaf import Counts, Driver, Leaf, Run, Seen, leaf_in
from windowcast.season.runs import BoolArray, carried_on, latest, run_length

Leaves = list[Leaf]  # in each world


class LeafEnds(NamedTuple):
    """The worlds on the last day."""

    leaf: BoolArray  # [first by the soil as modelled, first, half; world; sure and possible; ...]
    idle: FloatArray  # [world, ...] days without live leaf, -1 with
    begun: BoolArray  # [world, ...] green-up of this season


class DaysCounted(NamedTuple):
    """What is asked of days, ``[day]``.

    Attributes
    ----------
    enough
        Days without leaf that there must have been before a green-up, less one.
    afresh
        Days on which no green-up has begun, whatever was before.
    looked
        Days after a look that found no leaf.
    """

    enough: FloatArray
    afresh: BoolArray
    looked: BoolArray


def counted(
    driver: Driver,
    runs: tuple[Run, Run, Run],
    seen: tuple[Seen, Seen, Seen],
    days: DaysCounted,
    before: LeafEnds | None,
) -> tuple[Counts, LeafEnds]:
    """Worlds with leaf, ``[..., day]``.

    Parameters
    ----------
    driver
        ``[..., day]``.
    runs
        Worlds of the first leaf as the soil is modelled; those of them in which leaf comes early,
        with the soil's error; worlds of half the leaf.
    seen
        What bounds each of these.
    before
        The worlds on the day before; None: nothing is known of them.
    """
    repeats = _repeats(driver, runs, seen, days)
    kept = np.flatnonzero(~repeats)
    driver = driver.on(kept)
    leaves = [
        list(leaf_in(driver, run, bound.on(kept), _leaf(before, n, len(run.worlds))))
        for n, (run, bound) in enumerate(zip(runs, seen, strict=True))
    ]
    counts, ends = _counted(leaves, days.enough[kept], days.afresh[kept], before)
    return counts.on(np.cumsum(~repeats) - 1), ends


def _repeats(
    driver: Driver, runs: tuple[Run, ...], seen: tuple[Seen, ...], days: DaysCounted
) -> BoolArray:
    """Days on which all is as on the day before, since both are warm everywhere, ``[day]``."""
    gains = (w.gain_c + w.score * run.spread_c for run in runs for w in run.worlds)
    most = np.asarray(reduce(np.maximum, gains))
    warm = driver.soil_c >= most[..., None]
    plain = warm.reshape(-1, warm.shape[-1]).all(axis=0) & ~days.afresh & ~days.looked
    for bound in seen:
        plain &= np.isnan(bound.share)
    repeats: BoolArray = plain & np.concatenate([[False], plain[:-1]])
    return repeats


def _leaf(before: LeafEnds | None, run: int, worlds: int) -> Iterator[Leaf | None]:
    """Leaf of the day before in each world of a run."""
    return (None if before is None else Leaf(*before.leaf[run, k]) for k in range(worlds))


def _counted(
    leaves: list[Leaves], enough: FloatArray, afresh: BoolArray, before: LeafEnds | None
) -> tuple[Counts, LeafEnds]:
    """Worlds counted from their leaf; `leaves` is of the runs that `Counts` is made of."""
    modelled, early, half = leaves
    any_leaf = early + modelled[len(early) :]
    begun_count, idle, begun_in = np.zeros(any_leaf[0].sure.shape, np.uint8), [], []
    for k, (own_soil, own) in enumerate(zip(modelled, any_leaf, strict=True)):
        was = np.array(-1.0) if before is None else before.idle[k]
        flag = False if before is None else before.begun[k]
        idle_days = run_length(~own_soil.possible, was)
        without = carried_on(np.asarray(was)[..., None], idle_days)[..., :-1]
        # before a time without leaf autumn's colour still goes; after it, leaf is the green-up even
        # where frost takes it back. The time is that of the soil as modelled: else more doubt, in
        # which autumn's leaf stays longer, would begin the green-up less often.
        starts = own.possible & (without >= enough)
        began = latest(starts, np.broadcast_to(afresh, starts.shape), flag)
        begun_count += began
        idle.append(idle_days[..., -1])
        begun_in.append(began[..., -1])
    shares = (_number(any_leaf), _number(any_leaf, "sure"), _number(half), _number(half, "sure"))
    runs = (modelled, any_leaf, half)
    last = [[(one.sure[..., -1], one.possible[..., -1]) for one in run] for run in runs]
    return Counts(*shares, begun_count), LeafEnds(
        np.array(last), np.stack(idle), np.stack(begun_in)
    )


def _number(leaves: Leaves, which: str = "possible") -> npt.NDArray[np.uint8]:
    """In how many worlds there is leaf, ``[..., day]``."""
    count: npt.NDArray[np.uint8] = np.sum(
        [getattr(leaf, which) for leaf in leaves], axis=0, dtype=np.uint8
    )
    return count

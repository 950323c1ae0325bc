"""Ages of the plants that are up: daily cohorts that all live through the season's leaf time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from windowcast.core.record import FloatArray
from windowcast.season.weeds import Weed

History = tuple[FloatArray, FloatArray]  # emerged share and leaf time of earlier days, [..., day]


class Ages(NamedTuple):
    """Plants by age, ``[..., day]``; the last two since the biofix, for a run that goes on."""

    young: FloatArray
    mean_leaf: FloatArray
    stages: Mapping[str, FloatArray]
    season_share: FloatArray
    season_leaf_time: FloatArray


def ages_of(
    weed: Weed,
    share: FloatArray,
    leaf_time: FloatArray,
    resets: npt.NDArray[np.int64],
    earlier: History | None,
) -> Ages:
    """Ages of the plants up, from daily cohorts that all live through the season's leaf time.

    A plant that came up on day e has at day t grown ``leaf_time[t] - leaf_time[e]``. Where nothing
    is up yet, all is "young" and the mean leaf is 0.
    """
    share, leaf_time = np.broadcast_arrays(share, leaf_time)
    leading = share.shape[:-1]
    bounds = weed.common.stage_leaf
    limits = [limit * weed.phyllochron for limit in (weed.young_below, *bounds)]
    older = np.empty((len(limits), *share.shape))
    mean_leaf = np.empty(share.shape)
    before = _history(earlier, leading)
    edges = [0, *(int(i) for i in resets if i), share.shape[-1]]
    kept = before
    for first, stop in pairwise(edges):
        part = slice(first, stop)
        if first or (len(resets) and resets[0] == 0):
            before = _history(None, leading)
        season_share = np.concatenate([before[0], share[..., part]], axis=-1)
        season_leaf = np.concatenate([before[1], leaf_time[..., part]], axis=-1)
        skip = before[0].shape[-1]
        cohorts = np.diff(season_share, axis=-1, prepend=0.0)
        born = np.cumsum(cohorts * season_leaf, axis=-1)
        with np.errstate(invalid="ignore", divide="ignore"):
            age = np.where(season_share > 0, season_leaf - born / season_share, 0.0)
        age = np.where(np.isnan(season_share), np.nan, np.maximum(age, 0.0))
        mean_leaf[..., part] = (age / weed.phyllochron)[..., skip:]
        older[..., part] = _share_older(season_share, season_leaf, limits, skip)
        kept = (season_share, season_leaf)
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = np.where(share > 0, older / share, 0.0)
    ratio = np.where(np.isnan(share), np.nan, np.clip(ratio, 0.0, 1.0))
    names = [f"BBCH 10-{9 + bounds[0]}", f"BBCH {10 + bounds[0]}-{9 + bounds[1]}"]
    stages = {
        names[0]: 1.0 - ratio[1],
        names[1]: ratio[1] - ratio[2],
        f"BBCH {10 + bounds[1]} and later": ratio[2],
    }
    return Ages(1.0 - ratio[0], mean_leaf, stages, kept[0], kept[1])


def _history(earlier: History | None, leading: Sequence[int]) -> History:
    """Share and leaf time of the season's earlier days, with today's leading axes."""
    if earlier is None:
        empty = np.empty((*leading, 0))
        return empty, empty
    share, leaf_time = earlier
    shape = (*leading, share.shape[-1])
    return np.broadcast_to(share, shape), np.broadcast_to(leaf_time, shape)


def _share_older(
    share: FloatArray, leaf: FloatArray, ages: Sequence[float], skip: int
) -> FloatArray:
    """Emerged share that has reached each age, from day `skip` on, ``[age, ..., day]``."""
    days = leaf.shape[-1]
    grown = leaf.reshape(-1, days)
    born = grown[:, None, skip:] - np.reshape(ages, (-1, 1))
    last = np.empty(born.shape, np.int64)
    for row, of, found in zip(grown, born, last, strict=True):
        found[:] = np.searchsorted(row, of, side="right")
    last += (days + 1) * np.arange(len(grown))[:, None, None]
    up = np.concatenate([np.zeros((len(grown), 1)), share.reshape(grown.shape)], axis=-1)
    older = up.ravel().take(last)
    return older.swapaxes(0, 1).reshape(len(ages), *leaf.shape[:-1], days - skip)

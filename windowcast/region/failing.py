"""Winters that fail: half of a region's stations had no week with enough spray days, and why."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
import numpy.typing as npt

from windowcast.core.record import FloatArray
from windowcast.core.values import Table
from windowcast.region.columns import LOST_COLUMNS, REASONS
from windowcast.region.effects import effects

Grid = Callable[[str], FloatArray]
"""A column of seasons as ``[station, season]``."""


def failed(weeks: npt.NDArray[np.floating], enough: float) -> FloatArray:
    """1 where no week of a season has enough spray days, 0 where one has, ``[...]``.

    NaN where no known week has enough and some week is unknown. `weeks` is ``[..., week]``.
    """
    some = (weeks >= enough).any(axis=-1)
    return np.where(some, 0.0, np.where(np.isnan(weeks).any(axis=-1), np.nan, 1.0))


def share_failed(fails: FloatArray, drawn: FloatArray, marks: Table) -> FloatArray:
    """Share of a region's stations that failed, ``[season]``; NaN where too few can be told.

    Parameters
    ----------
    fails
        Of `failed`, ``[station, season]``.
    drawn
        Of `effects.station_draws`.
    marks
        ``failing`` of ``data/region.toml``.
    """
    enough = np.isfinite(fails).sum(axis=0) >= marks.number("known") * len(fails)
    return np.where(enough, np.clip(effects(fails, drawn).by_year, 0.0, 1.0), np.nan)


def failing(
    share: FloatArray, fails: FloatArray, grid: Grid, marks: Table
) -> Iterator[tuple[int, str, float]]:
    """Position, reason and share of stations of the seasons that failed in a region.

    Parameters
    ----------
    share
        Of `share_failed`, ``[season]``.
    fails
        Of `failed`, ``[station, season]``.
    grid
        Columns of the same stations, read only where a season failed.
    marks
        ``failing`` of ``data/region.toml``.
    """
    seasons = np.flatnonzero(share >= marks.number("share"))
    if not len(seasons):
        return
    lost = np.stack([grid(LOST_COLUMNS[reason]) for reason in REASONS])
    safe = grid("spray_days_total") + lost.sum(axis=0)
    for season in seasons.tolist():
        own = fails[:, season] == 1
        yield (
            season,
            main_reason(lost[:, own, season], safe[own, season], marks),
            float(share[season]),
        )


def main_reason(lost: FloatArray, safe: FloatArray, marks: Table) -> str:
    """What took most days of a season at some stations; "" where that is unknown.

    Parameters
    ----------
    lost
        Days lost by each of `columns.REASONS`, ``[reason, station]``.
    safe
        Days on which turf was safe, ``[station]``.
    """
    known = np.isfinite(safe)
    if not known.any():
        return ""
    if np.median(safe[known]) < marks.number("safe_days"):
        return "not_dormant"
    return REASONS[int(lost[:, known].sum(axis=1).argmax())]

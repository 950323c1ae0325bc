"""On which days a pre-emergent holds, and on what share of the ground."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from windowcast.core.record import FloatArray
from windowcast.windows.along_rows import where_reached
from windowcast.windows.barrier import SATURATED, Barrier, Exposure, Surroundings
from windowcast.windows.loss import watered_share


def days_held(
    soil_c: FloatArray, rain_mm: FloatArray, barrier: Barrier, laid: npt.NDArray[np.int64]
) -> FloatArray:
    """Share of the ground on which the residual holds, ``[member, application, day]``, 0..1.

    Weighted with what emerges on each day it is `windowcast.windows.barrier.caught_by_day`.

    Parameters
    ----------
    soil_c, rain_mm
        As for `windowcast.windows.barrier.cover`, ``[member, day]``.
    laid
        Index of the day of each application, ``[application]``.

    Examples
    --------
    Half gone in 10 days, in soil at the reference temperature, and 17 % is enough:

    >>> import numpy as np
    >>> from windowcast.core.values import PACKAGED
    >>> from windowcast.windows.barrier import Barrier
    >>> from windowcast.windows.days_held import days_held
    >>> from windowcast.windows.loss import Loss
    >>> barrier = Barrier(10.0, 0.0, 7, Loss.of(PACKAGED["barrier"]))
    >>> soil_c, rain_mm = np.full((1, 40), 20.0), np.zeros((1, 40))
    >>> float(days_held(soil_c, rain_mm, barrier, np.array([5])).sum().round(1))
    25.6
    """
    soil_c, rain_mm = np.broadcast_arrays(*np.atleast_2d(soil_c, rain_mm))
    members, days = soil_c.shape
    ground = Surroundings.of(np.zeros(soil_c.shape), soil_c, rain_mm)
    met = Exposure.of(ground, barrier)
    rows, day = np.repeat(np.arange(members), len(laid)), np.tile(laid, members)
    changes = np.zeros((len(rows), days + 2))
    need, loss = barrier.activation_mm, barrier.loss
    at = np.arange(len(rows))
    begun = watered_share(np.full(len(rows), barrier.at_once_mm), need, loss)
    _begin(changes, met, _Spots(at, rows, day, day, begun))
    rain_day = ground.next_rain[rows, day + 1]
    while True:
        goes_on = (rain_day < days) & (begun < 1)
        if not goes_on.any():
            break
        at, rows, day, begun, rain_day = (x[goes_on] for x in (at, rows, day, begun, rain_day))
        fallen = ground.fallen[rows, rain_day + 1] - ground.fallen[rows, day + 1]
        watered = watered_share(barrier.at_once_mm + fallen, need, loss)
        watered = np.where(watered < 1 - SATURATED, watered, 1.0)
        _begin(changes, met, _Spots(at, rows, day, rain_day + 1, watered - begun))
        begun, rain_day = watered, ground.next_rain[rows, rain_day + 1]
    held: FloatArray = np.cumsum(changes, axis=-1)[:, :days].reshape(members, len(laid), days)
    return np.clip(held, 0.0, 1.0)


class _Spots(NamedTuple):
    """Shares of the ground that are watered in on one day, each of one application."""

    row: npt.NDArray[np.intp]
    member: npt.NDArray[np.int64]
    laid: npt.NDArray[np.int64]
    start: npt.NDArray[np.int64]
    share: FloatArray


def _begin(changes: FloatArray, met: Exposure, spots: _Spots) -> None:
    """Add what shares of the ground change when their residual begins and ends, in place.

    Parameters
    ----------
    changes
        From one day to the next, ``[row, day + 2]``.
    spots
        No row twice.
    """
    rows, start = spots.member, spots.start
    lost = met.lost.x
    days = lost.shape[-1] - 1
    waited = met.waiting[rows, start] - met.waiting[rows, spots.laid]
    lasting = np.broadcast_to(met.barrier.half_lives_held, (len(lost), 1))[rows, 0]
    end = lost[rows, spots.laid] + lasting - waited
    axis = np.broadcast_to(np.arange(days + 1.0), lost.shape)
    finish = where_reached(met.lost, axis, rows, end, beyond=float(days))
    holds = finish > start
    at, start, finish, share = spots.row[holds], start[holds], finish[holds], spots.share[holds]
    whole = finish.astype(np.int64)
    part = finish - whole
    changes[at, start] += share
    changes[at, whole] -= share * (1 - part)
    changes[at, whole + 1] -= share * part

"""On which days a pre-emergent holds, and on what share of the ground."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from windowcast.core.record import FloatArray
from windowcast.windows.along_rows import where_reached
from windowcast.windows.exposure import Barrier, Exposure, Surroundings, Watered


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
    >>> from windowcast.windows.exposure import Barrier
    >>> from windowcast.windows.days_held import days_held
    >>> from windowcast.windows.loss import Loss
    >>> barrier = Barrier(10.0, 0.0, 7, Loss.of(PACKAGED["barrier"]))
    >>> soil_c, rain_mm = np.full((1, 40), 20.0), np.zeros((1, 40))
    >>> float(days_held(soil_c, rain_mm, barrier, np.array([5])).sum().round(1))
    25.6
    """
    soil_c, rain_mm = np.broadcast_arrays(*np.atleast_2d(soil_c, rain_mm))
    members, days = soil_c.shape
    met = Exposure.of(Surroundings.of(np.zeros(soil_c.shape), soil_c, rain_mm), barrier)
    rows, day = np.repeat(np.arange(members), len(laid)), np.tile(laid, members)
    changes = np.zeros((len(rows), days + 2))
    for new in met.watered(rows, day):
        _begin(changes, met, new)
    held: FloatArray = np.cumsum(changes, axis=-1)[:, :days].reshape(members, len(laid), days)
    return np.clip(held, 0.0, 1.0)


def _begin(changes: FloatArray, met: Exposure, new: Watered) -> None:
    """Add what shares of the ground change when their residual begins and ends, in place.

    Parameters
    ----------
    changes
        From one day to the next, ``[application, day + 2]``.
    """
    days = met.lost.x.shape[-1] - 1
    end = met.end(new.row, new.laid, new.start)
    axis = np.broadcast_to(np.arange(days + 1.0), met.lost.x.shape)
    finish = where_reached(met.lost, axis, new.row, end, beyond=float(days))
    holds = finish > new.start
    at, start, share, finish = new.at[holds], new.start[holds], new.share[holds], finish[holds]
    whole = finish.astype(np.int64)
    part = finish - whole
    changes[at, start] += share
    changes[at, whole] -= share * (1 - part)
    changes[at, whole + 1] -= share * part

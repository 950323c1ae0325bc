"""The first and the last day on which something holds, where some days are unknown."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from windowcast.core.record import FloatArray


def first_day(
    reached: npt.NDArray[np.bool_], unknown: npt.NDArray[np.bool_] | None = None
) -> FloatArray:
    """Index of the first day on which something is reached, ``[...]``.

    Infinite if it never is. NaN if a day before it is unknown, or any day when it never is.

    Parameters
    ----------
    reached, unknown
        ``[..., day]``; without `unknown` every day is known.
    """
    first = _first_true(reached)
    if unknown is None:
        return first
    return np.where(_first_true(unknown) < first, np.nan, first)


def last_day(
    holds: npt.NDArray[np.bool_], unknown: npt.NDArray[np.bool_] | None = None
) -> FloatArray:
    """Index of the last day on which something holds, ``[...]``; as `first_day` seen backwards."""
    back = first_day(holds[..., ::-1], None if unknown is None else unknown[..., ::-1])
    return np.where(np.isinf(back), np.inf, holds.shape[-1] - 1 - back)


def _first_true(condition: npt.NDArray[np.bool_]) -> FloatArray:
    """Index of the first True, ``[...]``; infinite where there is none."""
    if not condition.shape[-1]:
        return np.full(condition.shape[:-1], np.inf)
    return np.where(condition.any(axis=-1), condition.argmax(axis=-1).astype(np.float64), np.inf)

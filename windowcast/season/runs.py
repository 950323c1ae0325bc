"""Runs of days: since when, for how long and until when something is so, ``[..., day]``."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from windowcast.core.record import FloatArray

BoolArray = npt.NDArray[np.bool_]


def last_index(where: npt.NDArray[np.bool_], none: int) -> npt.NDArray[np.int64]:
    """Index of the latest True up to each day, `none` before the first, ``[..., day]``."""
    index = np.where(where, np.arange(where.shape[-1]), none)
    return np.maximum.accumulate(index, axis=-1)


def latest(set_on: BoolArray, cleared_on: BoolArray, begin: BoolArray | bool) -> BoolArray:
    """State that the latest of two conditions left (setting wins), ``[..., day]``.

    Parameters
    ----------
    begin
        State before the first day, ``[...]``.
    """
    days = set_on.shape[-1]
    small = np.dtype(np.int16 if 2 * days < np.iinfo(np.int16).max else np.int32)
    set_code, cleared_code = np.arange(2 * days, dtype=small).reshape(-1, 2).T[::-1]
    code = np.where(set_on, set_code, np.where(cleared_on, cleared_code, small.type(-1)))
    np.maximum.accumulate(code, axis=-1, out=code)
    state = (code & 1).astype(bool)  # True where neither came yet
    untouched = code[..., :1] < 0
    if begin is True or not untouched.any():
        return state
    return np.where(code < 0, np.expand_dims(begin, -1), state)


def since(set_on: BoolArray, cleared_on: BoolArray, carried: BoolArray | None) -> BoolArray:
    """A flag that one condition sets and the other clears (setting wins), ``[..., day]``."""
    return latest(
        set_on, np.broadcast_to(cleared_on, set_on.shape), False if carried is None else carried
    )


def run_length(where: npt.NDArray[np.bool_], carried: FloatArray | None) -> FloatArray:
    """Days since a condition began to hold without break: 0 on its first day, -1 where it does not.

    A carried -1 says that it did not hold on the day before.

    Examples
    --------
    >>> import numpy as np
    >>> from windowcast.season.runs import run_length
    >>> run_length(np.array([True, True, False, True]), None)
    array([ 0.,  1., -1.,  0.])
    >>> run_length(np.array([True, True]), np.array(4.0))
    array([5., 6.])
    """
    begin = np.full(where.shape[:-1], -1.0) if carried is None else carried
    day = np.arange(where.shape[-1], dtype=np.int32)
    broken = np.where(where, np.int32(-1), day)
    np.maximum.accumulate(broken, axis=-1, out=broken)
    since = np.subtract(day - broken, 1.0, dtype=np.float64)
    return since + np.where(broken < 0, begin[..., None] + 1.0, 0.0)


def next_true(where: npt.NDArray[np.bool_]) -> FloatArray:
    """Index of the next True from each day on (itself included), infinite when there is none."""
    index = np.where(where, np.arange(where.shape[-1]), np.inf)
    return np.minimum.accumulate(index[..., ::-1], axis=-1)[..., ::-1]


def known_run(values: FloatArray) -> FloatArray:
    """Number of days from each day on (itself included) before a value is missing or ends."""
    days = values.shape[-1]
    return np.minimum(next_true(np.isnan(values)), days) - np.arange(days)


def carried_on(history: FloatArray, values: FloatArray) -> FloatArray:
    """Values with those of the days before put in front, ``[..., day]``."""
    leading = np.broadcast_shapes(history.shape[:-1], values.shape[:-1])
    parts = (np.broadcast_to(a, (*leading, a.shape[-1])) for a in (history, values))
    return np.concatenate(list(parts), axis=-1)

"""Runs of days and windows over them, ``[..., day]``: since when, for how long, how much in all.

Windows are summed in a fixed order, so that runs that are split agree to the bit.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from windowcast.core.record import FloatArray

BoolArray = npt.NDArray[np.bool_]


def last_index(where: npt.NDArray[np.bool_], none: int) -> npt.NDArray[np.int64]:
    """Index of the latest True up to each day, `none` before the first, ``[..., day]``.

    Examples
    --------
    >>> import numpy as np
    >>> from windowcast.season.runs import last_index
    >>> last_index(np.array([False, True, False, True]), -1)
    array([-1,  1,  1,  3])
    """
    index = np.where(where, np.arange(where.shape[-1]), none)
    return np.maximum.accumulate(index, axis=-1)


def latest(set_on: BoolArray, cleared_on: BoolArray, begin: BoolArray | bool) -> BoolArray:
    """State that the latest of two conditions left (setting wins), ``[..., day]``.

    Parameters
    ----------
    begin
        State before the first day, ``[...]``.

    Examples
    --------
    >>> import numpy as np
    >>> from windowcast.season.runs import latest
    >>> set_on = np.array([False, True, False, False])
    >>> latest(set_on, np.array([False, False, False, True]), False).tolist()
    [False, True, True, False]
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
    """A flag that one condition sets and the other clears (setting wins), ``[..., day]``.

    Examples
    --------
    >>> import numpy as np
    >>> from windowcast.season.runs import since
    >>> since(np.array([True, False, False]), np.array([False, False, True]), None).tolist()
    [True, True, False]
    """
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
    """Index of the next True from each day on (itself included), infinite when there is none.

    Examples
    --------
    >>> import numpy as np
    >>> from windowcast.season.runs import next_true
    >>> next_true(np.array([False, True, False]))
    array([ 1.,  1., inf])
    """
    index = np.where(where, np.arange(where.shape[-1]), np.inf)
    return np.minimum.accumulate(index[..., ::-1], axis=-1)[..., ::-1]


def known_run(values: FloatArray) -> FloatArray:
    """Number of days from each day on (itself included) before a value is missing or ends.

    Examples
    --------
    >>> import numpy as np
    >>> from windowcast.season.runs import known_run
    >>> known_run(np.array([1.0, 2.0, np.nan, 4.0]))
    array([2., 1., 0., 1.])
    """
    days = values.shape[-1]
    return np.minimum(next_true(np.isnan(values)), days) - np.arange(days)


def carried_on(history: FloatArray, values: FloatArray) -> FloatArray:
    """Values with those of the days before put in front, ``[..., day]``.

    Examples
    --------
    >>> import numpy as np
    >>> from windowcast.season.runs import carried_on
    >>> carried_on(np.array([1.0]), np.array([[2.0], [3.0]]))
    array([[1., 2.],
           [1., 3.]])
    """
    leading = np.broadcast_shapes(history.shape[:-1], values.shape[:-1])
    parts = (np.broadcast_to(a, (*leading, a.shape[-1])) for a in (history, values))
    return np.concatenate(list(parts), axis=-1)


def trailing_sum(values: FloatArray, days: int) -> FloatArray:
    """Sum over each day and the ``days - 1`` before it, ``[..., day]``; NaN while incomplete.

    Examples
    --------
    >>> import numpy as np
    >>> from windowcast.season.runs import trailing_sum
    >>> trailing_sum(np.array([1.0, 2.0, 3.0, 4.0]), 3)
    array([nan, nan,  6.,  9.])
    """
    out = np.full(values.shape, np.nan)
    if values.shape[-1] < days:
        return out
    size = values.shape[-1] - days + 1
    total = np.zeros((*values.shape[:-1], size))
    for offset in range(days):
        total += values[..., offset : offset + size]
    out[..., days - 1 :] = total
    return out


def trailing_mean(values: FloatArray, days: int) -> FloatArray:
    """Mean over each day and the ``days - 1`` before it, ``[..., day]``; NaN while incomplete.

    Examples
    --------
    >>> import numpy as np
    >>> from windowcast.season.runs import trailing_mean
    >>> trailing_mean(np.array([1.0, 2.0, 3.0, np.nan]), 2)
    array([nan, 1.5, 2.5, nan])
    """
    return trailing_sum(values, days) / days

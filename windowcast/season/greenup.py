"""When the green-up of a season has begun: live leaf after a time without any.

Before such a time autumn's loss of colour is still going on; after it, leaf is the green-up even
where frost takes it back.
"""

from __future__ import annotations

import numpy as np

from windowcast.core.record import FloatArray
from windowcast.season.runs import BoolArray, latest


def begun(
    leaf: BoolArray,
    idle: FloatArray,
    enough_days: FloatArray,
    afresh: BoolArray,
    before: BoolArray | bool,
) -> BoolArray:
    """Whether green-up has begun, ``[..., day]``.

    Parameters
    ----------
    leaf
        Whether live leaf may be there, ``[..., day]``.
    idle
        Days without on the day before the first, less one; -1: there was some. ``[...]``
    enough_days
        Days without that there must have been, less one, ``[..., day]`` or ``[day]``.
    afresh
        Days on which none has begun, whatever was before.
    before
        Whether it had begun on the day before, ``[...]``.
    """
    days = leaf.shape[-1]
    rows = leaf.reshape(-1, days)
    start = np.broadcast_to(idle, leaf.shape[:-1]).reshape(-1)
    enough = np.broadcast_to(enough_days, leaf.shape).reshape(-1, days)
    row, day = np.nonzero(rows[:, 1:] != rows[:, :-1])
    day += 1
    first = np.flatnonzero(rows[:, 0] & (start >= 0))  # leaf comes on the very first day
    begins = np.zeros(rows.shape, bool)
    begins[first, 0] = start[first] >= enough[first, 0]
    rises = rows[row, day]
    follows = np.concatenate([[False], row[1:] == row[:-1]]) if row.size else np.zeros(0, bool)
    went = np.concatenate([[0], day[:-1]]) if day.size else day
    without = np.where(follows, day - 1 - went, start[row] + day)
    hit = rises & (without >= enough[row, day])
    begins[row[hit], day[hit]] = True
    return latest(begins.reshape(leaf.shape), np.broadcast_to(afresh, leaf.shape), before)


def idle_after(leaf: BoolArray, idle: FloatArray) -> FloatArray:
    """Days without leaf up to the last day, less one, -1 where there is some on it, ``[...]``."""
    back = leaf[..., ::-1]
    result: FloatArray = np.where(
        back.any(axis=-1), back.argmax(axis=-1) - 1.0, idle + leaf.shape[-1]
    )
    return result

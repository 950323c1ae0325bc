"""Trailing windows over days, summed in a fixed order so that split runs agree to the bit."""

from __future__ import annotations

import numpy as np

from windowcast.core.record import FloatArray


def trailing_sum(values: FloatArray, days: int) -> FloatArray:
    """Sum over each day and the ``days - 1`` before it, ``[..., day]``; NaN while incomplete.

    Examples
    --------
    >>> import numpy as np
    >>> from windowcast.season.rolling import trailing_sum
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
    >>> from windowcast.season.rolling import trailing_mean
    >>> trailing_mean(np.array([1.0, 2.0, 3.0, np.nan]), 2)
    array([nan, 1.5, 2.5, nan])
    """
    return trailing_sum(values, days) / days

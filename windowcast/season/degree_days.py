"""Degree days of daily means, and their running totals from a biofix date.

All functions take arrays ``[..., day]`` (or anything that broadcasts) in °C and return °C·d. A
missing temperature gives a missing degree day, and a total that is missing from there to the next
biofix: a gap is never counted as zero.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import numpy.typing as npt

from windowcast.core.record import FloatArray


def heating(mean_c: FloatArray, base_c: float, ceiling_c: float | None = None) -> FloatArray:
    """Degree days of a day's mean temperature above a base, ``[..., day]``.

    Parameters
    ----------
    mean_c
        Daily mean temperature [°C].
    base_c
        Below it nothing accumulates [°C].
    ceiling_c
        Warmer means count as this (horizontal cutoff) [°C]; None for no ceiling.

    Returns
    -------
    FloatArray
        [°C·d]

    Notes
    -----
    ``max(min(T, ceiling) - base, 0)``

    References
    ----------
    McMaster & Wilhelm (1997), *Agric. For. Meteorol.* 87:291-300, method 1.

    Examples
    --------
    >>> import numpy as np
    >>> from windowcast.season.degree_days import heating
    >>> heating(np.array([5.0, 15.0, 40.0, np.nan]), base_c=10.0, ceiling_c=35.0)
    array([ 0.,  5., 25., nan])
    """
    top = mean_c if ceiling_c is None else np.minimum(mean_c, ceiling_c)
    return np.maximum(top - base_c, 0.0)


def chilling(mean_c: FloatArray, base_c: float) -> FloatArray:
    """Degree days by which a day's mean falls short of a base (cooling degree days).

    Parameters
    ----------
    mean_c, base_c
        As of `heating`.

    Returns
    -------
    FloatArray
        [°C·d]

    Notes
    -----
    ``max(base - T, 0)``

    References
    ----------
    Taylor et al. (2021), *Scientific Reports* 11, count the emergence of annual bluegrass so.

    Examples
    --------
    >>> import numpy as np
    >>> from windowcast.season.degree_days import chilling
    >>> chilling(np.array([25.0, 15.0, np.nan]), base_c=21.0)
    array([ 0.,  6., nan])
    """
    return np.maximum(base_c - mean_c, 0.0)


def accumulate(
    daily: FloatArray, reset: npt.NDArray[np.bool_], start: FloatArray | float = np.nan
) -> FloatArray:
    """Running total of daily values that begins anew on each reset day, ``[..., day]``.

    Parameters
    ----------
    daily
        Daily degree days, ``[..., day]``.
    reset
        True on biofix days, ``[day]``; that day's own value is the first of the new total.
    start
        Total carried in from the day before the first, ``[...]``. The default NaN says that the
        record begins after the biofix, so the total is unknown until the next one.

    Returns
    -------
    FloatArray
        [°C·d]; NaN from a missing day to the next reset.

    Notes
    -----
    Summed strictly in order of time, so that a run split in two gives the same bits as one run.

    Examples
    --------
    >>> import numpy as np
    >>> from windowcast.season.degree_days import accumulate
    >>> reset = np.array([False, True, False, False, True])
    >>> accumulate(np.array([1.0, 2.0, 3.0, np.nan, 5.0]), reset)
    array([nan,  2.,  5., nan,  5.])
    >>> accumulate(np.array([1.0, 2.0]), np.array([False, False]), start=10.0)
    array([11., 13.])
    """
    leading = np.broadcast_shapes(daily.shape[:-1], np.shape(start))
    total = np.array(np.broadcast_to(daily, (*leading, daily.shape[-1])), dtype=float)
    if total.shape[-1] == 0:
        return total
    if not reset[0]:
        total[..., 0] = start + total[..., 0]
    edges = [0, *(i for i in np.flatnonzero(reset) if i), total.shape[-1]]
    for first, stop in pairwise(edges):
        total[..., first:stop] = np.cumsum(total[..., first:stop], axis=-1)
    return total

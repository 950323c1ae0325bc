"""Misses of forecasts as issued for a city, to be laid on the weather of a station near by.

Highs alone: a low as issued is that of a night, one observed that of a calendar date, and which
night is meant differs from zone to zone of the collection.
"""

from __future__ import annotations

import numpy as np

from windowcast.core.errors import InputError
from windowcast.core.record import DateArray, FloatArray, Record
from windowcast.verify.issued import LEADS, Issued

ALIKE = 0.85  # least correlation of how highs change from day to day
FEWEST = 200  # days by which it is judged


def misses_issued(issued: Issued, record: Record, dates: DateArray) -> FloatArray:
    """Came minus told of the high in a city, by the day it is about, K, ``[day, lead]``.

    Parameters
    ----------
    issued
        A city's forecasts and observations.
    record
        Daily, of the station that they are to be laid on.
    dates
        Days wanted, ``[day]``; NaN where nothing was told or observed.

    Raises
    ------
    InputError
        Highs of the record do not change from day to day as those observed in the city do.
    """
    both, here, there = np.intersect1d(record.times, issued.dates, return_indices=True)
    changes = [np.diff(highs) for highs in (record.get("tmax_c")[here], issued.came_high_c[there])]
    known = np.isfinite(changes).all(axis=0) & (np.diff(both) == np.timedelta64(1, "D"))
    alike = np.corrcoef(changes[0][known], changes[1][known])[0, 1] if known.any() else 0.0
    if known.sum() < FEWEST or alike < ALIKE:
        raise InputError(
            f"the weather of {record.place.name} is not that of city {issued.name}",
            field="forecasts",
            remedy="give forecasts of a city near by, for the years of the record",
        )
    at = (dates - issued.dates[0]).astype(np.int64)[:, None] - np.arange(LEADS)
    inside = (at >= 0) & (at + np.arange(LEADS) < len(issued.dates))
    issue = np.clip(at, 0, len(issued.dates) - 1)
    day = np.clip(at + np.arange(LEADS), 0, len(issued.dates) - 1)
    off = issued.came_high_c[day] - issued.high_c[issue, np.arange(LEADS)]
    misses: FloatArray = np.where(inside, off, np.nan)
    return misses

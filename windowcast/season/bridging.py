"""Degree days over gaps in a record, as other years had them.

A running total cannot skip days. It goes on with the mean of the same stretch of other years, and
with how far they lie from it as a doubt beside it; what follows from the total decides whether
that doubt is small enough (chilling in July) or it cannot be told (a week in October).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from windowcast.core.record import FloatArray
from windowcast.season.weeds import CommonValues
from windowcast.weather.gaps import gap_spans

YEAR_DAYS = 365.2425


class Bridged(NamedTuple):
    """Daily degree days with gaps bridged, and their doubt to either side, ``[..., day]`` [°C·d].

    The doubt is 0 on days that are known.
    """

    daily: FloatArray
    doubt: FloatArray


def bridged(daily: FloatArray, common: CommonValues) -> Bridged:
    """Bridge the gaps of daily degree days.

    Parameters
    ----------
    daily
        ``[..., day]`` [°C·d]; NaN on unknown days.

    Returns
    -------
    Bridged
        Over a gap the mean of the same stretch of other years, moved by some days either way, and
        the greatest distance from it, both spread evenly. NaN before the first known day, after
        the last, and where there are too few other years.

    Examples
    --------
    Ten years alike, with three days of one of them missing:

    >>> import numpy as np
    >>> from windowcast.season.bridging import bridged
    >>> from windowcast.season.weeds import weed
    >>> daily = np.tile(5.0, 3650)
    >>> daily[1000:1003] = np.nan
    >>> found = bridged(daily, weed("POAAN").common)
    >>> found.daily[999:1004], found.doubt[1001]
    (array([5., 5., 5., 5., 5.]), np.float64(0.0))
    """
    missing = np.isnan(daily)
    doubt = np.where(missing, np.nan, 0.0)
    if not missing.any():
        return Bridged(daily, doubt)
    out = daily.copy()
    rows, widths = (a.reshape(-1, a.shape[-1]) for a in (out, doubt))
    ends = np.argmin(missing, axis=-1) + np.argmin(missing[..., ::-1], axis=-1)
    for n in np.flatnonzero(missing.sum(axis=-1) > ends).tolist():
        row, width = rows[n], widths[n]
        known = _Sums.of(row)
        for start, stop in gap_spans(row).tolist():
            totals = known.of_other_years(start, stop, common)
            if len(totals):
                row[start:stop] = totals.mean() / (stop - start)
                width[start:stop] = np.abs(totals - totals.mean()).max() / (stop - start)
    return Bridged(out, doubt)


class _Sums(NamedTuple):
    """Running totals of one row and of its unknown days, each from 0, ``[day + 1]``."""

    total: FloatArray
    unknown: FloatArray

    @classmethod
    def of(cls, row: FloatArray) -> _Sums:
        missing = np.isnan(row)
        total, unknown = np.cumsum(np.where(missing, 0.0, row)), np.cumsum(missing.astype(float))
        return cls(np.append(0.0, total), np.append(0.0, unknown))

    def of_other_years(self, start: int, stop: int, common: CommonValues) -> FloatArray:
        """Totals of the stretch in other years, a few days earlier to later; empty if too few."""
        reach, days = common.bridge_shift_days, len(self.total) - 1
        years = np.arange(-(start // 365) - 1, (days - stop) // 365 + 2)
        moved = np.rint(YEAR_DAYS * years[years != 0]).astype(np.int64)
        first = start + moved[:, None] + np.arange(-reach, reach + 1)
        last = first + (stop - start)
        inside = (first >= 0) & (last <= days)
        first, last = np.clip(first, 0, days), np.clip(last, 0, days)
        whole = inside & (self.unknown[last] == self.unknown[first])
        if whole.any(axis=-1).sum() < common.bridge_years:
            return np.empty(0)
        totals: FloatArray = (self.total[last] - self.total[first])[whole]
        return np.maximum(totals, 0.0)

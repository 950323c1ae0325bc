"""How fast a place warms: past years are moved to today's climate before they stand for futures.

A record of some decades has a middle that lies years back. Without this its past years are too
cold for the season ahead, soil falls below a mark later than they say, and rises above one earlier.
"""

from __future__ import annotations

import numpy as np

from windowcast.core.record import FloatArray
from windowcast.core.values import Table

YEAR_DAYS = 365


def warming_k_per_year(departures_k: FloatArray, values: Table) -> float:
    """Warming of a record, drawn towards what is usual, which decides for a short one.

    Parameters
    ----------
    departures_k
        Of daily mean air temperature from the normal course, up to yesterday, ``[day]`` [K].
    values
        The table ``data/ensemble.toml``.

    Notes
    -----
    The slope of the yearly means by least squares has the variance ``s² / Σ(y - ȳ)²``; it is
    weighed against the usual warming by the inverse of both variances.

    Examples
    --------
    Thirty years that warm by 0.05 K a year, and two of them:

    >>> import numpy as np
    >>> from windowcast.core.values import load
    >>> from windowcast.weather.warming import warming_k_per_year
    >>> warm = np.repeat(0.05 * np.arange(30), 365)
    >>> found = [warming_k_per_year(part, load("ensemble")) for part in (warm, warm[-730:])]
    >>> [round(slope, 3) for slope in found]
    [0.04, 0.026]
    """
    table = values.table("warming")
    usual, spread = table.number("usual"), table.number("usual_sd")
    years = len(departures_k) // YEAR_DAYS
    if not years:
        return usual
    by_year = departures_k[len(departures_k) - years * YEAR_DAYS :].reshape(years, YEAR_DAYS)
    known = np.isfinite(by_year)
    whole = known.mean(axis=1) >= table.number("whole_year")
    if whole.sum() < 2:
        return usual
    year = np.arange(years, dtype=np.float64)[whole]
    mean = np.where(known, by_year, 0.0).sum(axis=1)[whole] / known.sum(axis=1)[whole]
    year -= year.mean()
    own = float(year @ mean / (year @ year))
    own_weight = float(year @ year) / table.number("year_sd") ** 2
    return (own * own_weight + usual / spread**2) / (own_weight + 1.0 / spread**2)

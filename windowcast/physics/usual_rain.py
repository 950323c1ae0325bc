"""Rain as is usual, for days on which nobody knows it: what the soil drinks then.

The amount and the share of wet days are a month's; which days are wet is told by their temperature
range, since clouds and rain narrow it. The result drives the soil and what germinates in it, never
a limit on spraying.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from windowcast.core.record import DateArray, FloatArray
from windowcast.core.values import Table, load

MONTHS = 12
LONGEST_MONTH_D = 31
LEAST_MM = 0.05  # a day; keeps a logarithm of rain finite


@dataclass(frozen=True)
class RainClimate:
    """Usual rain by month, January first, ``[month]``; NaN where it is not known.

    Attributes
    ----------
    mean_mm
        Of a day, dry days counted.
    wet_share
        Of the days, 0..1.
    """

    mean_mm: FloatArray
    wet_share: FloatArray

    def or_else(self, other: RainClimate) -> RainClimate:
        """This, and the other's months where this has none."""
        known = np.isfinite(self.mean_mm)
        return RainClimate(
            np.where(known, self.mean_mm, other.mean_mm),
            np.where(known, self.wet_share, other.wet_share),
        )


def month_of(dates: DateArray) -> npt.NDArray[np.int64]:
    """Month of each date, 0 to 11."""
    return dates.astype("datetime64[M]").astype(np.int64) % MONTHS


def own_climate(
    dates: DateArray, precip_mm: FloatArray, values: Table | None = None
) -> RainClimate:
    """Usual rain by the days of a record on which it is known.

    Parameters
    ----------
    dates, precip_mm
        ``[time]``.
    values
        Instead of ``data/usual_rain.toml``.

    Returns
    -------
    RainClimate
        NaN for months of which too few years are known.
    """
    table = values or load("usual_rain")
    least_days, least_years = table.number("own.days"), table.number("own.years")
    wet_mm = table.number("wet")
    month, year = month_of(dates), dates.astype("datetime64[Y]").astype(np.int64)
    year -= year.min()
    mean, wet = np.full(MONTHS, np.nan), np.full(MONTHS, np.nan)
    for m in range(MONTHS):
        here = (month == m) & np.isfinite(precip_mm)
        known = precip_mm[here]
        if len(known) and (np.bincount(year[here]) >= least_days).sum() >= least_years:
            mean[m], wet[m] = known.mean(), (known >= wet_mm).mean()
    return RainClimate(mean, wet)


def climate_by_range(
    dates: DateArray, tmax_c: FloatArray, tmin_c: FloatArray, values: Table | None = None
) -> RainClimate:
    """Usual rain guessed from the mean range of the air temperature in each month.

    Good to a factor of two or three: for places of which nothing else is known. A month without
    any temperature gets the mean of all.

    Notes
    -----
    ``log(rain + 0.05) = a + b sqrt(range)``, and the share of wet days likewise, fitted on stations
    (``data/usual_rain.toml``).

    References
    ----------
    Hargreaves & Samani (1982) tie cloud to the root of the range.
    """
    table = (values or load("usual_rain")).table("range")
    month, spread = month_of(dates), tmax_c - tmin_c
    known = np.isfinite(spread)
    root = np.full(MONTHS, np.nan)
    for m in range(MONTHS):
        days = spread[known & (month == m)]
        if len(days):
            root[m] = np.sqrt(max(float(days.mean()), 0.0))
    middle = np.sqrt(table.number("middle_k")) if np.isnan(root).all() else np.nanmean(root)
    root = np.where(np.isnan(root), middle, root)
    log_mm = table.number("log_base") + table.number("log_per_root_k") * root
    share = table.number("wet_base") + table.number("wet_per_root_k") * root
    low, high = table.value("wet_bounds").value
    return RainClimate(np.maximum(np.exp(log_mm) - LEAST_MM, LEAST_MM), np.clip(share, low, high))


def filled_rain(
    dates: DateArray,
    tmax_c: FloatArray,
    tmin_c: FloatArray,
    precip_mm: FloatArray,
    *,
    climate: RainClimate | None = None,
    values: Table | None = None,
) -> FloatArray:
    """Rain with usual amounts on the days on which it is not known.

    Parameters
    ----------
    dates, tmax_c, tmin_c, precip_mm
        ``[time]``. The record's own years count first.
    climate
        For months the record does not tell; by default, as for months the climate leaves out, what
        the range of the temperature says.
    values
        Instead of ``data/usual_rain.toml``.

    Returns
    -------
    FloatArray
        [mm], finite and as given where it is known.

    Notes
    -----
    Of each month's days those with the narrowest temperature range are wet, in the share of wet
    days. With r the place of a day among n, from 0, and w the share, ``q = (r + 0.5) / (n w)``;
    where q is below 1 the amount goes as ``-log q``, like amounts from an exponential distribution.
    Their mean is the month's. A day without temperatures brings that mean.

    Examples
    --------
    >>> import numpy as np
    >>> from windowcast.physics.usual_rain import RainClimate, filled_rain
    >>> days = np.arange("2023-04-01", "2023-04-05", dtype="datetime64[D]")
    >>> tmax, tmin = np.array([15.0, 24.0, 25.0, 16.0]), np.array([10.0, 8.0, 8.0, 9.0])
    >>> april = RainClimate(np.full(12, 3.0), np.full(12, 0.3))
    >>> rain = np.array([np.nan, np.nan, 0.0, 4.0])
    >>> filled_rain(days, tmax, tmin, rain, climate=april)
    array([12.,  0.,  0.,  4.])
    """
    unknown = ~np.isfinite(precip_mm)
    if not unknown.any():
        return precip_mm
    usual = own_climate(dates, precip_mm, values)
    if climate is not None:
        usual = usual.or_else(climate)
    if np.isnan(usual.mean_mm).any():
        usual = usual.or_else(climate_by_range(dates, tmax_c, tmin_c, values))
    month, spread = month_of(dates), tmax_c - tmin_c
    rain = np.where(unknown, usual.mean_mm[month], precip_mm)
    for m in np.unique(month[unknown]):
        days = np.flatnonzero((month == m) & np.isfinite(spread))
        if len(days):
            share = max(float(usual.wet_share[m]), 1.0 / LONGEST_MONTH_D)
            amounts = _by_rank(spread[days], share) * usual.mean_mm[m]
            rain[days] = np.where(unknown[days], amounts, rain[days])
    return rain


def _by_rank(spread_k: FloatArray, wet_share: float) -> FloatArray:
    """Amounts with a mean of 1 by the rank of a day's temperature range, ``[day]``."""
    place = np.argsort(np.argsort(spread_k, kind="stable"), kind="stable") + 0.5
    amount = np.maximum(-np.log(place / (len(spread_k) * wet_share)), 0.0)
    if not amount.any():  # too few days for a wet one
        amount = np.ones(len(spread_k))
    result: FloatArray = amount / amount.mean()
    return result

"""Probe readings at a site, and soil measured nearby, correct the model there, with shrinkage.

The model's error at a place is taken as a Gaussian process in time: an offset that lasts, a part
that returns every year, a part that grows with the warmth of the soil, one that follows the heat
flowing through its top (the site's sward and soil let more or less through than assumed), a
drift that fades within weeks, and noise. The variances of these parts are those found between
stations that the fit of the model did not use (``data/soil.toml``, ``site``). The correction is
the best linear unbiased prediction of the error from the readings: fewer or more scattered
readings move the model less.

A reading may be of another station. What lasts there is that ground's own and tells nothing of the
site; the drift is shared, the less the farther away: ``c exp(-d / D)`` of it, with height counted
as distance (``benchmarks/check_nearby_soil.py``).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from windowcast.core.record import DateArray, FloatArray
from windowcast.core.values import Table, load

YEAR_DAYS = 365.2425
NEAR_SURFACE_M = (0.05, 0.10)  # where the model's temperatures are looked at
MIDDLE_C = 12.0  # soil warmth that the warmth part is counted from


@dataclass(frozen=True)
class ProbeReading:
    """One soil temperature taken at the site, or what one nearby would be there.

    `hour` is the local time of day, 0 to 24; None means a daily mean. `station` is "" for the site;
    a reading of another station is the model of the site plus the error of the model there.
    `away_km` is where that lies from the site: east, north and up, height as distance.
    """

    date: np.datetime64
    depth_m: float
    temp_c: float
    hour: float | None = None
    station: str = ""
    away_km: tuple[float, float, float] = (0.0, 0.0, 0.0)


@dataclass(frozen=True)
class SiteCorrection:
    """What probe readings say of the model's error at a site.

    Attributes
    ----------
    dates
        Of the readings used.
    weights
        Of the parts that do not fade, in the order of `site_parts`, K.
    drift
        Of each reading in the drift, per K².
    readings
        How many of the site itself were used.
    rmse_before_c, rmse_after_c
        Model against the readings, without and with the correction.
    disagreement_c
        Standard deviation of what the correction leaves: how far readings disagree with each
        other and with any smooth error.
    shrinkage
        Share of the readings' mean difference that the correction takes on, 0 to 1.
    prior
        What was believed of the model's errors before any reading.
    """

    dates: DateArray
    weights: FloatArray
    drift: FloatArray
    readings: int
    rmse_before_c: float
    rmse_after_c: float
    disagreement_c: float
    shrinkage: float
    prior: Table = field(compare=False, repr=False)

    def at(self, dates: DateArray, temp_5cm_c: FloatArray, temp_10cm_c: FloatArray) -> FloatArray:
        """Correction to add near the surface, K, ``[..., time]``.

        Parameters
        ----------
        dates
            ``[time]``.
        temp_5cm_c, temp_10cm_c
            Uncorrected model temperatures ``[..., time]``.
        """
        lasting = site_parts(dates, temp_5cm_c, temp_10cm_c) @ self.weights
        return lasting + _drift(dates, self.dates, self.prior) @ self.drift


def site_parts(dates: DateArray, temp_5cm_c: FloatArray, temp_10cm_c: FloatArray) -> FloatArray:
    """Offset, two of the year, warmth and heat flow, ``[..., time, part]``."""
    angle = 2 * np.pi * (dates - np.datetime64("2000-01-01")).astype(np.float64) / YEAR_DAYS
    shape = np.shape(temp_5cm_c)
    columns = [
        np.ones(shape),
        np.broadcast_to(np.cos(angle), shape),
        np.broadcast_to(np.sin(angle), shape),
        (temp_5cm_c - MIDDLE_C) / 10.0,
        temp_5cm_c - temp_10cm_c,
    ]
    return np.stack(columns, axis=-1)


def _variances(prior: Table) -> FloatArray:
    names = ("offset", "annual", "annual", "warmth", "heat_flow")
    return np.array([prior.number(f"{name}_variance") for name in names])


def _drift(a: DateArray, b: DateArray, prior: Table) -> FloatArray:
    """Covariance of the drift between two sets of dates, K²."""
    days = np.abs((a[:, None] - b[None, :]).astype("timedelta64[D]").astype(np.float64))
    return prior.number("drift_variance") * np.exp(-days / prior.number("drift_days"))


def fit_site_correction(
    model_temp_c: FloatArray,
    dates: DateArray,
    readings: Sequence[ProbeReading],
    *,
    hourly_c: FloatArray | None = None,
    values: Table | None = None,
) -> SiteCorrection | None:
    """Correction of the model at a site from probe readings.

    Parameters
    ----------
    model_temp_c
        Uncorrected daily means at 5 and 10 cm, ``[time, 2]``.
    dates
        ``[time]``.
    readings
        Of the site or of stations nearby, on any days and depths; those outside `dates` or on days
        the model cannot tell are left out. Between 5 and 10 cm the model is interpolated, beyond
        the nearer counts.
    hourly_c
        The model's hours at both depths, ``[time, 24, 2]`` (`soil_hourly`): a reading with a time
        of day is compared with its hour, and the difference corrects the daily mean. Without
        it such a reading counts as a daily mean.
    values
        Instead of ``data/soil.toml``, whose table ``site`` holds what is believed before.

    Returns
    -------
    SiteCorrection or None
        None when no reading can be used.

    Notes
    -----
    ``w = (K + s I)**-1 e``, where e are the errors at the readings, K their covariance by the
    parts of the error and s the variance of a reading. The correction of another day is its
    covariance with the readings times w. Between stations the parts that last have no covariance,
    and the drift ``c exp(-d / D)`` of its own.

    References
    ----------
    Rasmussen & Williams (2006), *Gaussian Processes for Machine Learning*, section 2.2. The
    variances are in ``data/soil.toml``, table ``site``.

    Examples
    --------
    Four readings two degrees above the model move it by most of that, not by all:

    >>> import numpy as np
    >>> from windowcast.physics.soil_site import ProbeReading, fit_site_correction
    >>> days = np.arange("2024-03-01", "2024-03-31", dtype="datetime64[D]")
    >>> model = np.full((30, 2), 12.0)
    >>> readings = [ProbeReading(day, 0.05, 14.0) for day in days[::8]]
    >>> found = fit_site_correction(model, days, readings)
    >>> found.readings, bool(1.0 < found.at(days, model[:, 0], model[:, 1])[-1] < 2.0)
    (4, True)
    """
    prior = (values or load("soil")).table("site")
    days = np.array([r.date for r in readings], dtype="datetime64[D]")
    index = (days - dates[0]).astype(np.int64)
    inside = (index >= 0) & (index < len(dates))
    if not inside.any():
        return None
    model = model_temp_c[np.where(inside, index, 0)]
    held_against = model.copy()
    if hourly_c is not None:
        timed = np.array([r.hour is not None for r in readings])
        hour = np.array([int(r.hour or 0) % 24 for r in readings])
        hours = hourly_c[np.where(inside, index, 0), hour]
        held_against[timed] = hours[timed]
    at_depth = np.array(
        [
            np.interp(r.depth_m, NEAR_SURFACE_M, m)
            for r, m in zip(readings, held_against, strict=True)
        ]
    )
    errors = np.array([r.temp_c for r in readings]) - at_depth
    used = inside & np.isfinite(errors)
    if not used.any():
        return None
    days, errors, model = days[used], errors[used], model[used]
    parts, variances = site_parts(days, model[:, 0], model[:, 1]), _variances(prior)
    taken = [reading for reading, is_used in zip(readings, used, strict=True) if is_used]
    own, alike, shared, with_site = _shares(taken, prior)
    inner = alike * ((parts * variances) @ parts.T) + shared * _drift(days, days, prior)
    noise = prior.number("reading_variance")
    solved = np.linalg.solve(inner + noise * np.eye(len(days)), errors)
    left, seen = errors - inner @ solved, own if own.any() else ~own
    left, errors = left[seen], errors[seen]
    mean = float(errors.mean())
    return SiteCorrection(
        dates=days,
        weights=variances * (parts[own].T @ solved[own]),
        drift=with_site * solved,
        readings=int(own.sum()),
        rmse_before_c=_rms(errors),
        rmse_after_c=_rms(left),
        disagreement_c=float(left.std()),
        shrinkage=float(np.clip(1 - left.mean() / mean, 0, 1)) if abs(mean) > 0.05 else 1.0,
        prior=prior,
    )


def _shares(
    readings: Sequence[ProbeReading], prior: Table
) -> tuple[npt.NDArray[np.bool_], npt.NDArray[np.bool_], FloatArray, FloatArray]:
    """Which readings are of the site, which of one station, and what drift they have in common.

    Returns
    -------
    own, alike, shared, with_site
        ``[reading]``, ``[reading, reading]``, ``[reading, reading]``, ``[reading]``.
    """
    names, station = np.unique([r.station for r in readings], return_inverse=True)
    own, alike = names[station] == "", station[:, None] == station[None, :]
    places = np.array([r.away_km for r in readings], dtype=np.float64)

    def share(apart_km: FloatArray, same: npt.NDArray[np.bool_]) -> FloatArray:
        apart = np.sqrt(np.square(apart_km).sum(axis=-1))
        far = prior.number("nearby_share") * np.exp(-apart / prior.number("nearby_reach"))
        return np.where(same, 1.0, far)

    return own, alike, share(places[:, None] - places[None, :], alike), share(places, own)


def _rms(values: npt.NDArray[np.float64]) -> float:
    return float(np.sqrt(np.mean(values**2)))

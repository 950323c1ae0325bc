"""Probe readings at a site correct the model there, with stated shrinkage.

The model's error at a place is taken as a Gaussian process in time: an offset that lasts, a part
that returns every year, and a drift that fades within weeks; its variances are those between
stations that the fit did not use (``data/soil.toml``, ``site``). The correction is the best
linear unbiased prediction of that error from the readings, which draws it towards zero the more,
the fewer and the more scattered the readings are.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from windowcast.values import load
from windowcast.weather.record import DateArray, FloatArray

YEAR_DAYS = 365.2425


@dataclass(frozen=True)
class ProbeReading:
    """One soil temperature taken at the site, as a daily mean."""

    date: np.datetime64
    depth_m: float
    temp_c: float


@dataclass(frozen=True)
class SiteCorrection:
    """What probe readings say of the model's error at a site, as a smooth function of the date.

    Attributes
    ----------
    dates, weights
        Of the readings used.
    rmse_before_c, rmse_after_c
        Against the readings, without and with the correction.
    spread_c
        How far readings disagree with each other once the correction is applied (largest and
        smallest remaining difference), K.
    shrinkage
        Share of the mean difference that the correction keeps at the readings, 0 to 1.
    """

    dates: DateArray
    weights: FloatArray
    rmse_before_c: float
    rmse_after_c: float
    spread_c: float
    shrinkage: float

    def at(self, dates: DateArray) -> FloatArray:
        """Correction to add to the model's temperature, K, ``[time]``."""
        result: FloatArray = covariance(dates, self.dates) @ self.weights
        return result


def covariance(a: DateArray, b: DateArray) -> FloatArray:
    """Covariance of the model's error between two sets of dates, K²."""
    prior = load("soil").table("site")
    days = (a[:, None] - b[None, :]).astype("timedelta64[D]").astype(np.float64)
    angle = 2 * np.pi * days / YEAR_DAYS
    result: FloatArray = (
        prior.number("offset_variance")
        + prior.number("annual_variance") * np.cos(angle)
        + prior.number("half_year_variance") * np.cos(2 * angle)
        + prior.number("drift_variance") * np.exp(-np.abs(days) / prior.number("drift_days"))
    )
    return result


def fit_site_correction(
    model_temp_c: FloatArray,
    dates: DateArray,
    readings: Sequence[ProbeReading],
    *,
    depths_m: Sequence[float] = (0.05, 0.10),
) -> SiteCorrection | None:
    """Correction of the model at a site from probe readings.

    Parameters
    ----------
    model_temp_c
        Uncorrected daily means, ``[time, depth]``.
    dates, depths_m
        Of `model_temp_c`.
    readings
        On any days and depths; those outside `dates` or on days the model cannot tell are left
        out. Between depths the model is interpolated.

    Returns
    -------
    SiteCorrection or None
        None when no reading can be used.
    """
    rows = [
        (r.date.astype("datetime64[D]"), r.temp_c - _model_at(model_temp_c, dates, depths_m, r))
        for r in readings
        if dates[0] <= r.date <= dates[-1]
    ]
    known = [(day, error) for day, error in rows if np.isfinite(error)]
    if not known:
        return None
    days = np.array([day for day, _ in known])
    errors = np.array([error for _, error in known])
    noise = load("soil").table("site").number("reading_variance") * np.eye(len(days))
    inner = covariance(days, days)
    weights = np.linalg.solve(inner + noise, errors)
    fitted = inner @ weights
    left = errors - fitted
    return SiteCorrection(
        dates=days,
        weights=weights,
        rmse_before_c=_rms(errors),
        rmse_after_c=_rms(left),
        spread_c=float(np.ptp(left)),
        shrinkage=float(abs(fitted.mean()) / max(abs(errors.mean()), 1e-9)),
    )


def _model_at(
    model_temp_c: FloatArray, dates: DateArray, depths_m: Sequence[float], reading: ProbeReading
) -> float:
    day = int((reading.date.astype("datetime64[D]") - dates[0]).astype(np.int64))
    return float(np.interp(reading.depth_m, depths_m, model_temp_c[day]))


def _rms(values: npt.NDArray[np.float64]) -> float:
    return float(np.sqrt(np.mean(values**2)))

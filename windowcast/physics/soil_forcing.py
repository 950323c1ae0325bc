"""From daily weather to what the soil scheme is driven by.

Radiation is estimated from the temperature range where it was not measured (Hargreaves &
Samani form, FAO-56 eq. 50), vapour pressure from the minimum temperature where there is no
humidity (FAO-56 eq. 48), net long-wave loss follows FAO-56 eq. 39 and evaporative demand
Priestley & Taylor (1972).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from windowcast.core.record import DateArray, FloatArray
from windowcast.core.values import Table, load
from windowcast.physics.sun import day_of_year, extraterrestrial_radiation_mj_m2
from windowcast.physics.usual_rain import filled_rain

MJ_PER_DAY_TO_W = 1e6 / 86400
LONGEST_BLIND_DAYS = 60


@dataclass(frozen=True)
class SoilForcing:
    """Daily weather at one or many places, ``[..., time]``.

    Attributes
    ----------
    dates
        ``datetime64[D] [time]``, without gaps; ``[..., time]`` where places begin on different
        days and are run side by side, each from its own first day.
    tmax_c, tmin_c, precip_mm
        Air temperature extremes and precipitation. NaN where missing; rain then falls as is usual
        (`windowcast.physics.usual_rain`).
    latitude_deg
        Scalar, or an array that broadcasts with the leading axes.
    solar_mj_m2, rh_mean_pct, snow_depth_mm
        Used day by day where finite, estimated or modelled elsewhere.
    longitude_deg
        As `latitude_deg`; None or NaN where it is not known, see `soil_region`.
    """

    dates: DateArray
    tmax_c: FloatArray
    tmin_c: FloatArray
    precip_mm: FloatArray
    latitude_deg: npt.ArrayLike
    solar_mj_m2: FloatArray | None = None
    rh_mean_pct: FloatArray | None = None
    snow_depth_mm: FloatArray | None = None
    longitude_deg: npt.ArrayLike | None = None

    def by_day(self) -> dict[str, FloatArray]:
        """The weather that is given, by name, ``[..., time]``."""
        at = ("dates", "latitude_deg", "longitude_deg")
        given = {f.name: getattr(self, f.name) for f in fields(self) if f.name not in at}
        return {name: values for name, values in given.items() if values is not None}


@dataclass(frozen=True)
class SoilWeather:
    """Weather by column without gaps in air temperature, time first: ``[time, columns]``."""

    tmax_c: FloatArray
    tmin_c: FloatArray
    precip_mm: FloatArray
    outside_mj_m2: FloatArray  # extraterrestrial radiation
    solar_mj_m2: FloatArray | None
    rh_mean_pct: FloatArray | None
    snow_depth_mm: FloatArray | None
    blind: npt.NDArray[np.bool_]  # no answer: air temperature missing now or too recently

    def between(self, first: int, last: int) -> SoilWeather:
        """Days from index `first` up to, not including, `last`."""
        cut: dict[str, Any] = {}
        for name in (f.name for f in fields(self)):
            values = getattr(self, name)
            cut[name] = None if values is None else values[first:last]
        return SoilWeather(**cut)


@dataclass(frozen=True)
class SoilDrivers:
    """What the column model takes each day, ``[time, columns]``."""

    air_c: FloatArray
    precip_mm: FloatArray
    solar_w_m2: FloatArray
    longwave_w_m2: FloatArray  # net loss
    demand_mm: FloatArray
    snow_depth_mm: FloatArray | None  # measured; NaN where not


def saturation_kpa(temp_c: FloatArray) -> FloatArray:
    """Saturation vapour pressure over water [kPa] at a temperature [°C].

    Notes
    -----
    ``e_s = 0.6108 exp(17.27 T / (T + 237.3))``

    References
    ----------
    Allen, Pereira, Raes & Smith (1998), FAO Irrigation and Drainage Paper 56, equation 11.

    Examples
    --------
    >>> import numpy as np
    >>> from windowcast.physics.soil_forcing import saturation_kpa
    >>> saturation_kpa(np.array([0.0, 20.0])).round(3)
    array([0.611, 2.338])
    """
    return 0.6108 * np.exp(17.27 * temp_c / (temp_c + 237.3))


def estimate_solar_mj_m2(
    tmax_c: FloatArray,
    tmin_c: FloatArray,
    precip_mm: FloatArray,
    outside_mj_m2: FloatArray,
    values: Table | None = None,
) -> FloatArray:
    """Daily solar radiation from the range of the air temperature, lower on wet days.

    Parameters
    ----------
    tmax_c, tmin_c
        Highest and lowest air temperature of the day [°C].
    precip_mm
        Rain of the day, none of it unknown (`windowcast.physics.usual_rain`).
    outside_mj_m2
        Radiation outside the atmosphere (`extraterrestrial_radiation_mj_m2`).
    values
        Instead of ``data/soil.toml``.

    Returns
    -------
    FloatArray
        [MJ/m²]; 8 to 78 % of what arrives outside the atmosphere.

    Notes
    -----
    ``Rs = Ra (a + b sqrt(tmax - tmin) - c wet)``, fitted on stations that measure radiation
    (``data/soil.toml``).

    References
    ----------
    The form is that of Hargreaves & Samani (1982), FAO-56 equation 50.

    Examples
    --------
    >>> import numpy as np
    >>> from windowcast.physics.soil_forcing import estimate_solar_mj_m2
    >>> dry, wet = np.array(0.0), np.array(20.0)
    >>> [float(estimate_solar_mj_m2(25.0, 10.0, rain, 30.0).round(1)) for rain in (dry, wet)]
    [18.7, 11.3]
    """
    table = (values or load("soil")).table("radiation")
    share = (
        table.number("base")
        + table.number("per_sqrt_range") * np.sqrt(np.maximum(tmax_c - tmin_c, 0.5))
        - table.number("wet_day") * _wetness(precip_mm)
    )
    return outside_mj_m2 * np.clip(share, 0.08, 0.78)


def estimate_vapour_kpa(
    tmax_c: FloatArray, tmin_c: FloatArray, precip_mm: FloatArray, values: Table | None = None
) -> FloatArray:
    """Daily vapour pressure, from a dew point near the lowest temperature.

    Parameters
    ----------
    tmax_c, tmin_c, precip_mm, values
        As of `estimate_solar_mj_m2`.

    Returns
    -------
    FloatArray
        [kPa]

    Notes
    -----
    ``e = e_s(tmin - d)``, where d grows with the range and the warmth of the day and shrinks with
    rain; fitted on stations that measure humidity (``data/soil.toml``).

    References
    ----------
    Without d this is FAO-56, equation 48.

    Examples
    --------
    >>> import numpy as np
    >>> from windowcast.physics.soil_forcing import estimate_vapour_kpa
    >>> dry, wet = np.array(0.0), np.array(20.0)
    >>> [float(estimate_vapour_kpa(25.0, 10.0, rain).round(2)) for rain in (dry, wet)]
    [1.11, 1.39]
    """
    table = (values or load("soil")).table("dew_point")
    below = (
        table.number("base")
        + table.number("per_range") * (tmax_c - tmin_c)
        + table.number("wet_day") * _wetness(precip_mm)
        + table.number("per_mean") * (tmax_c + tmin_c) / 2
    )
    return saturation_kpa(tmin_c - below)


def _wetness(precip_mm: FloatArray) -> FloatArray:
    """0 on a dry day to 1 at 10 mm and more."""
    return np.sqrt(np.minimum(precip_mm, 10.0) / 10.0)


def columns_of(
    forcing: SoilForcing, shape: tuple[int, ...], part: slice, order: Literal["C", "F"] = "C"
) -> SoilWeather:
    """Some columns of the forcing, gaps filled: rain as `filled_rain` does.

    Parameters
    ----------
    shape
        That of all leading axes.
    order
        How ``[time, columns]`` lie in memory: the columns of a day ("C") or the days of a column
        ("F") side by side.
    """
    days = forcing.dates.shape[-1]

    def columns(values: npt.ArrayLike) -> FloatArray:
        full = np.broadcast_to(np.asarray(values, dtype=np.float64), (*shape, days))
        return np.asarray(full.reshape(-1, days)[part].T, order=order)

    def optional(values: FloatArray | None) -> FloatArray | None:
        return None if values is None else columns(values)

    tmax, tmin = columns(forcing.tmax_c), columns(forcing.tmin_c)
    missing = ~(np.isfinite(tmax) & np.isfinite(tmin))
    blind = _blind(missing)
    if missing.any():
        tmax, tmin = _carry(tmax, missing), _carry(tmin, missing)
    latitude = np.broadcast_to(np.asarray(forcing.latitude_deg, dtype=np.float64), shape)
    latitude, column = np.unique(latitude.reshape(-1)[part], return_inverse=True)
    dates = forcing.dates[:, None]
    if forcing.dates.ndim > 1:
        dates = np.broadcast_to(forcing.dates, (*shape, days)).reshape(-1, days)[part].T
    by_day = extraterrestrial_radiation_mj_m2(latitude[None, :], np.arange(1, 367)[:, None])
    precip = columns(forcing.precip_mm)
    with_gaps = np.flatnonzero(~np.isfinite(precip).all(axis=0))
    if len(with_gaps):
        precip = precip.copy(order="K")  # the forcing's own stays as it is
    for gappy in with_gaps:
        own_dates = np.broadcast_to(dates, precip.shape)[:, gappy]
        precip[:, gappy] = filled_rain(own_dates, tmax[:, gappy], tmin[:, gappy], precip[:, gappy])
    return SoilWeather(
        tmax_c=tmax,
        tmin_c=tmin,
        precip_mm=precip,
        outside_mj_m2=np.asarray(by_day[_days_of_year(dates) - 1, column], order=order),
        solar_mj_m2=optional(forcing.solar_mj_m2),
        rh_mean_pct=optional(forcing.rh_mean_pct),
        snow_depth_mm=optional(forcing.snow_depth_mm),
        blind=blind,
    )


def _days_of_year(dates: DateArray) -> npt.NDArray[np.int64]:
    """`day_of_year`, worked out once for the days that many columns share."""
    first = dates.min()
    place = (dates - first).astype(np.int64)
    number: npt.NDArray[np.int64] = day_of_year(first + np.arange(place.max() + 1))[place]
    return number


def in_order(values: FloatArray) -> FloatArray:
    """Sum over time, day after day: the same bits for one column as for many side by side."""
    result: FloatArray = np.cumsum(values, axis=0)[-1]
    return result


def drivers(weather: SoilWeather, values: Table | None = None) -> SoilDrivers:
    """Estimate what was not measured and work out the fluxes; `values` as ``data/soil.toml``."""
    tmax, tmin, precip = weather.tmax_c, weather.tmin_c, weather.precip_mm
    mean = 0.5 * (tmax + tmin)
    solar = _measured_or(
        weather.solar_mj_m2,
        lambda: estimate_solar_mj_m2(tmax, tmin, precip, weather.outside_mj_m2, values),
    )
    saturation = saturation_kpa(mean)
    humidity = weather.rh_mean_pct
    vapour = _measured_or(
        None if humidity is None else saturation * humidity * 0.01,
        lambda: estimate_vapour_kpa(tmax, tmin, precip, values),
    )
    clearness = np.clip(solar / (0.75 * weather.outside_mj_m2 + 0.1), 0.25, 1.0)  # FAO-56 eq. 36
    kelvin2 = np.square(mean + 273.16)
    longwave = 4.903e-9 * kelvin2 * kelvin2 * (0.34 - 0.14 * np.sqrt(vapour))
    longwave *= 1.35 * clearness - 0.35
    slope = 4098 * saturation / np.square(mean + 237.3)
    net = np.maximum(0.77 * solar - longwave, 0.0)
    return SoilDrivers(
        air_c=mean,
        precip_mm=precip,
        solar_w_m2=solar * MJ_PER_DAY_TO_W,
        longwave_w_m2=longwave * MJ_PER_DAY_TO_W,
        demand_mm=(1.26 / 2.45) * net * (slope / (slope + 0.066)),
        snow_depth_mm=weather.snow_depth_mm,
    )


def _measured_or(measured: FloatArray | None, estimate: Callable[[], FloatArray]) -> FloatArray:
    """Measured values where finite, estimated elsewhere."""
    if measured is None:
        return estimate()
    known = np.isfinite(measured)
    return measured if known.all() else np.where(known, measured, estimate())


def _blind(missing: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Missing days, and as many days after a gap as the gap was long (at most 60)."""
    if not missing.any():
        return missing
    blind = np.zeros_like(missing)
    owed = np.zeros(missing.shape[1])
    owing = False
    for day, gap in enumerate(np.logical_or.reduce(missing, axis=1).tolist()):
        if not gap and not owing:
            continue
        blind[day] = missing[day] | (owed > 0)
        owed = np.where(
            missing[day], np.minimum(owed + 1, LONGEST_BLIND_DAYS), np.maximum(owed - 1, 0)
        )
        owing = bool(owed.any())
    return blind


def _carry(values: FloatArray, missing: npt.NDArray[np.bool_]) -> FloatArray:
    """Stand-in for missing days: what was known up to 5 days before, else the same day of another
    year (the past first), else the last known.

    Only keeps the state of the column sensible; results of these days are withheld.
    """
    filled = np.where(missing, np.nan, values)
    source = filled.copy()
    years = [round(365.25 * k) for k in range(1, len(filled) // 366 + 1)]
    for lag in (1, 2, 3, 4, 5, *years):
        filled[lag:] = np.where(np.isnan(filled[lag:]), source[:-lag], filled[lag:])
    for lag in years:
        filled[:-lag] = np.where(np.isnan(filled[:-lag]), source[lag:], filled[:-lag])
    days = np.arange(len(filled))[:, None]
    last = np.maximum.accumulate(np.where(np.isfinite(filled), days, 0), axis=0)
    filled = np.take_along_axis(filled, last, axis=0)
    first = np.argmax(np.isfinite(filled), axis=0)
    start = filled[first, np.arange(filled.shape[1])]
    filled = np.where(np.isnan(filled), start, filled)
    return np.where(np.isnan(filled), 10.0, filled)  # nothing known at all: all results withheld

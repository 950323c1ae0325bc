"""Humidity of air: vapour pressure, dew point, wet bulb and Delta T. NumPy only, all broadcast.

Saturation follows Tetens as given by Allen, Pereira, Raes & Smith (1998), *Crop
evapotranspiration*, FAO Irrigation and Drainage Paper 56, equations 7-17; the wet bulb is that of a
ventilated psychrometer at station pressure (equation 15), solved by Newton's method. NaN in, NaN
out. Saturation is taken over water at every temperature, as weather services do for dew points.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

SEA_LEVEL_HPA = 1013.0  # FAO-56 eq. 7
PSYCHROMETER_PER_C = 0.000662  # FAO-56 eq. 16, ventilated (Asmann) psychrometer
_E0_HPA, _A, _B_C = 6.108, 17.27, 237.3  # FAO-56 eq. 11
_NEWTON_STEPS = 6  # from the dry bulb the error is below 0.001 °C after six (see the tests)


def saturation_vapour_pressure_hpa(temp_c: npt.ArrayLike) -> FloatArray:
    """Saturation vapour pressure over water, hPa, at an air temperature (FAO-56 eq. 11)."""
    temp = np.asarray(temp_c, dtype=np.float64)
    result: FloatArray = _E0_HPA * np.exp(_A * temp / (temp + _B_C))
    return result


def dewpoint_from_rh_c(temp_c: npt.ArrayLike, rh_pct: npt.ArrayLike) -> FloatArray:
    """Dew point, °C, from air temperature (°C) and relative humidity (%); NaN at 0 %."""
    rh = np.asarray(rh_pct, dtype=np.float64)
    vapour = saturation_vapour_pressure_hpa(temp_c) * np.where(rh > 0, rh, np.nan) / 100
    log = np.log(vapour / _E0_HPA)
    result: FloatArray = _B_C * log / (_A - log)
    return result


def relative_humidity_pct(temp_c: npt.ArrayLike, dewpoint_c: npt.ArrayLike) -> FloatArray:
    """Relative humidity, %, from air temperature and dew point (°C), at most 100."""
    ratio = saturation_vapour_pressure_hpa(dewpoint_c) / saturation_vapour_pressure_hpa(temp_c)
    result: FloatArray = np.minimum(100 * ratio, 100.0)
    return result


def pressure_hpa(
    elevation_m: npt.ArrayLike, sea_level_hpa: npt.ArrayLike = SEA_LEVEL_HPA
) -> FloatArray:
    """Station pressure, hPa, at a height (m), for a pressure at sea level (FAO-56 eq. 7)."""
    height = np.asarray(elevation_m, dtype=np.float64)
    share = ((293 - 0.0065 * height) / 293) ** 5.26
    result: FloatArray = np.asarray(sea_level_hpa, dtype=np.float64) * share
    return result


def wet_bulb_c(
    temp_c: npt.ArrayLike, dewpoint_c: npt.ArrayLike, station_hpa: npt.ArrayLike = SEA_LEVEL_HPA
) -> FloatArray:
    """Psychrometric wet-bulb temperature, °C.

    Parameters
    ----------
    temp_c, dewpoint_c
        Air temperature and dew point; a dew point above the air temperature counts as saturation.
    station_hpa
        Pressure at the station, not at sea level.

    Notes
    -----
    Solves ``e_s(Tw) - gamma (T - Tw) = e_s(Td)``. The left side rises and is convex in Tw, so
    Newton's method started at the dry bulb falls steadily onto the root.
    """
    temp = np.asarray(temp_c, dtype=np.float64)
    vapour = saturation_vapour_pressure_hpa(np.minimum(temp, np.asarray(dewpoint_c, np.float64)))
    gamma = PSYCHROMETER_PER_C * np.asarray(station_hpa, dtype=np.float64)
    wet: FloatArray = temp + 0 * vapour
    for _ in range(_NEWTON_STEPS):
        saturation = saturation_vapour_pressure_hpa(wet)
        slope = saturation * _A * _B_C / (wet + _B_C) ** 2  # FAO-56 eq. 13
        wet = wet - (saturation - gamma * (temp - wet) - vapour) / (slope + gamma)
    return wet


def delta_t_c(
    temp_c: npt.ArrayLike, dewpoint_c: npt.ArrayLike, station_hpa: npt.ArrayLike = SEA_LEVEL_HPA
) -> FloatArray:
    """Delta T, °C: air temperature minus wet bulb, the drying power that shrinks droplets."""
    result: FloatArray = np.asarray(temp_c, np.float64) - wet_bulb_c(
        temp_c, dewpoint_c, station_hpa
    )
    return result

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
    """Saturation vapour pressure over water.

    Parameters
    ----------
    temp_c
        Air temperature [°C], any shape.

    Returns
    -------
    FloatArray
        [hPa], of the shape of `temp_c`.

    Notes
    -----
    ``e_s = 6.108 exp(17.27 T / (T + 237.3))``

    References
    ----------
    Allen, Pereira, Raes & Smith (1998), FAO Irrigation and Drainage Paper 56, equation 11; its
    annex 2 has the table from which the example comes: 2.338 kPa at 20 °C.

    Examples
    --------
    >>> from windowcast.physics.humidity import saturation_vapour_pressure_hpa
    >>> saturation_vapour_pressure_hpa([0.0, 20.0]).round(2)
    array([ 6.11, 23.38])
    """
    temp = np.asarray(temp_c, dtype=np.float64)
    return _E0_HPA * np.exp(_A * temp / (temp + _B_C))


def dewpoint_from_rh_c(temp_c: npt.ArrayLike, rh_pct: npt.ArrayLike) -> FloatArray:
    """Dew point from air temperature and relative humidity.

    Parameters
    ----------
    temp_c
        Air temperature [°C].
    rh_pct
        Relative humidity [%]; broadcasts with `temp_c`.

    Returns
    -------
    FloatArray
        [°C]; NaN where the humidity is 0 or below, for there is no such dew point.

    Notes
    -----
    The formula of `saturation_vapour_pressure_hpa` solved for the temperature at which the vapour
    in the air saturates it.

    References
    ----------
    Allen et al. (1998), FAO-56, equations 11 and 14.

    Examples
    --------
    >>> from windowcast.physics.humidity import dewpoint_from_rh_c
    >>> dewpoint_from_rh_c(20.0, [100.0, 50.0, 0.0]).round(1)
    array([20. ,  9.3,  nan])
    """
    rh = np.asarray(rh_pct, dtype=np.float64)
    vapour = saturation_vapour_pressure_hpa(temp_c) * np.where(rh > 0, rh, np.nan) / 100
    log = np.log(vapour / _E0_HPA)
    return _B_C * log / (_A - log)


def relative_humidity_pct(temp_c: npt.ArrayLike, dewpoint_c: npt.ArrayLike) -> FloatArray:
    """Relative humidity from air temperature and dew point.

    Parameters
    ----------
    temp_c, dewpoint_c
        Air temperature and dew point [°C]; they broadcast.

    Returns
    -------
    FloatArray
        [%], at most 100.

    Notes
    -----
    The ratio of the vapour pressure, which is that of saturation at the dew point, to that of
    saturation at the air temperature.

    References
    ----------
    Allen et al. (1998), FAO-56, equations 10 and 14.

    Examples
    --------
    >>> from windowcast.physics.humidity import relative_humidity_pct
    >>> relative_humidity_pct(20.0, [20.0, 9.3]).round()
    array([100.,  50.])
    """
    ratio = saturation_vapour_pressure_hpa(dewpoint_c) / saturation_vapour_pressure_hpa(temp_c)
    return np.minimum(100 * ratio, 100.0)


def pressure_hpa(
    elevation_m: npt.ArrayLike, sea_level_hpa: npt.ArrayLike = SEA_LEVEL_HPA
) -> FloatArray:
    """Air pressure at the height of a station.

    Parameters
    ----------
    elevation_m
        Height above sea level [m].
    sea_level_hpa
        Pressure reduced to sea level [hPa]; broadcasts with `elevation_m`.

    Returns
    -------
    FloatArray
        [hPa].

    Notes
    -----
    ``p = p0 ((293 - 0.0065 z) / 293) ** 5.26``

    References
    ----------
    Allen et al. (1998), FAO-56, equation 7; its example 2 has 81.8 kPa at 1800 m.

    Examples
    --------
    >>> from windowcast.physics.humidity import pressure_hpa
    >>> float(pressure_hpa(1800.0).round())
    818.0
    """
    height = np.asarray(elevation_m, dtype=np.float64)
    share = ((293 - 0.0065 * height) / 293) ** 5.26
    return np.asarray(sea_level_hpa, dtype=np.float64) * share


def wet_bulb_c(
    temp_c: npt.ArrayLike, dewpoint_c: npt.ArrayLike, station_hpa: npt.ArrayLike = SEA_LEVEL_HPA
) -> FloatArray:
    """Wet-bulb temperature of a ventilated psychrometer.

    Parameters
    ----------
    temp_c, dewpoint_c
        Air temperature and dew point [°C]; a dew point above the air temperature counts as
        saturation.
    station_hpa
        Pressure at the station, not at sea level [hPa].

    Returns
    -------
    FloatArray
        [°C].

    Notes
    -----
    Solves ``e_s(Tw) - gamma (T - Tw) = e_s(Td)`` with ``gamma = 0.000662 p``. The left side rises
    with Tw, and ever faster, so Newton's method started at the dry bulb falls steadily to the
    root.

    References
    ----------
    Allen et al. (1998), FAO-56, equations 13, 15 and 16. Its example 4 asks the other way round:
    19.5 and 25.6 °C on the two bulbs at 1200 m are a vapour pressure of 1.91 kPa, a dew point of
    16.8 °C.

    Examples
    --------
    >>> from windowcast.physics.humidity import pressure_hpa, wet_bulb_c
    >>> float(wet_bulb_c(25.6, 16.8, pressure_hpa(1200.0)).round(1))
    19.5
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
    """Delta T: how far the wet bulb lies below the air temperature.

    It measures how fast spray droplets dry out.

    Parameters
    ----------
    temp_c, dewpoint_c, station_hpa
        As of `wet_bulb_c`.

    Returns
    -------
    FloatArray
        [K]; 0 in saturated air.

    Notes
    -----
    ``delta T = T - Tw``

    References
    ----------
    As `wet_bulb_c`. The limits for spraying are in ``data/criteria.toml`` with their sources.

    Examples
    --------
    >>> from windowcast.physics.humidity import delta_t_c
    >>> delta_t_c(25.0, [25.0, 14.0, 0.0]).round(1)
    array([ 0. ,  7. , 12.5])
    """
    return np.asarray(temp_c, np.float64) - wet_bulb_c(temp_c, dewpoint_c, station_hpa)

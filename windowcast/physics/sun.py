"""Where the sun stands and how much it could give: NumPy only, arguments broadcast.

Daily quantities follow Allen, Pereira, Raes & Smith (1998), *Crop evapotranspiration*, FAO
Irrigation and Drainage Paper 56, equations 21-34. Positions within a day follow the low
precision formulae of the Astronomical Almanac as given by Michalsky (1988), *Solar Energy*
40:227-235, good to about 0.01 degree between 1950 and 2050.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
TimeArray = npt.NDArray[np.datetime64]

SOLAR_CONSTANT_MJ_M2_MIN = 0.0820  # FAO-56 eq. 21
HORIZON_DEG = -0.833  # upper limb on the horizon with standard refraction
_J2000 = np.datetime64("2000-01-01T12:00:00", "s")


def day_of_year(dates: TimeArray) -> npt.NDArray[np.int64]:
    """Day of the year, 1 on 1 January.

    Parameters
    ----------
    dates
        ``datetime64`` of any unit and shape.

    Returns
    -------
    ndarray of int
        1 to 366.

    Examples
    --------
    >>> import numpy as np
    >>> from windowcast.physics.sun import day_of_year
    >>> day_of_year(np.array(["2023-12-31", "2024-12-31"], dtype="datetime64[D]"))
    array([365, 366])
    """
    days = dates.astype("datetime64[D]")
    number: npt.NDArray[np.int64] = (days - days.astype("datetime64[Y]")).astype(np.int64) + 1
    return number


def _sunset_hour_angle(latitude_deg: npt.ArrayLike, day: npt.ArrayLike) -> tuple[FloatArray, ...]:
    """Sunset hour angle, latitude, declination (radians) and inverse relative distance."""
    latitude = np.radians(np.asarray(latitude_deg, dtype=np.float64))
    year_angle = 2 * np.pi / 365 * np.asarray(day, dtype=np.float64)
    declination = 0.409 * np.sin(year_angle - 1.39)
    distance = 1 + 0.033 * np.cos(year_angle)
    hour_angle = np.arccos(np.clip(-np.tan(latitude) * np.tan(declination), -1, 1))
    return hour_angle, latitude, declination, distance


def extraterrestrial_radiation_mj_m2(
    latitude_deg: npt.ArrayLike, day_of_year: npt.ArrayLike
) -> FloatArray:
    """Daily radiation on a level surface outside the atmosphere.

    Parameters
    ----------
    latitude_deg
        Degrees north.
    day_of_year
        1 to 366; broadcasts with `latitude_deg`.

    Returns
    -------
    FloatArray
        [MJ/m²]; 0 in the polar night.

    Notes
    -----
    ``Ra = 24 60 / pi G d (w sin(phi) sin(delta) + cos(phi) cos(delta) sin(w))`` with the solar
    constant G = 0.0820 MJ/m²/min, inverse relative distance d, latitude phi, declination delta and
    sunset hour angle w.

    References
    ----------
    Allen et al. (1998), FAO-56, equations 21 to 25; its example 8 has 32.2 MJ/m² at 20° S on
    3 September (day 246).

    Examples
    --------
    >>> from windowcast.physics.sun import extraterrestrial_radiation_mj_m2
    >>> float(extraterrestrial_radiation_mj_m2(-20.0, 246).round(1))
    32.2
    """
    hour_angle, latitude, declination, distance = _sunset_hour_angle(latitude_deg, day_of_year)
    beam = hour_angle * np.sin(latitude) * np.sin(declination)
    beam = beam + np.cos(latitude) * np.cos(declination) * np.sin(hour_angle)
    result: FloatArray = np.maximum(
        24 * 60 / np.pi * SOLAR_CONSTANT_MJ_M2_MIN * distance * beam, 0.0
    )
    return result


def day_length_h(latitude_deg: npt.ArrayLike, day_of_year: npt.ArrayLike) -> FloatArray:
    """Hours from sunrise to sunset of the centre of the sun, without refraction.

    Parameters
    ----------
    latitude_deg, day_of_year
        As of `extraterrestrial_radiation_mj_m2`.

    Returns
    -------
    FloatArray
        0 to 24 [h].

    Notes
    -----
    ``N = 24 / pi w`` with the sunset hour angle ``w = arccos(-tan(phi) tan(delta))``.

    References
    ----------
    Allen et al. (1998), FAO-56, equations 25 and 34; its example 9 has 11.7 h at 20° S on
    3 September (day 246).

    Examples
    --------
    >>> from windowcast.physics.sun import day_length_h
    >>> float(day_length_h(-20.0, 246).round(1))
    11.7
    """
    return 24 / np.pi * _sunset_hour_angle(latitude_deg, day_of_year)[0]


def _position(days: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Declination (rad), right ascension (rad) and Greenwich sidereal time (rad).

    `days` counts from noon UTC on 1 January 2000.
    """
    mean_longitude = np.radians(280.460 + 0.9856474 * days)
    anomaly = np.radians(357.528 + 0.9856003 * days)
    ecliptic = mean_longitude + np.radians(1.915 * np.sin(anomaly) + 0.020 * np.sin(2 * anomaly))
    obliquity = np.radians(23.439 - 0.0000004 * days)
    declination = np.arcsin(np.sin(obliquity) * np.sin(ecliptic))
    ascension = np.arctan2(np.cos(obliquity) * np.sin(ecliptic), np.cos(ecliptic))
    sidereal = np.radians(15 * (18.697375 + 24.0657098242 * days))
    return declination, ascension, sidereal


def _days_since_j2000(times_utc: TimeArray) -> FloatArray:
    seconds = (times_utc.astype("datetime64[s]") - _J2000).astype(np.float64)
    return seconds / 86400


def solar_elevation_deg(
    latitude_deg: npt.ArrayLike, longitude_deg: npt.ArrayLike, times_utc: TimeArray
) -> FloatArray:
    """Height of the sun's centre above the horizon, without refraction.

    Parameters
    ----------
    latitude_deg, longitude_deg
        Degrees north and east.
    times_utc
        ``datetime64`` UTC; broadcasts with the coordinates.

    Returns
    -------
    FloatArray
        [degrees], -90 to 90.

    Notes
    -----
    ``sin(h) = sin(phi) sin(delta) + cos(phi) cos(delta) cos(H)`` with the hour angle H, which is
    the local sidereal time minus the right ascension.

    References
    ----------
    Michalsky (1988), *Solar Energy* 40:227-235, after the Astronomical Almanac.

    Examples
    --------
    At the March equinox of 2024 (20 March, 03:06 UTC) the sun stands over the equator:

    >>> import numpy as np
    >>> from windowcast.physics.sun import solar_elevation_deg
    >>> noon = np.datetime64("2024-03-20T12:07:30")
    >>> solar_elevation_deg([0.0, 30.0], 0.0, noon).round(1)
    array([89.8, 60.2])
    """
    declination, ascension, sidereal = _position(_days_since_j2000(np.asarray(times_utc)))
    latitude = np.radians(np.asarray(latitude_deg, dtype=np.float64))
    hour_angle = sidereal + np.radians(np.asarray(longitude_deg, np.float64)) - ascension
    sine = np.sin(latitude) * np.sin(declination)
    sine = sine + np.cos(latitude) * np.cos(declination) * np.cos(hour_angle)
    result: FloatArray = np.degrees(np.arcsin(np.clip(sine, -1, 1)))
    return result


def sunrise_sunset_utc(
    latitude_deg: npt.ArrayLike,
    longitude_deg: npt.ArrayLike,
    dates: TimeArray,
    *,
    utc_offset_h: npt.ArrayLike | None = None,
) -> tuple[TimeArray, TimeArray]:
    """Sunrise and sunset around the noon of each date, ``datetime64[s]`` UTC.

    Parameters
    ----------
    latitude_deg, longitude_deg
        Degrees north and east.
    dates
        Local dates. Without `utc_offset_h` the local date is that of mean solar time.
    utc_offset_h
        Clock time minus UTC, hours; needed only where the clock keeps the date of the other side
        of the date line.

    Returns
    -------
    tuple
        Rise and set, NaT where the sun does not cross the horizon on that day.

    Notes
    -----
    The upper limb is on the horizon, with 34' of refraction: the centre stands at -0.833°. The
    hour angle of that height is found again three times, at the declination of the moment itself.

    References
    ----------
    Michalsky (1988), *Solar Energy* 40:227-235.

    Examples
    --------
    >>> import numpy as np
    >>> from windowcast.physics.sun import sunrise_sunset_utc
    >>> rise, sets = sunrise_sunset_utc(33.75, -84.39, np.datetime64("2024-11-15"))
    >>> str(rise)[:16], str(sets)[:16]
    ('2024-11-15T12:10', '2024-11-15T22:34')
    """
    latitude = np.radians(np.asarray(latitude_deg, dtype=np.float64))
    longitude = np.asarray(longitude_deg, dtype=np.float64)
    shift_h = 12 - longitude / 15
    if utc_offset_h is not None:
        shift_h = shift_h - 24 * np.round((np.asarray(utc_offset_h) - longitude / 15) / 24)
    midnight = np.asarray(dates).astype("datetime64[D]").astype("datetime64[s]")
    noon = _days_since_j2000(midnight) + shift_h / 24
    declination, ascension, sidereal = _position(noon)
    noon = noon - _wrap(sidereal + np.radians(longitude) - ascension) / (2 * np.pi)

    events = []
    for sign in (-1.0, 1.0):
        event = noon
        for _ in range(3):
            declination, ascension, sidereal = _position(event)
            cosine = np.sin(np.radians(HORIZON_DEG)) - np.sin(latitude) * np.sin(declination)
            cosine = cosine / (np.cos(latitude) * np.cos(declination))
            target = sign * np.arccos(np.clip(cosine, -1, 1))
            hour_angle = sidereal + np.radians(longitude) - ascension
            event = event + _wrap(target - hour_angle) / (2 * np.pi)
        time = _J2000 + np.round(event * 86400).astype("timedelta64[s]")
        events.append(np.where(np.abs(cosine) <= 1, time, np.datetime64("NaT", "s")))
    return events[0], events[1]


def _wrap(angle: FloatArray) -> FloatArray:
    """Angle in radians brought to -π..π."""
    return (angle + np.pi) % (2 * np.pi) - np.pi

"""Where the soil model is warm or cold over whole regions: what daily weather does not tell.

Stations near each other share part of the model's error: wind, soil and sward of a region are not
in its highs, lows and rain. The error of the fitted stations, each as the model has it without
that station, is therefore spread smoothly to the places around them. It fades within some hundred
kilometres: far from any station, and without a longitude, nothing is added.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from windowcast.core.great_circle import distance_km
from windowcast.core.record import DateArray, FloatArray
from windowcast.core.values import Table, load

YEAR_DAYS = 365.2425
PARTS = ("offset", "cosine", "sine")


def regional_parts(
    latitude_deg: npt.ArrayLike, longitude_deg: npt.ArrayLike, values: Table | None = None
) -> FloatArray:
    """Offset and yearly wave to add to the model at places, K, ``[part, place]``.

    Parameters
    ----------
    latitude_deg, longitude_deg
        ``[place]``; zero is added where one is not known.
    values
        Instead of ``data/soil.toml``, whose table ``region`` has a weight for each station.

    Notes
    -----
    ``sum_i w_i exp(-(d_i / L)**2 / 2)`` over stations at distances d; the weights w are those of
    simple kriging with a station's own noise, fitted on residuals of stations held out.

    References
    ----------
    Rasmussen & Williams (2006), *Gaussian Processes for Machine Learning*, section 2.2.

    Examples
    --------
    >>> from windowcast.physics.soil_region import regional_parts
    >>> alabama, tasmania = regional_parts([32.5, -42.0], [-87.0, 147.0])[0].tolist()
    >>> alabama > 0.1, tasmania
    (True, 0.0)
    """
    table = (values or load("soil")).table("region")
    reach = table.number("reach")
    stations = [np.asarray(table.value(n).value) for n in ("latitude", "longitude", *PARTS)]
    found = np.zeros((len(PARTS), *np.shape(latitude_deg)))
    for latitude, longitude, *weights in zip(*stations, strict=True):
        away = distance_km(latitude_deg, longitude_deg, latitude, longitude) / reach
        near = np.where(away < 4.0, np.exp(-0.5 * away * away), 0.0)  # also where not known
        for part, weight in enumerate(weights):
            found[part] += weight * near
    return found


def regional_c(
    dates: DateArray, parts: FloatArray, temp_c: FloatArray, values: Table | None = None
) -> FloatArray:
    """What to add to soil temperatures, K, ``[..., time, place]``.

    Parameters
    ----------
    dates
        ``[time]``, or ``[time, place]`` where places have days of their own.
    parts
        As `regional_parts` has them.
    temp_c
        The model's temperatures ``[..., time, place]``, °C: frozen soil is left alone.
    values
        Instead of ``data/soil.toml``.
    """
    thawed_c = (values or load("soil")).number("region.thawed")
    first = dates.min()
    day = (dates - first).astype("timedelta64[D]").astype(np.int64)
    since = (first - np.datetime64("2000-01-01", "D")).astype("timedelta64[D]").astype(np.int64)
    angle = (2 * np.pi / YEAR_DAYS) * (since + np.arange(day.max() + 1)).astype(np.float64)
    turn = np.stack([np.cos(angle), np.sin(angle)])[:, day]  # once for all places: alike to the bit
    cosine, sine = turn if dates.ndim > 1 else turn[..., None]
    wave = parts[0] + parts[1] * cosine + parts[2] * sine
    result: FloatArray = wave * np.clip(temp_c * (1.0 / thawed_c), 0.0, 1.0)
    return result

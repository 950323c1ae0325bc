"""Distances on the globe."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from windowcast.core.record import FloatArray

EARTH_RADIUS_KM = 6371.0088  # mean radius, IUGG


def distance_km(
    lat_deg: npt.ArrayLike, lon_deg: npt.ArrayLike, to_lat_deg: float, to_lon_deg: float
) -> FloatArray:
    """Great-circle distance (haversine) from points to one point, on either side of 180°.

    Parameters
    ----------
    lat_deg, lon_deg
        ``[point]``, or one point.

    Returns
    -------
    FloatArray
        [km], ``[point]``; NaN where a point is not known.
    """
    a, b = np.radians(np.asarray(lat_deg, dtype=np.float64)), np.radians(to_lat_deg)
    turn = np.radians(np.asarray(lon_deg, dtype=np.float64) - to_lon_deg)
    h = np.sin((a - b) / 2) ** 2 + np.cos(a) * np.cos(b) * np.sin(turn / 2) ** 2
    return np.asarray(2 * EARTH_RADIUS_KM * np.arcsin(np.sqrt(np.clip(h, 0.0, 1.0))))

"""Several stations to one site: inverse-distance weights and a correction for height.

Pure NumPy. Constants are in ``data/sources.toml`` (lapse rate of the ISO 2533 standard
atmosphere; distance weights after Shepard 1968).
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from windowcast.core.phrase import Quantity
from windowcast.core.record import FloatArray, Grade
from windowcast.core.values import load

TEMPERATURES = frozenset({"tmax_c", "tmin_c", "tmean_c", "temp_c", "dewpoint_c"})
# averaging makes drizzle of showers and nonsense of directions: the nearest station that knows
NEAREST = frozenset({"precip_mm", "snow_depth_mm", "wind_from_deg"})


def effective_km(distance: Any, height_difference_m: Any) -> FloatArray:
    """Distance with height counted in: 100 m of height are so many km (``sources.toml``).

    An unknown height difference (NaN) counts as none.
    """
    per_100m = load("sources").number("archive.height_km_per_100m")
    height = np.nan_to_num(np.abs(np.asarray(height_difference_m, dtype=np.float64)))
    return np.hypot(np.asarray(distance, dtype=np.float64), height / 100.0 * per_100m)


def station_weights(effective: FloatArray, completeness: FloatArray | float = 1.0) -> FloatArray:
    """Weights that sum to one: inverse power of the effective distance, times completeness.

    Parameters
    ----------
    effective
        Effective distance [km], ``[station]``.
    completeness
        0..1, ``[station]``.
    """
    table = load("sources").table("blend")
    near = np.maximum(effective, table.number("distance_floor"))
    raw: FloatArray = near ** -table.number("distance_power") * completeness
    return np.asarray(raw / raw.sum())


def height_shift_c(from_m: float | None, to_m: float | None) -> float:
    """What to add to a temperature measured at `from_m` to have it at `to_m` [K].

    0 where either height is unknown. Dew point is moved by as much, which keeps the spread
    between the two.
    """
    if from_m is None or to_m is None:
        return 0.0
    return lapse_rate().value * (from_m - to_m) / 1000.0


def lapse_rate() -> Quantity:
    """How much colder it gets with height, in the standard atmosphere [K per km]."""
    return Quantity(load("sources").number("blend.lapse_rate"), "K km-1")


def blend(
    values: FloatArray,
    grades: npt.NDArray[np.uint8],
    weights: FloatArray,
    *,
    nearest: bool = False,
) -> tuple[FloatArray, npt.NDArray[np.uint8]]:
    """One series from several stations.

    At each time only the stations with the best grade there is take part, so that a modelled
    value never dilutes an observed one; their weights are scaled to sum to one.

    Parameters
    ----------
    values, grades
        ``[station, time]``; NaN and MISSING where unknown.
    weights
        ``[station]``, positive.
    nearest
        Take the value of the weightiest station that takes part instead of the mean.

    Returns
    -------
    values, grades
        ``[time]``; NaN and MISSING where no station knows.
    """
    known = np.isfinite(values)
    graded = np.where(known, grades, np.uint8(Grade.MISSING))
    best = graded.min(axis=0)
    part = known & (graded == best)
    share = np.where(part, weights[:, None], 0.0)
    if nearest:
        first = share.argmax(axis=0)
        mixed = np.take_along_axis(values, first[None, :], axis=0)[0]
        return np.where(part.any(axis=0), mixed, np.nan), best
    total = share.sum(axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        mixed = (share * np.where(part, values, 0.0)).sum(axis=0) / total
    low = np.where(part, values, np.inf).min(axis=0)
    high = np.where(part, values, -np.inf).max(axis=0)
    return np.where(total > 0, np.clip(mixed, low, high), np.nan), best

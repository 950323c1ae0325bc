"""Soil probes that have failed, told by the probes and the air alone.

The rules know nothing of the soil model, so that they cannot flatter it.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from windowcast.core.record import FloatArray
from windowcast.core.values import load


def screen(
    soil_c: FloatArray, tmax_c: FloatArray, tmin_c: FloatArray
) -> tuple[FloatArray, tuple[dict[str, int], ...]]:
    """Remove what a failed probe gives, by rules on the probes and the air alone.

    Rules (limits in ``data/soil_verify.toml``): a value warmer or colder than the air of the
    days before allows; 5 and 10 cm further apart than heat conduction allows (both removed); a
    change from one day to the next beyond what a soil can do; the same value for many days in
    soil that is not held at 0 °C by freezing.

    Parameters
    ----------
    soil_c
        ``[depth, station, time]`` for 5 and 10 cm.
    tmax_c, tmin_c
        ``[station, time]``.
    """
    limit = load("soil_verify").table("screen")
    days = int(limit.number("air_days"))
    hottest = _trailing(np.fmax, tmax_c, days) + limit.number("above_air_k")
    coldest = _trailing(np.fmin, tmin_c, days) - limit.number("below_air_k")
    apart = np.abs(soil_c[0] - soil_c[1]) > limit.number("apart_k")
    step = np.abs(np.diff(soil_c, axis=-1, prepend=np.nan))
    jump = step > limit.number("jump_k")
    jump[..., :-1] |= jump[..., 1:]
    rules = {
        "air": (soil_c > hottest) | (soil_c < coldest),
        "apart": np.broadcast_to(apart, soil_c.shape),
        "jump": jump,
        "stuck": _stuck(soil_c, int(limit.number("stuck_days")), limit.number("stuck_above_c")),
    }
    kept = np.where(np.any(list(rules.values()), axis=0), np.nan, soil_c)
    counts = tuple(
        {rule: int(hit[:, i].sum()) for rule, hit in rules.items() if hit[:, i].any()}
        for i in range(soil_c.shape[1])
    )
    return kept, counts


def _trailing(choose: np.ufunc, values: FloatArray, days: int) -> FloatArray:
    """Largest or smallest known value of the last `days` days, today included."""
    result = values.copy()
    for lag in range(1, days):
        result[..., lag:] = choose(result[..., lag:], values[..., :-lag])
    return result


def _stuck(soil_c: FloatArray, days: int, above_c: float) -> npt.NDArray[np.bool_]:
    """Runs of at least `days` equal values further than `above_c` from 0 °C."""
    same = (np.diff(soil_c, axis=-1, prepend=np.nan) == 0) & (np.abs(soil_c) > above_c)
    count = np.zeros(soil_c.shape[:-1], dtype=np.int64)
    length = np.zeros(soil_c.shape, dtype=np.int64)
    for day in range(soil_c.shape[-1]):
        count = np.where(same[..., day], count + 1, 0)
        length[..., day] = count
    reached = length >= days - 1
    for day in range(soil_c.shape[-1] - 2, -1, -1):  # back over the run that led there
        reached[..., day] |= reached[..., day + 1] & same[..., day + 1]
    return reached

"""How much a few probe readings at a site help the soil model."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from windowcast.core.record import DateArray, FloatArray
from windowcast.core.values import Table
from windowcast.physics.soil_site import ProbeReading, fit_site_correction
from windowcast.verify.soil_stations import Stations

DEPTH_M = 0.05


def with_readings(
    data: Stations,
    model_c: FloatArray,
    scored: npt.NDArray[np.bool_],
    *,
    readings: int,
    draws: int,
    seed: int,
    values: Table | None = None,
) -> dict[str, FloatArray]:
    """Errors once readings are given, rule → ``[draw, station, time]``, NaN where not scored.

    Parameters
    ----------
    model_c
        At 5 and 10 cm ``[station, time, depth]``, without readings.
    scored
        Days that count, ``[station, time]``.
    readings, draws, seed
        How many daily means are given, how often they are drawn, and the seed.
    values
        Instead of ``data/soil.toml``.
    """
    random = np.random.default_rng(seed)
    shape = (draws, *model_c.shape[:2])
    found = {rule: np.full(shape, np.nan, dtype=np.float32) for rule in ("spread", "one_season")}
    season = _season(data.dates)
    for i in range(len(data.names)):
        days = np.flatnonzero(scored[i])
        for draw in range(draws if len(days) else 0):
            one = days[season[days] == random.choice(np.unique(season[days]))]
            for rule, pool in (("spread", days), ("one_season", one)):
                if len(pool) < readings:
                    continue
                chosen = random.choice(pool, readings, replace=False)
                given = [
                    ProbeReading(data.dates[d], DEPTH_M, float(data.soil_c[0, i, d]))
                    for d in chosen
                ]
                fitted = fit_site_correction(model_c[i], data.dates, given, values=values)
                if fitted is None:
                    continue
                rest = days[~np.isin(days, chosen)]
                top, below = model_c[i, rest].T
                better = top + fitted.at(data.dates[rest], top, below)
                found[rule][draw, i, rest] = better - data.soil_c[0, i, rest]
    return found


def _season(dates: DateArray) -> npt.NDArray[np.int64]:
    """Year in which the season (July to June) of each date began."""
    months: npt.NDArray[np.int64] = dates.astype("datetime64[M]").astype(np.int64)
    return (months - 6) // 12

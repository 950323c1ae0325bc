"""Usual rain of a place from the stations around it (``data/rain_climate.csv``)."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib import resources

import numpy as np
import numpy.typing as npt

from windowcast.core.great_circle import distance_km
from windowcast.core.record import FloatArray
from windowcast.core.values import Table, load
from windowcast.physics.usual_rain import LEAST_MM, MONTHS, RainClimate


@dataclass(frozen=True)
class RainStations:
    """Where stations stand ``[station]``, and their rain by month ``[station, month]``.

    `mean_mm` is of a day, `wet_share` of the days.
    """

    latitude_deg: FloatArray
    longitude_deg: FloatArray
    mean_mm: FloatArray
    wet_share: FloatArray

    def but(self, left_out: npt.NDArray[np.bool_]) -> RainStations:
        """Those that are not left out."""
        keep = ~left_out
        return RainStations(
            self.latitude_deg[keep],
            self.longitude_deg[keep],
            self.mean_mm[keep],
            self.wet_share[keep],
        )


@cache
def packaged() -> RainStations:
    """The stations that come with the program."""
    text = resources.files("windowcast.data").joinpath("rain_climate.csv").read_text("utf-8")
    rows = [line for line in text.splitlines() if not line.startswith("#")][1:]
    table = np.array([[float(cell) for cell in row.split(",")] for row in rows])
    return RainStations(table[:, 0], table[:, 1], table[:, 2 : 2 + MONTHS], table[:, 2 + MONTHS :])


def nearby(
    latitude_deg: float,
    longitude_deg: float,
    stations: RainStations | None = None,
    values: Table | None = None,
) -> RainClimate | None:
    """Usual rain from the nearest stations; None where the nearest is too far.

    Notes
    -----
    The mean over the nearest stations, of the logarithm of the rain, weighted by one over the
    square of the distance.

    Examples
    --------
    >>> from windowcast.weather.rain_climate import nearby
    >>> athens_georgia, madrid = nearby(33.95, -83.38), nearby(40.4, -3.7)
    >>> bool(2.5 < athens_georgia.mean_mm.mean() < 5.0), madrid is None
    (True, True)
    """
    stations = stations or packaged()
    table = (values or load("usual_rain")).table("stations")
    away = distance_km(stations.latitude_deg, stations.longitude_deg, latitude_deg, longitude_deg)
    if not (away <= table.number("reach")).any():  # nor where the place is not known
        return None
    near = np.argsort(away, kind="stable")[: int(table.number("number"))]
    weight = 1.0 / np.maximum(away[near], 1.0) ** 2
    weight = (weight / weight.sum())[:, None]
    rain = np.exp((weight * np.log(stations.mean_mm[near] + LEAST_MM)).sum(axis=0)) - LEAST_MM
    share = (weight * stations.wet_share[near]).sum(axis=0)
    return RainClimate(np.maximum(rain, LEAST_MM), share)

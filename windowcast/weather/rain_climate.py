"""Usual rain of a place, and how temperatures go with it, from the stations around it.

They stand in ``data/rain_climate.csv``.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
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

    `mean_mm` is of a day, `wet_share` of the days; `with_high` and `with_low` are the correlations
    of the departure of highs and lows with the normal score of a wet day.
    """

    latitude_deg: FloatArray
    longitude_deg: FloatArray
    mean_mm: FloatArray
    wet_share: FloatArray
    with_high: FloatArray
    with_low: FloatArray

    @classmethod
    def of(cls, table: FloatArray) -> RainStations:
        """From the columns of the file, ``[station, column]``."""
        parts = np.split(table[:, 2:], range(MONTHS, table.shape[1] - 2, MONTHS), axis=1)
        return cls(table[:, 0], table[:, 1], *parts)

    def but(self, left_out: npt.NDArray[np.bool_]) -> RainStations:
        """Those that are not left out."""
        return RainStations(*(getattr(self, field.name)[~left_out] for field in fields(self)))


@cache
def packaged() -> RainStations:
    """The stations that come with the program."""
    text = resources.files("windowcast.data").joinpath("rain_climate.csv").read_text("utf-8")
    rows = [line for line in text.splitlines() if not line.startswith("#")][1:]
    table = np.array([[float(cell) for cell in row.split(",")] for row in rows])
    return RainStations.of(table)


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
    weight = _weights(latitude_deg, longitude_deg, stations, values)
    if weight is None:
        return None
    rain = np.exp(weight @ np.log(stations.mean_mm + LEAST_MM)) - LEAST_MM
    return RainClimate(np.maximum(rain, LEAST_MM), weight @ stations.wet_share)


def with_temperature_nearby(
    latitude_deg: float,
    longitude_deg: float,
    stations: RainStations | None = None,
    values: Table | None = None,
) -> dict[str, FloatArray] | None:
    """How highs and lows go with rain, from the nearest stations; None where they are too far.

    Returns
    -------
    dict
        ``tmax_c`` and ``tmin_c`` → correlation with the normal score of a wet day, ``[month]``,
        weighted as by `nearby`.

    Examples
    --------
    Nights before rain are mild in the winters of the south-east:

    >>> from windowcast.weather.rain_climate import with_temperature_nearby
    >>> found = with_temperature_nearby(33.95, -83.38)
    >>> bool(found["tmin_c"][0] > 0.3 > 0.1 > found["tmax_c"][0])
    True
    """
    stations = stations or packaged()
    weight = _weights(latitude_deg, longitude_deg, stations, values)
    if weight is None:
        return None
    return {"tmax_c": weight @ stations.with_high, "tmin_c": weight @ stations.with_low}


def _weights(
    latitude_deg: float, longitude_deg: float, stations: RainStations, values: Table | None
) -> FloatArray | None:
    """Weights of the stations, of which the nearest have any, ``[station]``; None: too far."""
    table = (values or load("usual_rain")).table("stations")
    away = distance_km(stations.latitude_deg, stations.longitude_deg, latitude_deg, longitude_deg)
    if not (away <= table.number("reach")).any():  # nor where the place is not known
        return None
    near = np.argsort(away, kind="stable")[: int(table.number("number"))]
    weight = np.zeros(len(away))
    weight[near] = 1.0 / np.maximum(away[near], 1.0) ** 2
    return np.asarray(weight / weight.sum())

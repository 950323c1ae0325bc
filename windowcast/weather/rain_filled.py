"""Rain as is usual where it is unknown, beside what is known of it.

``precip_mm`` is left as it is: what was not measured is never taken for a fact by a limit. The new
variable ``rain_filled_mm`` drives the soil and what germinates in it. What is usual at a place, and
how temperatures go with rain there, the stations around it tell (``data/rain_climate.csv``).
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cache
from importlib import resources
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

from windowcast.core.great_circle import distance_km
from windowcast.core.local_days import local_dates
from windowcast.core.phrase import of_variable, say
from windowcast.core.record import FloatArray, Grade, Members, Record
from windowcast.core.time_axis import span_flag
from windowcast.core.values import PACKAGED, Table, Tables, load
from windowcast.physics.usual_rain import (
    LEAST_MM,
    MONTHS,
    RainClimate,
    filled_rain,
    month_of,
    own_climate,
)

FILLED = "rain_filled_mm"
CHECK = "usual-rain-"  # a flag's check: this and where the usual rain comes from


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
    >>> from windowcast.weather.rain_filled import nearby
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

    >>> from windowcast.weather.rain_filled import with_temperature_nearby
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


def with_rain_filled(record: Record, tables: Tables = PACKAGED) -> Record:
    """The record with ``rain_filled_mm`` where some rain is unknown.

    Parameters
    ----------
    record
        Daily, values ``[time]``. Its own years tell what is usual, else the stations around, else
        its temperature range (`windowcast.physics.usual_rain`).
    tables
        The science values to go by: ``usual_rain``.
    """
    rain = record.get("precip_mm")
    told = np.where(
        np.isfinite(rain), rain, record.get(FILLED)
    )  # a coarse grid's, where it has any
    unknown = ~np.isfinite(told)
    if not unknown.any():
        return record
    values, place = tables["usual_rain"], record.place
    climate = nearby(place.latitude_deg, place.longitude_deg, values=values)
    extremes = record.get("tmax_c"), record.get("tmin_c")
    made = filled_rain(record.times, *extremes, told, climate=climate, values=values)
    known = np.minimum(record.grade("precip_mm"), record.grade(FILLED))
    grade = np.where(unknown, Grade.CLIMATOLOGY, known).astype(np.uint8)
    origin = _origin(record, told, climate, values)
    text = of_variable("precip_mm", say("flag.usual_rain", origin=say(f"rain_origin.{origin}")))
    flag = span_flag(CHECK + origin, "precip_mm", record.times[unknown], "filled", text)
    return record.with_variables({FILLED: made}, {FILLED: grade}, flags=[flag])


def _origin(record: Record, rain: FloatArray, climate: RainClimate | None, values: Table) -> str:
    """Where the usual rain of the months with unknown days comes from; of several the poorest."""
    own = own_climate(record.times, rain, values)
    months = np.unique(month_of(record.times[~np.isfinite(rain)]))
    if np.isfinite(own.mean_mm[months]).all():
        return "own_years"
    return "range" if climate is None else "stations"


def told_rain_mm(members: Members, zone: ZoneInfo) -> FloatArray:
    """Daily rain of the members, mm ``[1 + member, day]``: what may water a pre-emergent in.

    NaN on days within the forecast of which no amount is told. The soil goes on with the likeliest
    rain there. But amounts of the climate in the place of a dry forecast would water in more than
    the forecast did. Days beyond the forecast are those of past years.
    """
    rain = np.array(np.atleast_2d(members.daily.get("precip_mm")))
    hours = members.hourly
    day = (local_dates(zone, hours.times) - members.daily.times[0]).astype(np.int64)
    day = day[day < members.forecast_days]
    if not len(day):
        return rain
    starts = np.flatnonzero(np.diff(day, prepend=-1))
    fallen = np.atleast_2d(hours.get("precip_mm"))[:, : len(day)]
    told = np.isfinite(np.add.reduceat(fallen, starts, axis=1))
    near = rain[:, : len(starts)]  # a view
    near[~np.broadcast_to(told & told[:1], near.shape)] = np.nan
    return rain

"""Stations of a network that measures soil: its list, and those near enough to a site."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from windowcast.core.great_circle import distance_km
from windowcast.core.record import Place, Record
from windowcast.core.values import load
from windowcast.sources.blend import effective_km
from windowcast.sources.fetch import Fetcher, Terms
from windowcast.sources.http_answer import Expect
from windowcast.sources.source import Request

HOURS_FOR_A_DAY = 20  # measured, of 24, that a day's mean needs
Reader = Callable[[Request, Fetcher], Record | None]


@dataclass(frozen=True, slots=True)
class SoilStation:
    """A station of a network's list: how to read it, and its place, heights in m."""

    id: str
    place: Place
    read: Reader


@dataclass(frozen=True)
class SoilNetwork:
    """A network that measures soil: how its list of stations is asked for and read.

    Attributes
    ----------
    stations_of
        The stations of a list; what cannot be read is left out.
    """

    name: str
    list_url: Callable[[], str]
    expect: Expect
    max_bytes: int
    stations_of: Callable[[bytes], list[SoilStation]]

    def list_problem(self, body: bytes) -> str:
        """What keeps a list of stations from being used."""
        return "" if self.stations_of(body) else "its list of stations is not as documented"

    def stations(self, fetcher: Fetcher) -> list[SoilStation]:
        """The stations at work.

        Raises
        ------
        FetchError
            The list could not be had and none is kept.
        """
        terms = Terms.named(
            self.name, "stations", self.expect,
            max_bytes=self.max_bytes, problem=self.list_problem,
        )  # fmt: skip
        answer = fetcher.get(self.list_url(), terms)
        return self.stations_of(answer.body()) if answer.found else []


def near(stations: Sequence[SoilStation], place: Place) -> list[SoilStation]:
    """The stations near enough to a place, the nearest first; height counts as distance."""
    table = load("sources").table("soil_network")
    if not stations:
        return []
    latitude, longitude, height = np.array(
        [
            (s.place.latitude_deg, s.place.longitude_deg, _or_nan(s.place.elevation_m))
            for s in stations
        ]
    ).T
    away = distance_km(latitude, longitude, place.latitude_deg, place.longitude_deg)
    apart = effective_km(away, height - _or_nan(place.elevation_m))
    chosen = [int(i) for i in np.argsort(apart, kind="stable") if apart[i] <= table.number("reach")]
    return [stations[i] for i in chosen[: int(table.number("stations"))]]


def _or_nan(height_m: float | None) -> float:
    return np.nan if height_m is None else height_m


def at_station(record: Record, place: Place) -> Record | None:
    """The record at a station's place; None where it has no soil or no air temperature."""
    if not {"tmax_c", "tmin_c", "soil_5cm_c"} <= {name for name in record.values if name in record}:
        return None
    return replace(record, place=place)

"""A chunk of stations: their files read and checked, run through the models, put in tables."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from windowcast.core.errors import InputError
from windowcast.core.record import Place, Record
from windowcast.core.season_calendar import season_starts
from windowcast.core.site import Site, site_from
from windowcast.region import tables
from windowcast.region.columns import WEEDS
from windowcast.region.engine import Station
from windowcast.region.left_out import Kind
from windowcast.sources.files import measured_at, placed, read_weather
from windowcast.weather.gaps import filled
from windowcast.weather.join import hourly_to_daily
from windowcast.weather.quality import checked

if TYPE_CHECKING:
    import pyarrow as pa

LEAST_DAYS = 366
MOST_CELLS = 200_000  # station-days run together; bounds the memory of a worker


class UnfitError(InputError):
    """A station that can be read and still not be compared."""

    def __init__(self, kind: Kind, problem: str, *, path: str, field: str | None = None,
                 remedy: str) -> None:  # fmt: skip
        self.kind = kind
        super().__init__(problem, path=path, field=field, remedy=remedy)


@dataclass(frozen=True)
class Options:
    """What is the same for every station: reference turf and soil, and the years asked for."""

    species: str = "hybrid bermudagrass"
    texture: str = "unknown"
    irrigated: bool = False
    first_year: int | None = None
    last_year: int | None = None

    def plain(self) -> dict[str, Any]:
        """As JSON-able values, for `compute`."""
        return asdict(self)

    def site(self, *, southern: bool = False) -> Site:
        """The reference site; of its place only the hemisphere is used.

        Raises
        ------
        InputError
            Species or texture are unknown, or the years are out of order.
        """
        if self.first_year and self.last_year and self.last_year < self.first_year:
            raise InputError("--until lies before --since", remedy="exchange them")
        return site_from(
            {
                "name": "reference",
                "latitude": -1.0 if southern else 1.0,
                "longitude": 0.0,
                "timezone": "UTC",
                "turf": {
                    "species": self.species,
                    "overseeded": False,
                    "mature": True,
                    "irrigated": self.irrigated,
                },
                "soil": {"texture": self.texture},
                "weeds": list(WEEDS.values()),
            }
        )


def compute(chunk: tuple[Station, ...], options: str) -> dict[str, pa.Table]:
    """Seasons and stations of a chunk; what `engine.run` sends to its workers.

    ``seasons`` has a row for each season and for each station that cannot be used, see
    `tables.season_schema`; ``stations`` has a row for each station that can, with its normals,
    trends and weeks, see `tables.station_schema`.
    """
    from windowcast.region.models import seasons_of, stacked

    chosen = Options(**json.loads(options))
    ready: list[Ready] = []
    seasons, stations = [], []
    for number, station in enumerate(chunk):
        try:
            ready.append((number, station, station_record(station, chosen)))
        except UnfitError as error:
            seasons.append(tables.problem_table(number, station, error.kind, str(error)))
        except InputError as error:
            seasons.append(tables.problem_table(number, station, "not usable", str(error)))
    for group in together(ready):
        stack = stacked([record for _, _, record in group])
        found = seasons_of(stack, chosen.site(southern=stack.record.place.southern))
        placed = [(number, station, record.place) for number, station, record in group]
        seasons.append(tables.season_table(placed, found))
        stations.append(tables.station_table(placed, found))
    return {
        "seasons": tables.in_order(seasons, tables.season_schema()),
        "stations": tables.in_order(stations, tables.station_schema()),
    }


def station_record(station: Station, options: Options) -> Record:
    """One station's checked and gap-filled daily record, cut to the years asked for.

    Where the list has it at another place than its file, its temperatures are moved to that height
    as for a single site (`windowcast.sources.files.placed`).

    Raises
    ------
    InputError
        The file cannot be read, says no place, or holds less than a year or no temperature in
        those years.
    """
    record = read_weather(station.path)
    record = record if record.daily else hourly_to_daily(record)
    place = _place(station, record.place)
    if not ("tmax_c" in record and "tmin_c" in record):
        raise InputError(
            "holds no daily highest and lowest temperature",
            path=station.path,
            remedy="give a file with tmax and tmin",
        )
    record = measured_at(placed(record, place), place)
    first, last = record.times[[0, -1]]
    if options.first_year is not None:
        first = season_starts(options.first_year, place.southern)
    if options.last_year is not None:
        last = season_starts(options.last_year + 1, place.southern) - np.timedelta64(1, "D")
    record = record.between(first, last)
    if len(record.times) < LEAST_DAYS:
        raise UnfitError(
            "short",
            f"holds {len(record.times)} days in the years asked for, less than a year",
            path=station.path,
            remedy="give a longer record, or other years",
        )
    record = filled(checked(record))
    if not np.isfinite(record.get("tmax_c") + record.get("tmin_c")).any():
        raise InputError(
            "has no day with a believable highest and lowest temperature in the years asked for",
            path=station.path,
            remedy="look at its values, or give other years",
        )
    return record


def _place(station: Station, found: Place) -> Place:
    latitude, longitude = (
        own if math.isfinite(own) else of_file
        for own, of_file in (
            (station.latitude_deg, found.latitude_deg),
            (station.longitude_deg, found.longitude_deg),
        )
    )
    if not math.isfinite(latitude):
        raise UnfitError(
            "no place",
            "does not say where the station stands",
            path=station.path,
            field="latitude",
            remedy="list the station with its latitude and longitude, or give --stations",
        )
    height = station.elevation_m if math.isfinite(station.elevation_m) else found.elevation_m
    return Place(station.name or found.name, latitude, longitude, height)


Ready = tuple[int, Station, Record]  # place in the chunk, station, record


def together(ready: Sequence[Ready]) -> Iterable[list[Ready]]:
    """Groups to run at once: one hemisphere, near in time, at most `MOST_CELLS` station-days."""
    group: list[Ready] = []
    for item in sorted(ready, key=lambda r: (r[2].place.southern, r[2].times[0], r[0])):
        records = [r[2] for r in (*group, item)]
        days = int((max(r.times[-1] for r in records) - records[0].times[0]).astype(int)) + 1
        same = records[0].place.southern == records[-1].place.southern
        if group and (not same or days * len(records) > MOST_CELLS):
            yield group
            group = []
        group.append(item)
    if group:
        yield group

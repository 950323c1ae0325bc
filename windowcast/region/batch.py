"""A chunk of stations: their files read and checked, run through the models, put in a table."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from windowcast.errors import InputError
from windowcast.region.engine import Station
from windowcast.region.models import BARRIERS, WEEDS, WEEKS, season_start, seasons_of, stacked
from windowcast.site import Site, site_from
from windowcast.weather.files import read_weather
from windowcast.weather.gaps import filled
from windowcast.weather.join import hourly_to_daily
from windowcast.weather.quality import checked
from windowcast.weather.record import Place, Record
from windowcast.windows.model import PURPOSES

if TYPE_CHECKING:
    import pyarrow as pa

KEY_DATES = (
    "soil_21", "poaan_10", "poaan_50", "poaan_80", "dormant", "last_safe", "greenup", "soil_13",
    "digis_10",
)  # fmt: skip
DATE_COLUMNS = (*KEY_DATES, "first_frost", *(f"barrier_{season}" for season in BARRIERS))
SHARE_COLUMNS = tuple(f"cover_{season}" for season in BARRIERS)
AMOUNT_COLUMNS: Mapping[str, str] = {"frost_days": "days", "degree_days": "K days"}
WORKABLE_COLUMNS: Mapping[str, str] = {
    purpose: f"workable_{purpose.replace('-', '_')}" for purpose in PURPOSES
}
LEAST_DAYS = 366
MOST_CELLS = 6_000_000  # station-days run together; bounds the memory of a worker


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
                    "irrigated": self.irrigated,
                },
                "soil": {"texture": self.texture},
                "weeds": list(WEEDS.values()),
            }
        )


def compute(chunk: tuple[Station, ...], options: str) -> pa.Table:
    """Every season of a chunk of stations; what `engine.run` sends to its workers.

    Columns: see `schema`. ``season`` is its first year, ``complete`` the share of its days with
    temperature; dates are days since 1970-01-01, null where a season does not tell; ``workable_*``
    are workable days of each week of the season. A station that cannot be read has one row with
    its ``problem``.
    """
    import pyarrow as pa

    chosen = Options(**json.loads(options))
    ready: list[Ready] = []
    tables = []
    for number, station in enumerate(chunk):
        try:
            ready.append((number, station, station_record(station, chosen)))
        except InputError as error:
            tables.append(_problem(number, station, str(error)))
    for group in together(ready):
        tables.append(_season_table(group, chosen))
    table = pa.concat_tables(tables).sort_by([("order", "ascending"), ("season", "ascending")])
    return table.drop_columns("order").combine_chunks()


def schema() -> pa.Schema:
    """Columns of the table, with CF units."""
    import pyarrow as pa

    text = [pa.field(name, pa.string()) for name in ("station", "name", "region")]
    place = [
        pa.field(name, pa.float64(), metadata={"units": unit})
        for name, unit in (
            ("latitude", "degrees_north"),
            ("longitude", "degrees_east"),
            ("elevation", "m"),
        )
    ]
    season = [pa.field("season", pa.int32()), pa.field("complete", pa.float64())]
    dates = [
        pa.field(name, pa.float64(), metadata={"units": "days since 1970-01-01"})
        for name in DATE_COLUMNS
    ]
    shares = [pa.field(name, pa.float64(), metadata={"units": "1"}) for name in SHARE_COLUMNS]
    amounts = [
        pa.field(name, pa.float64(), metadata={"units": unit})
        for name, unit in AMOUNT_COLUMNS.items()
    ]
    weeks = [
        pa.field(name, pa.list_(pa.float32(), WEEKS), metadata={"units": "days per week"})
        for name in WORKABLE_COLUMNS.values()
    ]
    return pa.schema(
        [
            *text,
            *place,
            *season,
            *dates,
            *shares,
            *amounts,
            *weeks,
            pa.field("problem", pa.string()),
        ]
    )


def station_record(station: Station, options: Options) -> Record:
    """One station's checked and gap-filled daily record, cut to the years asked for.

    Raises
    ------
    InputError
        The file cannot be read, says no place, or holds less than a year in those years.
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
    record = replace(record, place=place)
    first = options.first_year and season_start(options.first_year, place.southern)
    last = options.last_year and season_start(options.last_year + 1, place.southern)
    record = record.between(
        first or record.times[0], last - np.timedelta64(1, "D") if last else record.times[-1]
    )
    if len(record.times) < LEAST_DAYS:
        raise InputError(
            f"holds {len(record.times)} days in the years asked for, less than a year",
            path=station.path,
            remedy="give a longer record, or other years",
        )
    return filled(checked(record))


def _place(station: Station, found: Place) -> Place:
    latitude, longitude = (
        own if math.isfinite(own) else of_file
        for own, of_file in (
            (station.latitude_deg, found.latitude_deg),
            (station.longitude_deg, found.longitude_deg),
        )
    )
    if not math.isfinite(latitude):
        raise InputError(
            "does not say where the station stands",
            path=station.path,
            field="latitude",
            remedy="list the station with its latitude and longitude",
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


def _season_table(group: Sequence[Ready], options: Options) -> pa.Table:
    """Rows of the seasons in which a station has any temperature."""
    import pyarrow as pa

    stack = stacked([record for _, _, record in group])
    found = seasons_of(stack, options.site(southern=stack.record.place.southern))
    row, season = (index.tolist() for index in np.nonzero(found.complete > 0))
    columns: dict[str, Any] = {
        "order": [group[i][0] for i in row],
        "station": [group[i][1].id for i in row],
        "name": [group[i][1].name for i in row],
        "region": [group[i][1].region for i in row],
        "latitude": [group[i][2].place.latitude_deg for i in row],
        "longitude": [group[i][2].place.longitude_deg for i in row],
        "elevation": [group[i][2].place.elevation_m for i in row],
        "season": found.first_years[season],
        "complete": found.complete[row, season],
    }
    for name in (*DATE_COLUMNS, *SHARE_COLUMNS, *AMOUNT_COLUMNS):
        values = found.values[name][row, season]
        columns[name] = pa.array(values, mask=np.isnan(values))
    for purpose, name in WORKABLE_COLUMNS.items():
        flat = found.weeks[purpose][row, season].ravel()
        columns[name] = pa.FixedSizeListArray.from_arrays(
            pa.array(flat, mask=np.isnan(flat)), WEEKS
        )
    columns["problem"] = pa.nulls(len(row), pa.string())
    return pa.table(columns, schema=_ordered_schema())


def _problem(order: int, station: Station, text: str) -> pa.Table:
    """The one row of a station that cannot be used."""
    import pyarrow as pa

    row = {
        "order": order,
        "station": station.id,
        "name": station.name,
        "region": station.region,
        "problem": text,
    }
    return pa.Table.from_pylist([row], schema=_ordered_schema())


def _ordered_schema() -> pa.Schema:
    """`schema` with the station's place in its chunk in front."""
    import pyarrow as pa

    return schema().insert(0, pa.field("order", pa.int64()))

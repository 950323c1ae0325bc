"""A chunk of stations through the models at once: arrays ``[station, day]``, one row a season.

The functions are those a single site runs through (`windowcast.season`, `windowcast.windows`);
stations whose records begin on the same day go through them together.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from windowcast.errors import InputError
from windowcast.region.engine import Station
from windowcast.season.dates import key_dates, season_slices
from windowcast.season.emergence import clocks
from windowcast.season.model import Emergence, SiteState
from windowcast.season.state import drivers_of
from windowcast.season.turf import turf_state
from windowcast.season.weeds import weed
from windowcast.site import Site, site_from
from windowcast.values import load
from windowcast.weather.files import read_weather
from windowcast.weather.gaps import filled
from windowcast.weather.join import hourly_to_daily
from windowcast.weather.quality import checked
from windowcast.weather.record import FloatArray, Grade, Place, Record
from windowcast.windows.barrier import Barrier, cover
from windowcast.windows.model import PURPOSES
from windowcast.windows.purposes import purpose_of
from windowcast.windows.workable import day_scores, workable

if TYPE_CHECKING:
    import pyarrow as pa

FALL_WEED, SPRING_WEED = "POAAN", "DIGIS"
BARRIERS: Mapping[str, str] = {FALL_WEED: "fall", SPRING_WEED: "spring"}
WEEKS = 53
KEY_DATES = (
    "soil_21", "poaan_10", "poaan_50", "poaan_80", "dormant", "last_safe", "greenup", "soil_13",
    "digis_10",
)  # fmt: skip
DATE_COLUMNS = (*KEY_DATES, *(f"barrier_{season}" for season in BARRIERS.values()))
SHARE_COLUMNS = tuple(f"cover_{season}" for season in BARRIERS.values())
WORKABLE_COLUMNS = tuple(f"workable_{purpose.replace('-', '_')}" for purpose in PURPOSES)
FULL_SEASON_DAYS = 365


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

    def site(self) -> Site:
        """The reference site; its place is not used.

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
                "latitude": 0.0,
                "longitude": 0.0,
                "timezone": "UTC",
                "turf": {
                    "species": self.species,
                    "overseeded": False,
                    "irrigated": self.irrigated,
                },
                "soil": {"texture": self.texture},
                "weeds": list(BARRIERS),
            }
        )


def compute(chunk: tuple[Station, ...], options: str) -> pa.Table:
    """Every season of a chunk of stations; what `engine.run` sends to its workers.

    Columns: station and place; ``season`` (its first year); ``complete`` (share of its days with
    temperature); dates as days since 1970-01-01, NaN where a season does not tell; cover shares;
    ``workable_*``: workable days of each week of the season. A station that cannot be read has
    one row with its ``problem``.
    """
    import pyarrow as pa

    chosen = Options(**json.loads(options))
    rows: list[dict[str, Any]] = []
    ready: list[tuple[Station, Record]] = []
    for station in chunk:
        try:
            ready.append((station, station_record(station, chosen)))
        except InputError as error:
            rows.append(_row(station, None) | {"problem": str(error)})
    for group in _together(ready):
        rows.extend(_season_rows(group, chosen))
    order = {station.id: i for i, station in enumerate(chunk)}
    rows.sort(key=lambda row: (order[row["station"]], row["season"] or 0))
    return pa.Table.from_pylist(rows, schema=schema())


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
    weeks = [
        pa.field(name, pa.list_(pa.float32(), WEEKS), metadata={"units": "days per week"})
        for name in WORKABLE_COLUMNS
    ]
    return pa.schema(
        [*text, *place, *season, *dates, *shares, *weeks, pa.field("problem", pa.string())]
    )


def station_record(station: Station, options: Options) -> Record:
    """One station's checked and gap-filled daily record, cut to the years asked for.

    Raises
    ------
    InputError
        The file cannot be read, says no place, or has no day in those years.
    """
    record = read_weather(station.path)
    record = record if record.daily else hourly_to_daily(record)
    place = _place(station, record.place)
    if not {"tmax_c", "tmin_c"} <= {name for name in record.values if name in record}:
        raise InputError(
            "holds no daily highest and lowest temperature",
            path=station.path,
            remedy="give a file with tmax and tmin",
        )
    record = replace(record, place=place)
    first = options.first_year and _season_start(options.first_year, place.southern)
    last = options.last_year and _season_start(options.last_year + 1, place.southern)
    record = record.between(
        first or record.times[0], last - np.timedelta64(1, "D") if last else record.times[-1]
    )
    if not len(record.times):
        raise InputError("has no day in the years asked for", path=station.path)
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
            remedy="list the station in a CSV with latitude and longitude",
        )
    height = station.elevation_m if math.isfinite(station.elevation_m) else found.elevation_m
    return Place(station.name or found.name, latitude, longitude, height)


def _season_start(year: int, southern: bool) -> np.datetime64:
    return np.datetime64(f"{year}-{'01' if southern else '07'}-01", "D")


Ready = tuple[Station, Record]


def _together(ready: Sequence[Ready]) -> Iterable[list[Ready]]:
    """Groups that begin on the same day of the same hemisphere's season, in order of appearance."""
    groups: dict[tuple[np.datetime64, bool], list[Ready]] = {}
    for station, record in ready:
        groups.setdefault((record.times[0], record.place.southern), []).append((station, record))
    return groups.values()


def stacked(records: Sequence[Record]) -> Record:
    """Records that begin on the same day as one ``[station, day]``; NaN after a record's end."""
    longest = max(records, key=lambda record: len(record.times))
    names = sorted({name for record in records for name in record.values if name in record})
    shape = (len(records), len(longest.times))
    values = {name: np.full(shape, np.nan) for name in names}
    for row, record in enumerate(records):
        for name in names:
            values[name][row, : len(record.times)] = record.get(name)
    grades = {name: np.full(shape[1], Grade.OBSERVED, np.uint8) for name in names}
    return Record(longest.place, longest.times, values, grades)


def station_states(record: Record, latitude_deg: FloatArray, site: Site) -> SiteState:
    """State of several stations, ``[station, day]``: the central run, no bands or plant ages."""
    drivers, soil = drivers_of(record, site, latitude_deg=latitude_deg)
    southern, tmin = record.place.southern, record.get("tmin_c")
    untold = np.broadcast_to(np.nan, tmin.shape)
    emergence, degree_days = {}, {}
    for code in BARRIERS:
        entry = weed(code)
        totals, _, degree_days[code], _ = clocks(entry, drivers)
        share = entry.share(totals, 0.0)
        emergence[code] = Emergence(
            code, entry.name, entry.season, share, untold, untold, untold, untold
        )
    turf, _ = turf_state(
        record.times,
        soil.temp_10cm_c,
        tmin,
        species=str(site.turf.species),
        overseeded=site.turf.overseeded,
        southern=southern,
    )
    return SiteState(
        record.times, soil.temp_5cm_c, soil.temp_10cm_c, soil.moisture, soil.frozen,
        degree_days, emergence, turf,
    )  # fmt: skip


def _season_rows(group: Sequence[Ready], options: Options) -> list[dict[str, Any]]:
    record = stacked([record for _, record in group])
    latitude = np.array([record.place.latitude_deg for _, record in group])
    state = station_states(record, latitude, options.site())
    southern = record.place.southern
    slices = season_slices(record.times, southern)
    dates = key_dates(state, southern=southern).days
    barriers = {code: _best_barriers(state, record, code, slices) for code in BARRIERS}
    weeks = [_workable_weeks(record, state, purpose, slices) for purpose in PURPOSES]
    known = np.isfinite(record.get("tmax_c") + record.get("tmin_c"))
    rows = []
    for i, (station, own) in enumerate(group):
        for s, (name, part) in enumerate(slices):
            if not known[i, part].any():
                continue
            row = _row(station, own.place) | {
                "season": int(name[:4]),
                "complete": min(1.0, float(known[i, part].sum()) / FULL_SEASON_DAYS),
            }
            row |= {key: float(dates[key][i, s]) for key in KEY_DATES}
            for code, season in BARRIERS.items():
                row[f"barrier_{season}"], row[f"cover_{season}"] = barriers[code][i, s]
            row |= {
                column: week[i, s] for column, week in zip(WORKABLE_COLUMNS, weeks, strict=True)
            }
            rows.append(row)
    return rows


def _row(station: Station, place: Place | None) -> dict[str, Any]:
    row: dict[str, Any] = dict.fromkeys(schema().names)
    row |= {"station": station.id, "name": station.name, "region": station.region}
    if place is not None:
        row |= {
            "latitude": place.latitude_deg,
            "longitude": place.longitude_deg,
            "elevation": place.elevation_m,
        }
    return row


def _best_barriers(
    state: SiteState, record: Record, code: str, slices: Sequence[tuple[str, slice]]
) -> FloatArray:
    """Best day for a barrier and the share it covers, ``[station, season, 2]``.

    NaN for a season whose emergence does not reach its end in the days given.
    """
    share, rain = state.emergence[code].share, record.get("precip_mm")
    barrier = _usual_barrier()
    out = np.full((len(share), len(slices), 2), np.nan)
    for s, (_, part) in enumerate(slices):
        days = state.dates[part].astype("datetime64[D]").astype(np.float64)
        if len(days) < FULL_SEASON_DAYS:
            continue
        up = _from_season_start(share[:, part])
        caught = cover(up, state.soil_5cm_c[:, part], rain[:, part], barrier).caught
        told = np.isfinite(caught).any(axis=-1) & np.isfinite(up[:, -1])
        best = np.argmax(np.where(np.isfinite(caught), caught, -1.0), axis=-1)
        rows = np.flatnonzero(told)
        out[rows, s, 0] = days[best[rows]]
        out[rows, s, 1] = caught[rows, best[rows]]
    return out


def _usual_barrier() -> Barrier:
    """A barrier of usual half-life that must be watered in by rain."""
    table, needs = load("barrier"), purpose_of("pre-fall").generic
    return Barrier(
        half_life_d=table.number("default_half_life"),
        activation_mm=needs.activation_mm or 0.0,
        activation_days=int(needs.activation_days or 0),
    )


def _from_season_start(share: FloatArray) -> FloatArray:
    """Share that came up since the season's first day, never falling, ``[station, day]``.

    The curve of the year before ends where the weed's own count begins anew; what follows is this
    season's.
    """
    step = np.diff(share, axis=-1, prepend=share[:, :1])
    grown = np.cumsum(np.where(step > 0, step, np.where(np.isnan(step), np.nan, 0.0)), axis=-1)
    result: FloatArray = grown
    return result


def _workable_weeks(
    record: Record, state: SiteState, purpose: Any, slices: Sequence[tuple[str, slice]]
) -> npt.NDArray[np.float32]:
    """Workable days of each week of each season, ``[station, season, week]``; NaN if untold."""
    entry = purpose_of(purpose)
    days = workable(day_scores(record, entry, entry.generic, frozen=state.soil_frozen))
    out = np.full((len(days), len(slices), WEEKS), np.nan, np.float32)
    for s, (name, part) in enumerate(slices):
        start = _season_start(int(name[:4]), record.place.southern)
        offset = int((record.times[part][0] - start).astype(int))
        whole = np.full((len(days), WEEKS * 7), np.nan)
        values = days[:, part]
        whole[:, offset : offset + values.shape[1]] = values
        weeks = whole.reshape(len(days), WEEKS, 7)
        out[:, s] = weeks.sum(axis=-1)
        tail = weeks[:, -1]  # the last week has one day, or two in a leap year
        out[:, s, -1] = np.where(np.isfinite(tail).any(axis=-1), np.nansum(tail, axis=-1), np.nan)
    return out

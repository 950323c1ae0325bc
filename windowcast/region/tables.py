"""Seasons and stations as Arrow tables: how they are laid out, made from arrays and read back."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import fields
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np
import numpy.typing as npt

from windowcast.core.record import FloatArray, Place
from windowcast.core.season_calendar import season_starts
from windowcast.region.columns import (
    AMOUNT_COLUMNS,
    DATE_COLUMNS,
    DEPARTURE_COLUMNS,
    EARLY_IF_NEVER,
    HAPPENED_COLUMNS,
    LOST_COLUMNS,
    NO_WEEKS,
    QUANTITIES,
    SHARE_COLUMNS,
    WEEKLY_COLUMNS,
    WEEKS,
    WHOLE_WEEKS,
    units_of,
)
from windowcast.region.engine import Station
from windowcast.region.left_out import Kind
from windowcast.region.statistics import AT_LEAST, Normals, normals, week_statistics

if TYPE_CHECKING:
    import pyarrow as pa

    from windowcast.region.models import Seasons

VALUE_COLUMNS = (
    *DATE_COLUMNS,
    *SHARE_COLUMNS,
    *AMOUNT_COLUMNS,
    *DEPARTURE_COLUMNS,
    *HAPPENED_COLUMNS.values(),
    *LOST_COLUMNS.values(),
)
NORMAL_FIELDS = tuple(field.name for field in fields(Normals))
ODDS_FIELDS = tuple(f"odds_{n}_or_more" for n in AT_LEAST)
_EPOCH = "days since 1970-01-01"
BATCH_ROWS = 1024  # held at a time
FULL = 0.9  # share of a season's days that must be known for it to count

Placed = tuple[int, Station, Place]  # position in the chunk, station, its place


def season_schema() -> pa.Schema:
    """Columns of the seasons, one row a station and season, with CF units.

    ``season`` is its first year, ``complete`` the share of its days with temperature; dates are
    days since 1970-01-01, null where a season does not tell; ``happened_*`` is 1 where the date
    came, 0 where it did not, null where that is unknown; ``workable_*`` and ``spray_days`` are days
    of each week of the season, ``lost_*`` days without a spray day by what took them. A station
    that is left out has one row with the kind of reason (`left_out.Kind`) and its ``problem``.
    """
    import pyarrow as pa

    season = [pa.field("season", pa.int32()), pa.field("complete", pa.float64())]
    units = {
        **dict.fromkeys(DATE_COLUMNS, _EPOCH),
        **dict.fromkeys(SHARE_COLUMNS, "1"),
        **AMOUNT_COLUMNS,
        **dict.fromkeys(DEPARTURE_COLUMNS, "K"),
        **dict.fromkeys(HAPPENED_COLUMNS.values(), "1"),
        **dict.fromkeys(LOST_COLUMNS.values(), "days"),
    }
    values = [
        pa.field(name, pa.float64(), metadata={"units": unit}) for name, unit in units.items()
    ]
    weeks = [
        pa.field(name, pa.list_(pa.float32(), WEEKS), metadata={"units": "days per week"})
        for name in WEEKLY_COLUMNS
    ]
    reasons = [pa.field("left_out", pa.string()), pa.field("problem", pa.string())]
    return pa.schema([*_identity(), *season, *values, *weeks, *reasons])


def station_schema() -> pa.Schema:
    """Columns of the stations that can be used, one row a station.

    Each quantity holds the fields of `statistics.Normals`, each purpose those of
    `statistics.WeekStatistics` for the whole weeks of the season; null where too few years are
    known.
    """
    import pyarrow as pa

    names = ("first_season", "last_season", "complete_seasons")
    span = [pa.field(name, pa.int32()) for name in names]
    kinds = {"years": pa.int16()}
    normal = pa.struct([pa.field(name, kinds.get(name, pa.float64())) for name in NORMAL_FIELDS])
    weekly = pa.struct(
        [
            pa.field(name, pa.list_(kinds.get(name, pa.float32()), WHOLE_WEEKS))
            for name in ("years", "mean_days", *ODDS_FIELDS)
        ]
    )
    quantities = [
        pa.field(name, normal, metadata={"units": units_of(name), "long_name": words})
        for name, words in QUANTITIES.items()
    ]
    weeks = [pa.field(name, weekly) for name in WEEKLY_COLUMNS]
    return pa.schema([*_identity(), *span, *break_fields(), *quantities, *weeks])


def break_fields() -> list[pa.Field]:
    """What `homogeneity.breaks` finds at a station; null where nothing breaks or is tested."""
    import pyarrow as pa

    fields = {
        "break_season": (pa.int32(), "1", "first season after a break against the neighbours"),
        "break_p": (pa.float64(), "1", "chance that a record without a break looks so"),
        "break_size": (pa.float64(), "K", "temperature after the break minus before"),
        "break_of": (pa.string(), "", "highs or lows"),
        "neighbours": (pa.int32(), "1", "stations it was compared with"),
    }
    return [
        pa.field(name, kind, metadata={"units": units, "long_name": words})
        for name, (kind, units, words) in fields.items()
    ]


def _identity() -> list[pa.Field]:
    import pyarrow as pa

    units = {"latitude": "degrees_north", "longitude": "degrees_east", "elevation": "m"}
    return [
        *(pa.field(name, pa.string()) for name in ("station", "name", "region")),
        *(pa.field(name, pa.float64(), metadata={"units": unit}) for name, unit in units.items()),
    ]


def season_table(group: Sequence[Placed], found: Seasons) -> pa.Table:
    """Rows of the seasons in which a station has any temperature; see `in_order`."""
    import pyarrow as pa

    row, season = np.nonzero(found.complete > 0)
    columns = _identity_columns([group[i] for i in row.tolist()])
    columns["season"] = found.first_years[season]
    columns["complete"] = found.complete[row, season]
    for name in VALUE_COLUMNS:
        columns[name] = _nullable(found.values[name][row, season])
    for name in WEEKLY_COLUMNS:
        columns[name] = _lists(found.weeks[name][row, season])
    columns["left_out"] = columns["problem"] = pa.nulls(len(row), pa.string())
    return pa.table(columns, schema=_ordered(season_schema()))


def problem_table(order: int, station: Station, kind: Kind, problem: str) -> pa.Table:
    """The one row among the seasons of a station that cannot be used."""
    import pyarrow as pa

    row = {
        "order": order,
        "station": station.id,
        "name": station.name,
        "region": station.region,
        "left_out": kind,
        "problem": problem,
        **NO_WEEKS,
    }
    return pa.Table.from_pylist([row], schema=_ordered(season_schema()))


def station_table(group: Sequence[Placed], found: Seasons) -> pa.Table:
    """A row for each station: its normals, trends and weeks, worked out here; see `in_order`."""
    import pyarrow as pa

    columns = _identity_columns(group)
    used = found.complete > 0
    last = used.shape[1] - 1 - np.argmax(used[:, ::-1], axis=1)
    columns["first_season"] = found.first_years[np.argmax(used, axis=1)]
    columns["last_season"] = found.first_years[last]
    columns["complete_seasons"] = (found.complete >= FULL).sum(axis=1)
    south = np.array([place.southern for _, _, place in group])[:, None]
    values = [
        with_never(
            name,
            counted(name, found.values[name], found.first_years, south, found.complete),
            found.values.get(HAPPENED_COLUMNS.get(name, "")),
        )
        for name in QUANTITIES
    ]
    all_normals = normals(found.first_years.astype(np.float64), np.stack(values))
    schema = station_schema()
    for field in break_fields():  # known when all stations are put together
        columns[field.name] = pa.nulls(len(group), field.type)
    for n, name in enumerate(QUANTITIES):
        parts = [_nullable(getattr(all_normals, field)[n]) for field in NORMAL_FIELDS]
        columns[name] = pa.StructArray.from_arrays(parts, fields=list(schema.field(name).type))
    for name in WEEKLY_COLUMNS:
        days = np.where(used[..., None], found.weeks[name], np.nan)[..., :WHOLE_WEEKS]
        told = week_statistics(days)
        lists = [_lists(each) for each in (told.years, told.mean_days, *told.odds)]
        columns[name] = pa.StructArray.from_arrays(lists, fields=list(schema.field(name).type))
    return pa.table(columns, schema=_ordered(schema))


def in_order(tables: Sequence[pa.Table], schema: pa.Schema) -> pa.Table:
    """Tables of parts of a chunk as one, in the order of its stations and of their seasons."""
    import pyarrow as pa

    whole = pa.concat_tables([_ordered(schema).empty_table(), *tables])
    keys = [("order", "ascending")]
    if "season" in schema.names:
        keys.append(("season", "ascending"))
    return whole.sort_by(keys).drop_columns("order").combine_chunks()


def counted(
    quantity: str,
    value: FloatArray,
    season: npt.NDArray[np.integer[Any]],
    south: npt.NDArray[np.bool_],
    complete: FloatArray,
) -> FloatArray:
    """A quantity as it is compared: dates from the season's first day; NaN if the season has gaps.

    All broadcast. The season begins on 1 July, in the southern hemisphere on 1 January.
    """
    if quantity in DATE_COLUMNS:
        value = value - season_starts(season, south).astype(float)
    return np.where(complete >= FULL, value, np.nan)


def with_never(quantity: str, value: FloatArray, happened: FloatArray | None) -> FloatArray:
    """A quantity, infinite where it did not come in the season.

    ``inf`` where that is later than all, ``-inf`` where it is earlier (`columns.EARLY_IF_NEVER`).
    `happened` is 1, 0 or NaN of seasons that count; None for what has no such column.
    """
    if happened is None:
        return value
    return np.where(happened == 0, -np.inf if quantity in EARLY_IF_NEVER else np.inf, value)


def numbers(table: pa.Table | pa.RecordBatch, name: str) -> FloatArray:
    """A column as floats, NaN where null."""
    return np.asarray(table[name].cast("float64").to_numpy(zero_copy_only=False))


_GROUPED = ("station", "name", "region", "left_out", "break_of")  # of few texts each
_Table = TypeVar("_Table", "pa.Table", "pa.RecordBatch")


def typed(schema: pa.Schema, about: Callable[[str], str]) -> pa.Schema:
    """A schema as it is written for other tools: dates are dates, groups dictionaries.

    `about` says what a column means; it goes with the column as its ``description``.
    """
    import pyarrow as pa

    group = pa.dictionary(pa.int32(), pa.string())
    fields = []
    for field in schema:
        metadata = dict(field.metadata or {}) | {b"description": about(field.name).encode()}
        kind = group if field.name in _GROUPED else field.type
        if metadata.get(b"units") == _EPOCH.encode():
            kind = pa.date32()
            del metadata[b"units"]
        fields.append(pa.field(field.name, kind, metadata=metadata))
    return pa.schema(fields)


def as_typed(table: pa.Table, schema: pa.Schema) -> pa.Table:
    """Rows of a plain schema as those of a `typed` one."""
    import pyarrow as pa

    columns = []
    for field in schema:
        column = table[field.name]
        if pa.types.is_date32(field.type):
            column = column.cast(pa.int32())
        columns.append(column.cast(field.type))
    return pa.table(columns, schema=schema)


def as_plain(table: _Table) -> _Table:
    """Rows that were read, with dates as days since 1970 and groups as texts."""
    import pyarrow as pa

    for at, field in enumerate(table.schema):
        column = table.column(at)
        if pa.types.is_date32(field.type):
            days = pa.field(field.name, pa.float64(), metadata={"units": _EPOCH})
            table = table.set_column(at, days, column.cast(pa.int32()).cast(pa.float64()))
        elif pa.types.is_dictionary(field.type):
            texts = pa.field(field.name, pa.string())
            table = table.set_column(at, texts, column.cast(pa.string()))
    return table


def read(path: Path, columns: Sequence[str]) -> pa.Table:
    """Columns of a Parquet file, plain (`as_plain`)."""
    import pyarrow.parquet as pq

    with pq.ParquetFile(path) as file:
        return as_plain(file.read(columns=list(columns)))


def batches(
    path: Path, columns: Sequence[str] | None = None, rows: int | None = None
) -> Iterator[pa.RecordBatch]:
    """Rows of a Parquet file, `BATCH_ROWS` at a time or fewer, plain (`as_plain`)."""
    import pyarrow.parquet as pq

    with pq.ParquetFile(path) as file:
        size = min(BATCH_ROWS, rows or BATCH_ROWS)
        yield from map(as_plain, file.iter_batches(size, columns=columns))


def normals_in(table: pa.Table | pa.RecordBatch, quantity: str) -> Normals:
    """Normals of the stations of a table, ``[station]``."""
    return Normals(*(each.to_numpy(zero_copy_only=False) for each in _fields(table, quantity)))


def weekly_in(table: pa.Table | pa.RecordBatch, column: str) -> list[npt.NDArray[Any]]:
    """Each field of the weeks of a purpose that was read, ``[station, week]``."""
    return [
        each.flatten().to_numpy(zero_copy_only=False).reshape(-1, WHOLE_WEEKS)
        for each in _fields(table, column)
    ]


def _fields(table: pa.Table | pa.RecordBatch, name: str) -> list[pa.Array]:
    import pyarrow as pa

    column = table[name]
    whole = column.combine_chunks() if isinstance(column, pa.ChunkedArray) else column
    return list(whole.flatten())


def _identity_columns(group: Sequence[Placed]) -> dict[str, Any]:
    return {
        "order": [order for order, _, _ in group],
        "station": [station.id for _, station, _ in group],
        "name": [station.name for _, station, _ in group],
        "region": [station.region for _, station, _ in group],
        "latitude": [place.latitude_deg for _, _, place in group],
        "longitude": [place.longitude_deg for _, _, place in group],
        "elevation": [place.elevation_m for _, _, place in group],
    }


def _nullable(values: npt.NDArray[Any]) -> pa.Array:
    """An array with null in place of NaN."""
    import pyarrow as pa

    return pa.array(values, mask=np.isnan(values))


def _lists(values: npt.NDArray[Any]) -> pa.FixedSizeListArray:
    """An array ``[row, n]`` as a list of n for each row."""
    import pyarrow as pa

    return pa.FixedSizeListArray.from_arrays(_nullable(values.ravel()), values.shape[-1])


def _ordered(schema: pa.Schema) -> pa.Schema:
    """A schema with the station's place in its chunk in front."""
    import pyarrow as pa

    return schema.insert(0, pa.field("order", pa.int64()))

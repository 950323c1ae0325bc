"""Many stations side by side: their parts put together, read column by column, and compared.

Memory holds only the name and place of each station. Its seasons and statistics are in two Parquet
files, read one column at a time.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import chain, islice
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import numpy as np
import numpy.typing as npt

from windowcast.core.atomic_files import atomic_file
from windowcast.core.extras import require
from windowcast.core.record import FloatArray
from windowcast.region import left_out
from windowcast.region.columns import QUANTITIES, WORKABLE_COLUMNS, units_of
from windowcast.region.dictionary import described
from windowcast.region.drawn import Drawing, DrawnArea
from windowcast.region.homogeneity import NEEDED, break_table, with_breaks
from windowcast.region.left_out import Kind, LeftOut
from windowcast.region.parts import Chunk
from windowcast.region.statistics import Normals
from windowcast.region.tables import (
    as_typed,
    batches,
    counted,
    normals_in,
    numbers,
    read,
    season_schema,
    station_schema,
    typed,
    weekly_in,
)

if TYPE_CHECKING:
    import pandas as pd
    import pyarrow as pa
    import xarray as xr

    from windowcast.region.regional import Regional

MAX_PROBLEMS = 500  # of unusable stations, listed with their problem; the seasons have all
SEASON_ROWS, STATION_ROWS = 8192, 1024  # that lie together in a file
_IDENTITY = ("station", "name", "region", "latitude", "longitude", "elevation")
_SPAN = ("first_season", "last_season")


@dataclass(frozen=True)
class Compared:
    """Seasons and statistics of many stations, on disk.

    Attributes
    ----------
    season_file, station_file
        Laid out as `tables.season_schema` and `tables.station_schema` say.
    stations
        Name and place of every station: columns ``station``, ``name``,
        ``region``, ``latitude``, ``longitude``, ``elevation``.
    seasons
        First year of each season, ``[season]``.
    left_out
        Stations that are not compared and why, at most `MAX_PROBLEMS` of them.
    unusable
        How many are not compared.
    notes
        What was passed over when the stations were looked for, in words.
    areas
        Regions that were drawn with an outline.
    beforehand
        Stations that were left out before they were computed.
    """

    season_file: Path
    station_file: Path
    stations: pa.Table
    seasons: npt.NDArray[np.int64]
    left_out: tuple[LeftOut, ...]
    unusable: int
    notes: tuple[str, ...] = ()
    areas: tuple[DrawnArea, ...] = ()
    beforehand: tuple[LeftOut, ...] = ()

    def every_left_out(self) -> Iterator[LeftOut]:
        """All stations that are not compared, as many as there are."""
        yield from self.beforehand
        for batch in batches(self.season_file, ["station", "name", "left_out", "problem"]):
            yield from left_out.read_left_out(batch)

    @property
    def problems(self) -> dict[str, str]:
        """Station id → why it is not compared, of those in `left_out`."""
        return {each.station: each.reason for each in self.left_out}

    def to_pandas(self) -> pd.DataFrame:
        """A row for each station and season, as in ``seasons.parquet``.

        Dates are timestamps, groups categories, shares 0 to 1; see `tables.season_schema`.
        """
        import pyarrow.parquet as pq

        table = pq.read_table(self.season_file)
        frame: pd.DataFrame = table.to_pandas(date_as_object=False)
        return frame

    def to_xarray(self) -> xr.Dataset:
        """Each quantity by station and season; dates are days from the season's first day.

        A season with too many missing days is NaN.

        Raises
        ------
        InputError
            xarray is not installed.
        """
        require("to_xarray()", "xarray", "xarray")
        import pyarrow.compute as pc
        import xarray as xr

        ids = self.stations["station"]
        grids = {name: np.full((len(self), len(self.seasons)), np.nan) for name in QUANTITIES}
        columns = ["station", "season", "latitude", "complete", *QUANTITIES]
        for batch in batches(self.season_file, columns):
            known = batch.filter(batch["season"].is_valid())
            row = pc.index_in(known["station"], value_set=ids).to_numpy(zero_copy_only=False)
            season = numbers(known, "season").astype(np.int64) - self.seasons[:1]
            for name, values in season_values(known).items():
                grids[name][row, season] = values
        along = ("station", "season")
        variables = {
            name: (along, grid, {"units": units_of(name), "long_name": QUANTITIES[name]})
            for name, grid in grids.items()
        }
        where = {
            name: ("station", numbers(self.stations, name))
            for name in ("latitude", "longitude", "elevation")
        }
        coordinates = {"station": ids.to_pylist(), "season": self.seasons, **where}
        return xr.Dataset(variables, coordinates)

    def __len__(self) -> int:
        return int(self.stations.num_rows)

    @property
    def latitude_deg(self) -> FloatArray:
        """``[station]``."""
        return numbers(self.stations, "latitude")

    @property
    def longitude_deg(self) -> FloatArray:
        """``[station]``."""
        return numbers(self.stations, "longitude")

    @property
    def southern(self) -> npt.NDArray[np.bool_]:
        """Stations whose season is turned by half a year, ``[station]``."""
        return self.latitude_deg < 0

    @property
    def hemispheres(self) -> tuple[bool, ...]:
        """Values of `southern` that occur, the northern first; northern without stations."""
        return tuple(np.unique(self.southern).tolist()) or (False,)

    def places(self) -> npt.NDArray[np.int64]:
        """Number of the place each station stands at, ``[station]``; one within some 100 m.

        A place has the same number in every comparison.
        """
        north, east = (
            np.rint(1000 * degrees).astype(np.int64)
            for degrees in (90 + self.latitude_deg, self.longitude_deg)
        )
        return 360_000 * north + east % 360_000

    def texts(self, column: str, stations: Iterable[int]) -> list[str]:
        """Ids, names (the id where there is none) or regions of some of the stations."""
        of, ids = self.stations[column], self.stations["station"]
        found = [(of[i].as_py(), ids[i].as_py()) for i in stations]
        return [text or (station if column == "name" else "") for text, station in found]

    def normals(self, quantity: str) -> Normals:
        """Normals of a quantity, ``[station]``."""
        return normals_in(read(self.station_file, [quantity]), quantity)

    def regional(self) -> Regional:
        """What is said of the regions: typical seasons, trends, differences, with intervals."""
        from windowcast.region.regional_fit import regional

        return regional(self)

    def weekly(self, purpose: str, field: str) -> npt.NDArray[np.float32]:
        """``mean_days`` or ``odds_*_or_more`` of the weeks of a purpose, ``[station, week]``."""
        column = WORKABLE_COLUMNS[purpose]
        (values,) = weekly_in(read(self.station_file, [f"{column}.{field}"]), column)
        return values


def put_together(
    parts: Sequence[Chunk],
    folder: Path,
    notes: tuple[str, ...] = (),
    *,
    drawing: Drawing | None = None,
    at_least: int = 0,
    beforehand: Sequence[LeftOut] = (),
) -> Compared:
    """Write ``seasons.parquet`` and ``stations.parquet`` from the parts; the same however cut.

    Parameters
    ----------
    notes
        What was passed over when the stations were looked for, in words.
    drawing
        Which region a station belongs to; by default the one its part names.
    at_least
        Complete seasons of a station that is compared, see `left_out.too_few`.
    beforehand
        Stations that were left out before they were computed.

    Raises
    ------
    InputError
        A station lies in two regions.
    """
    seasons, stations = folder / "seasons.parquet", folder / "stations.parquet"
    files = [p.file("stations") for p in parts]
    everywhere = _table(files, [*_IDENTITY, *_SPAN, "complete_seasons"])
    reasons, region = _reasons(everywhere, at_least), None
    places = _without(everywhere, reasons)
    if drawing is not None:
        region, more = _regions(places, drawing)
        notes = (*notes, *more)
    seen: set[str] = set()
    rows = chain.from_iterable(batches(part.file("seasons"), NEEDED) for part in parts)
    broken = break_table(places, rows)

    def season_rows(batch: pa.RecordBatch) -> pa.RecordBatch:
        return left_out.marked(_in_regions(batch, region), reasons, seen)

    def station_rows(batch: pa.RecordBatch) -> pa.RecordBatch:
        return with_breaks(_in_regions(_without(batch, reasons), region), broken)

    _write(seasons, season_schema(), [p.file("seasons") for p in parts], SEASON_ROWS, season_rows)
    _write(stations, station_schema(), files, STATION_ROWS, station_rows)
    found = read(stations, [*_IDENTITY, *_SPAN])
    span: npt.NDArray[np.int64] = np.zeros(0, np.int64)
    if len(found):
        first, last = (numbers(found, name).astype(np.int64) for name in _SPAN)
        span = np.arange(first.min(), last.max() + 1)
    areas = drawing.areas if drawing is not None else ()
    told = found.select(_IDENTITY)
    bare = Compared(seasons, stations, told, span, (), 0, notes, areas, tuple(beforehand))
    some = tuple(islice(bare.every_left_out(), MAX_PROBLEMS))
    count = sum(1 for _ in bare.every_left_out())
    return replace(bare, left_out=some, unusable=count)


def _reasons(found: pa.Table, at_least: int) -> dict[str, tuple[Kind, str]]:
    """Station → kind and reason of those with too few complete seasons."""
    names = (*_SPAN, "complete_seasons")
    first, last, complete = (numbers(found, name).astype(np.int64) for name in names)
    rows = left_out.too_few(last - first + 1, complete, at_least)
    return {found["station"][row].as_py(): why for row, why in rows.items()}


def _regions(found: pa.Table, drawing: Drawing) -> tuple[dict[str, str], tuple[str, ...]]:
    """Station → region, and what is to be said of it."""
    ids = found["station"].to_pylist()
    places = (numbers(found, name) for name in ("latitude", "longitude", "elevation"))
    regions = drawing.regions(ids, *places)
    return dict(zip(ids, regions, strict=True)), drawing.notes(ids, regions)


_Rows = TypeVar("_Rows", "pa.Table", "pa.RecordBatch")


def _without(rows: _Rows, stations: Iterable[str]) -> _Rows:
    """Rows of the other stations."""
    import pyarrow as pa
    import pyarrow.compute as pc

    gone = pa.array(list(stations), pa.string())
    return rows.filter(pc.invert(pc.is_in(rows["station"], gone))) if len(gone) else rows


def _in_regions(batch: pa.RecordBatch, region: Mapping[str, str] | None) -> pa.RecordBatch:
    """Rows with each station's region; unchanged where none is given."""
    import pyarrow as pa

    if region is None:
        return batch
    names = pa.array([region.get(station, "") for station in batch["station"].to_pylist()])
    at = batch.schema.get_field_index("region")
    return batch.set_column(at, batch.schema.field(at), names.cast(batch.schema.field(at).type))


def _write(
    path: Path,
    schema: pa.Schema,
    files: Sequence[Path],
    rows: int,
    change: Callable[[pa.RecordBatch], pa.RecordBatch],
) -> None:
    """Parquet files of one schema as one, in row groups that do not show where one ended.

    What is written is `tables.typed`: dates are dates, and columns say what they mean.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    kinds = typed(schema, described)
    held = pa.Table.from_batches([], schema)
    with (
        atomic_file(path) as stream,
        pq.ParquetWriter(stream, kinds, compression="zstd") as writer,
    ):
        for batch in map(change, chain.from_iterable(map(batches, files))):
            held = pa.concat_tables([held, pa.Table.from_batches([batch], schema)])
            while len(held) >= rows:
                writer.write_table(as_typed(held.slice(0, rows).combine_chunks(), kinds))
                held = held.slice(rows).combine_chunks()
        writer.write_table(as_typed(held.combine_chunks(), kinds))


def _table(files: Sequence[Path], columns: Sequence[str]) -> pa.Table:
    """Some columns of several files of one schema."""
    import pyarrow as pa

    schema = pa.schema([station_schema().field(name) for name in columns])
    return pa.concat_tables([schema.empty_table(), *(read(file, columns) for file in files)])


def season_values(batch: pa.RecordBatch) -> dict[str, FloatArray]:
    """Every quantity of rows of seasons as it is compared, see `tables.counted`."""
    season = numbers(batch, "season")
    bad = np.isnan(season)
    when = np.where(bad, 1970, season).astype(np.int64)
    south = numbers(batch, "latitude") < 0
    complete = np.where(bad, 0.0, numbers(batch, "complete"))
    return {name: counted(name, numbers(batch, name), when, south, complete) for name in QUANTITIES}

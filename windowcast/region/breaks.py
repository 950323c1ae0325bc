"""The breaks of all stations of a comparison, from the departures of their seasons."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np

from windowcast.core.values import load
from windowcast.region.columns import DEPARTURE_COLUMNS
from windowcast.region.homogeneity import breaks
from windowcast.region.tables import FULL, break_fields, numbers

if TYPE_CHECKING:
    import pyarrow as pa

NEEDED = ("station", "season", "complete", *DEPARTURE_COLUMNS)


def break_table(stations: pa.Table, seasons: Iterable[pa.RecordBatch]) -> pa.Table:
    """`tables.break_fields` of each station, in their order; null where nothing is found.

    Parameters
    ----------
    stations
        Columns ``station``, ``latitude``, ``longitude``, ``first_season``, ``last_season``.
    seasons
        Rows with the columns `NEEDED`, of these and perhaps other stations.
    """
    import pyarrow as pa
    import pyarrow.compute as pc

    schema = pa.schema([stations.schema.field("station"), *break_fields()])
    if not len(stations):
        return schema.empty_table()
    first = int(numbers(stations, "first_season").min())
    last = int(numbers(stations, "last_season").max())
    grids = np.full((2, len(stations), last - first + 1), np.nan, np.float32)
    for batch in seasons:
        row = pc.index_in(batch["station"], value_set=stations["station"]).fill_null(-1).to_numpy()
        use = (row >= 0) & (np.nan_to_num(numbers(batch, "complete")) >= FULL)
        at = row[use], numbers(batch, "season")[use].astype(np.int64) - first
        for grid, name in zip(grids, DEPARTURE_COLUMNS, strict=True):
            grid[at] = numbers(batch, name)[use]
    found = breaks(
        grids[0],
        grids[1],
        numbers(stations, "latitude"),
        numbers(stations, "longitude"),
        load("homogeneity"),
    )
    broken, tested = found.season >= 0, found.neighbours > 0
    columns = (
        pa.array(first + found.season, mask=~broken),
        pa.array(found.p, mask=~tested),
        pa.array(found.size_k, mask=~broken),
        pa.array(np.where(found.highs, "highs", "lows"), mask=~broken),
        pa.array(found.neighbours, mask=~tested),
    )
    fields = break_fields()
    made = [column.cast(field.type) for column, field in zip(columns, fields, strict=True)]
    return pa.table([stations["station"], *made], schema=schema)


def with_breaks(batch: pa.RecordBatch, found: pa.Table) -> pa.RecordBatch:
    """Rows of stations with what was found at them."""
    import pyarrow.compute as pc

    row = pc.index_in(batch["station"], value_set=found["station"])
    for field in break_fields():
        at = batch.schema.get_field_index(field.name)
        column = found[field.name].take(row).combine_chunks()
        batch = batch.set_column(at, batch.schema.field(at), column)
    return batch

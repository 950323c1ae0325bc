"""Columns of the seasons as grids of stations and seasons, one column at a time."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
import numpy.typing as npt

from windowcast.core.record import FloatArray
from windowcast.core.season_calendar import paired_year
from windowcast.region.statistics import Normals
from windowcast.region.tables import batches, counted, numbers, read

if TYPE_CHECKING:
    import pyarrow as pa


class Kept(Protocol):
    """What is read of a comparison: `compare.Compared`, which stands on this module."""

    @property
    def season_file(self) -> Path:
        """Laid out as `tables.season_schema` says."""

    @property
    def stations(self) -> pa.Table:
        """Name and place of every station."""

    def __len__(self) -> int: ...

    @property
    def southern(self) -> npt.NDArray[np.bool_]:
        """Stations of the southern hemisphere, ``[station]``."""

    def places(self) -> npt.NDArray[np.int64]:
        """Number of the place of each station, ``[station]``; the same in every comparison."""

    def normals(self, quantity: str) -> Normals:
        """Normals of a quantity, ``[station]``."""

    def texts(self, column: str, stations: Iterable[int]) -> list[str]:
        """Ids, names or regions of some of the stations."""


@dataclass(frozen=True, slots=True)
class SeasonRows:
    """Where the rows of the seasons lie on a grid of stations and seasons.

    Attributes
    ----------
    data
        What was compared.
    kept
        Rows that tell a season, ``[row]``.
    at
        Station, in the order of `Compared.stations`, and season of the kept rows.
    years
        Paired year of each season of the grid (`season_calendar.paired_year`), ``[season]``.
    first_year, south, complete
        Of the kept rows.
    """

    data: Kept
    kept: npt.NDArray[np.bool_]
    at: tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]
    years: npt.NDArray[np.int64]
    first_year: npt.NDArray[np.int64]
    south: npt.NDArray[np.bool_]
    complete: FloatArray

    @classmethod
    def of(cls, data: Kept) -> SeasonRows:
        """The rows of a comparison."""
        import pyarrow.compute as pc

        rows = read(data.season_file, ["station", "season", "latitude", "complete"])
        kept = rows["season"].is_valid().to_numpy()
        rows = rows.filter(rows["season"].is_valid())
        station = pc.index_in(rows["station"], value_set=data.stations["station"])
        first_year = numbers(rows, "season").astype(np.int64)
        south = numbers(rows, "latitude") < 0
        paired = paired_year(first_year, south)
        years = np.arange(paired.min(), paired.max() + 1) if len(paired) else paired
        at = station.to_numpy().astype(np.int64), paired - years[:1]
        return cls(data, kept, at, years, first_year, south, numbers(rows, "complete"))

    def grid(
        self, column: str, *, stations: npt.NDArray[np.int64] | slice = slice(None)
    ) -> FloatArray:
        """A column as it is compared (`tables.counted`) of some stations, ``[station, season]``."""
        values = numbers(read(self.data.season_file, [column]), column)[self.kept]
        values = counted(column, values, self.first_year, self.south, self.complete)
        return self._placed(values)[stations]

    def weeks(self, column: str, count: int) -> npt.NDArray[np.float16]:
        """The first weeks of a column of lists, ``[station, season, week]``; NaN unknown.

        Whole days from 0 to 7, which half precision holds exactly: nothing that is kept is larger.
        """
        import pyarrow as pa

        out = np.full((len(self.data), len(self.years), count), np.nan, np.float16)
        station, season = self.at
        rows = before = 0  # all rows and kept ones ahead of the batch
        for batch in batches(self.data.season_file, [column]):
            kept = self.kept[rows : rows + len(batch)]
            told = batch.filter(pa.array(kept))  # a null list has no items
            values = told[column].flatten().to_numpy(zero_copy_only=False)
            values = values.reshape(-1, told[column].type.list_size)
            here = slice(before, before + len(told))
            out[station[here], season[here]] = values[:, :count]
            rows, before = rows + len(batch), here.stop
        return out

    def counting(self) -> npt.NDArray[np.bool_]:
        """Seasons that are known well enough to count, ``[station, season]``."""
        one = np.ones(len(self.complete))
        found = counted("", one, self.first_year, self.south, self.complete)
        return np.asarray(np.isfinite(self._placed(found)))

    def _placed(self, values: npt.NDArray[Any]) -> npt.NDArray[Any]:
        out = np.full((len(self.data), len(self.years), *values.shape[1:]), np.nan, values.dtype)
        out[self.at] = values
        return out

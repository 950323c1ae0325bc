"""How a table was understood, for its owner to look at before anything is stored."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from windowcast.sources.written_dates import Order
from windowcast.sources.written_numbers import Mark


@dataclass(frozen=True, slots=True)
class ColumnRead:
    """A column by its name in the file, what it is read as, and in which unit it is written."""

    header: str
    name: str
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Understood:
    """A table as it was understood.

    Attributes
    ----------
    rows
        Rows with anything in them, without the header.
    first_row
        Number of the first one in the file.
    daily
        Whether a row is a day; None where rows are no weather.
    delimiter, mark
        Between columns, and in numbers.
    order
        Of day and month; None where the dates leave no doubt by themselves.
    zone
        Of times that say none.
    ignored
        Names of columns that are not read.
    first_as_written, first
        The first row: texts by the names in the file, values in SI by the names of ours.
    """

    rows: int
    first_row: int
    daily: bool | None
    delimiter: str
    mark: Mark
    order: Order | None
    zone: str
    columns: tuple[ColumnRead, ...]
    ignored: tuple[str, ...]
    exact: bool = False  # whether every column has the name of our own layout
    time_columns: tuple[str, ...] = ()
    first_as_written: Mapping[str, str] = field(default_factory=dict)
    first_time: str = ""
    first: Mapping[str, float] = field(default_factory=dict)

    @property
    def plain(self) -> bool:
        """Whether the table is in the plain layout and leaves nothing to look at."""
        usual = (self.delimiter, self.mark, self.order, self.zone) == (",", ".", None, "")
        return usual and self.exact and not self.ignored

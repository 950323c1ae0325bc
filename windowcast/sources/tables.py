"""Weather tables in CSV: our own daily and hourly layout, and wide tables of other origin.

The layout is documented in ``docs/weather_csv.md``. One row is one day or one hour; the header
names quantities and units (`windowcast.sources.columns`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from windowcast.core.errors import InputError
from windowcast.core.phrase import Name, names, say
from windowcast.core.record import (
    DAILY_VARIABLES,
    HOURLY_VARIABLES,
    DateArray,
    Flag,
    FloatArray,
    Grade,
    Place,
    Provenance,
    Record,
)
from windowcast.core.time_axis import grades_of, on_regular_axis, span_flag
from windowcast.core.values import load
from windowcast.sources.columns import FileColumn, FileUnits, read_columns, variable_and_unit
from windowcast.sources.csv_rows import MISSING, Rows, check_order, split_rows
from windowcast.sources.numerals import NotPlain, decimals
from windowcast.sources.table_times import TIME_NAMES, TimeOptions, read_times
from windowcast.sources.understood import ColumnRead, Understood
from windowcast.sources.written_numbers import Mark, decimal_mark, number_written

_MISSING = MISSING | {"", ".", "missing"}
_COMPASS = (
    "n", "nne", "ne", "ene", "e", "ese", "se", "sse", "s", "ssw", "sw", "wsw", "w", "wnw", "nw",
    "nnw",
)  # fmt: skip
REMEDY_MARK = "say which: FILE:decimal=comma or FILE:decimal=point"
_ATTRIBUTES = "_ATTRIBUTES"
# column of the archive's wide tables → what it tells of the place (elevation in metres)
_PLACE_COLUMNS = {
    "latitude": "latitude",
    "longitude": "longitude",
    "elevation": "elevation_m",
    "name": "name",
}


def read_table(
    text: str,
    path: str,
    *,
    units: FileUnits | None = None,
    station: str = "",
    any_order: bool = False,
    times: TimeOptions | None = None,
    mark: Mark | None = None,
) -> tuple[Record, Understood]:
    """Read a daily or hourly table; what it says, and how it was understood.

    Parameters
    ----------
    text
        The file's contents.
    path
        For messages and provenance.
    units
        Unit system of columns whose header names none.
    station
        Which station, when a column ``STATION`` holds several.
    any_order
        Whether the owner says that the rows are out of order; they are sorted then.
    times
        What the owner says of dates and times, and the site's clock.
    mark
        The decimal mark, where the owner says it.

    Raises
    ------
    InputError
        Anything that keeps the table from being read without a guess; names the row and field.
    """
    try:
        rows = split_rows(text, path).without_units_row
    except InputError as error:
        raise error.at(path=path) from None
    rows = _one_station(rows, station, path)
    said = read_times(rows, path, times or TimeOptions())
    moments, daily = said.values, said.daily
    columns, ignored = read_columns(rows.header, daily=daily, units=units, path=path)
    if any_order:
        order = np.argsort(moments, kind="stable")
        moments, rows = moments[order], rows.taken(order.tolist())
    check_order(moments, rows.numbers, path, said.field)

    plain = [_plain_numbers(rows, column) for column in columns]
    mark = _mark(rows, columns, plain, mark, path)
    found = {
        column.variable: _cells(rows, column, numbers, moments, mark, daily=daily, path=path)
        for column, numbers in zip(columns, plain, strict=True)
    }
    traces = {f"{name}:trace": cells.trace for name, cells in found.items() if cells.trace.any()}
    axis, regular = on_regular_axis(
        moments, {n: cells.values for n, cells in found.items()} | traces
    )
    grades = {}
    for name in found:
        trace = np.nan_to_num(regular.pop(f"{name}:trace", np.zeros(len(axis))))
        best = np.where(trace > 0, Grade.ESTIMATED, Grade.OBSERVED).astype(np.uint8)
        grades[name] = grades_of(regular[name], best)
    licence = rows.about.get("licence", "")
    source = Provenance(
        "file", Path(path).name, tuple(found), str(axis[0]), str(axis[-1]), licence=licence
    )
    unused = [
        name
        for name in ignored
        if name.lower() not in {"", *TIME_NAMES, *_PLACE_COLUMNS, "station"}
        and name not in said.columns
        and not name.endswith(_ATTRIBUTES)
    ]
    flags = tuple(flag for cells in found.values() for flag in cells.flags)
    if unused:
        words = say("flag.unused", columns=names(*unused, join="comma"))
        flags = (span_flag("column-ignored", "", axis, "kept", words), *flags)
    if said.site_clock:
        words = say("flag.site_clock", zone=Name(said.zone))
        flags = (*flags, span_flag("site-clock", "", axis, "kept", words))
    record = Record(_place(rows, path), axis, regular, grades, (source,), flags)
    cells = {name: rows.taken([0]).column(rows.header.index(name))[0] for name in said.columns}
    understood = Understood(
        rows=len(rows), first_row=rows.numbers[0], daily=daily, delimiter=rows.delimiter,
        mark=mark, order=said.order, zone=said.zone,
        columns=tuple(ColumnRead(c.header, c.variable, c.unit) for c in columns),
        exact=all(variable_and_unit(column.header, daily) for column in columns),
        ignored=tuple(unused), time_columns=said.columns,
        first_as_written={
            **cells, **{c.header: rows.taken([0]).column(c.index)[0] for c in columns}
        },
        first_time=str(moments[0]),
        first={name: float(cells.values[0]) for name, cells in found.items()},
    )  # fmt: skip
    return record, understood


@dataclass(frozen=True, slots=True)
class _Cells:
    """One column as numbers."""

    values: FloatArray  # in the unit of the schema
    trace: FloatArray  # 1.0 where the cell says trace
    flags: tuple[Flag, ...]


def _one_station(rows: Rows, station: str, path: str) -> Rows:
    """The rows of one station, if the table has a column that tells stations apart."""
    names = [name.lower() for name in rows.header]
    if "station" not in names:
        return rows
    cells = [cell.strip() for cell in rows.column(names.index("station"))]
    stations = dict.fromkeys(cells)
    if station:
        rows = rows.taken([i for i, cell in enumerate(cells) if cell == station])
    if (station not in stations) if station else (len(stations) > 1):
        some = ", ".join(list(stations)[:3])
        raise InputError(
            f"holds the stations {some}", path=path, field="STATION",
            remedy="name one of them: FILE:station=NAME",
        )  # fmt: skip
    return rows


_Plain = tuple[FloatArray, npt.NDArray[np.bool_]]  # numbers, and which cells are plain ones


def _plain_numbers(rows: Rows, column: FileColumn) -> _Plain:
    """The quick way for numbers that are written plainly."""
    try:
        return decimals(rows.chars(column.index))
    except NotPlain:
        return np.full(len(rows), np.nan), np.zeros(len(rows), dtype=bool)


def _mark(
    rows: Rows, columns: list[FileColumn], plain: list[_Plain], said: Mark | None, path: str
) -> Mark:
    """The decimal mark; all columns are looked at only where one of them has a comma."""
    odd = (
        rows.taken(np.flatnonzero(~is_plain).tolist()).column(column.index)
        for column, (_, is_plain) in zip(columns, plain, strict=True)
    )
    if said is None and not any("," in cell for cells in odd for cell in cells):
        return "."
    cells = (
        (cell, number, column.header)
        for column in columns
        for cell, number in zip(rows.column(column.index), rows.numbers, strict=True)
    )
    return decimal_mark(cells, said, path, REMEDY_MARK)


def _cells(
    rows: Rows,
    column: FileColumn,
    numbers: _Plain,
    times: DateArray,
    mark: Mark,
    *,
    daily: bool,
    path: str,
) -> _Cells:
    """Numbers of a column, without codes for missing and without what the archive rejects."""
    raw, plain = numbers
    trace, odd = np.zeros(len(rows)), np.flatnonzero(~plain)
    if len(odd):
        raw[odd], trace[odd] = _words(rows.taken(odd.tolist()), column, mark, path)
    values = column.convert(raw)
    limits = (DAILY_VARIABLES if daily else HOURLY_VARIABLES)[column.variable]
    coded = np.isin(raw, load("quality")["missing_codes"].value)
    coded &= ~((values >= limits.low) & (values <= limits.high))
    marked_trace, failed = _attributes(rows, column)
    trace = np.maximum(trace, marked_trace)
    values[trace > 0] = load("quality").number("trace_rain")
    values[coded | failed] = np.nan
    flags = []
    for check, wrong, why in (
        ("missing-code", coded, "codes"),
        ("archive-quality", failed, "flagged"),
    ):
        if wrong.any():
            count, header = int(wrong.sum()), Name(column.header)
            text = say(f"flag_cells.{why}", count=count, column=header)
            flags.append(span_flag(check, column.variable, times[wrong], "removed", text))
    return _Cells(values, trace, tuple(flags))


def _attributes(rows: Rows, column: FileColumn) -> tuple[FloatArray, npt.NDArray[np.bool_]]:
    """Trace marks and failed quality checks from the archive's ``<ELEMENT>_ATTRIBUTES`` column.

    Its cells are "measurement flag, quality flag, source".
    """
    trace, failed = np.zeros(len(rows)), np.zeros(len(rows), dtype=bool)
    name = f"{column.header}{_ATTRIBUTES}"
    if name in rows.header:
        cells = rows.column(rows.header.index(name))
        marks = {cell: [*(part.strip() for part in cell.split(",")), "", ""] for cell in set(cells)}
        for i, (measured, quality, *_) in enumerate(marks[cell] for cell in cells):
            trace[i] = measured == "T" and column.variable == "precip_mm"
            failed[i] = bool(quality) or measured == "P"  # P: missing, presumed zero
    return trace, failed


def _words(rows: Rows, column: FileColumn, mark: Mark, path: str) -> tuple[FloatArray, FloatArray]:
    """The slow way: words for missing, T for trace, and the row of anything else."""
    cells = rows.column(column.index)
    known: dict[str, tuple[float, bool]] = {}

    def refused(cell: str) -> InputError:
        return InputError(
            f"{cell!r} is not a number", path=path, row=rows.numbers[cells.index(cell)],
            field=column.header, remedy="leave the cell empty when the value is missing",
        )  # fmt: skip

    for cell in dict.fromkeys(cells):
        word = cell.strip().lower()
        is_trace = word == "t" and column.variable == "precip_mm"
        missing = word in _MISSING or (word == "t" and column.variable == "snow_depth_mm")
        try:
            if column.variable == "wind_from_deg" and word in _COMPASS:
                known[cell] = _COMPASS.index(word) * 360 / len(_COMPASS), False
                continue
            value = math.nan if missing or is_trace else number_written(word, mark)
            known[cell] = value, is_trace
        except ValueError:
            raise refused(cell) from None
    for cell, (value, _) in known.items():
        if math.isinf(value):
            raise refused(cell)
    values, trace = np.array([known[cell] for cell in cells], dtype=np.float64).T.copy()
    return values, trace


def _place(rows: Rows, path: str) -> Place:
    """The place that ``# key: value`` lines tell, or else columns of the archive's wide tables."""
    about = dict(rows.about)
    for index, header in enumerate(rows.header):
        key = _PLACE_COLUMNS.get(header.lower())
        if key:
            about.setdefault(key, rows.column(index)[0].strip())
    number = {}
    for key in ("latitude", "longitude", "elevation_m"):
        try:
            number[key] = float(about.get(key) or math.nan)
        except ValueError:
            raise InputError(
                f"{about[key]!r} is not a number", path=path, field=key,
                remedy="write it in decimal degrees or metres",
            ) from None  # fmt: skip
    elevation = number["elevation_m"]
    return Place(
        about.get("name") or Path(path).name,
        number["latitude"],
        number["longitude"],
        None if math.isnan(elevation) else elevation,
        about.get("timezone", "UTC"),
    )

"""Weather tables in CSV: our own daily and hourly layout, and wide tables of other origin.

The layout is documented in ``docs/weather_csv.md``. One row is one day or one hour; the header
names quantities and units (`windowcast.weather.columns`).
"""

from __future__ import annotations

import csv
import datetime as dt
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from windowcast.errors import InputError
from windowcast.values import load
from windowcast.weather.axis import grades_of, on_regular_axis
from windowcast.weather.columns import Column, FileUnits, read_columns
from windowcast.weather.record import (
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

_MISSING = {"", "na", "n/a", "nan", "null", "none", "m", "-", "."}
_DELIMITERS = {";": "semicolons", "\t": "tabs", "|": "bars"}
_DAILY_KEYS = ("date",)
_HOURLY_KEYS = ("time", "time_utc")
_TIME_NAMES = {*_DAILY_KEYS, *_HOURLY_KEYS, "year", "month", "day", "day_of_year"}
REMEDY_LAYOUT = "see docs/weather_csv.md"


@dataclass(frozen=True, slots=True)
class _Rows:
    """The body of a table: cells of the rows that are not blank, with their row numbers."""

    header: list[str]
    cells: list[list[str]]
    numbers: list[int]
    about: dict[str, str]  # "# key: value" lines before the header

    def column(self, index: int) -> list[str]:
        return [row[index] for row in self.cells]

    def reordered(self, order: list[int]) -> _Rows:
        """The same rows, in another order."""
        cells, numbers = [self.cells[i] for i in order], [self.numbers[i] for i in order]
        return _Rows(self.header, cells, numbers, self.about)


def read_table(
    text: str,
    path: str,
    *,
    place: Place | None = None,
    units: FileUnits | None = None,
    any_order: bool = False,
) -> Record:
    """Read a daily or hourly table.

    Parameters
    ----------
    text
        The file's contents.
    path
        For messages and provenance.
    place
        Where the record belongs; without it, the ``# latitude: ...`` lines of the file say.
    units
        Unit system of columns whose header names none.
    any_order
        Whether the owner says that the rows are out of order; they are sorted then.

    Raises
    ------
    InputError
        Anything that keeps the table from being read without a guess; names the row and field.
    """
    rows = _split(text, path)
    key, daily = _time_column(rows.header, path)
    columns, ignored = read_columns(rows.header, daily=daily, units=units, path=path)
    times = _dates(rows, key, path) if daily else _hours(rows, key, path)
    if any_order:
        order = np.argsort(times, kind="stable")
        times, rows = times[order], rows.reordered(order.tolist())
    check_order(times, rows.numbers, path, rows.header[key])

    flags: list[Flag] = [
        Flag("column-ignored", name, "", "", 0, "kept", f"column {name} is not used")
        for name in ignored
        if name and name.lower() not in _TIME_NAMES
    ]
    values: dict[str, FloatArray] = {}
    trace: dict[str, FloatArray] = {}
    for column in columns:
        found, is_trace, coded = _numbers(rows, column, path)
        values[column.variable] = found
        if is_trace.any():
            trace[f"{column.variable}:trace"] = is_trace
        if coded:
            span = (str(times[0]), str(times[-1]))
            flags.append(
                Flag("missing-code", column.variable, *span, coded, "removed",
                     f"{coded} values of {column.header} are codes for missing"),
            )  # fmt: skip
    axis, regular = on_regular_axis(times, {**values, **trace})
    grades = {}
    for name in values:
        is_trace = np.nan_to_num(regular.pop(f"{name}:trace", np.zeros(len(axis))))
        best = np.where(is_trace > 0, Grade.ESTIMATED, Grade.OBSERVED).astype(np.uint8)
        grades[name] = grades_of(regular[name], best)
    where = place or _place(rows.about, path)
    source = Provenance(
        "file",
        Path(path).name,
        tuple(values),
        str(axis[0]),
        str(axis[-1]),
        licence=rows.about.get("licence", ""),
    )
    return Record(where, axis, regular, grades, (source,), tuple(flags))


def _split(text: str, path: str) -> _Rows:
    lines = text.splitlines()
    about: dict[str, str] = {}
    top = 0
    while top < len(lines) and (lines[top].startswith("#") or not lines[top].strip()):
        key, colon, value = lines[top].lstrip("# ").partition(":")
        if colon:
            about[key.strip().lower()] = value.strip()
        top += 1
    if top >= len(lines):
        raise InputError("has no header line", path=path, remedy=REMEDY_LAYOUT)
    if "," not in lines[top]:
        for mark, name in _DELIMITERS.items():
            if mark in lines[top]:
                raise InputError(
                    f"separates its columns by {name}", path=path, row=top + 1,
                    remedy="save it with commas, and points as decimal marks",
                )  # fmt: skip
        raise InputError(
            "is not a weather file of a known kind", path=path, row=top + 1, remedy=REMEDY_LAYOUT
        )
    try:
        table = list(csv.reader(lines[top:]))
    except csv.Error as error:
        raise InputError(f"is not a CSV table ({error})", path=path) from None
    header = [name.strip() for name in table[0]]
    cells, numbers = [], []
    for number, row in enumerate(table[1:], start=top + 2):
        if not row:
            continue
        if len(row) != len(header):
            raise InputError(
                f"has {len(row)} fields where the header has {len(header)}", path=path,
                row=number, remedy="check for a decimal comma, a missing comma or a cut-off line",
            )  # fmt: skip
        cells.append(row)
        numbers.append(number)
    if not cells:
        raise InputError("has a header but no rows", path=path, remedy="give a file with rows")
    return _Rows(header, cells, numbers, about)


def _time_column(header: Sequence[str], path: str) -> tuple[int, bool]:
    names = [name.lower() for name in header]
    for key in (*_HOURLY_KEYS, *_DAILY_KEYS):
        if key in names:
            return names.index(key), key in _DAILY_KEYS
    raise InputError(
        "has no column date (daily) or time (hourly)", path=path, row=1, remedy=REMEDY_LAYOUT
    )


def _dates(rows: _Rows, key: int, path: str) -> DateArray:
    cells = [cell.strip() for cell in rows.column(key)]
    try:
        if all(len(cell) == 10 and cell[4] == "-" for cell in cells):
            return np.array(cells, dtype="datetime64[D]")
    except ValueError:
        pass
    for cell, number in zip(cells, rows.numbers, strict=True):
        try:
            if len(cell) != 10:
                raise ValueError
            dt.date.fromisoformat(cell)
        except ValueError:
            raise InputError(
                f"{cell!r} is not a date", path=path, row=number, field=rows.header[key],
                remedy="write dates as YYYY-MM-DD",
            ) from None  # fmt: skip
    return np.array(cells, dtype="datetime64[D]")


def _hours(rows: _Rows, key: int, path: str) -> DateArray:
    field = rows.header[key]
    hours = []
    for cell, number in zip(rows.column(key), rows.numbers, strict=True):
        try:
            time = dt.datetime.fromisoformat(cell.strip())
        except ValueError:
            raise InputError(
                f"{cell.strip()!r} is not a time", path=path, row=number, field=field,
                remedy="write times as 2020-01-31T14:00Z or with an offset such as +01:00",
            ) from None  # fmt: skip
        if time.tzinfo is None:
            if field.lower() != "time_utc":
                raise InputError(
                    f"{cell.strip()!r} has no offset from UTC", path=path, row=number, field=field,
                    remedy="add Z or an offset such as -05:00, or name the column time_utc",
                )  # fmt: skip
            time = time.replace(tzinfo=dt.UTC)
        seconds = time.timestamp()
        if seconds % 3600:
            raise InputError(
                f"{cell.strip()!r} is not on a full hour (UTC)", path=path, row=number, field=field,
                remedy="give one row per full hour, or read it as an own logger "
                "(weather.own in the site file)",
            )  # fmt: skip
        hours.append(int(seconds) // 3600)
    return np.array(hours, dtype="datetime64[h]")


def check_order(times: DateArray, numbers: Sequence[int], path: str, field: str) -> None:
    """Refuse times that are not strictly increasing or lie beyond any forecast.

    Raises
    ------
    InputError
        Names the first row that is out of order, double, or too far ahead.
    """
    wrong = np.flatnonzero(np.diff(times) <= np.timedelta64(0))
    if len(wrong):
        at = int(wrong[0]) + 1
        twice = times[at] == times[at - 1] or times[at] in times[:at]
        raise InputError(
            f"{times[at]} stands twice" if twice else f"{times[at]} comes after {times[at - 1]}",
            path=path, row=numbers[at], field=field,
            remedy="keep one row for each time"
            if twice
            else "sort the rows by time, or declare it: FILE:order=any",
        )  # fmt: skip
    reach = int(load("quality").number("forecast_reach"))
    last = dt.datetime.now(dt.UTC).date() + dt.timedelta(days=reach + 1)
    if times[-1].astype("datetime64[D]") > np.datetime64(last):
        at = int(np.searchsorted(times.astype("datetime64[D]"), np.datetime64(last), side="right"))
        raise InputError(
            f"{times[at]} lies further ahead than any forecast ({reach} days)", path=path,
            row=numbers[at], field=field, remedy="check the year",
        )  # fmt: skip


def _numbers(rows: _Rows, column: Column, path: str) -> tuple[FloatArray, FloatArray, int]:
    """Values in the schema's unit, 1.0 where the cell says trace, and how many were codes."""
    cells = rows.column(column.index)
    try:
        raw = np.array([float(cell) if cell else math.nan for cell in cells])
        trace = np.zeros(len(cells))
    except ValueError:
        raw, trace = _odd_numbers(cells, rows.numbers, column, path)
    if np.isinf(raw).any():
        at = int(np.flatnonzero(np.isinf(raw))[0])
        raise InputError(
            f"{cells[at]!r} is not a number", path=path, row=rows.numbers[at], field=column.header,
            remedy="leave the cell empty when the value is missing",
        )  # fmt: skip
    values = column.convert(raw)
    limits = DAILY_VARIABLES.get(column.variable) or HOURLY_VARIABLES[column.variable]
    codes = np.isin(raw, load("quality")["missing_codes"].value)
    codes &= ~((values >= limits.low) & (values <= limits.high))
    values[codes] = np.nan
    values[trace > 0] = load("quality").number("trace_rain")
    return values, trace, int(codes.sum())


def _odd_numbers(
    cells: Iterable[str], numbers: Sequence[int], column: Column, path: str
) -> tuple[FloatArray, FloatArray]:
    """The slow way: words for missing, T for trace, and the row of anything else."""
    values, trace = [], []
    for cell, number in zip(cells, numbers, strict=True):
        word = cell.strip().lower()
        is_trace = word == "t" and column.variable == "precip_mm"
        try:
            values.append(math.nan if word in _MISSING or is_trace else float(word))
        except ValueError:
            raise InputError(
                f"{cell!r} is not a number", path=path, row=number, field=column.header,
                remedy="leave the cell empty when the value is missing",
            ) from None  # fmt: skip
        trace.append(float(is_trace))
    return np.array(values), np.array(trace)


def _place(about: dict[str, str], path: str) -> Place:
    """The place the file's own ``# key: value`` lines tell."""
    number = {}
    for key in ("latitude", "longitude", "elevation_m"):
        try:
            number[key] = float(about[key]) if key in about else math.nan
        except ValueError:
            raise InputError(
                f"{about[key]!r} is not a number", path=path, field=f"# {key}",
                remedy="write it in decimal degrees or metres",
            ) from None  # fmt: skip
    elevation = number["elevation_m"]
    return Place(
        about.get("name", Path(path).name),
        number["latitude"],
        number["longitude"],
        None if math.isnan(elevation) else elevation,
        about.get("timezone", "UTC"),
    )

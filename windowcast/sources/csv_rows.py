"""A weather table before its numbers are read: header, rows with their numbers, and times."""

from __future__ import annotations

import csv
import datetime as dt
import re
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass

import numpy as np

from windowcast.core.errors import InputError
from windowcast.core.record import DateArray
from windowcast.core.values import load
from windowcast.sources.grid import Grid
from windowcast.sources.numerals import Bytes, NotPlain, iso_dates
from windowcast.sources.textfile import lines_of

_DELIMITERS = {";": "semicolons", "\t": "tabs", "|": "bars"}
_DAILY_KEYS = ("date",)
_HOURLY_KEYS = ("time", "time_utc")
TIME_NAMES = {*_DAILY_KEYS, *_HOURLY_KEYS, "year", "month", "day", "day_of_year"}
_ISO_DATE = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)
REMEDY_LAYOUT = "see docs/weather_csv.md"


@dataclass(frozen=True, slots=True)
class Listed:
    """The cells of a table as lists, for text that is not as regular as a `Grid` has to be."""

    cells: list[list[str]]

    def column(self, index: int) -> list[str]:
        """The cells of a column as text."""
        return [row[index] for row in self.cells]

    def chars(self, index: int) -> Bytes:
        """No column is a matrix of characters."""
        raise NotPlain

    def taken(self, rows: Sequence[int]) -> Listed:
        """Some of the rows, in the order given."""
        return Listed([self.cells[row] for row in rows])


@dataclass(frozen=True, slots=True)
class Rows:
    """The body of a table: cells of the rows that are not blank, with their row numbers."""

    header: list[str]
    cells: Grid | Listed
    numbers: Sequence[int]
    about: dict[str, str]  # "# key: value" lines before the header

    def __len__(self) -> int:
        """Number of rows."""
        return len(self.numbers)

    def column(self, index: int) -> list[str]:
        """The cells of a column."""
        return self.cells.column(index)

    def taken(self, rows: Sequence[int]) -> Rows:
        """Some of the rows, in the order given."""
        numbers = [self.numbers[i] for i in rows]
        return Rows(self.header, self.cells.taken(rows), numbers, self.about)


def split_rows(text: str, path: str) -> Rows:
    """Cut a file into header and rows.

    Raises
    ------
    InputError
        No header, no rows, another delimiter, or a row with too many or too few fields.
    """
    about: dict[str, str] = {}
    start, top = 0, 1
    for line, end in lines_of(text):
        if not line.startswith("#") and line.strip():
            break
        key, colon, value = line.lstrip("# ").partition(":")
        if colon:
            about[key.strip().lower()] = value.strip()
        start, top = end, top + 1
    else:
        raise InputError("has no header line", path=path, remedy=REMEDY_LAYOUT)
    _check_delimiter(line, top, path)
    try:
        header = [name.strip() for name in next(csv.reader([line]))]
        if line.count('"') % 2 == 0:
            with suppress(NotPlain):
                grid = Grid.of(text[end:], len(header))
                return Rows(header, grid, range(top + 1, top + 1 + len(grid)), about)
        table = list(csv.reader(text[start:].splitlines()))
    except csv.Error as error:
        raise InputError(f"is not a CSV table ({error})", path=path) from None
    header = [name.strip() for name in table[0]]
    cells, numbers = [], []
    for number, row in enumerate(table[1:], start=top + 1):
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
    return Rows(header, Listed(cells), numbers, about)


def _check_delimiter(line: str, number: int, path: str) -> None:
    """Refuse a header line that is not separated by commas."""
    if "," in line:
        return
    for mark, name in _DELIMITERS.items():
        if mark in line:
            raise InputError(
                f"separates its columns by {name}", path=path, row=number,
                remedy="save it with commas, and points as decimal marks",
            )  # fmt: skip
    raise InputError(
        "is not a weather file of a known kind", path=path, row=number, remedy=REMEDY_LAYOUT
    )


def time_column(header: Sequence[str], path: str) -> tuple[int, bool]:
    """Where the times stand, and whether they are days.

    Raises
    ------
    InputError
        There is no such column.
    """
    names = [name.lower() for name in header]
    for key in (*_HOURLY_KEYS, *_DAILY_KEYS):
        if key in names:
            return names.index(key), key in _DAILY_KEYS
    raise InputError(
        "has no column date (daily) or time (hourly)", path=path, row=1, remedy=REMEDY_LAYOUT
    )


def dates_of(rows: Rows, key: int, path: str) -> DateArray:
    """The dates of a column; InputError names the row that holds none."""
    with suppress(NotPlain):
        return iso_dates(rows.cells.chars(key))
    cells = [cell.strip() for cell in rows.column(key)]
    if all(len(cell) == 8 and cell.isdigit() for cell in cells):
        cells = [f"{cell[:4]}-{cell[4:6]}-{cell[6:]}" for cell in cells]
    with suppress(ValueError):
        if all(len(cell) == 10 and cell[4] == "-" for cell in cells):
            return np.array(cells, dtype="datetime64[D]")
    for cell, number in zip(cells, rows.numbers, strict=True):
        try:
            if not _ISO_DATE.fullmatch(cell):
                raise ValueError
            dt.date.fromisoformat(cell)
        except ValueError:
            raise InputError(
                f"{cell!r} is not a date", path=path, row=number, field=rows.header[key],
                remedy="write dates as YYYY-MM-DD (or all as YYYYMMDD)",
            ) from None  # fmt: skip
    return np.array(cells, dtype="datetime64[D]")


def hours_of_rows(rows: Rows, key: int, path: str) -> DateArray:
    """The UTC hours of a column; InputError names the row that holds none."""
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
    ahead = beyond_forecast(times)
    if ahead is not None:
        raise InputError(
            f"{times[ahead]} lies further ahead than any forecast", path=path,
            row=numbers[ahead], field=field, remedy="check the year",
        )  # fmt: skip


def beyond_forecast(times: DateArray) -> int | None:
    """Index of the first time further ahead of the clock than any forecast; None without one."""
    reach = int(load("quality").number("forecast_reach"))
    last = dt.datetime.now(dt.UTC).date() + dt.timedelta(days=reach + 1)
    dates = times.astype("datetime64[D]")
    at = int(np.searchsorted(dates, np.datetime64(last), side="right"))
    return at if at < len(dates) else None

"""A weather table before its numbers are read: header, rows with their numbers, and times."""

from __future__ import annotations

import csv
import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from windowcast.errors import InputError
from windowcast.values import load
from windowcast.weather.record import DateArray

_DELIMITERS = {";": "semicolons", "\t": "tabs", "|": "bars"}
_DAILY_KEYS = ("date",)
_HOURLY_KEYS = ("time", "time_utc")
TIME_NAMES = {*_DAILY_KEYS, *_HOURLY_KEYS, "year", "month", "day", "day_of_year"}
REMEDY_LAYOUT = "see docs/weather_csv.md"


@dataclass(frozen=True, slots=True)
class Rows:
    """The body of a table: cells of the rows that are not blank, with their row numbers."""

    header: list[str]
    cells: list[list[str]]
    numbers: list[int]
    about: dict[str, str]  # "# key: value" lines before the header

    def column(self, index: int) -> list[str]:
        """The cells of a column."""
        return [row[index] for row in self.cells]

    def reordered(self, order: list[int]) -> Rows:
        """The same rows, in another order."""
        cells, numbers = [self.cells[i] for i in order], [self.numbers[i] for i in order]
        return Rows(self.header, cells, numbers, self.about)


def split_rows(text: str, path: str) -> Rows:
    """Cut a file into header and rows.

    Raises
    ------
    InputError
        No header, no rows, another delimiter, or a row with too many or too few fields.
    """
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
    return Rows(header, cells, numbers, about)


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
    cells = [cell.strip() for cell in rows.column(key)]
    if all(len(cell) == 8 and cell.isdigit() for cell in cells):
        cells = [f"{cell[:4]}-{cell[4:6]}-{cell[6:]}" for cell in cells]
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

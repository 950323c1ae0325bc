"""A table of text before its numbers are read: header, rows with their numbers, and times."""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from os import PathLike

import numpy as np

from windowcast.core.errors import InputError
from windowcast.core.record import DateArray
from windowcast.core.values import load
from windowcast.sources.column_names import parted, time_named
from windowcast.sources.columns import known_unit
from windowcast.sources.grid import Grid
from windowcast.sources.numerals import Bytes, NotPlain
from windowcast.sources.textfile import lines_of

DELIMITERS = (";", "\t", "|")  # beside the comma
_SEPARATOR_SAID = re.compile(r'"?sep=([,;\t|])"?', re.IGNORECASE)  # a first line that Excel knows
REMEDY_LAYOUT = "see docs/weather_csv.md"

MISSING = frozenset({"na", "n/a", "nan", "null", "none", "m", "-", "--", "---", "#n/a"})


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
    delimiter: str = ","

    def __len__(self) -> int:
        """Number of rows."""
        return len(self.numbers)

    def column(self, index: int) -> list[str]:
        """The cells of a column."""
        return self.cells.column(index)

    def taken(self, rows: Sequence[int]) -> Rows:
        """Some of the rows, in the order given."""
        numbers = [self.numbers[i] for i in rows]
        return Rows(self.header, self.cells.taken(rows), numbers, self.about, self.delimiter)

    def chars(self, index: int) -> Bytes:
        """The cells of a column as a matrix of characters; `NotPlain` where they are none."""
        return self.cells.chars(index)

    @property
    def without_units_row(self) -> Rows:
        """The rows below one that says the units, whose words go into the names of the columns."""
        first = self.taken([0])
        words = [first.column(index)[0].strip() for index in range(len(self.header))]
        said = [bool(word) and known_unit(word.strip("()[]")) for word in words]
        times = [bool(time_named(name)) for name in self.header]
        if not any(said) or any(
            is_time and any(map(str.isdigit, word))
            for word, is_time in zip(words, times, strict=True)
        ):
            return self
        header = []
        for name, word, unit, is_time in zip(self.header, words, said, times, strict=True):
            bracket = parted(name)[1]
            wanted = bool(word) and not bracket if is_time else unit and not known_unit(bracket)
            header.append(f"{name} ({word.strip('()[]')})" if wanted else name)
        if len(self) == 1:
            raise InputError("has no rows below its units", row=self.numbers[0])
        rest = self.taken(range(1, len(self)))
        return Rows(header, rest.cells, rest.numbers, self.about, self.delimiter)


def split_rows(text: str, path: str) -> Rows:
    """Cut a file into header and rows; blank rows count for nothing.

    Raises
    ------
    InputError
        No header, no rows, no known delimiter, or a row with too many or too few fields.
    """
    about: dict[str, str] = {}
    start, top, delimiter = 0, 1, ""
    for line, end in lines_of(text):
        if said := _SEPARATOR_SAID.fullmatch(line.strip(" ")):
            delimiter = said[1]
        elif not line.startswith("#") and line.strip():
            break
        key, colon, value = line.lstrip("# ").partition(":")
        if colon:
            about[key.strip().lower()] = value.strip()
        start, top = end, top + 1
    else:
        raise InputError("has no header line", path=path, remedy=REMEDY_LAYOUT)
    delimiter = delimiter or _delimiter(line, top, path)
    try:
        header = _cells_of(line, delimiter)
        if line.count('"') % 2 == 0 and delimiter == ",":
            with suppress(NotPlain):
                grid = Grid.of(text[end:], len(header)).without_blank_rows(top + 1)
                return Rows(header, *grid, about)
        table = list(
            csv.reader(text[start:].splitlines(), delimiter=delimiter, skipinitialspace=True)
        )
    except csv.Error as error:
        raise InputError(f"is not a CSV table ({error})", path=path) from None
    header = [name.strip() for name in table[0]]
    cells, numbers = [], []
    for number, given in enumerate(table[1:], start=top + 1):
        if not any(cell.strip() for cell in given):
            continue
        row = _without_tail(given, len(header))
        if len(row) != len(header):
            raise InputError(
                f"has {len(row)} fields where the header has {len(header)}", path=path,
                row=number, remedy="check for a decimal comma, a missing comma or a cut-off line",
            )  # fmt: skip
        cells.append(row)
        numbers.append(number)
    if not cells:
        raise InputError("has a header but no rows", path=path, remedy="give a file with rows")
    return Rows(header, Listed(cells), numbers, about, delimiter)


def _without_tail(cells: list[str], width: int) -> list[str]:
    """The cells of a row without the empty ones that Excel leaves behind the last column."""
    return cells[:width] if not any(cell.strip() for cell in cells[width:]) else cells


def _cells_of(line: str, delimiter: str) -> list[str]:
    reader = csv.reader([line], delimiter=delimiter, skipinitialspace=True)
    return [name.strip() for name in next(reader)]


def _delimiter(line: str, number: int, path: str) -> str:
    """What separates the columns of a header: what leaves a column of dates or times, or a comma.

    Raises
    ------
    InputError
        Nothing does.
    """
    present = [mark for mark in (",", *DELIMITERS) if mark in line]
    for mark in present:
        if any(map(time_named, _cells_of(line, mark))):
            return mark
    if not present:
        raise InputError(
            "is not a weather file of a known kind", path=path, row=number, remedy=REMEDY_LAYOUT
        )
    return present[0]


EARLIEST = np.datetime64("1700-01-01")


def check_order(times: DateArray, numbers: Sequence[int], path: str, field: str) -> None:
    """Refuse times that are not strictly increasing or lie beyond any forecast.

    Raises
    ------
    InputError
        Names the first row that is out of order, double, or too far ahead.
    """
    wrong = np.flatnonzero(np.diff(times.astype(np.int64)) <= 0)
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
    if len(times) and times[0] < EARLIEST:
        raise InputError(
            f"{times[0]} is before there were thermometers", path=path, row=numbers[0],
            field=field, remedy="check the year",
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


def table_rows(
    text: str, path: str | PathLike[str], known: Callable[[str], bool]
) -> tuple[str, list[str], list[tuple[int, list[str]]]]:
    """Delimiter, header, and the rows with anything in them, each with its number.

    Parameters
    ----------
    known
        Whether a name is one of a column: the delimiter is the one that gives the most of them.

    Raises
    ------
    InputError
        A row has more or fewer cells than the header, or it is no table.
    """
    first, _, rest = text.partition("\n")
    said = _SEPARATOR_SAID.fullmatch(first.strip(" \r"))
    before = 1 if said else 0
    text = rest if said else text
    line = next((line for line in text.splitlines() if line.strip()), "")
    likely = max((",", *DELIMITERS), key=lambda mark: _known(line, mark, known))
    delimiter = said[1] if said else likely
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    header: list[str] = []
    rows = []
    try:
        for cells in reader:
            number = reader.line_num + before
            if not any(cell.strip() for cell in cells):
                continue
            if not header:
                header = [cell.strip() for cell in cells]
                continue
            row = _without_tail(cells, len(header))
            if len(row) != len(header):
                raise InputError(
                    f"has not {len(header)} cells", path=path, row=number, remedy="correct the row"
                )
            rows.append((number, row))
    except csv.Error as error:
        raise InputError(f"is not a CSV table ({error})", path=path) from None
    return delimiter, header, rows


def _known(line: str, delimiter: str, known: Callable[[str], bool]) -> int:
    """How many columns of a header are known when it is cut in one way."""
    return sum(map(known, next(csv.reader([line], delimiter=delimiter), [])))

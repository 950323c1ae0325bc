"""Forecasts as they were issued, and what came: a folder of three tables.

``cities.csv`` (CityNum, Lat, Lon), ``forecasts.csv`` (CityNum, DateOfForecast, high0 … high6,
low0 … low6, °F: the date of issue and the days after it) and ``observed.csv`` (CityNum, Date, high,
low, °F, by calendar date); each plain or gzip. Empty cells are missing.

Their misses can be laid on the weather of a station near by. Highs alone: a low as issued is that
of a night, one observed that of a calendar date, and which night is meant differs from zone to zone
of the collection.
"""

from __future__ import annotations

import csv
import gzip
import io
import math
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from windowcast.core.errors import InputError
from windowcast.core.record import DateArray, FloatArray, Record

LEADS = 7  # the date of issue and the six after it
OUTLIER_C = 40 / 1.8  # misses beyond 40 °F are faults of decoding
POSSIBLE_F = (-90.0, 140.0)
_HIGHS = tuple(f"high{lead}" for lead in range(LEADS))
_LOWS = tuple(f"low{lead}" for lead in range(LEADS))
MOST_DAYS = 40 * 366  # of a folder; more is a mistyped year
_FOUR_YEARS = 1461  # days after which the calendar and its leap day come back

ALIKE = 0.85  # least correlation of how highs change from day to day
FEWEST = 200  # days by which it is judged


@dataclass(frozen=True)
class Issued:
    """One city's forecasts and what came, on one axis of days without gaps.

    Attributes
    ----------
    name, latitude_deg, longitude_deg
        The city's number in the tables, and where it lies.
    dates
        ``[day]``.
    high_c, low_c
        Forecast issued on a day for that day and those after it, ``[day, lead]``, NaN where there
        is none. A low is that of the night that begins on the date.
    came_high_c, came_low_c
        Observed on the calendar date, ``[day]``.
    """

    name: str
    latitude_deg: float
    longitude_deg: float
    dates: DateArray
    high_c: FloatArray
    low_c: FloatArray
    came_high_c: FloatArray
    came_low_c: FloatArray

    def came_ahead(self) -> FloatArray:
        """The high that came on each day ahead of an issue, ``[day, lead]``."""
        return _ahead(self.came_high_c)

    def came_ahead_of(self, issue: int) -> FloatArray:
        """The high that came on the days ahead of one issue, ``[lead]``."""
        ahead = self.came_high_c[issue : issue + LEADS]
        return np.concatenate([ahead, np.full(LEADS - len(ahead), np.nan)])

    def misses_c(self) -> FloatArray:
        """Observed minus forecast of the high, ``[day, lead]``."""
        return self.came_ahead() - self.high_c

    def years_back(self) -> int:
        """By how many days other years are moved back to lie before every issue."""
        return _FOUR_YEARS * math.ceil(len(self.dates) / _FOUR_YEARS)


def read_folder(folder: Path) -> tuple[Issued, ...]:
    """The cities of a folder that have forecasts and observations.

    Forecasts of the high that miss by more than 40 °F are left out, with the low of that night.

    Raises
    ------
    InputError
        A table is missing, lacks a column, or holds something that cannot be read.
    """
    if not folder.is_dir():
        raise InputError(
            "is not a folder", path=folder, remedy="give one with forecasts, observed and cities"
        )
    places: dict[str, tuple[float, float]] = {}
    for row in _rows(folder, "cities", ("Lat", "Lon")):
        if row.city in places:
            raise row.error("CityNum", f"city {row.city} stands twice", "keep one line for a city")
        places[row.city] = (row.known("Lat", (-90.0, 90.0)), row.known("Lon", (-180.0, 180.0)))
    said = _by_city(folder, "forecasts", "DateOfForecast", (*_HIGHS, *_LOWS), places)
    came = _by_city(folder, "observed", "Date", ("high", "low"), places)
    found = []
    for city, (lat, lon) in places.items():
        if city in said and city in came:
            found.append(_city(folder, city, (lat, lon), said[city], came[city]))
    if not found:
        raise InputError(
            "no city has both forecasts and observations",
            path=folder,
            remedy="use the same CityNum in cities, forecasts and observed",
        )
    return tuple(found)


_Days = dict[np.datetime64, list[float]]


def _city(folder: Path, city: str, where: tuple[float, float], said: _Days, came: _Days) -> Issued:
    first, last = min(*said, *came), max(*said, *came)
    if (last - first).astype(int) > MOST_DAYS:
        raise InputError(
            f"the dates of city {city} reach from {first} to {last}",
            path=folder,
            remedy="look for a mistyped year",
        )
    dates = np.arange(first, last + np.timedelta64(1, "D"))
    forecast = _grid(said, dates, 2 * LEADS)
    seen = _grid(came, dates, 2)
    high, low = forecast[:, :LEADS], forecast[:, LEADS:]
    wrong = np.abs(_ahead(seen[:, 0]) - high) > OUTLIER_C
    return Issued(
        city,
        *where,
        dates,
        np.where(wrong, np.nan, high),
        np.where(wrong | (low > high + OUTLIER_C), np.nan, low),
        seen[:, 0],
        seen[:, 1],
    )


def _ahead(values: FloatArray) -> FloatArray:
    """Values of each day and the days after it, ``[day, lead]``."""
    padded = np.concatenate([values, np.full(LEADS, np.nan)])
    return np.stack([padded[lead : lead + len(values)] for lead in range(LEADS)], axis=1)


def _grid(days: _Days, dates: DateArray, width: int) -> FloatArray:
    table = np.full((len(dates), width), np.nan)
    for date, values in days.items():
        table[int((date - dates[0]).astype(int))] = values
    return (table - 32) / 1.8


@dataclass(frozen=True)
class _Row:
    """One line of a table, and where it stands."""

    path: Path
    line: int
    cells: dict[str, str]

    @property
    def city(self) -> str:
        return self.cells["CityNum"].strip()

    def number(self, field: str, span: tuple[float, float]) -> float:
        """A cell as a number, NaN where it is empty."""
        text = self.cells[field].strip()
        if text in {"", "NA"}:
            return math.nan
        try:
            value = float(text)
        except ValueError:
            value = math.inf
        if not span[0] <= value <= span[1]:
            problem = f"{text!r} is no number from {span[0]:g} to {span[1]:g}"
            raise self.error(field, problem, "give a number, or leave the cell empty")
        return value

    def known(self, field: str, span: tuple[float, float]) -> float:
        """A cell that must hold a number."""
        value = self.number(field, span)
        if math.isnan(value):
            raise self.error(field, "is empty", "give a number")
        return value

    def error(self, field: str, problem: str, remedy: str) -> InputError:
        """What is wrong with a cell of this line."""
        return InputError(problem, path=self.path, row=self.line, field=field, remedy=remedy)

    def date(self, field: str) -> np.datetime64:
        """A cell as a date."""
        text = self.cells[field].strip()
        with suppress(ValueError):
            if len(text) == len("2014-07-09"):
                return np.datetime64(text, "D")
        raise self.error(field, f"{text!r} is no date", "write dates as YYYY-MM-DD")


def _by_city(
    folder: Path,
    name: str,
    date: str,
    fields: Sequence[str],
    places: dict[str, tuple[float, float]],
) -> dict[str, _Days]:
    """Values in °F by city and date."""
    found: dict[str, _Days] = {}
    for row in _rows(folder, name, (date, *fields)):
        if row.city not in places:
            problem = f"city {row.city!r} is not in cities.csv"
            raise row.error("CityNum", problem, "add a line with its Lat and Lon there")
        days, day = found.setdefault(row.city, {}), row.date(date)
        if day in days:
            problem = f"city {row.city} has {day} twice"
            raise row.error(date, problem, "keep one line for a city and date")
        days[day] = [row.number(field, POSSIBLE_F) for field in fields]
    return found


def _rows(folder: Path, name: str, fields: Sequence[str]) -> Iterator[_Row]:
    """The lines of a table of the folder, plain or gzip."""
    path = next(
        (p for p in (folder / f"{name}.csv.gz", folder / f"{name}.csv") if p.is_file()), None
    )
    if path is None:
        raise InputError(
            f"has no {name}.csv or {name}.csv.gz",
            path=folder,
            remedy="lay the folder out as docs/odds.md says",
        )
    raw = path.read_bytes()
    try:
        text = (gzip.decompress(raw) if path.suffix == ".gz" else raw).decode("utf-8-sig")
    except (OSError, EOFError, ValueError):
        raise InputError(
            "cannot be read as text", path=path, remedy="save it as UTF-8, plain or gzip"
        ) from None
    lines = csv.reader(io.StringIO(text, newline=""))
    head = [cell.strip() for cell in next(lines, [])]
    for field in ("CityNum", *fields):
        if field not in head:
            raise InputError(
                f"has no column {field}", path=path, row=1, remedy="name columns as docs/odds.md"
            )
    for cells in lines:
        if not any(cells):
            continue
        if len(cells) != len(head):
            raise InputError(
                f"has {len(cells)} cells, the head {len(head)}",
                path=path,
                row=lines.line_num,
                remedy="give each line one cell for a column",
            )
        yield _Row(path, lines.line_num, dict(zip(head, cells, strict=True)))


def misses_issued(issued: Issued, record: Record, dates: DateArray) -> FloatArray:
    """Came minus told of the high in a city, by the day it is about, K, ``[day, lead]``.

    Parameters
    ----------
    issued
        A city's forecasts and observations.
    record
        Daily, of the station that they are to be laid on.
    dates
        Days wanted, ``[day]``; NaN where nothing was told or observed.

    Raises
    ------
    InputError
        Highs of the record do not change from day to day as those observed in the city do.
    """
    both, here, there = np.intersect1d(record.times, issued.dates, return_indices=True)
    changes = [np.diff(highs) for highs in (record.get("tmax_c")[here], issued.came_high_c[there])]
    known = np.isfinite(changes).all(axis=0) & (np.diff(both) == np.timedelta64(1, "D"))
    alike = np.corrcoef(changes[0][known], changes[1][known])[0, 1] if known.any() else 0.0
    if known.sum() < FEWEST or alike < ALIKE:
        raise InputError(
            f"the weather of {record.place.name} is not that of city {issued.name}",
            field="forecasts",
            remedy="give forecasts of a city near by, for the years of the record",
        )
    at = (dates - issued.dates[0]).astype(np.int64)[:, None] - np.arange(LEADS)
    inside = (at >= 0) & (at + np.arange(LEADS) < len(issued.dates))
    issue = np.clip(at, 0, len(issued.dates) - 1)
    day = np.clip(at + np.arange(LEADS), 0, len(issued.dates) - 1)
    off = issued.came_high_c[day] - issued.high_c[issue, np.arange(LEADS)]
    return np.where(inside, off, np.nan)

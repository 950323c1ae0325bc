"""Reader of GHCN-Daily's long CSV layouts (by year and by station): one row for each element."""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from os import PathLike
from typing import Any

import numpy as np
import numpy.typing as npt

from windowcast.core.errors import InputError
from windowcast.core.record import DateArray, FloatArray, Record
from windowcast.sources.ghcn import READ, REMEDY, Observations, record_of_observations
from windowcast.sources.grid import Grid
from windowcast.sources.numerals import NotPlain, basic_dates, whole_numbers
from windowcast.sources.textfile import lines_of

_LONG_LINE = re.compile(r'^"?[A-Z]{2}[A-Z0-9_\-]{9}"?,"?\d{8}"?,"?[A-Z0-9]{4}"?,')
_TIMED = (b"TMAX", b"PRCP")  # what is moved to the day before when yesterday is read
_MORNING = (400, 1100)  # observation times, hhmm, at which yesterday is read


def is_long_csv(first_line: str) -> bool:
    """Whether a file that starts with this line has one row per station, day and element."""
    names = {name.strip(' "').upper() for name in first_line.split(",")}
    return bool(_LONG_LINE.match(first_line)) or ({"ELEMENT", "DATE"} <= names)


def read_long_csv(
    text: str,
    path: str | PathLike[str],
    *,
    station: str = "",
    observed: str = "",
) -> Record:
    """The record of one station from ``ID,DATE,ELEMENT,VALUE,MFLAG,QFLAG,SFLAG,OBSTIME`` rows.

    Parameters
    ----------
    text
        The file's contents; a header line may be there or not.
    station
        Which station, when the file holds several.

    Raises
    ------
    InputError
        Not such a file, a damaged row, a day twice, or several stations and none named.
    """
    try:
        name, found, hours = _plain(text, station)
    except NotPlain:
        name, found, hours = _row_by_row(text, path, station)
    if not observed and len(hours):
        observed = "morning" if is_morning(hours).mean() > 0.5 else "midnight"
    return record_of_observations(found, name, path, observed)


# the station's name, its observations, and the times of observation (hhmm, -1 for no number)
_Found = tuple[str, dict[bytes, Observations], FloatArray]


def _plain(text: str, station: str) -> _Found:
    """What the file holds, if it is written as regularly as the archive writes.

    Raises
    ------
    NotPlain
        It is not, or something is wrong with it: `_row_by_row` can tell what.
    """
    line, end = next(lines_of(text))
    body = text if _LONG_LINE.match(line) else text[end:]
    grid = Grid.of(body, line.count(",") + 1)
    if grid.columns < 6 or " " in body or "\t" in body:
        raise NotPlain
    identity, element = grid.words(0), grid.words(2)
    name = station or identity[0].decode()
    own = identity == name.encode()
    if element.itemsize != 4:
        raise NotPlain
    kind = element.view(np.uint32)  # four letters compare fastest as one number
    use = np.flatnonzero(own & np.isin(kind, _kinds(READ)))
    if not len(use) or not (station or own.all()):
        raise NotPlain
    grid, kind = grid.taken(use), kind[use]
    dates, values = basic_dates(grid.chars(1)), whole_numbers(grid.chars(3))
    mflag, qflag = grid.chars(4)[0], grid.chars(5)[0]
    hours = np.zeros(0)
    if grid.columns > 7:
        timed = np.flatnonzero(np.isin(kind, _kinds(_TIMED)))
        hours = whole_numbers(grid.taken(timed).chars(7))
    found = {}
    for code, its_kind in zip(READ, _kinds(READ), strict=True):
        mine = np.flatnonzero(kind == its_kind)
        order, twice = _in_order(dates[mine])
        keep = mine[order]
        if len(twice) or np.isnan(values[keep]).any():
            raise NotPlain
        keep = keep[values[keep] != -9999]
        found[code] = Observations(dates[keep], values[keep], mflag[keep], qflag[keep])
    return name, found, hours[np.isfinite(hours)]


def _kinds(elements: Sequence[bytes]) -> npt.NDArray[np.uint32]:
    return np.array(elements, dtype="S4").view(np.uint32)


def _row_by_row(text: str, path: str | PathLike[str], station: str) -> _Found:
    """What any file holds, or which row is wrong."""
    lines = text.splitlines()
    skip = 0 if _LONG_LINE.match(lines[0]) else 1
    wanted = {name.decode() for name in READ}
    kept: dict[str, list[tuple[str, str, str, str]]] = {name: [] for name in wanted}
    numbers: dict[str, list[int]] = {name: [] for name in wanted}
    stations: dict[str, None] = {}
    times: list[str] = []
    for number, row in enumerate(csv.reader(lines[skip:]), start=skip + 1):
        if len(row) < 4:
            if row:
                raise InputError(f"has {len(row)} fields", path=path, row=number, remedy=REMEDY)
            continue
        identity, date, element, value = (cell.strip() for cell in row[:4])
        if station and identity != station:
            continue
        stations[identity] = None
        if element in wanted:
            flags = [*row[4:6], "", ""]
            kept[element].append((date, value, flags[0].strip() or " ", flags[1].strip() or " "))
            numbers[element].append(number)
            if len(row) > 7 and row[7].strip() and element.encode() in _TIMED:
                times.append(row[7].strip())
    if len(stations) != 1:
        some = ", ".join(list(stations)[:3])
        raise InputError(
            f"holds {len(stations)} stations ({some}, ...)" if stations else
            f"holds no rows of station {station}",
            path=path, field="ID", remedy="name one: FILE:station=ID",
        )  # fmt: skip
    found = {name.encode(): _observations(kept[name], numbers[name], path, name) for name in wanted}
    hours = np.array([float(time) if time.isdecimal() else -1.0 for time in times])
    return next(iter(stations)), found, hours


def _observations(
    rows: list[tuple[str, str, str, str]], numbers: list[int], path: str | PathLike[str], name: str
) -> Observations:
    try:
        dates = np.array([f"{d[:4]}-{d[4:6]}-{d[6:8]}" for d, *_ in rows], dtype="datetime64[D]")
        values = np.array([int(v) for _, v, *_ in rows], dtype=np.float64)
    except ValueError:
        for (date, value, *_), number in zip(rows, numbers, strict=True):
            if not re.fullmatch(r"-?\d+", value):
                raise InputError(
                    f"{value!r} is not a whole number", path=path, row=number, field=name,
                    remedy=REMEDY,
                ) from None  # fmt: skip
            try:
                np.datetime64(f"{date[:4]}-{date[4:6]}-{date[6:8]}", "D")
            except ValueError:
                raise InputError(
                    f"{date!r} is not a date", path=path, row=number, field="DATE", remedy=REMEDY
                ) from None
        raise
    order, twice = _in_order(dates)
    if len(twice):
        row = numbers[order[twice[0] + 1]]
        raise InputError(
            f"{dates[order[twice[0]]]} stands twice", path=path, row=row, field=name,
            remedy="keep one row for each day and element",
        )  # fmt: skip
    keep = order[values[order] != -9999]
    mflag, qflag = (np.array([min(ord(r[k][0]), 0xFF) for r in rows], np.uint8) for k in (2, 3))
    return Observations(dates[keep], values[keep], mflag[keep], qflag[keep])


def _in_order(dates: DateArray) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """What puts the dates in order, and where two in that order are the same."""
    order = np.argsort(dates, kind="stable")
    return order, np.flatnonzero(np.diff(dates[order].astype(np.int64)) == 0)


def is_morning(hhmm: npt.NDArray[Any]) -> npt.NDArray[np.bool_]:
    """Whether observation times are such that yesterday is read."""
    return np.asarray((hhmm >= _MORNING[0]) & (hhmm <= _MORNING[1]))

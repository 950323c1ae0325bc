"""Reader of GHCN-Daily's long CSV layouts (by year and by station): one row for each element."""

from __future__ import annotations

import csv
import re
from os import PathLike

import numpy as np
import numpy.typing as npt

from windowcast.errors import InputError
from windowcast.weather.ghcn import READ, REMEDY, Observations, record_of_observations
from windowcast.weather.record import Record

_LONG_LINE = re.compile(r'^"?[A-Z]{2}[A-Z0-9_\-]{9}"?,"?\d{8}"?,"?[A-Z0-9]{4}"?,')
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
            if len(row) > 7 and row[7].strip() and element in ("TMAX", "PRCP"):
                times.append(row[7].strip())
    if len(stations) != 1:
        some = ", ".join(list(stations)[:3])
        raise InputError(
            f"holds {len(stations)} stations ({some}, ...)" if stations else
            f"holds no rows of station {station}",
            path=path, field="ID", remedy="name one: FILE:station=ID",
        )  # fmt: skip
    found = {name.encode(): _observations(kept[name], numbers[name], path, name) for name in wanted}
    if not observed and times:
        hours = np.array([int(time) if time.isdigit() else -1 for time in times])
        observed = "morning" if is_morning(hours).mean() > 0.5 else "midnight"
    return record_of_observations(found, next(iter(stations)), path, observed)


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
    order = np.argsort(dates, kind="stable")
    twice = np.flatnonzero(np.diff(dates[order]) == np.timedelta64(0))
    if len(twice):
        row = numbers[order[twice[0] + 1]]
        raise InputError(
            f"{dates[order[twice[0]]]} stands twice", path=path, row=row, field=name,
            remedy="keep one row for each day and element",
        )  # fmt: skip
    keep = order[values[order] != -9999]
    mflag, qflag = (np.array([ord(r[k][0]) for r in rows], dtype=np.uint8) for k in (2, 3))
    return Observations(dates[keep], values[keep], mflag[keep], qflag[keep])


def is_morning(hhmm: npt.NDArray[np.int64]) -> npt.NDArray[np.bool_]:
    """Whether observation times are such that yesterday is read."""
    return np.asarray((hhmm >= _MORNING[0]) & (hhmm <= _MORNING[1]))

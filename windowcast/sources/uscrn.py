"""Reader of NOAA U.S. Climate Reference Network daily files (product daily01).

No header; 28 whitespace-separated fields a line: WBANNO, LST_DATE, CRX_VN, LONGITUDE, LATITUDE,
T_DAILY_MAX, T_DAILY_MIN, T_DAILY_MEAN, T_DAILY_AVG, P_DAILY_CALC, SOLARAD_DAILY, SUR_TEMP_TYPE,
SUR_TEMP_DAILY_MAX, _MIN, _AVG, RH_DAILY_MAX, _MIN, _AVG, SOIL_MOISTURE_5, _10, _20, _50, _100,
SOIL_TEMP_5, _10, _20, _50, _100. Metric; a day is one of local standard time; -9999 and -99
mean missing. Yearly files of a station may be joined to one file, in any order.
"""

from __future__ import annotations

import re
import zlib
from collections.abc import Sequence
from dataclasses import replace
from os import PathLike
from pathlib import Path

import numpy as np

from windowcast.core.errors import InputError
from windowcast.core.given_files import read_regular
from windowcast.core.phrase import Phrase, of_variable, say
from windowcast.core.record import (
    DAILY_VARIABLES,
    DateArray,
    Flag,
    FloatArray,
    Place,
    Provenance,
    Record,
)
from windowcast.core.time_axis import record_of, span_flag
from windowcast.sources.numerals import calendar_dates
from windowcast.sources.textfile import read_text_bytes, text_of

FIELDS = 28
_STATION, _DATE, _LONGITUDE, _LATITUDE = 0, 1, 3, 4
COLUMNS = {
    "tmax_c": 5,
    "tmin_c": 6,
    "tmean_c": 8,
    "precip_mm": 9,
    "solar_mj_m2": 10,
    "rh_mean_pct": 17,
    "soil_5cm_c": 23,
    "soil_10cm_c": 24,
}
_USED = (_STATION, _DATE, _LONGITUDE, _LATITUDE, *COLUMNS.values())
_FILE_NAME = re.compile(r"^(?:CRND\d{4}-\d{4}-)?(?P<name>.+?)(?:\.txt)?(?:\.gz)?$", re.IGNORECASE)
_FIRST_LINE = re.compile(r"^\s*\d{5}\s+(?:19|20)\d{6}\s+\S+\s+-?\d+\.\d+\s+-?\d+\.\d+\s")
_REMEDY = "give a USCRN daily01 file as published by NOAA NCEI"


def is_uscrn(first_line: str) -> bool:
    """Whether a file that starts with this line looks like USCRN daily01."""
    return bool(_FIRST_LINE.match(first_line)) and len(first_line.split()) == FIELDS


def station_name(path: str | PathLike[str]) -> str:
    """Station name from a file name, e.g. ``MS Newton 5 ENE``."""
    match = _FILE_NAME.match(Path(path).name)
    return (match["name"] if match else Path(path).name).replace("_", " ")


def first_line(path: str | PathLike[str]) -> str:
    """First line of a file, plain or gzip, without reading the rest.

    Raises
    ------
    InputError
        As `read_text_bytes`.
    """
    try:
        head = read_regular(path, 4095)
        if head.startswith(b"\x1f\x8b"):
            head = zlib.decompressobj(wbits=31).decompress(head, 4096)
    except (OSError, zlib.error):
        head = b""
    if not head.strip():  # let the careful reader say what is wrong
        head = read_text_bytes(path)
    return head.split(b"\n", 1)[0].decode("ascii", "replace")


def station_number(path: str | PathLike[str]) -> str:
    """WBAN number of the station in a file.

    Raises
    ------
    InputError
        Not such a file.
    """
    line = first_line(path)
    if not is_uscrn(line):
        raise InputError("is not a USCRN daily01 file", path=path, row=1, remedy=_REMEDY)
    return line.split()[_STATION]


def read_uscrn(
    paths: str | PathLike[str] | Sequence[str | PathLike[str]], *, place: Place | None = None
) -> Record:
    """The daily record of one station from its file or yearly files, plain or gzip.

    Parameters
    ----------
    paths
        One file or several of the same station.
    place
        Replaces the place the file names (its coordinates, the station's name).

    Returns
    -------
    Record
        Air temperature, precipitation, solar radiation, mean humidity, and soil temperature at
        5 and 10 cm. Impossible values are removed with a flag; of a date given twice the later
        row counts, with a flag.

    Raises
    ------
    InputError
        Not such a file, a line with missing or unreadable fields, or several stations.
    """
    if isinstance(paths, (str, PathLike)):
        paths = [paths]
    table = np.concatenate([_table(path) for path in paths])
    if len({*table[:, 0].astype(int)}) > 1:
        raise InputError("holds several stations", path=paths[0], remedy="give one at a time")
    dates = _dates(table[:, 1], paths[0])
    order = np.argsort(dates, kind="stable")
    table, dates = table[order], dates[order]
    last = np.append(dates[1:] != dates[:-1], True)
    flags = []
    if not last.all():
        flags.append(
            span_flag("duplicate", "all", dates[~last], "removed", say("flag.dates_twice"))
        )
    table, dates = table[last], dates[last]
    values: dict[str, FloatArray] = {}
    for i, name in enumerate(COLUMNS, start=4):
        values[name], flag = _checked(name, table[:, i], dates)
        flags += flag
    values, flag = _ordered(values, dates)
    flags += flag
    if place is None:
        place = Place(station_name(paths[0]), float(table[-1, 3]), float(table[-1, 2]))
    known = tuple(k for k, v in values.items() if np.isfinite(v).any())
    origin = Provenance(
        source="file",
        detail=f"{Path(paths[0]).name}, USCRN station {int(table[-1, 0]):05d}",
        variables=known,
        first=str(dates[0]),
        last=str(dates[-1]),
        licence="public domain (US Government)",
    )
    record = record_of(place, dates, {k: values[k] for k in known}, provenance=(origin,))
    return replace(record, flags=tuple(flags))


def _table(path: str | PathLike[str]) -> FloatArray:
    """The fields used, as numbers ``[row, field]``."""
    lines = text_of(read_text_bytes(path), path).splitlines()
    if not is_uscrn(lines[0]):
        raise InputError("is not a USCRN daily01 file", path=path, row=1, remedy=_REMEDY)
    try:
        return np.loadtxt(lines, usecols=_USED, ndmin=2, comments=None)
    except ValueError:
        row, problem = _first_fault(lines)
        raise InputError(problem, path=path, row=row, remedy=_REMEDY) from None


def _first_fault(lines: Sequence[str]) -> tuple[int, str]:
    for row, line in enumerate(lines, start=1):
        cells = line.split()
        if cells and len(cells) != FIELDS:
            return row, f"has {len(cells)} fields, not {FIELDS}"
        for i in _USED if cells else ():
            try:
                float(cells[i])
            except ValueError:
                return row, f"field {i + 1} is '{cells[i][:20]}', not a number"
    return len(lines), "cannot be read as numbers"


def _dates(yyyymmdd: FloatArray, path: str | PathLike[str]) -> DateArray:
    readable = (yyyymmdd > 0) & (yyyymmdd < 1e8)
    dates, right = calendar_dates(np.where(readable, yyyymmdd, 0).astype(np.int64))
    if not right.all():
        text = f"{yyyymmdd[~right][0]:.0f} is not a date"
        raise InputError(text, path=path, field="LST_DATE", remedy=_REMEDY)
    return dates


def _checked(name: str, raw: FloatArray, dates: DateArray) -> tuple[FloatArray, list[Flag]]:
    """Missing codes and impossible values become NaN, the latter with a flag."""
    limits = DAILY_VARIABLES[name]
    missing = raw <= -99.0 if limits.low > -99 else raw <= -999.0
    wrong = ~missing & ((raw < limits.low) | (raw > limits.high))
    values = np.where(missing | wrong, np.nan, raw)
    return values, _flags("range", name, wrong, dates, say("flag.range"))


def _ordered(
    values: dict[str, FloatArray], dates: DateArray
) -> tuple[dict[str, FloatArray], list[Flag]]:
    """Days whose maximum lies below the minimum lose both."""
    wrong = values["tmax_c"] < values["tmin_c"]
    swap = {k: np.where(wrong, np.nan, values[k]) for k in ("tmax_c", "tmin_c")}
    return values | swap, _flags(
        "tmin-above-tmax", "tmax_c", wrong, dates, say("flag.below_minimum")
    )


def _flags(
    check: str,
    name: str,
    wrong: np.ndarray[tuple[int, ...], np.dtype[np.bool_]],
    dates: DateArray,
    what: Phrase,
) -> list[Flag]:
    if not wrong.any():
        return []
    return [span_flag(check, name, dates[wrong], "removed", of_variable(name, what))]

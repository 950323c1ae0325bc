"""The site's own logger: its CSV export by the mapping in the site file.

Readings at any step become hours (UTC): instantaneous quantities the mean of the readings nearest
to the hour, gusts the greatest, rain the total of the hour that begins at the time. An hour with
too few readings is missing; rain needs all of them, since a missing reading is not a dry one.
"""

from __future__ import annotations

import csv
import datetime as dt
import math
from dataclasses import replace
from pathlib import Path
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np

from windowcast.core.errors import InputError
from windowcast.core.quantity import is_number
from windowcast.core.record import (
    DAILY_VARIABLES,
    HOURLY_VARIABLES,
    DateArray,
    FloatArray,
    Place,
    Provenance,
    Record,
)
from windowcast.core.site import OwnStation, SensorColumn
from windowcast.core.time_axis import record_of
from windowcast.core.values import load
from windowcast.sources.columns import CONVERSIONS, Convert, kind_of, unit_code
from windowcast.sources.csv_rows import DELIMITERS, MISSING
from windowcast.sources.textfile import read_text_bytes, text_of
from windowcast.sources.written_dates import (
    CellAt,
    WrittenTime,
    clock_written,
    decided_order,
    in_order,
    moment_written,
)
from windowcast.sources.written_numbers import Mark, mark_shown, number_written

_MISSING = MISSING | {""}
_HEADER_WITHIN = 60  # lines of preamble a logger may write
_DAILY_STEP_S = 20 * 3600.0


def read_own(own: OwnStation, place: Place) -> Record:
    """The logger's record at the site, hourly (or daily where it writes one row a day).

    Raises
    ------
    InputError
        The file or the mapping cannot be used; names file, row, field and remedy.
    """
    path = own.file
    lines = text_of(read_text_bytes(path, sheet=own.sheet), path).splitlines()
    rows, top, header = _table(lines, own)
    index = _index(own, header)
    zone = _zone(own, place)
    readings: list[tuple[int, list[str]]] = []
    for number, row in enumerate(rows[top:], start=top + 1):
        if not any(cell.strip() for cell in row):
            continue
        if len(row) != len(header):
            raise InputError(
                f"has {len(row)} fields where the header has {len(header)}", path=path, row=number,
                remedy="check the delimiter and for a cut-off line",
            )  # fmt: skip
        readings.append((number, row))
    local = _times(readings, index, own)
    seconds: list[float] = []
    cells: list[list[float]] = []
    for (number, row), time in zip(readings, local, strict=True):
        before = seconds[-1] if seconds else -math.inf
        second = _second(time, zone, before)
        if second <= before:
            raise InputError(
                "is not later than the row before", path=path, row=number, field=own.time_column,
                remedy="sort the rows and remove doubles, or check the time zone",
            )  # fmt: skip
        seconds.append(second)
        cells.append([_number(row[index[c.column]], c, own, number) for c in own.columns])
    if not seconds:
        raise InputError("has a header but no rows", path=path, remedy="give a file with readings")
    if seconds[-1] > dt.datetime.now(dt.UTC).timestamp() + 3600:
        raise InputError(
            "ends in the future", path=path, field=own.time_column,
            remedy="check timezone and time_format of weather.own",
        )  # fmt: skip
    return _record(own, place, np.array(seconds), np.array(cells).T, zone)


def _table(lines: list[str], own: OwnStation) -> tuple[list[list[str]], int, list[str]]:
    """Rows, and number and cells of the first line that holds the time column.

    Where the delimiter is not said, it is the one that leaves this column.
    """
    said = own.delimiter or ","
    for delimiter in (said, *DELIMITERS) if said == "," else (said,):
        try:
            rows = list(csv.reader(lines, delimiter=delimiter))
        except (csv.Error, TypeError) as error:
            raise InputError(f"is not a CSV table ({error})", path=own.file) from None
        for number, row in enumerate(rows[:_HEADER_WITHIN], start=1):
            header = [name.strip() for name in row]
            if own.time_column in header:
                return rows, number, header
    raise InputError(
        f"has no column {own.time_column!r}", path=own.file, field="weather.own.time_column",
        remedy="name the time column as the file does, and check the delimiter",
    )  # fmt: skip


def _index(own: OwnStation, header: list[str]) -> dict[str, int]:
    """Where each column that is named stands in the header."""
    if not own.columns:
        raise InputError(
            "maps no columns", path=own.file, field="weather.own.columns",
            remedy="map at least one column to a quantity and a unit",
        )  # fmt: skip
    named = dict.fromkeys((each.column for each in own.columns), "weather.own.columns")
    if own.clock_column:
        named.setdefault(own.clock_column, "weather.own.clock_column")
    for column, key in named.items():
        if column not in header:
            raise InputError(
                f"has no column {column!r}", path=own.file, field=key,
                remedy=f"name one of: {', '.join(filter(None, header))}",
            )  # fmt: skip
    return {column: header.index(column) for column in (own.time_column, *named)}


def _zone(own: OwnStation, place: Place) -> ZoneInfo:
    try:
        return ZoneInfo(own.timezone or place.timezone)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise InputError(
            f"{own.timezone!r} is not an IANA time zone", field="weather.own.timezone",
            remedy="name one such as Europe/Lisbon, or Etc/GMT+6 for UTC−6 all year",
        ) from None  # fmt: skip


def _times(
    readings: list[tuple[int, list[str]]], index: dict[str, int], own: OwnStation
) -> list[dt.datetime]:
    """The time of each row, with a zone only where the file says one."""
    first = readings[0][1][index[own.time_column]].strip() if readings else ""
    if own.time_format or (not own.clock_column and _is_iso(first)):
        return [_time(row[index[own.time_column]], own, number) for number, row in readings]
    moments = [_moment(row, index, own, number) for number, row in readings]
    found = [
        (moment.date, CellAt(number, own.time_column))
        for (number, _), moment in zip(readings, moments, strict=True)
    ]
    remedy = 'say dates = "mdy" or "dmy" in weather.own'
    order = decided_order(found, own.dates or None, own.file, remedy)
    return [
        dt.datetime.combine(in_order(m.date, order), dt.time(), m.zone)
        + (m.clock or dt.timedelta())
        for m in moments
    ]


def _is_iso(text: str) -> bool:
    try:
        dt.datetime.fromisoformat(text)
    except ValueError:
        return False
    return True


def _moment(row: list[str], index: dict[str, int], own: OwnStation, number: int) -> WrittenTime:
    text = row[index[own.time_column]].strip()
    try:
        moment = moment_written(text)
        if own.clock_column:
            text = row[index[own.clock_column]].strip()
            moment = replace(moment, clock=clock_written(text))
    except ValueError:
        raise _no_time(text, own, number) from None
    return moment


def _time(cell: str, own: OwnStation, number: int) -> dt.datetime:
    text = cell.strip()
    try:
        if own.time_format:
            return dt.datetime.strptime(text, own.time_format)  # noqa: DTZ007
        return dt.datetime.fromisoformat(text)
    except ValueError:
        raise _no_time(text, own, number) from None


def _no_time(text: str, own: OwnStation, number: int) -> InputError:
    return InputError(
        f"{text!r} is not a time", path=own.file, row=number, field=own.time_column,
        remedy="set time_format of weather.own, e.g. %m/%d/%Y %H:%M",
    )  # fmt: skip


def _second(time: dt.datetime, zone: ZoneInfo, before: float) -> float:
    """POSIX seconds. A clock time that comes twice in autumn is the one that moves forward."""
    if time.tzinfo is None:
        time = time.replace(tzinfo=zone)
        if time.timestamp() <= before:
            time = time.replace(fold=1)
    return time.timestamp()


def _number(cell: str, column: SensorColumn, own: OwnStation, number: int) -> float:
    text = cell.strip()
    if text.lower() in _MISSING:
        return math.nan
    plain = text.replace(",", ".") if own.delimiter != "," else text
    try:
        value = float(plain) if is_number(plain) else number_written(text, _mark(text))
    except ValueError:
        raise InputError(
            f"{text!r} is not a number", path=own.file, row=number, field=column.column,
            remedy="leave the cell empty when the value is missing",
        ) from None  # fmt: skip
    return value if math.isfinite(value) else math.nan


def _mark(text: str) -> Mark:
    """The decimal mark that a number shows; `ValueError` where a comma may be either."""
    shown = mark_shown(text)
    if shown is None and "," in text:
        raise ValueError(text)
    return shown or "."


def _conversion(column: SensorColumn, own: OwnStation, daily: bool) -> Convert:
    """From the column's unit to that of the schema."""
    known = DAILY_VARIABLES if daily else HOURLY_VARIABLES
    if column.quantity not in known:
        raise InputError(
            f"{column.quantity!r} is not a quantity of {'days' if daily else 'hours'}",
            path=own.file, field=column.column, remedy=f"name one of: {', '.join(known)}",
        )  # fmt: skip
    units = CONVERSIONS[kind_of(column.quantity)]
    code = unit_code(column.unit)
    if code not in units or not code:
        raise InputError(
            f"{column.unit!r} is not a unit of {column.quantity}", path=own.file,
            field=column.column, remedy=f"name one of: {', '.join(filter(None, units))}",
        )  # fmt: skip
    return units[code]


def _record(
    own: OwnStation, place: Place, seconds: FloatArray, cells: FloatArray, zone: ZoneInfo
) -> Record:
    step = float(np.median(np.diff(seconds))) if len(seconds) > 1 else 3600.0
    daily = step >= _DAILY_STEP_S
    values: dict[str, FloatArray] = {}
    times: DateArray
    if daily:
        local = [dt.datetime.fromtimestamp(second, zone).date() for second in seconds]
        times = np.array(local, dtype="datetime64[D]")
    else:
        times = np.arange(seconds[0] // 3600 - 1, seconds[-1] // 3600 + 2).astype("datetime64[h]")
    for column, raw in zip(own.columns, cells, strict=True):
        variable, value = column.quantity, _conversion(column, own, daily)(raw)
        values[variable] = value if daily else _hourly(variable, seconds, value, times, step)
    made = record_of(place, times, values)
    origin = Provenance(
        "own-station", Path(own.file).name, tuple(values), str(times[0]), str(times[-1]),
        distance_km=0.0, elevation_m=place.elevation_m,
    )  # fmt: skip
    return Record(place, made.times, made.values, made.grades, (origin,))


def _hourly(
    variable: str, seconds: FloatArray, value: FloatArray, hours: DateArray, step: float
) -> FloatArray:
    """Readings to hours, ``[hour]``; see the module's docstring."""
    known = np.isfinite(value)
    total = variable == "precip_mm"
    # a rain reading is what fell since the one before: it belongs to the hour it ends in
    at = np.floor((seconds - 1) / 3600) if total else np.floor(seconds / 3600 + 0.5)
    bins = (at - hours[0].astype(np.int64)).astype(np.int64)[known]
    size, value = len(hours), value[known]
    count = np.bincount(bins, minlength=size)
    expected = max(1.0, round(3600 / step))
    share = 1.0 if total else load("sources").number("own.hour_share_min")
    enough = count >= max(1.0, share * expected)
    if variable == "gust_m_s":
        made = np.full(size, -np.inf)
        np.maximum.at(made, bins, value)
    elif variable == "wind_from_deg":
        turn = np.radians(value)
        east = np.bincount(bins, np.sin(turn), size)
        north = np.bincount(bins, np.cos(turn), size)
        made = np.degrees(np.arctan2(east, north)) % 360
    else:
        made = np.bincount(bins, value, size)
        made = made if total else made / np.maximum(count, 1)
    return np.where(enough, made, np.nan)

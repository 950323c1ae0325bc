"""The times of a weather table: local dates or UTC hours, from one column or from two."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np

from windowcast.core.errors import InputError
from windowcast.core.record import DateArray
from windowcast.sources.column_names import TimeName, time_named
from windowcast.sources.csv_rows import REMEDY_LAYOUT, Rows
from windowcast.sources.numerals import NotPlain, iso_dates
from windowcast.sources.written_dates import (
    Ambiguous,
    CellAt,
    Order,
    WrittenTime,
    clock_written,
    decided_order,
    in_order,
    moment_written,
)

TIME_NAMES = {"date", "time", "time_utc", "year", "month", "day", "day_of_year"}
REMEDY_ORDER = "say which: FILE:dates=mdy or FILE:dates=dmy"
_ISO_DATE = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)
_STRICT_DATE = re.compile(r"\d{4}-\d\d-\d\d|\d{8}", re.ASCII)
_ISO_TIME = re.compile(r"\d{4}-?\d\d-?\d\d[T ]\d.*|\d{4}-\d\d-\d\d", re.ASCII)
_REMEDY_DATE = "write dates as YYYY-MM-DD (or all as YYYYMMDD)"
_REMEDY_TIME = "write times as 2020-01-31T14:00Z or with an offset such as +01:00"


@dataclass(frozen=True, slots=True)
class TimeOptions:
    """What the owner of a table says of its times, and the clock of the site it is read for.

    `order` of day and month, `zone` of times without an offset; None where nothing is said.
    """

    order: Order | None = None
    zone: ZoneInfo | None = None
    site_clock: ZoneInfo | None = None


@dataclass(frozen=True, slots=True)
class Times:
    """The times of a table's rows.

    Attributes
    ----------
    values
        Local dates or UTC hours, ``[row]``.
    field
        Column that messages name.
    columns
        The columns they were read from.
    order
        Of day and month, where the dates are written with numbers and the year last.
    zone
        Zone of times that say none; "" where all do, or days.
    site_clock
        Whether that zone is the site's, for want of another.
    """

    values: DateArray
    daily: bool
    field: str
    columns: tuple[str, ...]
    order: Order | None = None
    zone: str = ""
    site_clock: bool = False


def read_times(rows: Rows, path: str, asked: TimeOptions) -> Times:
    """The times of a table.

    Raises
    ------
    InputError
        No column of dates or times; names the row of a time that cannot be read without a guess.
    """
    key, date_key = _columns(rows, path)
    named = time_named(rows.header[key])
    assert named is not None
    field = rows.header[key]
    first = _first(rows, key)
    if date_key is None and named.role == "date" and _STRICT_DATE.fullmatch(first):
        return Times(_iso_dates(rows, key, path), daily=True, field=field, columns=(field,))
    zone, of_site = _zone(rows, named, path, field, asked)
    has_hour = len(first) > len("2020-01-31") or field.lower() == "time_utc"
    if date_key is None and named.role != "date" and has_hour and _ISO_TIME.fullmatch(first):
        clock = _Clock(zone, path, field)
        seconds = [
            time.timestamp() if time.tzinfo else clock.second(time, cell, number)
            for time, cell, number in _iso_times(rows, key, path, field)
        ]
        return Times(_hours(seconds, rows, key, path), daily=False, field=field, columns=(field,),
                     zone=clock.used, site_clock=of_site and bool(clock.used))  # fmt: skip
    if date_key is None:
        moments = [
            _moment(cell, path, number, field, daily=named.role == "date")
            for cell, number in zip(rows.column(key), rows.numbers, strict=True)
        ]
    else:
        moments = _from_two(rows, date_key, key, path)
    said = asked.order or next(
        (n.order for n in map(time_named, rows.header) if n is not None and n.order), None
    )
    date_field = rows.header[key if date_key is None else date_key]
    written = [
        (moment.date, CellAt(number, date_field))
        for moment, number in zip(moments, rows.numbers, strict=True)
    ]
    order = decided_order(written, said, path, REMEDY_ORDER)
    dates = [in_order(moment.date, order) for moment in moments]
    shown = order if any(isinstance(moment.date, Ambiguous) for moment in moments) else None
    used = (rows.header[key],) if date_key is None else (date_field, rows.header[key])
    if all(not m.clock and m.zone is None for m in moments) and date_key is None:
        days = np.array(dates, dtype="datetime64[D]")
        return Times(days, daily=True, field=date_field, columns=used, order=shown)
    clock = _Clock(zone, path, field)
    seconds = []
    for moment, date, cell, number in zip(
        moments, dates, rows.column(key), rows.numbers, strict=True
    ):
        if moment.clock is None:
            raise InputError(
                f"{cell.strip()!r} says no hour", path=path, row=number, field=field,
                remedy="give the time of day in every row",
            )  # fmt: skip
        naive = dt.datetime.combine(date, dt.time()) + moment.clock
        if moment.zone is not None:
            seconds.append(naive.replace(tzinfo=moment.zone).timestamp())
        else:
            seconds.append(clock.second(naive, cell, number))
    return Times(
        _hours(seconds, rows, key, path), daily=False, field=field, columns=used, order=shown,
        zone=clock.used, site_clock=of_site and bool(clock.used),
    )  # fmt: skip


def _columns(rows: Rows, path: str) -> tuple[int, int | None]:
    """The column of times or dates, and that of the dates where the times stand apart from them."""
    named = [(index, name) for index, name in enumerate(map(time_named, rows.header)) if name]
    by_role = {
        role: [index for index, name in named if name.role == role]
        for role in ("clock", "moment", "date")
    }
    clocks, moments, dates = by_role["clock"], by_role["moment"], by_role["date"]
    if clocks and dates and not _has_dates(_first(rows, clocks[0])):
        if not _has_clock(_first(rows, dates[0])):
            return clocks[0], dates[0]
        return dates[0], None
    for found in (clocks, moments, dates):
        if found:
            return found[0], None
    raise InputError(
        "has no column date (daily) or time (hourly)", path=path, row=1, remedy=REMEDY_LAYOUT
    )


def _first(rows: Rows, index: int) -> str:
    """The first cell of a column that is not blank."""
    for row in range(min(len(rows), 100)):
        cell = rows.taken([row]).column(index)[0].strip()
        if cell:
            return cell
    return ""


def _has_dates(cell: str) -> bool:
    try:
        clock_written(cell)
    except ValueError:
        return True
    return False


def _has_clock(cell: str) -> bool:
    try:
        return bool(moment_written(cell).clock)
    except ValueError:
        return False


def _zone(
    rows: Rows, named: TimeName, path: str, field: str, asked: TimeOptions
) -> tuple[dt.tzinfo | None, bool]:
    """The zone of times that say none, and whether it is only the site's clock."""
    if named.zone or asked.zone:
        return named.zone or asked.zone, False
    if named.remark:
        raise InputError(
            f"says {named.remark!r} of its times", path=path, row=1, field=field,
            remedy="name the zone, e.g. FILE:zone=Etc/GMT+5 for UTC−5 all year",
        )  # fmt: skip
    if said := rows.about.get("timezone"):
        with suppress(KeyError, ValueError, OSError):
            return ZoneInfo(said), False
    return asked.site_clock, asked.site_clock is not None


@dataclass(slots=True)
class _Clock:
    """Local times to seconds since 1970 in UTC, in the order of the rows."""

    zone: dt.tzinfo | None
    path: str
    field: str
    used: str = ""  # name of the zone, once a time without an offset was read
    _last: float = float("-inf")

    def second(self, time: dt.datetime, cell: str, number: int) -> float:
        """An hour that comes twice in autumn is the one that moves forward."""
        if self.zone is None:
            raise InputError(
                f"{cell.strip()!r} has no offset from UTC", path=self.path, row=number,
                field=self.field, remedy="add Z or an offset such as -05:00, name the column"
                " time_utc, or say the zone: FILE:zone=America/New_York",
            )  # fmt: skip
        self.used = str(self.zone)
        local = time.replace(tzinfo=self.zone)
        back = local.astimezone(dt.UTC).astimezone(self.zone)
        if back.replace(tzinfo=None) != time:
            seasons = (time.replace(month=month, day=1, tzinfo=self.zone) for month in (1, 7))
            standard = min(season.utcoffset() or dt.timedelta() for season in seasons)
            raise InputError(
                f"{cell.strip()!r} is left out on the clock of {self.zone} in spring",
                path=self.path, row=number, field=self.field,
                remedy=f"if the clock stays on standard time, say FILE:zone={_fixed(standard)}",
            )  # fmt: skip
        if local.timestamp() <= self._last:
            local = local.replace(fold=1)
        self._last = local.timestamp()
        return self._last


def _fixed(offset: dt.timedelta) -> str:
    hours = round(offset / dt.timedelta(hours=1))
    return f"Etc/GMT{-hours:+d}" if hours else "Etc/UTC"


def _iso_times(
    rows: Rows, key: int, path: str, field: str
) -> Iterator[tuple[dt.datetime, str, int]]:
    """Each time of a column in ISO, with its text and row."""
    for cell, number in zip(rows.column(key), rows.numbers, strict=True):
        try:
            yield dt.datetime.fromisoformat(cell.strip()), cell, number
        except ValueError:
            raise InputError(
                f"{cell.strip()!r} is not a time", path=path, row=number, field=field,
                remedy=_REMEDY_TIME,
            ) from None  # fmt: skip


def _hours(seconds: Sequence[float], rows: Rows, key: int, path: str) -> DateArray:
    found = np.array(seconds)
    for at in np.flatnonzero(found % 3600)[:1].tolist():
        raise InputError(
            f"{rows.column(key)[at].strip()!r} is not on a full hour (UTC)", path=path,
            row=rows.numbers[at], field=rows.header[key],
            remedy="give one row per full hour, or read it as an own logger "
            "(weather.own in the site file)",
        )  # fmt: skip
    return (found // 3600).astype(np.int64).astype("datetime64[h]")


def _moment(cell: str, path: str, number: int, field: str, *, daily: bool) -> WrittenTime:
    try:
        return moment_written(cell)
    except ValueError:
        raise InputError(
            f"{cell.strip()!r} is not a {'date' if daily else 'time'}", path=path, row=number,
            field=field, remedy=_REMEDY_DATE if daily else _REMEDY_TIME,
        ) from None  # fmt: skip


def _from_two(rows: Rows, date_key: int, key: int, path: str) -> list[WrittenTime]:
    """Dates of one column with the times of day of another."""
    found = []
    cells = zip(rows.column(date_key), rows.column(key), rows.numbers, strict=True)
    for date, clock, number in cells:
        moment = _moment(date, path, number, rows.header[date_key], daily=True)
        try:
            found.append(WrittenTime(moment.date, clock_written(clock)))
        except ValueError:
            raise InputError(
                f"{clock.strip()!r} is not a time of day", path=path, row=number,
                field=rows.header[key], remedy="write it as 9:00 AM or 21:00",
            ) from None  # fmt: skip
    return found


def _iso_dates(rows: Rows, key: int, path: str) -> DateArray:
    """The dates of a column that begins with one in ISO; InputError names the row of another."""
    with suppress(NotPlain):
        return iso_dates(rows.chars(key))
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
                remedy=_REMEDY_DATE,
            ) from None  # fmt: skip
    return np.array(cells, dtype="datetime64[D]")

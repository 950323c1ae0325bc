"""Dates and times of a log as people write them, for a whole table at once.

Which of day and month comes first is decided over all dates of the table. An application may have
its date in one column and its times of day in others.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from windowcast.core.errors import InputError
from windowcast.records.command_words import moment_from
from windowcast.records.fields import LogField
from windowcast.sources.written_dates import (
    Ambiguous,
    CellAt,
    Order,
    WrittenTime,
    clock_written,
    decided_order,
    moment_written,
)

_TYPES = {"date", "moment"}


@dataclass(frozen=True, slots=True)
class _Part:
    """A moment of which the date or the time of day is still to come."""

    text: str
    date: dt.date | None = None
    clock: dt.timedelta | None = None


@dataclass(slots=True)
class Dates:
    """How the dates of a table are read.

    Attributes
    ----------
    order
        Of day and month; None where no date needs one.
    ambiguous
        Whether any date was written with numbers and the year last.
    on_the_clock
        Whether any time that was read names no zone and is in `zone`.
    """

    order: Order | None
    ambiguous: bool
    zone: ZoneInfo | None
    on_the_clock: bool = False

    @classmethod
    def of(
        cls,
        cells: Iterable[tuple[str, int, str, str]],
        said: Order | None,
        zone: ZoneInfo | None,
        path: str,
        remedy: str,
    ) -> Dates:
        """Decide over all cells: text, row, column and type of field of each.

        Raises
        ------
        InputError
            As `sources.written_dates.decided_order`.
        """
        found = []
        for text, row, column, kind in cells:
            moment = _written(text) if kind in _TYPES else None
            if moment is not None and isinstance(moment.date, Ambiguous):
                found.append((moment.date, CellAt(row, column)))
        return cls(decided_order(found, said, path, remedy), bool(found), zone)

    def value(self, field: LogField, text: str) -> Any:
        """The plain value of a cell; what is no date or time is left for the check to name."""
        if field.type == "time":
            clock = _clock(text)
            if clock is None or clock.days:
                return text
            return dt.time(*divmod(clock.seconds // 60, 60), clock.seconds % 60).isoformat()
        moment = _written(text)
        if field.type == "date":
            return text if moment is None or moment.clock else self._date(moment).isoformat()
        try:
            whole = dt.datetime.fromisoformat(text)
        except ValueError:
            whole = None
        if whole is not None and len(text) > len("2025-12-03"):
            return self._with_zone(text, field.name, naive=whole.tzinfo is None)
        if moment is None:
            clock = _clock(text)
            return (
                _Part(text, clock=clock)
                if clock is not None
                else moment_from(text, field.name, self.zone)
            )
        if moment.clock is None:
            return _Part(text, date=self._date(moment))
        return self._joined(self._date(moment), moment.clock, moment.zone, field.name)

    def complete(self, plain: dict[str, Any], date: str, time: str) -> None:
        """Join date and times of an application, which may stand in columns of their own.

        Raises
        ------
        InputError
            One of them is missing or no date or time.
        """
        moment = _written(date) if date else None
        if date and moment is None:
            raise InputError(
                f"{date.strip()!r} is not a date", field="date", remedy="write it like 2025-12-03"
            )
        day = self._date(moment) if moment is not None else None
        clock = _clock(time) if time else moment.clock if moment is not None else None
        if time and clock is None:
            raise InputError(
                f"{time.strip()!r} is not a time of day", field="time", remedy="write it like 10:15"
            )
        if "start" not in plain and (date or time):
            plain["start"] = _Part(date.strip() or time.strip())
        for name in ("start", "end"):
            part = plain.get(name)
            if isinstance(part, _Part):
                hour = part.clock if part.clock is not None else clock if name == "start" else None
                plain[name] = self._filled(part, part.date or day, hour, name)
            if name == "start" and day is None and isinstance(plain.get(name), str):
                day = _day_of(plain[name])

    def _filled(
        self, part: _Part, day: dt.date | None, clock: dt.timedelta | None, field: str
    ) -> str:
        if day is None:
            raise InputError(
                f"{part.text!r} says no date", field=field, remedy="write it like 2025-12-03 10:15"
            )
        if clock is None:
            raise InputError(
                f"{part.text!r} says no hour", field=field, remedy="write it like 2025-12-03 10:15"
            )
        return self._joined(day, clock, None, field)

    def _date(self, moment: WrittenTime) -> dt.date:
        if isinstance(moment.date, Ambiguous):
            return moment.date.in_order(self.order or "mdy")
        return moment.date

    def _joined(self, day: dt.date, clock: dt.timedelta, zone: dt.tzinfo | None, field: str) -> str:
        time = dt.datetime.combine(day, dt.time(), zone) + clock
        return self._with_zone(time.isoformat(), field, naive=zone is None)

    def _with_zone(self, text: str, field: str, *, naive: bool) -> str:
        self.on_the_clock |= naive
        return moment_from(text, field, self.zone)


def _written(text: str) -> WrittenTime | None:
    try:
        return moment_written(text)
    except ValueError:
        return None


def _clock(text: str) -> dt.timedelta | None:
    try:
        return clock_written(text)
    except ValueError:
        return None


def _day_of(text: str) -> dt.date | None:
    try:
        return dt.datetime.fromisoformat(text).date()
    except ValueError:
        return None

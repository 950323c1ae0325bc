"""Dates and times as people write them: ``9/14/2025 9:00 AM``, ``14. Sept 25``, ``21:00``.

Which of day and month comes first is told by the data where a number above 12 shows it, or by the
owner; otherwise the reader is asked. A year of two digits is 1950 to 2049. The year is last unless
it has four digits.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, cast, get_args

from windowcast.core.errors import InputError

Order = Literal["mdy", "dmy"]
ORDERS: tuple[Order, ...] = get_args(Order)
ORDER_NAMES = {"mdy": "month/day/year", "dmy": "day/month/year"}
_MONTHS = (
    "january", "february", "march", "april", "may", "june", "july", "august", "september",
    "october", "november", "december",
)  # fmt: skip
_MONTH = {name[:size]: n for n, name in enumerate(_MONTHS, start=1) for size in (3, len(name))}
_MONTH["sept"] = 9
_DAYS = {"monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"}
_WEEKDAYS = {day[:size] for day in _DAYS for size in (3, 4, 5, len(day))}
_YEAR_FIRST = re.compile(r"(\d{4})([-/.])(\d{1,2})\2(\d{1,2})\.?", re.ASCII)
_EIGHT_DIGITS = re.compile(r"(\d{4})(\d\d)(\d\d)", re.ASCII)
_YEAR_LAST = re.compile(r"(\d{1,2})\s*([-/.])\s*(\d{1,2})\s*\2\s*(\d{4}|\d{2})", re.ASCII)
_CLOCK = re.compile(
    r"(?:(\d{1,2})(?::(\d{2}))?(?::(\d{2})(?:\.\d+)?)?\s*([ap])\.?\s*m\.?"
    r"|(\d{1,2}):(\d{2})(?::(\d{2})(?:\.\d+)?)?"
    r"|(\d{2})(\d{2}))",
    re.ASCII | re.IGNORECASE,
)
_DATE_THEN_CLOCK = re.compile(
    r"(?P<date>.*?\d)(?:,\s*|\s+|T)(?P<clock>(?:\d{4}|\d{1,2}(?::\d{2}){0,2}(?:\.\d+)?)(?:\s*[ap]\.?\s*m\.?)?)"
    r"\s*(?P<zone>Z|UTC|GMT|[+-]\d\d:?\d\d)?",
    re.ASCII | re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class Ambiguous:
    """Two numbers and a year, of which one number is the month."""

    first: int
    second: int
    year: int

    def in_order(self, order: Order) -> dt.date:
        """The date in one order; `ValueError` where there is no such date."""
        month, day = (self.first, self.second) if order == "mdy" else (self.second, self.first)
        return dt.date(self.year, month, day)


@dataclass(frozen=True, slots=True)
class WrittenTime:
    """A date with or without the time of day and the offset from UTC that were written with it."""

    date: dt.date | Ambiguous
    clock: dt.timedelta | None = None
    zone: dt.tzinfo | None = None


@dataclass(frozen=True, slots=True)
class CellAt:
    """Where a text stands, for messages."""

    row: int
    field: str


def date_written(text: str) -> dt.date | Ambiguous:
    """A date without a time of day.

    Raises
    ------
    ValueError
        It is none, in any order.
    """
    text = text.strip()
    for pattern, places in ((_YEAR_FIRST, (1, 3, 4)), (_EIGHT_DIGITS, (1, 2, 3))):
        if match := pattern.fullmatch(text):
            year, month, day = (int(match[place]) for place in places)
            return dt.date(year, month, day)
    if match := _YEAR_LAST.fullmatch(text):
        found = Ambiguous(int(match[1]), int(match[3]), _year(match[4]))
        if not any(_possible(found, order) for order in ORDERS):
            raise ValueError("no date in any order")
        return found
    return _with_month_name(text)


def _with_month_name(text: str) -> dt.date:
    words = [word for word in re.split(r"[\s,./-]+", text.lower()) if word]
    if words and words[0] in _WEEKDAYS:
        words = words[1:]
    places = [n for n, word in enumerate(words) if word in _MONTH]
    if len(words) != 3 or len(places) != 1 or places[0] > 1:
        raise ValueError("no date")
    month = _MONTH[words.pop(places[0])]
    if len(words[0]) == 4 and places[0] == 1:  # 2025 Sep 14
        words.reverse()
    day, year = words
    return dt.date(_year(year), month, int(re.sub(r"(?<=\d)(st|nd|rd|th)$", "", day)))


def _year(text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) in {2, 4}):
        raise ValueError("no year")
    year = int(text)
    return year if len(text) == 4 else year + (2000 if year < 50 else 1900)


def _possible(found: Ambiguous, order: Order) -> bool:
    try:
        found.in_order(order)
    except ValueError:
        return False
    return True


def clock_written(text: str) -> dt.timedelta:
    """A time of day, from midnight: ``9:00 AM``, ``9 am``, ``21:00``, ``2100``, ``24:00``.

    Raises
    ------
    ValueError
        It is none.
    """
    match = _CLOCK.fullmatch(text.strip())
    if match is None:
        raise ValueError("no time of day")
    hour12, minute12, second12, half, hour24, minute24, second24, hour4, minute4 = match.groups()
    minute, second = int(minute12 or minute24 or minute4 or 0), int(second12 or second24 or 0)
    if half:
        if not 1 <= int(hour12) <= 12:
            raise ValueError("no hour of a clock with 12")
        hour = int(hour12) % 12 + (12 if half.lower() == "p" else 0)
    else:
        hour = int(hour24 or hour4)
    found = dt.timedelta(hours=hour, minutes=minute, seconds=second)
    if minute > 59 or second > 59 or found > dt.timedelta(days=1):
        raise ValueError("no time of day")
    return found


def moment_written(text: str) -> WrittenTime:
    """A date, maybe with a time of day behind it, and maybe with an offset from UTC behind that.

    Raises
    ------
    ValueError
        It is none.
    """
    text = text.strip()
    try:
        return WrittenTime(date_written(text))
    except ValueError:
        match = _DATE_THEN_CLOCK.fullmatch(text)
        if match is None:
            raise
    return WrittenTime(
        date_written(match["date"]), clock_written(match["clock"]), _zone(match["zone"] or "")
    )


def _zone(text: str) -> dt.tzinfo | None:
    if not text:
        return None
    if text.upper() in {"Z", "UTC", "GMT"}:
        return dt.UTC
    return offset_written(text)


def offset_written(text: str) -> dt.timezone:
    """``"-05:00"`` or ``"-0500"`` as a zone; `ValueError` where it is none."""
    parsed = dt.datetime.strptime(text.replace(":", ""), "%z").tzinfo
    return cast("dt.timezone", parsed)


def in_order(date: dt.date | Ambiguous, order: Order | None) -> dt.date:
    """A date in the order that was decided; None where any order gives the same."""
    return date.in_order(order or "mdy") if isinstance(date, Ambiguous) else date


def decided_order(
    found: Iterable[tuple[dt.date | Ambiguous, CellAt]], said: Order | None, path: str, remedy: str
) -> Order | None:
    """The order of day and month in all dates of a file; None where any order gives the same.

    Parameters
    ----------
    found
        Every date of the file; those that leave no doubt tell of no order.
    said
        The order that the owner says.
    remedy
        How to say it.

    Raises
    ------
    InputError
        The dates tell of two orders, a date is not possible in the order said, or they tell of
        none and none is said.
    """
    dates = [(date, place) for date, place in found if isinstance(date, Ambiguous)]
    only = {  # the first date that is one in this order alone
        order: next(((d, p) for d, p in dates if not _possible(d, _other(order))), None)
        for order in ORDERS
    }
    if said:
        if wrong := only[_other(said)]:
            raise InputError(
                f"{_text(wrong[0])} is not {ORDER_NAMES[said]}", path=path, row=wrong[1].row,
                field=wrong[1].field, remedy=f"correct it, or say dates={_other(said)}",
            )  # fmt: skip
        return said
    month_first, day_first = only["mdy"], only["dmy"]
    if month_first and day_first:
        raise InputError(
            f"{_text(day_first[0])} is day/month/year, but {_text(month_first[0])} in row"
            f" {month_first[1].row} is month/day/year", path=path, row=day_first[1].row,
            field=day_first[1].field, remedy="write all dates in one order",
        )  # fmt: skip
    if month_first or day_first:
        return "mdy" if month_first else "dmy"
    for date, place in dates:
        if date.first != date.second:
            both = " or ".join(
                f"{day.day} {day:%b %Y}" for day in (date.in_order(order) for order in ORDERS)
            )
            raise InputError(
                f"{_text(date)} could be {both}", path=path, row=place.row, field=place.field,
                remedy=remedy,
            )  # fmt: skip
    return None


def _other(order: Order) -> Order:
    return "dmy" if order == "mdy" else "mdy"


def _text(date: Ambiguous) -> str:
    return f"'{date.first}/{date.second}/{date.year}'"

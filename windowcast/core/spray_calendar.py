"""When a site can be sprayed at all: hours, weekdays, and times when it is closed."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
import numpy.typing as npt
from pydantic import field_validator, model_validator

from windowcast.core.record import DateArray
from windowcast.core.turf import SiteTable

HOUR_MIN = 60
Weekday = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
WEEKDAYS: tuple[Weekday, ...] = get_args(Weekday)


@dataclass(frozen=True, slots=True)
class ClockSpan:
    """Part of a day, in minutes since midnight by the clock."""

    start_min: int
    end_min: int

    @classmethod
    def parse(cls, text: str) -> ClockSpan:
        """``"06:00-19:00"``; ValueError says what is wrong."""
        try:
            start, end = (dt.time.fromisoformat(part.strip()) for part in text.split("-"))
            if start.tzinfo or end.tzinfo:
                raise ValueError("hours are the site's own")
        except ValueError:
            raise ValueError(f"{text!r} is not a span such as 06:00-19:00") from None
        if end <= start:
            raise ValueError(f"{text!r} ends before it starts")
        return cls(*(time.hour * HOUR_MIN + time.minute for time in (start, end)))

    def holds_hour(self, minute: npt.NDArray[np.int64]) -> npt.NDArray[np.bool_]:
        """Whether the hour that begins at a minute of the day lies wholly inside."""
        return np.asarray((minute >= self.start_min) & (minute + HOUR_MIN <= self.end_min))

    def touches_hour(self, minute: npt.NDArray[np.int64]) -> npt.NDArray[np.bool_]:
        """Whether any of the hour that begins at a minute of the day lies inside."""
        return np.asarray((minute < self.end_min) & (minute + HOUR_MIN > self.start_min))


class Blackout(SiteTable):
    """A time when nothing may be sprayed: an event, mowing, a closed course."""

    first: dt.date
    """First day on which nothing may be sprayed."""
    last: dt.date | None = None
    """Last day; left out: the first alone."""
    hours: str = ""
    """Hours, as `08:00-12:00`; empty: the whole day."""
    reason: str = ""
    """Why."""

    @field_validator("hours")
    @classmethod
    def _hours(cls, text: str) -> str:
        if text:
            ClockSpan.parse(text)
        return text

    @model_validator(mode="after")
    def _order(self) -> Blackout:
        if self.last is not None and self.last < self.first:
            raise ValueError("last lies before first")
        return self

    def on(self, dates: DateArray) -> npt.NDArray[np.bool_]:
        """The local dates that it covers, same shape as `dates`."""
        first, last = np.datetime64(self.first, "D"), np.datetime64(self.last or self.first, "D")
        return np.asarray((dates >= first) & (dates <= last))


class Calendar(SiteTable):
    """When spraying is possible at all, in local time."""

    spray_hours: str = "06:00-19:00"
    """Hours in which spraying is possible, local time."""
    spray_weekdays: tuple[Weekday, ...] = WEEKDAYS
    """Days of the week on which it is."""
    blackout: tuple[Blackout, ...] = ()
    """Times when nothing may be sprayed."""

    @field_validator("spray_hours")
    @classmethod
    def _hours(cls, text: str) -> str:
        ClockSpan.parse(text)
        return text

    @property
    def spray_span(self) -> ClockSpan:
        """The hours of the day in which spraying is possible."""
        return ClockSpan.parse(self.spray_hours)

    def open_days(self, dates: DateArray) -> npt.NDArray[np.bool_]:
        """Local dates that are a weekday for spraying and not blacked out whole, ``[day]``."""
        days = dates.astype("datetime64[D]")
        weekday = (days.astype(np.int64) + 3) % 7  # 1970-01-01: Thursday
        found = np.isin(weekday, [WEEKDAYS.index(day) for day in self.spray_weekdays])
        for pause in self.blackout:
            if not pause.hours:
                found &= ~pause.on(days)
        return found

    def open_hours(self, local: DateArray) -> npt.NDArray[np.bool_]:
        """Hours, by their start on the local clock (minutes), in which spraying is possible."""
        dates = local.astype("datetime64[D]")
        minute = (local - dates).astype(np.int64)
        found = self.open_days(dates) & self.spray_span.holds_hour(minute)
        for pause in self.blackout:
            if pause.hours:
                found &= ~(pause.on(dates) & ClockSpan.parse(pause.hours).touches_hour(minute))
        return found

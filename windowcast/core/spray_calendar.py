"""When a site can be sprayed at all: hours, weekdays, and times when it is closed."""

from __future__ import annotations

import datetime as dt
from typing import Literal, get_args

import numpy as np
import numpy.typing as npt
from pydantic import field_validator, model_validator

from windowcast.core.clock_span import ClockSpan
from windowcast.core.record import DateArray
from windowcast.core.turf import SiteTable

Weekday = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
WEEKDAYS: tuple[Weekday, ...] = get_args(Weekday)


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

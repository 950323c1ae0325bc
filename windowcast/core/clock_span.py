"""Spans of hours on the site's clock, as a site file writes them: ``06:00-19:00``."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

HOUR_MIN = 60


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

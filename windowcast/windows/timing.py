"""When a purpose is in season: its timing criteria over the days, and when they open and close."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from windowcast.core.record import FloatArray
from windowcast.core.season_calendar import season_end
from windowcast.materials.needs import ActiveNeeds
from windowcast.windows.days import DayContext
from windowcast.windows.grade import ScoreCurve
from windowcast.windows.odds import DateRange
from windowcast.windows.opening import judged_days
from windowcast.windows.purposes import Purpose
from windowcast.windows.running_season import RunningSeason


@dataclass(frozen=True)
class Timing:
    """The timing of a purpose over the days ahead.

    Attributes
    ----------
    grades
        How each criterion is graded.
    measured
        Timing criterion → what is measured, ``[member, day]``.
    opened, closed
        First and, out of season, last open day of the running season, where most futures have it
        behind them.
    closed_sure
        Whether that day was the last: what the record cannot tell does not follow it.
    opens, closes
        When it opens, or will be open again where it has, and its last day, over the futures; None
        when that cannot be told.
    usual
        When it opens by the whole seasons of the record, as dates of the coming season.
    """

    grades: Mapping[str, ScoreCurve]
    measured: Mapping[str, FloatArray]
    in_season: bool
    season_end: dt.date
    opened: dt.date | None
    closed: dt.date | None
    closed_sure: bool
    opens: DateRange | None
    closes: DateRange | None
    usual: DateRange | None

    @property
    def opening(self) -> dt.date | None:
        """The one date to name as the opening."""
        if self.in_season:
            ahead = self.opens.median if self.opens else None
            return self.opened or ahead
        for dates in (self.opens, self.usual_ahead):
            if dates is not None and dates.median is not None:
                return dates.median
        return None

    @property
    def stays_closed(self) -> bool:
        """Whether it has not opened this season, and most futures do not open it any more."""
        return (
            not self.in_season
            and self.closed is None
            and self.opens is not None
            and self.opens.median is None
        )

    @property
    def usual_ahead(self) -> DateRange | None:
        """When it opens by past years; None where the futures keep it closed that season."""
        median = self.usual.median if self.usual else None
        if self.stays_closed and median is not None and median <= self.season_end:
            return None
        return self.usual

    @property
    def paused(self) -> bool:
        """Whether it was open this season and will be open again before the season ends."""
        again = self.opens.median if self.opens else None
        return self.closed is not None and again is not None and again <= self.season_end

    @property
    def over(self) -> bool:
        """Whether its time has surely passed, and most futures do not bring it back this season."""
        return (
            self.closed is not None
            and self.closed_sure
            and self.opens is not None
            and self.opens.never >= 0.5
            and not self.paused
        )

    @property
    def closing(self) -> dt.date | None:
        """The one date to name as the last day, while in season."""
        return self.closes.median if self.in_season and self.closes else None


def timing_of(purpose: Purpose, needs: ActiveNeeds, *, running: RunningSeason, days: int) -> Timing:
    """Judge a purpose's timing from today on.

    Parameters
    ----------
    days
        Days from today that are ranked: in season means that one of them may be.
    """
    rule, today = purpose.rule, running.today
    context = DayContext(
        running.site, running.ahead, purpose.weeds, running.past, tables=running.tables
    )
    measured, score = judged_days(purpose, needs, context)
    when = running.opening(purpose, needs)
    soon = score[0, :days]
    in_season = bool(((soon >= rule.season) | np.isnan(soon)).any())
    opened = when.opened
    if opened is None and when.opens is not None and when.opens.median is not None:
        opened = when.opens.median if when.opens.median < today else None
    closed = None if in_season else when.last_open(sure=False)
    return Timing(
        grades=purpose.timing_grades(needs),
        measured=measured,
        in_season=in_season,
        season_end=season_end(today, southern=running.site.place.southern),
        opened=opened,
        closed=closed,
        closed_sure=closed is None or when.last_open() is not None,
        opens=when.again if opened else when.opens,
        closes=when.closes,
        usual=when.usual,
    )

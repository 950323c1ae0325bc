"""When a purpose is in season: its timing criteria over the days, and when they open and close."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from windowcast.core.first_last import first_day, last_day
from windowcast.core.record import DateArray, FloatArray
from windowcast.core.season_calendar import season_day, season_end, season_start
from windowcast.core.site import Site
from windowcast.core.values import Tables
from windowcast.materials.needs import ActiveNeeds
from windowcast.season.model import SiteState
from windowcast.windows.days import DAY_CRITERIA, DayContext
from windowcast.windows.grade import ScoreCurve
from windowcast.windows.odds import FIRST_HIDDEN, LAST_HIDDEN, DateRange, date_range
from windowcast.windows.purposes import Purpose, weights_of
from windowcast.windows.score import BoolArray, Rule, combine

_YEAR = 366


@dataclass(frozen=True)
class Timing:
    """The timing of a purpose over the days ahead.

    Attributes
    ----------
    grades
        How each criterion is graded.
    measured
        Timing criterion → what is measured, ``[member, day]``.
    score
        Product of the timing scores, ``[member, day]``; NaN where it cannot be told.
    opened, closed
        First and, out of season, last open day of the running season, as far as it has passed.
    closed_sure
        Whether that day was the last: what the record cannot tell does not follow it.
    opens, closes
        When it will open, and its last day, over the members; None when that cannot be told.
    usual
        When it opens by the whole seasons of the record, as dates of the coming season.
    """

    grades: Mapping[str, ScoreCurve]
    measured: Mapping[str, FloatArray]
    score: FloatArray
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
        if self.in_season and self.opened:
            return self.opened
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
    def closing(self) -> dt.date | None:
        """The one date to name as the last day, while in season."""
        return self.closes.median if self.in_season and self.closes else None


def timing_of(
    purpose: Purpose,
    needs: ActiveNeeds,
    *,
    site: Site,
    past: SiteState,
    ahead: SiteState,
    days: int,
    rule: Rule,
    years: int | None = None,
    tables: Tables,
) -> Timing:
    """Judge a purpose's timing from today on.

    Parameters
    ----------
    days
        Days from today that are ranked: in season means that one of them may be.
    years
        Different past years behind the members (see `odds.date_range`).
    """
    southern = site.place.southern
    measured, score = judged_days(
        purpose, needs, DayContext(site, ahead, purpose.weeds, past, tables=tables)
    )
    looking_back = DayContext(
        site, _looking_back(past, ahead), purpose.weeds, after=ahead, tables=tables
    )
    _, gone = judged_days(purpose, needs, looking_back)
    before = gone[0] >= rule.season
    number = season_day(past.dates, southern=southern)
    today = ahead.dates[0]
    start = np.datetime64(season_start(_date(today), southern=southern), "D")
    was_open = np.flatnonzero(before & (past.dates >= start))
    turn = np.flatnonzero(np.diff(season_day(ahead.dates, southern=southern)) < 0)
    running = _futures(score)[:, : int(turn[0]) + 1 if turn.size else None]
    soon = score[0, :days]
    in_season = bool(((soon >= rule.season) | np.isnan(soon)).any())
    return Timing(
        grades=purpose.grades(needs),
        measured=measured,
        score=score,
        in_season=in_season,
        season_end=season_end(_date(today), southern=southern),
        opened=_date(past.dates[was_open[0]]) if was_open.size else None,
        closed=_date(past.dates[was_open[-1]]) if was_open.size and not in_season else None,
        closed_sure=not was_open.size or not np.isnan(gone[0, was_open[-1] + 1 :][:1]).any(),
        opens=marked(_opens(running, ahead.dates, rule, years), purpose, needs, southern=southern),
        closes=_closes(running, ahead.dates, rule, years),
        usual=marked(
            _usual(gone[0], number, start, today, rule), purpose, needs, southern=southern
        ),
    )


def judged_days(
    purpose: Purpose, needs: ActiveNeeds, context: DayContext
) -> tuple[dict[str, FloatArray], FloatArray]:
    """What a purpose's timing criteria measure, and the product of their scores.

    Returns
    -------
    dict, FloatArray
        Criterion → ``[member, day]``; score ``[member, day]``, NaN where it cannot be told.
    """
    grades, weights = purpose.grades(needs), weights_of(purpose.timing, purpose.rules)
    measured = {name: DAY_CRITERIA[name](context, needs) for name in purpose.timing}
    pairs = ((grades[name](value), weights[name]) for name, value in measured.items())
    return measured, np.atleast_2d(combine(pairs))


def marked(
    opens: DateRange | None, purpose: Purpose, needs: ActiveNeeds, *, southern: bool
) -> DateRange | None:
    """An opening, marked where it is the first day that the purpose's months allow."""
    if opens is None or opens.median is None:
        return opens
    months = purpose.grades(needs)["season_months"]
    number = season_day(np.array([opens.median], dtype="datetime64[D]"), southern=southern)
    first = months.nearest(0.0, purpose.rule.season)
    return replace(opens, by_calendar=first is not None and bool(number[0] <= np.ceil(first)))


def _looking_back(past: SiteState, ahead: SiteState) -> SiteState:
    """The past with the days to green-up filled in that only the days ahead can tell."""
    left = np.atleast_2d(ahead.turf.days_to_greenup)[:, 0]
    known = np.flatnonzero(np.isfinite(past.turf.days_to_greenup))
    if not np.isfinite(left).any():
        return past
    before = (ahead.dates[0] - past.dates).astype(np.float64)
    days = past.turf.days_to_greenup.copy()
    tail = slice(known[-1] + 1 if known.size else 0, None)
    days[tail] = np.where(before[tail] < _YEAR, np.nanmedian(left) + before[tail], np.nan)
    return replace(past, turf=replace(past.turf, days_to_greenup=days))


def _futures(score: FloatArray) -> FloatArray:
    """The members to count: all but the forecast as issued, when there are others."""
    return score[1:] if score.shape[0] > 1 else score


def _opens(score: FloatArray, dates: DateArray, rule: Rule, years: int | None) -> DateRange | None:
    """First open day of the running season, from its futures' scores ``[member, day]``."""
    return date_range(first_day(score >= rule.season, np.isnan(score)), dates, years, FIRST_HIDDEN)


def _closes(score: FloatArray, dates: DateArray, rule: Rule, years: int | None) -> DateRange | None:
    """Last open day of the running season; None when most members still have it open at the end."""
    open_days: BoolArray = score >= rule.season
    if open_days[:, -1].mean() > 0.5:
        return None
    return date_range(last_day(open_days, np.isnan(score)), dates, years, LAST_HIDDEN)


def _usual(
    score: FloatArray, number: FloatArray, start: np.datetime64, today: np.datetime64, rule: Rule
) -> DateRange | None:
    """When it opened in the record's last whole seasons, as dates of the next one."""
    season = np.cumsum(np.diff(number, prepend=number[:1]) < 0)
    firsts = []
    for index in np.unique(season)[-rule.normal_years - 2 :]:
        inside = season == index
        if inside.sum() >= _YEAR - 1:
            hit = number[inside & (score >= rule.season)]
            never = np.nan if np.isnan(score[inside]).any() else np.inf
            firsts.append(hit[0] if hit.size else never)
    if not firsts:
        return None
    found = np.array(firsts)
    usual = date_range(found, start + np.arange(_YEAR))
    if usual is None or usual.median is None or usual.median >= _date(today):
        return usual
    start = (start.astype("datetime64[M]") + 12).astype("datetime64[D]")
    return date_range(found, start + np.arange(_YEAR))


def _date(date: np.datetime64) -> dt.date:
    result: dt.date = date.astype("datetime64[D]").astype(object)
    return result

"""When a purpose opens and closes: one answer, which the ranking and the season plan both give."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from windowcast.core.record import FloatArray
from windowcast.core.season_calendar import season_day
from windowcast.core.site import Site
from windowcast.core.time_axis import first_day, last_day
from windowcast.materials.needs import ActiveNeeds
from windowcast.windows.days import DAY_CRITERIA, DayContext
from windowcast.windows.odds import FIRST_HIDDEN, LAST_HIDDEN, DateRange, date_range, normal_range
from windowcast.windows.purposes import Purpose
from windowcast.windows.score import BoolArray, combine
from windowcast.windows.season_axis import SEASON_DAYS, SeasonAxis


def judged_days(
    purpose: Purpose, needs: ActiveNeeds, context: DayContext
) -> tuple[dict[str, FloatArray], FloatArray]:
    """What a purpose's timing criteria measure, and the product of their scores.

    Returns
    -------
    dict, FloatArray
        Criterion → ``[member, day]``; score ``[member, day]``, NaN where it cannot be told.
    """
    grades, weights = purpose.timing_grades(needs), purpose.weights
    measured = {name: DAY_CRITERIA[name](context, needs) for name in purpose.timing}
    pairs = ((grades[name](value), weights[name]) for name, value in measured.items())
    return measured, np.atleast_2d(combine(pairs))


@dataclass(frozen=True)
class Opening:
    """When a purpose opens and closes in the running season, over its futures.

    A day that cannot be told is no open day: it counts only in a future without any known one.

    Attributes
    ----------
    score
        Product of the timing scores on the days of the axis, ``[member, day]``.
    measured
        Timing criterion → what is measured, ``[member, day]``.
    """

    site: Site
    axis: SeasonAxis
    purpose: Purpose
    needs: ActiveNeeds
    score: FloatArray
    measured: Mapping[str, FloatArray] = field(default_factory=dict)

    @classmethod
    def of(cls, purpose: Purpose, needs: ActiveNeeds, site: Site, axis: SeasonAxis) -> Opening:
        """Judge a purpose's days over the running season."""
        context = DayContext(site, axis.state, purpose.weeds, tables=axis.tables)
        measured, score = judged_days(purpose, needs, context)
        score, _ = np.broadcast_arrays(score, axis.state.soil_5cm_c)
        return cls(site, axis, purpose, needs, score, measured)

    @cached_property
    def is_open(self) -> BoolArray:
        """Whether it is open, on the season's own days, ``[member, day]``."""
        own = self.score[:, self.axis.number < SEASON_DAYS]
        return np.asarray(own >= self.purpose.rule.season)

    @cached_property
    def unknown(self) -> BoolArray:
        """Whether that cannot be told, ``[member, day]``."""
        return np.asarray(np.isnan(self.score[:, : self.is_open.shape[1]]))

    @cached_property
    def first(self) -> FloatArray:
        """Index of the first open day, ``[member]``, as `first_day` gives it."""
        return when(first_day, self.is_open, self.unknown)

    @cached_property
    def last(self) -> FloatArray:
        """Index of the last open day, ``[member]``; infinite where there is none."""
        return when(last_day, self.is_open, self.unknown)

    @cached_property
    def opens(self) -> DateRange | None:
        """When it opens this season; None when that cannot be told."""
        return self.marked(date_range(self.first, self.axis.dates, self.axis.year_of, FIRST_HIDDEN))

    @property
    def opened(self) -> dt.date | None:
        """When it opened, where nearly all futures have it behind them."""
        return self._passed(self.first, self.axis.tables["plan"].number("opened_in"))

    @property
    def closed(self) -> dt.date | None:
        """Its last day, where all futures have it behind them."""
        return self._passed(self.last, 1.0)

    @property
    def again(self) -> DateRange | None:
        """When it is next open from today on, as after a closure."""
        gone = self.axis.gone
        found = when(first_day, self.is_open[:, gone:], self.unknown[:, gone:])
        dates = self.axis.dates[gone:]
        return self.marked(date_range(found, dates, self.axis.year_of, FIRST_HIDDEN))

    @property
    def closes(self) -> DateRange | None:
        """Its last day; None where that cannot be told, or most futures end with it open."""
        if self.is_open[:, -1].mean() > 0.5:
            return None
        return date_range(self.last, self.axis.dates, self.axis.year_of, LAST_HIDDEN)

    def last_open(self, *, sure: bool = True) -> dt.date | None:
        """Last open day of those past, by most futures.

        Parameters
        ----------
        sure
            None where a day that cannot be told follows it.
        """
        past = slice(None, self.axis.gone)
        if not self.axis.gone:
            return None
        is_open, unknown = self.is_open[:, past], self.unknown[:, past]
        find = when if sure else _known
        found = date_range(find(last_day, is_open, unknown), self.axis.dates)
        return found.median if found else None

    @cached_property
    def past_years(self) -> list[tuple[dt.date, float, float]]:
        """Start of each past season with the days of it on which it opened and closed."""
        past = self.axis.past
        context = DayContext(self.site, past, self.purpose.weeds, tables=self.axis.tables)
        gone = judged_days(self.purpose, self.needs, context)[1][0]
        seasons = tuple(self.axis.past_seasons(southern=self.site.place.southern))
        if not seasons:
            return []
        longest = max(days.stop - days.start for _, days in seasons)
        score = np.zeros((len(seasons), longest))  # closed where a season has ended
        for row, (_, days) in zip(score, seasons, strict=True):
            row[: days.stop - days.start] = gone[days]
        is_open, unknown = score >= self.purpose.rule.season, np.isnan(score)
        skipped = [
            float((past.dates[days.start] - np.datetime64(start)).astype(int))
            for start, days in seasons
        ]
        first, last = (when(find, is_open, unknown) + skipped for find in (first_day, last_day))
        starts = (start for start, _ in seasons)
        return list(zip(starts, first.tolist(), last.tolist(), strict=True))

    def normal_opens(self, start: dt.date) -> DateRange | None:
        """When it opened in past seasons, as dates of the one that begins at `start`."""
        return normal_range(np.array([first for _, first, _ in self.past_years]), start)

    def normal_closes(self, start: dt.date) -> DateRange | None:
        """When it closed in past seasons, as dates of the one that begins at `start`."""
        return normal_range(np.array([last for *_, last in self.past_years]), start)

    @property
    def usual(self) -> DateRange | None:
        """When it opens by past seasons, this season or, where that has passed, the next one."""
        start, gone = self.axis.start, self.axis.gone
        usual = self.normal_opens(start)
        today = self.axis.dates[gone].astype("datetime64[D]").astype(object)
        if usual is not None and usual.median is not None and usual.median < today:
            usual = self.normal_opens(start.replace(year=start.year + 1))
        return self.marked(usual)

    def _passed(self, index: FloatArray, most: float) -> dt.date | None:
        """The middle of days that at least `most` of the futures have behind them.

        They need not agree on the day: whether a day was open may hang on what follows it, and the
        models err in the season so far too. What is unknown agrees with nothing.
        """
        past = (index < self.axis.gone).mean() >= most
        found = date_range(index, self.axis.dates) if past and not np.isnan(index).any() else None
        return found.median if found else None

    def marked(self, opens: DateRange | None) -> DateRange | None:
        """An opening, marked where it is the first day that the purpose's months allow."""
        if opens is None or opens.median is None:
            return opens
        months = self.purpose.grade("season_months", self.needs)
        date = np.array([opens.median], dtype="datetime64[D]")
        number = season_day(date, southern=self.site.place.southern)
        first = months.nearest(0.0, self.purpose.rule.season)
        return replace(opens, by_calendar=first is not None and bool(number[0] <= np.ceil(first)))


_Find = Callable[[BoolArray, BoolArray], FloatArray]


def when(find: _Find, holds: BoolArray, unknown: BoolArray) -> FloatArray:
    """`first_day` or `last_day` of what is known: unknown days count only where none holds.

    A last day that an unknown one follows is not known to be the last.
    """
    found = _known(find, holds, unknown)
    if find is last_day:
        after = np.where(np.isfinite(found), found + 1, 0).astype(int)
        after = np.minimum(after, holds.shape[-1] - 1)
        follows = np.take_along_axis(unknown, np.expand_dims(after, -1), axis=-1)[..., 0]
        found = np.where(np.isfinite(found) & follows, np.nan, found)
    return found


def _known(find: _Find, holds: BoolArray, unknown: BoolArray) -> FloatArray:
    """The day found among those that are known, where there is one."""
    return find(holds, unknown & ~holds.any(axis=-1, keepdims=True))

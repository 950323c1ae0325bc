"""The dates that steer a season: soil, emergence, dormancy, green-up; now and in past years."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from windowcast.core.phrase import Phrase, Quantity, Share, joined, say
from windowcast.core.record import FloatArray
from windowcast.core.season_calendar import season_day, season_name
from windowcast.core.time_axis import first_day, last_day
from windowcast.core.values import Table, Value
from windowcast.core.weed_codes import known, sets_days
from windowcast.programme.model import KeyDate, YearDate
from windowcast.season.model import Emergence, SiteState
from windowcast.season.runs import trailing_mean
from windowcast.season.turf_safety import brown_in
from windowcast.windows.odds import FIRST_HIDDEN, LAST_HIDDEN, DateRange, date_range, normal_range
from windowcast.windows.reasons import SOIL_DEPTH
from windowcast.windows.residual import spread_evenly
from windowcast.windows.season_axis import SeasonAxis


@dataclass(frozen=True)
class Event:
    """Something that comes on one day of a season.

    Attributes
    ----------
    holds
        State → 1 where it holds, 0 where not, NaN where it cannot be told, ``[..., day]``.
    from_day
        Day of the season from which it is looked for.
    last
        The last day on which it holds counts, not the first.
    by_calendar
        It comes by the calendar alone, so that past years say nothing of it.
    falls
        It has to have been otherwise before: where it holds from the first day on which it is
        looked for, it does not come, rather than on that day of the calendar.
    """

    name: str
    label: Phrase
    source: str
    holds: Callable[[SiteState], FloatArray]
    from_day: float = 0.0
    last: bool = False
    by_calendar: bool = False
    falls: bool = False

    def day(self, holds: FloatArray, number: FloatArray) -> FloatArray:
        """Index of the day, ``[...]``; infinite when it does not come, NaN when it is unknown."""
        looked_at = number >= self.from_day
        reached = (holds > 0.5) & looked_at
        unknown = np.isnan(holds) & looked_at
        found = (last_day if self.last else first_day)(reached, unknown)
        return np.where(found == looked_at.argmax(), np.inf, found) if self.falls else found


def events(state: SiteState, table: Table, *, southern: bool) -> Iterator[Event]:
    """The events of a site by ``data/plan.toml``, in the order in which they usually come."""
    week = int(table.number("week_days"))
    autumn, spring = table.number("autumn_from"), table.number("spring_from")
    for key in ("soil_fall", "soil_peak"):
        entry = table.value(key)
        label = say("key_date.soil_falls", depth=SOIL_DEPTH, limit=_limit(entry))
        yield Event(key, label, entry.source, _soil(float(entry), -1, week), autumn, falls=True)
    for weeds in state.alike():
        weed = weeds[0]
        begins = spring if weed.season == "spring" else 0.0
        shares = table.value(f"shares.{'general' if weed.doubt_weeks else weed.season}")
        for share in shares.value:
            yield Event(
                f"{weed.weed}_{100 * share:.0f}",
                _up_label(weeds, float(share)),
                shares.source,
                _up(weed.weed, float(share)),
                begins,
            )
        if weed.first_by_air is not None:
            label = say("key_date.first_by_air", weed=say(f"weed.{weed.weed}"))
            source = f"{weed.weed}.first_air in data/weeds.toml"
            holds = _by_air(weed.weed, "first_by_air")
            yield Event(f"{weed.weed}_air", label, source, holds, begins)
        for one in weeds:
            yield from _sets(one, southern=southern)
    turf = "turf model; see data/turf.toml"
    yield Event("dormancy", say("key_date.dormancy"), turf, _brown, autumn)
    yield Event("first_safe", say("key_date.first_safe"), turf, _safe, autumn)
    yield Event(
        "last_safe",
        say("key_date.last_safe"),
        turf,
        _safe,
        autumn,
        last=True,
    )
    yield Event("green_up", say("key_date.green_up"), turf, _brown, autumn, last=True)
    entry = table.value("soil_spring")
    label = say("key_date.soil_rises", depth=SOIL_DEPTH, limit=_limit(entry))
    yield Event(
        "soil_spring", label, entry.source, _soil(float(entry), -1, week), autumn, last=True
    )


def _limit(entry: Value) -> Quantity:
    return Quantity(float(entry), "degC")


def _soil(limit_c: float, sign: int, days: int) -> Callable[[SiteState], FloatArray]:
    def holds(state: SiteState) -> FloatArray:
        week = trailing_mean(state.soil_5cm_c, days)
        return np.where(np.isnan(week), np.nan, sign * (week - limit_c) > 0)

    return holds


def _up_label(weeds: Sequence[Emergence], share: float) -> Phrase:
    named = joined(*(say(f"weed.{weed.weed}") for weed in weeds))
    if weeds[0].doubt_weeks:
        weeks = round(weeds[0].doubt_weeks)
        return say("key_date.weed_up_roughly", share=Share(share), weed=named, weeks=weeks)
    return say("key_date.weed_up", share=Share(share), weed=named)


def _up(weed: str, share: float) -> Callable[[SiteState], FloatArray]:
    def holds(state: SiteState) -> FloatArray:
        up = state.emergence[weed].share
        return np.where(np.isnan(up), np.nan, up >= share)

    return holds


def _sets(weed: Emergence, *, southern: bool) -> Iterator[Event]:
    """When it first sets burs, seedheads or flowers: by air temperature, or by the calendar."""
    what = known()[weed.weed].sets
    if not what or weed.season == "spring":  # those of summer annuals come after the season's end
        return
    label = say(f"key_date.sets.{what}", weed=say(f"weed.{weed.weed}"))
    name = f"{weed.weed}_{what}"
    if weed.sets_by_air is not None:
        source = f"{weed.weed}.sets_air in data/weeds.toml"
        yield Event(name, label, source, _by_air(weed.weed, "sets_by_air"))
    elif (span := sets_days(weed.weed, southern=southern)) is not None:
        published = known()[weed.weed].facts["sets_from"]
        source = f"{published.status}: {published.source}"
        yield Event(name, label, source, _between_days(*span, southern=southern), by_calendar=True)


def _between_days(low: float, high: float, *, southern: bool) -> Callable[[SiteState], FloatArray]:
    """Each future has its own day of the published days; past years have none of their own."""

    def holds(state: SiteState) -> FloatArray:
        if state.soil_5cm_c.ndim < 2:
            return np.full(state.soil_5cm_c.shape, np.nan)
        place = spread_evenly(len(state.soil_5cm_c))[:, None]
        first = low + (high - low) * (1.25 * place - 0.125)  # its ends are the 10 and 90 % days
        return (season_day(state.dates, southern=southern) >= first).astype(np.float64)

    return holds


def _by_air(weed: str, name: str) -> Callable[[SiteState], FloatArray]:
    def holds(state: SiteState) -> FloatArray:
        part = getattr(state.emergence[weed], name)
        known = np.full(state.soil_5cm_c.shape, np.nan) if part is None else part
        return np.where(np.isnan(known), np.nan, known >= 1.0)

    return holds


def _brown(state: SiteState) -> FloatArray:
    return brown_in(state.turf.half_green_probability)


def _safe(state: SiteState) -> FloatArray:
    """Days on which the turf is known to be safe; unknown only where its leaf is.

    Days on which only a look could tell are no safe days of a date planned ahead.
    """
    turf = state.turf
    unknown = np.isnan(turf.nonselective_safe) & np.isnan(turf.injury_probability)
    return np.where(unknown, np.nan, turf.nonselective_safe == 1)


def key_dates(axis: SeasonAxis, *, southern: bool) -> tuple[KeyDate, ...]:
    """Every event of the site, this season and in the past ones."""
    seasons = list(axis.past_seasons(southern=southern))
    number = season_day(axis.past.dates, southern=southern)
    year = int(np.searchsorted(axis.number, 365))  # the season's own year only
    found = []
    for event in events(axis.past, axis.tables["plan"], southern=southern):
        day = event.day(event.holds(axis.state)[:, :year], axis.number[:year])
        over = bool((day < axis.gone).all())  # members may still differ by the models' error
        before = event.holds(axis.past)
        years, numbers = [], []
        for start, days in seasons:
            index = float(event.day(before[days], number[days]))
            numbers.append(index + number[days][0])
            date = _date(axis.past.dates[days][int(index)]) if np.isfinite(index) else None
            years.append(YearDate(season_name(start, southern), date))
        when = date_range(
            day,
            axis.dates,
            None if over else axis.year_of,
            unknown_as=LAST_HIDDEN if event.last else FIRST_HIDDEN,
        )
        found.append(
            KeyDate(
                name=event.name,
                label=event.label,
                passed=when.median if over and when else None,
                ahead=None if over else when,
                normal=None if event.by_calendar else normal_range(np.array(numbers), axis.start),
                years=() if event.by_calendar else tuple(years),
                source=event.source,
                came=float((day < axis.gone).mean()),
                passed_between=_between(when) if over else None,
            )
        )
    return tuple(found)


def _between(when: DateRange | None) -> tuple[dt.date, dt.date] | None:
    """10 and 90 % dates, None where they are one."""
    if when is None or when.early is None or when.late is None or when.early == when.late:
        return None
    return when.early, when.late


def _date(date: np.datetime64) -> dt.date:
    result: dt.date = date.astype("datetime64[D]").astype(object)
    return result

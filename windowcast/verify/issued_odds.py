"""How good the odds are on forecasts as issued: the program's own futures, replayed issue by issue.

For each issue the futures are drawn as for any user (`windowcast.weather.ensemble.members`), from
the forecast of that day and the city's other years, and held against what came.
`windowcast.verify.issued_scores` scores them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from windowcast.core.phrase import Phrase, Quantity, say
from windowcast.core.record import (
    DateArray,
    FloatArray,
    Grade,
    Members,
    Misses,
    Place,
    Record,
    Weather,
)
from windowcast.core.time_axis import grades_of
from windowcast.core.values import PACKAGED, Tables
from windowcast.programme.workable_days import temperature_parts, workable
from windowcast.verify.issued import LEADS, Issued
from windowcast.verify.odds import CLIMATE_HALF_WIDTH
from windowcast.weather.ensemble import members
from windowcast.weather.ensemble_years import TEMPERATURES
from windowcast.windows.purposes import Purpose
from windowcast.windows.score import combine

HALF_YEAR = 183  # days after an issue of which its futures may know nothing
FEWEST_PAST = 365  # days with a high, of other years, before an issue is replayed


@dataclass(frozen=True)
class ScoredEvent:
    """Something that comes or does not; `of` gives 1, 0, or NaN where it cannot be told."""

    key: str
    title: Phrase
    of: Callable[[Record], FloatArray]  # [..., day]


def events_of(purpose: Purpose) -> tuple[ScoredEvent, ...]:
    """The events scored: highs at limits that matter to the work, and the purpose's own criteria.

    Sprays do nothing near 4.4 °C, work slowly below 10 °C and well from 15.6 °C on; above 28 °C it
    is too hot (``data/criteria.toml``). The last is left out where the purpose asks nothing of the
    temperature.
    """
    limits = (
        ScoredEvent("high_to_4.4_c", say("odds.high_to", air=Quantity(4.4, "degC")), _at_most(4.4)),
        *(
            ScoredEvent(
                f"high_from_{c}_c", say("odds.high_from", air=Quantity(c, "degC")), _at_least(c)
            )
            for c in (10.0, 15.6, 28.0)
        ),
    )

    def of(daily: Record) -> FloatArray:
        scores = combine(temperature_parts(daily, purpose, purpose.generic).values())
        return workable(scores, purpose.rule)

    own = ScoredEvent(purpose.name, say("odds.temperatures", purpose=purpose.title), of)
    day = _record(Place("", 0.0, 0.0), np.array(["2000-01-01"], "datetime64[D]"), {})
    return (*limits, own) if temperature_parts(day, purpose, purpose.generic) else limits


def _at_least(limit_c: float) -> Callable[[Record], FloatArray]:
    return lambda daily: _told(daily.get("tmax_c"), daily.get("tmax_c") >= limit_c)


def _at_most(limit_c: float) -> Callable[[Record], FloatArray]:
    return lambda daily: _told(daily.get("tmax_c"), daily.get("tmax_c") <= limit_c)


def _told(values: FloatArray, event: npt.NDArray[np.bool_]) -> FloatArray:
    return np.where(np.isnan(values), np.nan, event)


def _record(place: Place, times: DateArray, values: Mapping[str, FloatArray]) -> Record:
    return Record(place, times, values, {name: grades_of(v) for name, v in values.items()})


@dataclass(frozen=True)
class IssuedOdds:
    """Futures and what came, ``[issue, lead]``, NaN where it is unknown.

    Attributes
    ----------
    odds, climate, came
        By event: share of the futures, share of the same weeks of other years, and 1 or 0.
    said_c, came_c
        The high as forecast and as observed.
    mean_c, variance_k2, crps_k
        Of the futures' highs.
    """

    odds: Mapping[str, FloatArray]
    climate: Mapping[str, FloatArray]
    came: Mapping[str, FloatArray]
    said_c: FloatArray
    came_c: FloatArray
    mean_c: FloatArray
    variance_k2: FloatArray
    crps_k: FloatArray

    @property
    def issues(self) -> int:
        """Number of issue days."""
        return len(self.said_c)


def replay_issued(
    cities: Sequence[Issued],
    events: Sequence[ScoredEvent],
    *,
    every_days: int = 5,
    count: int = 100,
    seed: int = 0,
    own: bool = False,
    tables: Tables = PACKAGED,
) -> IssuedOdds:
    """Draw the futures of every so-manyth issue of each city.

    The days of the year around an issue, and all that a user could not have known, are hidden: the
    climate is that of the days before the issue and of those more than half a year after it, moved
    back by four years.

    Parameters
    ----------
    every_days
        Days between issues; cities begin on different days.
    own
        Whether the city's own misses up to each issue are known, as at a site whose forecasts are
        on record.
    """
    parts = []
    for number, issued in enumerate(cities):
        city = _City(issued, events)
        for issue in range(number % every_days, city.days - 1, every_days):
            weather = city.weather(issue)
            if weather is not None:
                if own:
                    weather = replace(weather, misses=city.misses(issue, tables))
                drawn = members(
                    weather,
                    until=weather.today,
                    horizon_days=LEADS,
                    count=count,
                    seed=seed,
                    tables=tables,
                )
                parts.append(_held_against(city, issue, drawn))
    return _stacked(parts, [event.key for event in events])


def _held_against(city: _City, issue: int, drawn: Members) -> _Issue:
    """One issue's futures against what came; leads beyond the forecast are left unknown."""
    reach = np.arange(LEADS) < drawn.forecast_days
    high = drawn.daily.get("tmax_c")[1:, :LEADS]
    came = city.issued.came_ahead_of(issue)
    scored = np.where(reach & np.isfinite(came), 1.0, np.nan)
    ahead = slice(issue, issue + LEADS)
    read = _as_read(drawn.daily)
    by_event = []
    for at, event in enumerate(city.events):
        odds = event.of(read)[1:, :LEADS].mean(axis=0)
        truth = np.pad(city.came[at][ahead], (0, LEADS), constant_values=np.nan)[:LEADS]
        climate = city.climate(at, issue)
        by_event.append(np.stack([odds, climate, truth]) * _all_known(odds, climate, truth, scored))
    figures = [
        city.issued.high_c[issue],
        came,
        high.mean(axis=0),
        high.var(axis=0),
        crps_of_members(high, came),
    ]
    return np.array(by_event), np.stack(figures) * scored


def _as_read(daily: Record) -> Record:
    """Futures to whole °F, as the observations are: a limit cuts both alike."""
    values = {n: np.round(v * 1.8) / 1.8 for n, v in daily.values.items() if n in TEMPERATURES}
    return daily.with_variables(values, {})


_Issue = tuple[FloatArray, FloatArray]  # [event, odds/climate/came, lead], [figure, lead]


def _all_known(*parts: FloatArray) -> FloatArray:
    """1 where all parts are known, else NaN."""
    return np.where(np.isfinite(sum(parts)), 1.0, np.nan)


def _stacked(parts: Sequence[_Issue], keys: Sequence[str]) -> IssuedOdds:
    events = np.array([part[0] for part in parts]).reshape(-1, len(keys), 3, LEADS)
    figures = np.array([part[1] for part in parts]).reshape(-1, 5, LEADS)
    odds, climate, came = (
        {key: events[:, at, part] for at, key in enumerate(keys)} for part in range(3)
    )
    said, seen, mean, variance, crps = (figures[:, at] for at in range(5))
    return IssuedOdds(odds, climate, came, said, seen, mean, variance, crps)


def crps_of_members(members_c: FloatArray, came_c: FloatArray) -> FloatArray:
    """Continuous ranked probability score of an ensemble, ``[...]``; 0 is perfect.

    Parameters
    ----------
    members_c
        ``[member, ...]``.
    came_c
        ``[...]``.

    Notes
    -----
    ``mean |x - y| - ½ mean |x - x'|`` over all pairs, the second by sorting.

    References
    ----------
    Gneiting & Raftery 2007, *J. Am. Stat. Assoc.* 102:359, eq. 20 and 21.

    Examples
    --------
    >>> round(float(crps_of_members(np.array([1.0, 2.0, 3.0]), np.array(2.0))), 6)
    0.222222
    """
    count = len(members_c)
    ordered = np.sort(members_c, axis=0)
    rank = 2 * np.arange(1, count + 1) - count - 1
    pairs = np.tensordot(rank, ordered, axes=(0, 0)) / count**2
    return np.asarray(np.abs(members_c - came_c).mean(axis=0) - pairs)


class _City:
    """A city's tables laid out for replaying: its own years, and the same moved back."""

    def __init__(self, issued: Issued, events: Sequence[ScoredEvent]) -> None:
        self.issued, self.events = issued, events
        self.place = Place(issued.name, issued.latitude_deg, issued.longitude_deg)
        self.back, self.days = issued.years_back(), len(issued.dates)
        days = np.arange(-self.back, self.days + LEADS)
        self.times = issued.dates[0] + days.astype("timedelta64[D]")
        seen = {"tmax_c": issued.came_high_c, "tmin_c": issued.came_low_c}
        truth = _record(self.place, issued.dates, seen)
        self.missed = issued.misses_c()
        self.seen, self.came = seen, [event.of(truth) for event in events]

    def weather(self, issue: int) -> Weather | None:
        """Other years, then the forecast, as a user would have had it; None: too little."""
        said = {"tmax_c": self.issued.high_c[issue], "tmin_c": self.night_lows(issue)}
        at = self.back + issue
        values, grades = {}, {}
        for name, seen in self.seen.items():
            value = np.full(len(self.times), np.nan)
            value[issue + HALF_YEAR : self.days] = seen[issue + HALF_YEAR :]
            value[self.back : at] = seen[:issue]
            value[at : at + LEADS] = said[name]
            grade = np.where(np.arange(len(value)) < at, Grade.OBSERVED, Grade.FORECAST)
            values[name] = value[: at + LEADS]
            grades[name] = grades_of(values[name], grade[: at + LEADS])
        if np.isfinite(values["tmax_c"][:at]).sum() < FEWEST_PAST:
            return None
        if not (np.isfinite(said["tmax_c"][0]) and np.isfinite(said["tmin_c"][0])):
            return None
        record = Record(self.place, self.times[: at + LEADS], values, grades)
        return Weather(record, None, self.times[at].astype(object))

    def misses(self, issue: int, tables: Tables) -> Misses:
        """Misses of the high known at an issue; of the lows other nights than these were seen."""
        days = int(tables["ensemble"].number("own.window"))
        at = issue - np.arange(days, 0, -1)
        errors = np.full((days, LEADS), np.nan)
        for lead in range(LEADS):
            issued = at - lead
            ok = issued >= 0
            errors[ok, lead] = self.missed[issued[ok], lead]
        return Misses("", self.issued.dates[issue] - np.arange(days, 0, -1), {"tmax_c": errors})

    def night_lows(self, issue: int) -> FloatArray:
        """Low of the night that ends on each date; that of the issue's own has been seen."""
        before = self.issued.low_c[issue, : LEADS - 1]
        return np.concatenate([self.seen["tmin_c"][issue : issue + 1], before])

    def climate(self, event: int, issue: int) -> FloatArray:
        """Share of an event in the same weeks of other years, ``[lead]``."""
        came = self.came[event]
        near = np.arange(-CLIMATE_HALF_WIDTH, CLIMATE_HALF_WIDTH + 1)
        years = np.round(np.array([-3, -2, -1, 1, 2, 3]) * 365.25).astype(int)
        at = (issue + np.arange(LEADS)[:, None, None] + years[:, None] + near).reshape(LEADS, -1)
        ok = (at >= 0) & (at < self.days)
        seen = np.where(ok, came[np.clip(at, 0, self.days - 1)], np.nan)
        told = np.isfinite(seen)
        with np.errstate(invalid="ignore"):
            share: FloatArray = np.nansum(seen, axis=1) / told.sum(axis=1)
        return share

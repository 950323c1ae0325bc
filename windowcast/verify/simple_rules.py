"""What people do in a season who ask no program, but go by a rule.

``calendar``
    All four applications by the dates of extension services.
``soil``
    Both pre-emergents by a soil thermometer, the rest by the calendar.
``warm_day``
    The dormant spray on the first warm dry day of January, the rest by the calendar.

On the first day from its date on they spray on which, seen that morning, it can be done: on a day
and in hours in which the site may be sprayed, with no rain foretold and none falling, and the wind
foretold and found below the sprayer's limit; with what leaves take up in the warmest such hours,
else in the first. After three weeks they let it be. Ground that can be watered is watered the same
day. They ask nobody what the turf takes: what hurts it is counted
(`windowcast.verify.worth`), not prevented. But nobody sprays a non-selective on turf that is
plainly green, more than half of it as seen from above in the weather that came: they wait, or let
it be.

The dates are those of extension services (``data/simple_rules.toml``), the marks of soil
temperature those of the season's plan (``data/plan.toml``).
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from windowcast.core.local_days import hours_of, on_clock
from windowcast.core.record import DateArray, FloatArray, Record, Weather
from windowcast.core.season_calendar import SEASON_START, month_day, northern_month_day
from windowcast.core.values import PACKAGED, Table, Tables
from windowcast.season.runs import trailing_mean
from windowcast.verify.foresight import watered_in
from windowcast.verify.lived import Lived
from windowcast.verify.sprays import Done, Tank
from windowcast.verify.worth import Worlds
from windowcast.windows.criteria import over_limit
from windowcast.windows.model import PURPOSES, PurposeName
from windowcast.windows.purposes import purpose_of
from windowcast.windows.score import Rule

BoolArray = npt.NDArray[np.bool_]
UNTOLD_C = -99.0  # stands for hours whose temperature nobody foretold


@dataclass(frozen=True, slots=True)
class Days:
    """Days of a season on which someone tries to spray: the first, and the last if it never fits.

    Both count from the season's first day.
    """

    first: int
    last: int


RuleDays = Mapping[PurposeName, Days | None]


def calendar_date(purpose: PurposeName, latitude_deg: float, tables: Tables = PACKAGED) -> str:
    """The northern ``"MM-DD"`` that a published calendar has for an application at a latitude.

    Of a span the middle.

    Examples
    --------
    North Georgia's 25 August to 15 September, and 1 to 20 March:

    >>> from windowcast.verify.simple_rules import calendar_date
    >>> calendar_date("pre-fall", 34.3), calendar_date("pre-spring", 34.3)
    ('09-04', '03-10')
    """
    ends = published_dates(purpose, latitude_deg, tables)
    first, last = (np.datetime64(f"{2022 + (end < SEASON_START)}-{end}", "D") for end in ends)
    return str(first + (last - first) // 2)[5:]  # of a season without 29 February


def published_dates(
    purpose: PurposeName, latitude_deg: float, tables: Tables = PACKAGED
) -> tuple[str, str]:
    """First and last date published, as `calendar_date`; the same where there is one."""
    dates = _band(latitude_deg, tables).value(purpose).value
    return dates[0], dates[-1]


def _band(latitude_deg: float, tables: Tables) -> Table:
    bands = tables["simple_rules"].table("bands")
    reached = [n for n in bands if bands.number(f"{n}.from_deg") <= abs(latitude_deg)]
    return bands.table(max(reached, key=lambda n: bands.number(f"{n}.from_deg")))


def by_calendar(
    purpose: PurposeName,
    dates: DateArray,
    latitude_deg: float,
    tables: Tables = PACKAGED,
) -> Days | None:
    """When who goes by the calendar tries; None where the season ends before.

    Parameters
    ----------
    dates
        Of the season from its first day on, ``[day]``.
    """
    date = northern_month_day(calendar_date(purpose, latitude_deg, tables), latitude_deg < 0)
    return _from(month_day(dates) == date, tables)


def by_soil(
    purpose: PurposeName, dates: DateArray, soil_5cm_c: FloatArray, tables: Tables = PACKAGED
) -> Days | None:
    """When who reads a soil thermometer puts a pre-emergent down; None where it never says so.

    Each morning the mean of the week up to yesterday is looked at: in fall whether it has fallen
    below the mark, from midwinter on whether it has risen above the other.

    Parameters
    ----------
    dates
        Of the season from its first day on, ``[day]``.
    soil_5cm_c
        Daily mean at 5 cm, ``[day]``.
    """
    plan = tables["plan"]
    week = trailing_mean(soil_5cm_c, int(plan.number("week_days")))
    seen = np.concatenate([[np.nan], week[:-1]])
    if purpose == "pre-fall":
        said, start = seen < plan.number("soil_fall"), plan.number("autumn_from")
    else:
        said, start = seen > plan.number("soil_spring"), plan.number("spring_from")
    return _from(said & (np.arange(len(dates)) >= start), tables)


def of_january(dates: DateArray, latitude_deg: float, tables: Tables = PACKAGED) -> Days | None:
    """The days among which who waits for the first warm one looks for it."""
    rules = tables["simple_rules"]
    first = northern_month_day(rules.value("warm_day_from").value, latitude_deg < 0)
    on = np.flatnonzero(month_day(dates) == first)
    return Days(int(on[0]), int(on[0] + rules.number("warm_day_days")) - 1) if len(on) else None


def _from(said: npt.NDArray[np.bool_], tables: Tables) -> Days | None:
    """From the first day on which it is said, as long as someone keeps trying."""
    days = np.flatnonzero(said)
    if not len(days):
        return None
    within = int(tables["simple_rules"].number("within_days"))
    return Days(int(days[0]), int(days[0]) + within - 1)


def by_rules(
    lived: Lived,
    worlds: Worlds,
    tanks: Mapping[PurposeName, Tank],
    *,
    known: Callable[[dt.date], Weather],
) -> dict[str, tuple[Done, ...]]:
    """What is sprayed by each rule in a season, by date.

    Parameters
    ----------
    worlds
        Of the season: the ground and when it may be sprayed, its soil by a probe where there is
        one, and how green the turf looks.
    tanks
        What goes out for each purpose.
    known
        What is known on a morning (`windowcast.verify.lived.Lived.on`).

    Returns
    -------
    dict
        "calendar", "soil" and "warm_day" → applications.
    """
    tables, latitude = worlds.tables, worlds.site.place.latitude_deg
    state, end = worlds.came.state, lived.daily.times[-1]
    dates = state.dates[state.dates <= end]
    person = _Person(lived, worlds, tanks, known, len(dates))
    calendar = {name: by_calendar(name, dates, latitude, tables) for name in PURPOSES}
    soil_c = state.soil_5cm_c[: len(dates)]
    soil = {
        name: by_soil(name, dates, soil_c, tables)
        for name in PURPOSES
        if purpose_of(name, tables).barrier
    }
    january: RuleDays = {"dormant": of_january(dates, latitude, tables)}
    return {
        "calendar": person.season(calendar),
        "soil": person.season({**calendar, **soil}),
        "warm_day": person.season({**calendar, **january}, warm=True),
    }


@dataclass
class _Person:
    """Someone who goes out to spray when a rule says so."""

    lived: Lived
    worlds: Worlds
    tanks: Mapping[PurposeName, Tank]
    known: Callable[[dt.date], Weather]
    days: int  # of the season
    _went: dict[tuple[PurposeName, Days, bool], Done | None] = field(default_factory=dict)

    def season(self, days: RuleDays, *, warm: bool = False) -> tuple[Done, ...]:
        """What goes out, by date; with `warm` the dormant spray on a warm dry day alone."""
        done = [
            self._goes(purpose, when, warm=warm and purpose == "dormant")
            for purpose, when in days.items()
            if when is not None and purpose in self.tanks
        ]
        return tuple(sorted((d for d in done if d is not None), key=lambda d: d.start))

    def _goes(self, purpose: PurposeName, days: Days, *, warm: bool) -> Done | None:
        key = purpose, days, warm
        if key not in self._went:
            self._went[key] = self._first(purpose, days, warm=warm)
        return self._went[key]

    def _first(self, purpose: PurposeName, days: Days, *, warm: bool) -> Done | None:
        """The application on the first of the days on which it can be done; None: on none."""
        names = [name for name, _ in self.tanks[purpose]]
        spared = self.worlds.hours.needs(names).turf_state == "dormant"
        for day in range(days.first, min(days.last + 1, self.days)):
            date = self.worlds.came.state.dates[day].astype("datetime64[D]").astype(object)
            if spared and self._plainly_green(day):
                continue
            start = self._start(purpose, date, warm=warm)
            if start is not None:
                return self._done(purpose, date, start)
        return None

    def _plainly_green(self, day: int) -> bool:
        green = self.worlds.came.state.turf.half_green_probability[day]
        return bool(green > self.worlds.tables["simple_rules"].number("plainly_green"))

    def _start(self, purpose: PurposeName, date: dt.date, *, warm: bool) -> dt.datetime | None:
        """When the sprayer goes out on a day; None: not on it."""
        tables, site = self.worlds.tables, self.worlds.site
        times = hours_of(site.zone, np.datetime64(date), 1)
        can = site.calendar.open_hours(on_clock(site.zone, times))
        can &= self._calm_and_dry(self.lived.hourly, times, wet_mm=0.0)
        if not self._runs(can).any():
            return None
        weather = self.known(date)
        told = weather.hourly
        if told is None or (warm and not self._warm_and_dry(weather)):
            return None
        drops = float(tables["criteria"].value("rain_now.at").value[0])
        runs = self._runs(can & self._calm_and_dry(told, times, wet_mm=drops))
        leaves = not purpose_of(purpose, tables).barrier
        if leaves:
            runs &= self._dry_for(self._rain_free_h(purpose), told, times, drops)[: len(runs)]
        if not runs.any():
            return None
        first = int(np.argmax(runs))
        if leaves:
            size = len(can) - len(runs) + 1
            temp_c = trailing_mean(_at(told, "temp_c", times), size)[size - 1 :]
            temp_c = np.nan_to_num(temp_c, nan=UNTOLD_C)
            first = int(np.argmax(np.where(runs, temp_c, -np.inf)))
        return dt.datetime.fromtimestamp(3600 * int(times[first].astype(np.int64)), site.zone)

    def _rain_free_h(self, purpose: PurposeName) -> int:
        """Hours from the start of spraying that the label wants dry."""
        names = [name for name, _ in self.tanks[purpose]]
        asked = self.worlds.hours.needs(names).rain_free_h
        if asked is None:
            asked = purpose_of(purpose, self.worlds.tables).generic.rain_free_h
        return self._shortest_h + math.ceil(0.0 if asked is None else asked)

    @staticmethod
    def _dry_for(hours: int, told: Record, times: DateArray, wet_mm: float) -> BoolArray:
        """Hours of a day after which no rain is foretold for so many hours."""
        after = times[-1] + np.arange(1, hours + 1).astype("timedelta64[h]")
        rain = _at(told, "precip_mm", np.concatenate([times, after]))
        dry = np.lib.stride_tricks.sliding_window_view(~(rain > wet_mm), hours)
        return np.asarray(dry.all(axis=-1))

    def _calm_and_dry(self, hours: Record, times: DateArray, *, wet_mm: float) -> BoolArray:
        """Hours without more rain than that and wind over the limit, as far as is known."""
        rain, wind = (_at(hours, name, times) for name in ("precip_mm", "wind_m_s"))
        return np.asarray(~(rain > wet_mm) & (over_limit(wind, self.worlds.site) != 1))

    @property
    def _shortest_h(self) -> int:
        return Rule.of(self.worlds.tables["criteria"]).shortest_h

    def _runs(self, can: BoolArray) -> BoolArray:
        """Hours from which on it can be done for the shortest useful time."""
        windows = np.lib.stride_tricks.sliding_window_view(can, self._shortest_h)
        return np.asarray(windows.all(axis=-1))

    def _warm_and_dry(self, weather: Weather) -> bool:
        rules, today = self.worlds.tables["simple_rules"], weather.today_index
        high, rain = (weather.daily.get(name)[today] for name in ("tmax_c", "precip_mm"))
        return bool(high >= rules.number("warm_day_c") and rain < rules.number("dry_day_mm"))

    def _done(self, purpose: PurposeName, date: dt.date, start: dt.datetime) -> Done:
        applied = watered_in(self.worlds, purpose, self.tanks[purpose], date)
        return Done(applied, start, start + dt.timedelta(hours=self._shortest_h))


def _at(hours: Record, name: str, times: DateArray) -> FloatArray:
    """Values of some hours; NaN where the record does not reach."""
    at = np.searchsorted(hours.times, times)
    there = (at < len(hours.times)) & (times >= hours.times[0])
    return np.where(there, hours.get(name)[np.where(there, at, 0)], np.nan)

"""Past seasons lived through: the weather as it came, and what was known of it on each morning.

From a station's daily record its highs, lows, means and rain are taken. Hours are drawn once for a
season (`windowcast.verify.drawn_hours`), and from what thus came the forecast of each morning
(`windowcast.verify.season_foretold`). What a morning knows of the days ahead it knows by that
forecast alone. Draws hang on the station's name and the season, not on the values.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

from windowcast.core.errors import InputError
from windowcast.core.record import FloatArray, Grade, Provenance, Record, Weather
from windowcast.core.time_axis import around_day_of_year, by_day_of_year, day_index, grades_of
from windowcast.core.values import Table, load
from windowcast.physics.humidity import dewpoint_from_rh_c, relative_humidity_pct
from windowcast.verify.as_known import as_known, in_its_zone
from windowcast.verify.drawn_forecast import LEADS
from windowcast.verify.drawn_hours import MONTHS, DrawnHours, drawn_hours
from windowcast.verify.issued import Issued, misses_issued
from windowcast.verify.season_foretold import SeasonCame, SeasonForetold, foretold_season
from windowcast.weather.ensemble_years import TEMPERATURES, normal_course
from windowcast.weather.gaps import filled
from windowcast.weather.load import RECENT_HOURS_DAYS
from windowcast.weather.quality import checked
from windowcast.weather.rain_filled import FILLED, with_rain_filled

AROUND_D = 30  # of the year, on either side, for the climate's spread and its wet days
BRIDGED = ("tmax_c", "tmin_c", "tmean_c")
LONGEST_GAP_D = 10  # no gap that is filled is longer
MEANS = ("rh_mean_pct", "wind_mean_m_s")
"""Daily means that come with the hours."""


@dataclass(frozen=True)
class Lived:
    """One season of a station as it came, and what was known on each of its mornings.

    Attributes
    ----------
    daily
        From the first year of record to the season's end (30 June), gaps filled: tmax_c, tmin_c,
        tmean_c, precip_mm; rh_mean_pct and wind_mean_m_s of the season, as its hours have them.
    hourly
        Hours UTC of the season (from 1 July): temp_c, dewpoint_c, wind_m_s, gust_m_s, precip_mm,
        cloud_fraction.
    season
        Year of its 1 July.
    """

    daily: Record
    hourly: Record
    season: int
    mornings: Mornings

    def on(self, today: dt.date) -> Weather:
        """What a user knew on a morning: the record up to yesterday, hours so far, a forecast.

        Parameters
        ----------
        today
            From 1 July to 30 June.

        Raises
        ------
        ValueError
            The date lies outside the season.
        """
        if not dt.date(self.season, 7, 1) <= today <= dt.date(self.season + 1, 6, 30):
            raise ValueError(f"{today} is not in the season of {self.season}")
        return self.mornings.on(today)


@dataclass(frozen=True)
class Mornings:
    """What stands behind the weather known on each morning of a season.

    Attributes
    ----------
    known
        Daily, as it stands when the season is over.
    hours
        As they came, from days before the season to days after it.
    foretold
        What each morning's bulletin tells of these days.
    first
        The first of these days on the axis of `known`.
    bridged_to
        Temperature → the last day on which a gap's filling rests; a day without one stands for
        itself, ``[day]``.
    """

    known: Record
    hours: DrawnHours
    foretold: SeasonForetold
    first: int
    bridged_to: Mapping[str, npt.NDArray[np.int64]]

    def on(self, today: dt.date) -> Weather:
        """As `Lived.on`."""
        at = day_index(self.known.times, today)
        drawn, behind = at - self.first, RECENT_HOURS_DAYS
        told = self.foretold.hours(drawn)
        starts = self.hours.starts[drawn - behind : drawn + self.foretold.reach(drawn)]
        recent = slice(int(starts[0]), int(starts[behind]))
        hourly = _joined_hours(self.hours.record, recent, told)
        daily = self._joined_days(at, days_of(hourly, starts - starts[0]))
        zone = ZoneInfo(daily.place.timezone)
        issued = dt.datetime.combine(today, dt.time(), zone).astimezone(dt.UTC)
        first, last = (str(time) for time in hourly.times[[recent.stop - recent.start, -1]])
        origin = Provenance(
            "forecast", "drawn from what came", tuple(told), first, last, issued=issued
        )
        daily = replace(daily, provenance=(*daily.provenance, origin))
        return Weather(daily, replace(hourly, provenance=(origin,)), today)

    def _joined_days(self, at: int, of_hours: Mapping[str, FloatArray]) -> Record:
        """The record up to the day before, then the forecast's days."""
        known = self.known
        ahead = len(of_hours["tmax_c"]) - RECENT_HOURS_DAYS
        times = known.times[0] + np.arange(at + ahead).astype("timedelta64[D]")
        values, grades = {}, {}
        for name in known.values:
            source = "precip_mm" if name == FILLED else name
            values[name] = np.concatenate(
                [known.values[name][:at], of_hours[source][RECENT_HOURS_DAYS:]]
            )
            grades[name] = np.concatenate(
                [known.grades[name][:at], np.full(ahead, Grade.FORECAST, dtype=np.uint8)]
            )
        for name in MEANS:
            values[name] = np.full(at + ahead, np.nan)
            values[name][at - RECENT_HOURS_DAYS :] = of_hours[name]
            grades[name] = np.full(at + ahead, Grade.MISSING, dtype=np.uint8)
            grades[name][at - RECENT_HOURS_DAYS : at] = Grade.OBSERVED
            grades[name][at:] = Grade.FORECAST
        for name, to in self.bridged_to.items():
            _bridge_anew(values[name], at, to[:at])
        return Record(known.place, times, values, grades, known.provenance)


def lived(
    record: Record, season: int, *, error_scale: float = 1.0, issued: Issued | None = None
) -> Lived | None:
    """A season of a station's record, lived through.

    Parameters
    ----------
    record
        Daily, as its reader gives it.
    season
        Year of the season's 1 July; northern.
    error_scale
        Factor of the forecasts' errors; 0: each forecast is what then comes.
    issued
        Forecasts as issued for a city near by. Their misses of the high are laid on the highs of
        this record; where there are none, and for all else, they are drawn.

    Returns
    -------
    Lived or None
        None where the record has too few years before, or gaps in the season, and in the south.

    Raises
    ------
    InputError
        The record does not say where it is, or the city of the forecasts has other weather.
    """
    place = record.place
    if not np.isfinite([place.latitude_deg, place.longitude_deg]).all():
        raise InputError(
            f"{place.name} tells neither latitude nor longitude",
            field="latitude",
            remedy="give a table with the station's place, as docs/weather_csv.md says",
        )
    if place.southern:
        return None
    values = load("lived")
    prepared = _prepared(record, season, values)
    if prepared is None:
        return None
    known, bridged_to, drawn_dates = prepared
    name = known.place.name
    measured = {n: record.get(n) for n in MEANS if n in record}
    humid = _with(known, measured)
    hours = drawn_hours(humid, drawn_dates, _seed(name, season, "hours"))
    first = day_index(known.times, drawn_dates[0].item())
    foretold = foretold_season(
        _came(humid, first, season, values),
        hours,
        values=values,
        seeds=(_seed(name, season, "forecast"), _seed(name, 0, "place")),
        error_scale=error_scale,
        misses_of_high=None if issued is None else misses_issued(issued, known, drawn_dates),
    )
    mornings = Mornings(known, hours, foretold, first, bridged_to)
    begin = day_index(known.times, dt.date(season, 7, 1))
    end = min(day_index(known.times, dt.date(season + 1, 7, 1)), len(known.times))
    daily = known.between(known.times[0], known.times[end - 1])
    of_hours = days_of(hours.record, hours.starts[:-1])
    means = {name: np.full(end, np.nan) for name in MEANS}
    for name, mean in means.items():
        mean[begin:] = of_hours[name][begin - first : end - first]
    daily = daily.with_variables(means, {name: grades_of(mean) for name, mean in means.items()})
    span = hours.record.times[hours.starts[[begin - first, end - first]] - [0, 1]]
    return Lived(daily, hours.record.between(*span), season, mornings)


def _prepared(
    record: Record, season: int, values: Table
) -> tuple[Record, dict[str, npt.NDArray[np.int64]], npt.NDArray[np.datetime64]] | None:
    """The record filled to some days after the season, what gaps' fillings rest on, days drawn."""
    one = np.timedelta64(1, "D")
    start, end = np.datetime64(f"{season}-07-01"), np.datetime64(f"{season + 1}-07-01")
    fewest = values.number("record.fewest_years")
    if not len(record.times) or (start - record.times[0]).astype(np.int64) / 365.25 < fewest:
        return None
    record = in_its_zone(record).between(record.times[0], end + LEADS * one)
    first = start - (RECENT_HOURS_DAYS + LEADS) * one
    if record.times[-1] < end - one:
        return None
    sound = checked(as_known(record))
    known = filled(sound)
    known = replace(known, flags=())
    bridged_to = _bridges(sound, known)
    rain = known.get("precip_mm").copy()
    at = int((first - record.times[0]).astype(np.int64))
    missing = np.flatnonzero(np.isnan(rain[at:])) + at
    if len(missing) > values.number("record.missing_rain"):
        return None
    for day in missing:
        back = day - np.round(np.arange(1, day // 366 + 1) * 365.25).astype(np.int64)
        there = back[np.isfinite(rain[back])]
        if not len(there):
            return None
        rain[day] = rain[there[0]]
    columns = {n: v for n, v in known.values.items() if n != FILLED}
    grades = {n: g for n, g in known.grades.items() if n != FILLED}
    grade = grades["precip_mm"].copy()
    grade[missing] = Grade.ESTIMATED
    columns["precip_mm"], grades["precip_mm"] = rain, grade
    for n in TEMPERATURES:
        if n not in columns or np.isnan(columns[n][at:]).any():
            return None
    known = replace(known, values=columns, grades=grades)
    known = _with_usual_rain(known, int((start - record.times[0]).astype(np.int64)))
    return known, bridged_to, np.arange(first, known.times[-1] + one)


def _with_usual_rain(known: Record, begin: int) -> Record:
    """Usual rain on the days before the season that have none, from the years before it."""
    before = with_rain_filled(known.between(known.times[0], known.times[begin - 1]))
    if FILLED not in before:
        return known
    value = np.append(before.get(FILLED), known.get("precip_mm")[begin:])
    grade = np.append(before.grade(FILLED), known.grade("precip_mm")[begin:])
    return known.with_variables({FILLED: value}, {FILLED: grade})


def _bridges(sound: Record, known: Record) -> dict[str, npt.NDArray[np.int64]]:
    """The day after the gap where a temperature was filled, else the day itself, ``[day]``."""
    days, bridges = np.arange(len(known.times)), {}
    for name in (n for n in BRIDGED if n in sound):
        there = np.flatnonzero(np.isfinite(sound.get(name)))
        after = there[np.minimum(np.searchsorted(there, days), len(there) - 1)]
        bridges[name] = np.where(np.isfinite(known.get(name)), np.maximum(after, days), days)
    return bridges


def _bridge_anew(values: FloatArray, at: int, bridged_to: npt.NDArray[np.int64]) -> None:
    """Fill a gap that still lasts this morning: from the last day known to the forecast."""
    still_open = np.flatnonzero(bridged_to[-LONGEST_GAP_D:] >= at) + at - LONGEST_GAP_D
    if len(still_open):
        ends = np.array([still_open[0] - 1, at])
        values[still_open] = np.interp(still_open, ends, values[ends])


def _came(known: Record, first: int, season: int, values: Table) -> SeasonCame:
    """The drawn days with what the years before the season say of their climate."""
    start = np.datetime64(f"{season}-07-01")
    before = known.between(known.times[0], start - np.timedelta64(1, "D"))
    span = slice(first, None)
    dates = known.times[span]
    column = (dates - dates.astype("datetime64[Y]")).astype(np.int64)
    normal, spread = {}, {}
    for name in TEMPERATURES:
        normal[name] = normal_course(before, name, dates)
        off = before.get(name) - normal_course(before, name, before.times)
        spread[name] = np.sqrt(_around(before, off**2)[column])
    rain, wet = before.get("precip_mm"), values.number("rain.wet")
    chance = _around(before, np.where(np.isnan(rain), np.nan, rain >= wet))[column]
    amounts = np.sort(rain[rain >= wet])
    dew = dewpoint_from_rh_c(before.get("tmean_c"), before.get("rh_mean_pct"))
    over_low = _by_month(before, dew - before.get("tmin_c"))
    return SeasonCame(
        {n: known.get(n)[span] for n in TEMPERATURES}, normal, spread, np.clip(chance, 0.01, 0.97),
        amounts, over_low, _by_month(before, before.get("wind_mean_m_s")),
    )  # fmt: skip


def _around(before: Record, values: FloatArray) -> FloatArray:
    """Mean over the years and the days around each day of the year, ``[366]``."""
    table, _, _ = by_day_of_year(before.times, values)
    known = np.isfinite(table)
    total = around_day_of_year(np.where(known, table, 0.0).sum(axis=0), AROUND_D)
    count = around_day_of_year(known.sum(axis=0), AROUND_D)
    return np.asarray(total / np.maximum(count, 1))


def _by_month(before: Record, values: FloatArray) -> FloatArray:
    """Mean of each month, NaN where nothing is known, ``[month]``."""
    known = np.isfinite(values)
    month = before.times[known].astype("datetime64[M]").astype(np.int64) % MONTHS
    count = np.bincount(month, minlength=MONTHS)
    total = np.bincount(month, values[known], MONTHS)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def days_of(hourly: Record, starts: npt.NDArray[np.int64]) -> dict[str, FloatArray]:
    """Days of whole hours, as an answer makes them."""
    bounds = np.append(starts, len(hourly.times))
    counts = np.diff(bounds).astype(np.float64)
    temp, dew = hourly.values["temp_c"], hourly.values["dewpoint_c"]
    rh = relative_humidity_pct(temp, dew)

    def mean(values: FloatArray) -> FloatArray:
        return np.add.reduceat(values, starts) / counts

    return {
        "tmax_c": np.maximum.reduceat(temp, starts),
        "tmin_c": np.minimum.reduceat(temp, starts),
        "tmean_c": mean(temp),
        "precip_mm": np.add.reduceat(hourly.values["precip_mm"], starts),
        "rh_mean_pct": mean(rh),
        "wind_mean_m_s": mean(hourly.values["wind_m_s"]),
    }


def _joined_hours(came: Record, recent: slice, told: Mapping[str, FloatArray]) -> Record:
    """Hours of the last days as they came, then those foretold."""
    ahead = len(told["temp_c"])
    behind = recent.stop - recent.start
    times = came.times[recent.start : recent.stop + ahead]
    values, grades = {}, {}
    seen = np.full(behind + ahead, Grade.OBSERVED, dtype=np.uint8)
    seen[behind:] = Grade.FORECAST
    for name, hours in told.items():
        past = came.values[name][recent] if name in came.values else np.full(behind, np.nan)
        values[name] = np.concatenate([past, hours])
        grades[name] = seen
        if name not in came.values:
            grades[name] = seen.copy()
            grades[name][:behind] = Grade.MISSING
    return Record(came.place, times, values, grades)


def _with(known: Record, measured: Mapping[str, FloatArray]) -> Record:
    """The record with daily means that were measured beside it, on days from the same first on."""
    count = len(known.times)
    return known.with_variables(
        {name: values[:count] for name, values in measured.items()},
        {name: np.full(count, Grade.OBSERVED, dtype=np.uint8) for name in measured},
    )


def _seed(name: str, season: int, part: str) -> list[int]:
    """Of a draw: station, season and what is drawn."""
    digest = hashlib.sha256(f"{name}|{season}|{part}".encode()).digest()
    return [int.from_bytes(digest[n : n + 4], "big") for n in range(0, 16, 4)]

"""The weather ahead as members: the forecast with its errors, then past years, without a jump.

As far as the forecast reaches, a member is the forecast plus errors. The errors grow with lead time
and are correlated in time and between variables. Beyond that, a member is a past year of the
station's own record. It begins with the member's departure from normal on the last forecast day,
and the departure fades. The random numbers are seeded with place and date, so that an answer can be
repeated.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import replace
from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

from windowcast.core.local_days import hours_of, local_dates
from windowcast.core.record import (
    OWN_ERRORS,
    FloatArray,
    Grade,
    Members,
    Provenance,
    Record,
    Weather,
)
from windowcast.core.time_axis import extended, grades_of
from windowcast.core.values import PACKAGED, Table, Tables
from windowcast.weather.ensemble_errors import (
    ErrorPart,
    bias_c,
    climate_correlation,
    error_scores,
    middle_of_days,
    spread_of,
    trust,
    wind_with_errors,
)
from windowcast.weather.ensemble_hours import Drawn, hourly_members
from windowcast.weather.ensemble_rain import (
    Runs,
    drawn_amounts,
    find_runs,
    known_by_the_hour,
    said_of_runs,
    spells,
)
from windowcast.weather.ensemble_years import CARRIED, TEMPERATURES, PastYears, past_years
from windowcast.weather.own_misses import Error, with_own
from windowcast.weather.rain_filled import FILLED, with_temperature_nearby

PARTS = {"tmax_c": ErrorPart.HIGH, "tmin_c": ErrorPart.LOW}
EXTRA_DAYS = 2  # hours needed after the last ranked day for what must follow


def members(
    weather: Weather,
    *,
    until: dt.date,
    horizon_days: int = 12,
    count: int = 100,
    seed: int = 0,
    certain: bool = False,
    tables: Tables = PACKAGED,
) -> Members:
    """The weather from today to `until` as one ensemble.

    Parameters
    ----------
    weather
        Record, forecast and today. Without any forecast every day ahead is past years.
    until
        Last day wanted; the days of the hourly horizon are always there.
    horizon_days
        Days for which hours are made (two more follow, for what must come after).
    count
        Number of futures; member 0, the forecast as issued, comes on top of them.
    seed
        Changes the draw; place and date go into it anyway.
    certain
        Take the forecast as certain: no errors within its reach.
    tables
        The science values to go by: ``ensemble`` and ``hourly``; see `Tables.varied`.

    Returns
    -------
    Members
        ``[count + 1, time]``. Member 0 beyond the forecast: the median of the members'
        temperatures, and rain and the rest from the member whose rain is the median.
    """
    values = tables["ensemble"]
    rng = np.random.default_rng(_seed(weather, seed))
    today = np.datetime64(weather.today, "D")
    near = horizon_days + EXTRA_DAYS
    days = max((until - weather.today).days + 1, near)
    issued = extended(weather.daily, today, today + np.timedelta64(days - 1, "D"))
    reach = min(_reach(issued), near)
    usual_rain = tables["usual_rain"]
    past = past_years(weather.daily, weather.today, days, count, values, usual_rain=usual_rain)
    climate = climate_correlation(values, _rain_with_temperature(weather, usual_rain))
    lead = middle_of_days(near)
    errors = {
        part: _error(part, weather, past, lead, values, told=_own_sd_c(issued, name, near))
        for name, part in PARTS.items()
    }
    lasting = {part: error.spread.lasting for part, error in errors.items()}
    scores = error_scores(rng, count, lead, values, climate=climate, lasting=lasting)
    if certain:
        scores = np.zeros_like(scores)

    ahead = _Ahead(issued, past, scores, errors, reach, certain, values)
    columns = _temperatures(ahead) | _carried(ahead)
    daily = _daily_record(issued, columns, reach, past.years)

    zone = ZoneInfo(weather.place.timezone)
    times = hours_of(zone, today, near)
    day_of = (local_dates(zone, times) - today).astype(np.int64)
    said = extended(weather.hourly, times[0], times[-1]) if weather.hourly is not None else None
    chance, amount = _said_rain(said, len(times))
    told = _told_by_hour(said, len(times))
    runs = find_runs(chance, day_of, told)
    drawn = Drawn(issued, daily, said, scores, past, reach, day_of, tables)
    rain_draws, hour_draws = rng.spawn(2)  # what is known of one must not change the other's
    rain, known = _rain(rain_draws, drawn, runs, (amount, told), certain)
    drawn = replace(drawn, daily=_with_rain(daily, rain, day_of))
    hours = hourly_members(hour_draws, drawn, known)
    return Members(drawn.daily, hours, reach, past.years, past.year_of)


def _seed(weather: Weather, seed: int) -> list[int]:
    place = weather.place
    return [
        seed,
        weather.today.toordinal(),
        round((place.latitude_deg + 90) * 1e4),
        round((place.longitude_deg + 180) * 1e4),
    ]


def _rain_with_temperature(weather: Weather, usual_rain: Table) -> dict[str, float] | None:
    """Correlation of highs and lows with rain around the place in this part of the year.

    Not by the record's own rain: to know less of the past must draw no other rain ahead.
    """
    place = weather.place
    found = with_temperature_nearby(place.latitude_deg, place.longitude_deg, values=usual_rain)
    month = weather.today.month - 1
    return None if found is None else {name: float(by[month]) for name, by in found.items()}


def _reach(issued: Record) -> int:
    """Days from the first on with a forecast high and low."""
    known = np.ones(len(issued.times), dtype=bool)
    for name in TEMPERATURES:
        known &= np.isfinite(issued.get(name)) & (issued.grade(name) < Grade.CLIMATOLOGY)
    return int(np.argmin(np.append(known, False)))


def _own_sd_c(issued: Record, name: str, days: int) -> FloatArray:
    """What the forecast says of its own error, °C, ``[day]``; NaN where it says nothing."""
    error = next(error for error, of in OWN_ERRORS.items() if of == name)
    return issued.get(error)[:days]


def _error(
    part: ErrorPart,
    weather: Weather,
    past: PastYears,
    lead: FloatArray,
    values: Table,
    *,
    told: FloatArray,
) -> Error:
    """What the forecast of highs or lows is taken to miss by: in general, and by its own record.

    `told` is its own spread, where it tells one.
    """
    name = next(name for name, of in PARTS.items() if of == part)
    half = "low" if part == ErrorPart.LOW else "high"
    climate, misses = past.departure_sd[name], weather.misses
    return with_own(
        bias_c(part, lead, climate, values),
        spread_of(part, lead, climate, values, told),
        misses.errors_k.get(name) if misses is not None else None,
        values.number(f"temperature.{half}_lasting_sd"),
        values,
        may=trust(lead, values) >= 1.0,
        told=np.isfinite(told),
    )


class _Ahead(NamedTuple):
    """What the daily members are made from."""

    issued: Record
    past: PastYears
    scores: FloatArray  # [member, day, ErrorPart]
    errors: Mapping[ErrorPart, Error]  # of high and low, [day]
    reach: int
    certain: bool
    values: Table


def _temperatures(ahead: _Ahead) -> dict[str, FloatArray]:
    """High, low and mean, ``[1 + member, day]``."""
    issued, past, scores, reach = ahead.issued, ahead.past, ahead.scores, ahead.reach
    certain, table = ahead.certain, ahead.values.table("temperature")
    lead = middle_of_days(reach)
    days = len(issued.times)
    fade = np.exp(-np.arange(1, days - reach + 1) / table.number("fade_days"))
    values = {}
    for name, part in PARTS.items():
        normal, said = past.normal[name], issued.get(name)[:reach]
        member = np.full((len(scores), days), np.nan)
        if reach:
            weight = 1.0 if certain else trust(lead, ahead.values)
            known = np.isfinite(normal[:reach])
            centre = np.where(known, normal[:reach] + weight * (said - normal[:reach]), said)
            shift = 0.0 if certain else ahead.errors[part].bias_c[:reach]
            spread = ahead.errors[part].spread.sd_c[:reach]
            member[:, :reach] = centre + shift + spread * scores[:, :reach, part]
            last = member[:, reach - 1] - normal[reach - 1]
            gap = last - past.departures[name][:, reach - 1]
        else:
            last, ago = past.latest[name]
            gap = np.nan_to_num(last - past.departures[name][:, 0])
            gap *= np.exp((1 - ago) / table.number("fade_days"))
        member[:, reach:] = (normal + past.departures[name])[:, reach:] + gap[:, None] * fade
        values[name] = np.vstack([_median(member), member])
        values[name][0, :reach] = said
    values["tmin_c"] = np.minimum(values["tmin_c"], values["tmax_c"])
    middle = (values["tmax_c"] + values["tmin_c"]) / 2
    mean = issued.get("tmean_c")[:reach]
    off = mean - (issued.get("tmax_c")[:reach] + issued.get("tmin_c")[:reach]) / 2
    middle[:, :reach] += np.nan_to_num(off)
    return values | {"tmean_c": middle}


def _median(values: FloatArray) -> FloatArray:
    """Median over members; NaN where any is missing."""
    return np.median(values, axis=0)


def _carried(ahead: _Ahead) -> dict[str, FloatArray]:
    """The other daily variables: as issued within reach (wind with errors), then past years."""
    issued, past, scores, reach = ahead.issued, ahead.past, ahead.scores, ahead.reach
    count, days = len(scores), len(issued.times)
    rain = past.carried.get(FILLED, past.carried.get("precip_mm", np.zeros((count, days))))
    middle = int(np.argsort(rain[:, reach:].sum(axis=1))[count // 2])
    values = {}
    for name in CARRIED:
        if name not in past.carried and name not in issued:
            continue
        member = past.carried.get(name, np.full((count, days), np.nan)).copy()
        member = np.vstack([member[middle], member])
        said = issued.get(name)[:reach]
        member[:, :reach] = said
        if name == "wind_mean_m_s" and reach and not ahead.certain:
            lead = middle_of_days(reach)
            wind = scores[:, :reach, ErrorPart.WIND]
            member[1:, :reach] = wind_with_errors(said, wind, lead, ahead.values)
        values[name] = member
    return values


def _daily_record(
    issued: Record, values: Mapping[str, FloatArray], reach: int, years: int
) -> Record:
    first = issued.times[0]
    text = f"forecast to day {reach}, then {years} past years of the record"
    source = Provenance("ensemble", text, tuple(values), str(first), str(issued.times[-1]))
    grades = {}
    for name, value in values.items():
        grade = np.full(len(issued.times), Grade.CLIMATOLOGY, dtype=np.uint8)
        grade[:reach] = np.minimum(issued.grade(name)[:reach], Grade.ESTIMATED)
        grades[name] = grades_of(value, grade)
    return Record(
        issued.place, issued.times, values, grades, (*issued.provenance, source), issued.flags
    )


def _said_rain(said: Record | None, hours: int) -> tuple[FloatArray, FloatArray]:
    """Forecast probability and amount of rain by the hour; hours already observed are certain."""
    if said is None:
        return np.full(hours, np.nan), np.full(hours, np.nan)
    amount = said.get("precip_mm").copy()
    chance = said.get("precip_prob").copy()
    seen = said.grade("precip_mm") == Grade.OBSERVED
    chance[seen] = (amount[seen] > 0).astype(np.float64)
    return chance, amount


def _told_by_hour(said: Record | None, hours: int) -> npt.NDArray[np.bool_]:
    """Hours of which a forecast tells the temperature."""
    return np.zeros(hours, dtype=bool) if said is None else np.isfinite(said.get("temp_c"))


def _rain(
    rng: np.random.Generator,
    drawn: Drawn,
    runs: Runs,
    by_hour: tuple[FloatArray, npt.NDArray[np.bool_]],
    certain: bool,
) -> tuple[FloatArray, FloatArray]:
    """Rain by the hour, ``[1 + member, hour]``; row 0 as issued: what it likely is, and what is
    known of it.

    `by_hour` are the forecast amounts and whether anything is told, ``[hour]``.
    """
    amount, told = by_hour
    values = drawn.values
    share = values.number("rain.day_share")
    scores = drawn.scores[..., ErrorPart.RAIN]
    said = said_of_runs(
        runs,
        amount,
        drawn.issued.get("precip_mm"),
        values,
        by_hour=told,
        wet_share=drawn.past.wet_share,
        wet_mean_mm=float(drawn.past.wet_amounts_mm.mean()),
    )
    if certain:
        new = np.broadcast_to(np.nan_to_num(said.issued_mm), (len(scores), len(runs.first)))
    else:
        own = runs.draw(rng.standard_normal, len(scores))
        run_scores = share * scores[:, runs.day] + np.sqrt(1 - share**2) * own
        # hours are judged: what is known of the past must not change the rain in them
        climate = drawn.past.amounts_around_mm, drawn.past.wet_amounts_mm
        new = drawn_amounts(rng, run_scores, runs, said, climate, values=values)
    future = np.full((len(scores) + 1, len(runs.first)), np.nan)
    future[:] = np.atleast_2d(drawn.daily.get("precip_mm"))[:, np.atleast_1d(runs.day)]
    forecast = np.isfinite(runs.chance) | (runs.day < drawn.reach)
    rain = spells(rng, np.where(forecast, np.vstack([said.issued_mm, new]), future), runs, values)

    run_of = np.repeat(np.arange(len(runs.first)), runs.length)
    even = np.where(np.isfinite(amount), amount, (said.issued_mm / runs.length)[run_of])
    rows = slice(0, None if certain else 1)
    rain[rows] = np.where(forecast[run_of], even, rain[rows])
    return rain, rain if certain else known_by_the_hour(rain, runs, said, told, values)


def _with_rain(daily: Record, rain: FloatArray, day_of: npt.NDArray[np.int64]) -> Record:
    """The daily record with the sums of the hours drawn."""
    starts = np.searchsorted(day_of, np.arange(day_of[-1] + 1))
    sums = np.add.reduceat(rain, starts, axis=1)
    amounts = np.full((len(rain), len(daily.times)), np.nan)
    amounts[:] = daily.get("precip_mm")
    amounts[:, : len(starts)] = sums
    grade = daily.grade("precip_mm").copy()
    grade[: len(starts)] = np.minimum(grade[: len(starts)], Grade.CLIMATOLOGY)
    return daily.with_variables({"precip_mm": amounts}, {"precip_mm": grades_of(amounts, grade)})

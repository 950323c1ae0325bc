"""Past years of a station's own record as futures: the same part of the season, day after day.

Temperatures are carried as departures from the station's normal course, so that a past year moved
by some days against the calendar is neither too warm nor too cold. Few years are made to give many
members by moving them by up to 15 days.

The course and the departures are those of today's climate. A record of some decades has a middle
that lies years back. Without this its past years are too cold for the season ahead, soil falls
below a mark later than they say, and rises above one earlier.
"""

from __future__ import annotations

import datetime as dt
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from windowcast.core.record import DateArray, FloatArray, Place, Record
from windowcast.core.values import Table
from windowcast.weather.grid_filled import HUMIDITY
from windowcast.weather.rain_filled import FILLED, nearby

YEAR_DAYS = 365

FEWEST_DAYS, FEWEST_WET = 60, 10  # of which the share of wet days is taken
HARMONICS = 3  # of the normal course: year, half-year, third of a year
TEMPERATURES = ("tmax_c", "tmin_c")
# carried from the past year as they were; soil is simulated from today's state, never copied
CARRIED = (
    "precip_mm", FILLED, "snow_depth_mm", "rh_mean_pct", HUMIDITY, "wind_mean_m_s", "solar_mj_m2",
)  # fmt: skip
_YEAR_DAYS = 365.25


def warming_k_per_year(departures_k: FloatArray, values: Table) -> float:
    """Warming of a record, drawn towards what is usual, which decides for a short one.

    Parameters
    ----------
    departures_k
        Of daily mean air temperature from the normal course, up to yesterday, ``[day]`` [K].
    values
        The table ``data/ensemble.toml``.

    Notes
    -----
    The slope of the yearly means by least squares has the variance ``s² / Σ(y - ȳ)²``; it is
    weighed against the usual warming by the inverse of both variances.

    Examples
    --------
    Thirty years that warm by 0.05 K a year, and two of them:

    >>> import numpy as np
    >>> from windowcast.core.values import load
    >>> from windowcast.weather.ensemble_years import warming_k_per_year
    >>> warm = np.repeat(0.05 * np.arange(30), 365)
    >>> found = [warming_k_per_year(part, load("ensemble")) for part in (warm, warm[-730:])]
    >>> [round(slope, 3) for slope in found]
    [0.04, 0.026]
    """
    table = values.table("warming")
    usual, spread = table.number("usual"), table.number("usual_sd")
    years = len(departures_k) // YEAR_DAYS
    if not years:
        return usual
    by_year = departures_k[len(departures_k) - years * YEAR_DAYS :].reshape(years, YEAR_DAYS)
    known = np.isfinite(by_year)
    whole = known.mean(axis=1) >= table.number("whole_year")
    if whole.sum() < 2:
        return usual
    year = np.arange(years, dtype=np.float64)[whole]
    mean = np.where(known, by_year, 0.0).sum(axis=1)[whole] / known.sum(axis=1)[whole]
    year -= year.mean()
    own = float(year @ mean / (year @ year))
    own_weight = float(year @ year) / table.number("year_sd") ** 2
    return (own * own_weight + usual / spread**2) / (own_weight + 1.0 / spread**2)


def normal_course(record: Record, name: str, dates: DateArray) -> FloatArray:
    """The normal of a variable on given dates, ``[day]``: three harmonics through the record.

    NaN when the record holds less than a year of values.
    """
    values = record.get(name)
    ok = np.isfinite(values)
    if ok.sum() < _YEAR_DAYS:
        return np.full(len(dates), np.nan)
    waves = _waves(record.times[ok])
    coefficients = np.linalg.solve(waves.T @ waves, waves.T @ values[ok])
    return _waves(dates) @ coefficients


def _waves(dates: DateArray) -> FloatArray:
    days = dates.astype("datetime64[D]").astype(np.int64)
    angle = 2 * np.pi * (days % _YEAR_DAYS) / _YEAR_DAYS
    steps = np.arange(1, HARMONICS + 1)[:, None] * angle
    return np.vstack([np.ones(len(days)), np.sin(steps), np.cos(steps)]).T


class PastYears(NamedTuple):
    """What the record says of the days ahead.

    Attributes
    ----------
    normal
        ``tmax_c`` and ``tmin_c`` → normal of today's climate on each day ahead, ``[day]``.
    departure_sd
        ``tmax_c`` and ``tmin_c`` → spread of departures in this part of the year, °C.
    departures
        ``tmax_c`` and ``tmin_c`` → departures of the past years, ``[member, day]``.
    carried
        Other daily variables of the same past years, ``[member, day]``.
    years
        How many different years the members come from; 0 when there are none (the arrays are
        then all NaN).
    year_of
        Which of these each member comes from, numbered from 0, ``[member]``; None without any.
    latest
        ``tmax_c`` and ``tmin_c`` → the last observed departure, °C, and how many days before
        the first day ahead it lies; (NaN, 0) if there is none.
    wet_share, wet_amounts_mm
        Share of wet days and the amounts of them, rising, in this part of the year, ``[wet day]``.
    amounts_around_mm
        Likewise at the stations around, where some are near, else the record's own.
    """

    normal: dict[str, FloatArray]
    departure_sd: dict[str, float]
    departures: dict[str, FloatArray]
    carried: dict[str, FloatArray]
    years: int
    year_of: npt.NDArray[np.int64] | None
    latest: dict[str, tuple[float, int]]
    wet_share: float
    wet_amounts_mm: FloatArray
    amounts_around_mm: FloatArray


def past_years(
    record: Record,
    today: dt.date,
    days: int,
    count: int,
    values: Table,
    *,
    usual_rain: Table | None = None,
) -> PastYears:
    """Lay `count` past stretches of `days` days over the days from `today` on.

    Parameters
    ----------
    record
        Daily values of one place, no leading axis; only days before `today` are used.
    values, usual_rain
        The tables ``data/ensemble.toml`` and ``data/usual_rain.toml``.
    """
    start = np.datetime64(today, "D")
    first = start - np.timedelta64(round(values.number("past_years.most") * _YEAR_DAYS) + days, "D")
    past = record.between(first, start - np.timedelta64(1, "D"))
    ahead = start + np.arange(days)

    half = values.number("past_years.sd_half_width")
    season = np.abs((_day_of_cycle(past.times) - _day_of_cycle(start) + 183) % 366 - 183) <= half
    normal, spread, departures, latest = {}, {}, {}, {}
    days_of = np.concatenate([past.times, ahead])
    courses = {name: normal_course(past, name, days_of) for name in TEMPERATURES}
    plain = {name: past.get(name) - courses[name][: len(past.times)] for name in TEMPERATURES}
    slope = warming_k_per_year(np.mean(list(plain.values()), axis=0), values)
    since = (start - past.times).astype(np.float64) / _YEAR_DAYS
    for name, course in courses.items():
        known_days = np.isfinite(plain[name])
        middle = float(since[known_days].mean()) if known_days.any() else 0.0
        normal[name] = course[len(past.times) :] + slope * middle
        off = plain[name] + slope * (since - middle)
        near = off[season & np.isfinite(off)]
        enough = len(near) >= 2 * half
        spread[name] = float(near.std()) if enough else values.number("temperature.climate_sd")
        departures[name] = off
        known = np.flatnonzero(np.isfinite(off))
        latest[name] = (
            (float(off[known[-1]]), int((start - past.times[known[-1]]).astype(int)))
            if len(known)
            else (np.nan, 0)
        )

    rows, year_of = _stretches(departures, past.times, start, days, count, values=values)
    if not len(rows):
        empty = np.full((count, days), np.nan)
        picked, carried = dict.fromkeys(TEMPERATURES, empty), {}
    else:
        picked = {name: _bridged(off)[rows] for name, off in departures.items()}
        carried = {
            name: _from_other_years(past.get(name)[rows]) for name in CARRIED if name in past
        }
    wet_share, wet_amounts = _wet_days(
        past.get("precip_mm")[season], past.get(FILLED)[season], values
    )
    around = _wet_day_around_mm(record.place, today, usual_rain)
    amounts_around = wet_amounts if around is None else _amounts(around, values.table("rain"))
    return PastYears(
        normal, spread, picked, carried, len(np.unique(year_of)),
        year_of if len(rows) else None, latest, wet_share, wet_amounts, amounts_around,
    )  # fmt: skip


def _day_of_cycle(dates: DateArray | np.datetime64) -> npt.NDArray[np.float64]:
    days = np.asarray(dates).astype("datetime64[D]").astype(np.int64)
    return (days % _YEAR_DAYS).astype(np.float64)


def _stretches(
    departures: dict[str, FloatArray],
    times: DateArray,
    start: np.datetime64,
    days: int,
    count: int,
    *,
    values: Table,
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """Indices of past stretches ``[member, day]``, and the year each comes from, ``[member]``.

    Years are dealt out in turn, each next round with another shift against the calendar, so that
    all years count alike and shifts are as small as the count allows.
    """
    none = np.zeros((0, days), dtype=np.int64), np.zeros(0, dtype=np.int64)
    if len(times) < days:
        return none
    known = np.all([np.isfinite(off) for off in departures.values()], axis=0)
    total = np.concatenate([[0], np.cumsum(known)])
    back = np.round(np.arange(1, values.number("past_years.most") + 1) * _YEAR_DAYS).astype(int)
    begins = (start - times[0]).astype(int) - back
    most = int(values.number("past_years.shift"))

    def usable(begin: npt.NDArray[np.int64]) -> npt.NDArray[np.bool_]:
        inside = (begin >= 0) & (begin + days <= len(times))
        at = np.clip(begin, 0, len(times) - days)
        share = (total[at + days] - total[at]) / days
        return np.asarray(inside & (share >= values.number("past_years.complete")))

    begins = begins[usable(begins) | usable(begins - most)]
    if len(begins) == 0:
        return none
    rounds = -(-count // len(begins))
    shifts = np.round(np.linspace(-most, most, rounds + 2)[1:-1]).astype(int)
    dealt = (begins[None, :] + shifts[np.argsort(np.abs(shifts))][:, None]).ravel()
    year_of = np.tile(np.arange(len(begins)), rounds)[usable(dealt)]
    dealt = dealt[usable(dealt)]
    if len(dealt) == 0:
        return none
    chosen = np.resize(dealt, count)
    return chosen[:, None] + np.arange(days), np.resize(year_of, count)


def _bridged(departures: FloatArray) -> FloatArray:
    """Gaps in departures bridged by a straight line; all NaN stays so."""
    ok = np.isfinite(departures)
    if not ok.any():
        return departures
    at = np.arange(len(departures))
    return np.interp(at, at[ok], departures[ok])


def _from_other_years(values: FloatArray) -> FloatArray:
    """Missing days taken from the next member that has the day; NaN where no member has."""
    filled = values
    for step in range(1, len(values)):
        missing = np.isnan(filled)
        if not missing.any():
            break
        filled = np.where(missing, np.roll(values, -step, axis=0), filled)
    return filled


def _wet_days(
    precip_mm: FloatArray, usual_mm: FloatArray, values: Table
) -> tuple[float, FloatArray]:
    """Share of wet days and their amounts, rising; of the usual rain where too little is known, and
    packaged figures for a short record.
    """
    table = values.table("rain")
    known = precip_mm[np.isfinite(precip_mm)]
    wet = known[known >= table.number("wet")]
    if len(known) >= FEWEST_DAYS and len(wet) >= FEWEST_WET:
        return len(wet) / len(known), np.sort(wet)
    mean = table.number("climate_amount")
    usual = usual_mm[np.isfinite(usual_mm)]
    usual_wet = usual[usual >= table.number("wet")]
    if len(usual) >= FEWEST_DAYS and len(usual_wet):
        known, wet, mean = usual, usual_wet, float(usual_wet.mean())
    few = len(known) < FEWEST_DAYS
    return table.number("climate_share") if few else len(wet) / len(known), _amounts(mean, table)


def _amounts(mean_mm: float, rain: Table) -> FloatArray:
    """Amounts of wet days of a mean, rising, ``[wet day]``."""
    shape = rain.number("amount_shape")
    amounts = np.random.default_rng(0).standard_gamma(shape, 1000) * mean_mm / shape
    return np.sort(np.maximum(amounts, rain.number("wet")))


def _wet_day_around_mm(place: Place, today: dt.date, usual_rain: Table | None) -> float | None:
    """Mean amount of a wet day of the month at the stations around; None where they are too far."""
    found = nearby(place.latitude_deg, place.longitude_deg, values=usual_rain)
    if found is None:
        return None
    return float(found.mean_mm[today.month - 1] / found.wet_share[today.month - 1])

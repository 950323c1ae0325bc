"""Rain of the members: whether, how much, and in which hours.

The days ahead are cut into runs of hours. Over a run rain falls or not with one probability: a run
is a stretch of equal probability of precipitation (at most 12 hours, the period such a figure
refers to), or, where there is none, a local day. What falls comes as one spell of random length
and place inside its run.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from windowcast.core.record import FloatArray
from windowcast.core.values import Table
from windowcast.weather.ensemble_errors import even_uniforms, middle_of_days

LONGEST_RUN_H = 12


class Runs(NamedTuple):
    """Runs of hours without overlap; arrays ``[run]``.

    Attributes
    ----------
    first, length
        First hour and number of hours.
    day
        Day of the middle hour.
    chance
        Probability of rain, 0..1; NaN where the run is a day without one.
    """

    first: npt.NDArray[np.int64]
    length: npt.NDArray[np.int64]
    day: npt.NDArray[np.int64]
    chance: FloatArray

    def draw(self, numbers: Callable[[tuple[int, int]], FloatArray], members: int) -> FloatArray:
        """Random numbers ``[member, run]`` from a function of a shape, drawn by the hour.

        A run has those of its first hour. So it has the same ones however the other hours are
        cut, and knowing less of one day draws no other rain on the next.
        """
        hours = int(self.first[-1] + self.length[-1])
        return numbers((members, hours))[:, self.first]


def find_runs(
    chance: FloatArray, day_of: npt.NDArray[np.int64], told: npt.NDArray[np.bool_] | None = None
) -> Runs:
    """Cut hours into runs.

    Parameters
    ----------
    chance
        Hourly probability of precipitation, ``[hour]``, NaN where there is none. A day with
        some hours without one is taken as a whole, unless those are its first or last hours.
    day_of
        Day index of each hour.
    told
        Hours of which the forecast tells anything, ``[hour]``: there a day without a probability
        is cut in halves. None: it tells days only.
    """
    told = np.zeros(len(chance), dtype=bool) if told is None else told
    known = np.isfinite(chance)
    days = np.arange(day_of[-1] + 1)
    starts = np.searchsorted(day_of, days)
    hours = np.diff(np.append(starts, len(day_of)))
    by_hour = np.add.reduceat(known, starts) >= hours / 2
    cut = np.ones(len(chance), dtype=bool)
    same_day = day_of[1:] == day_of[:-1]
    hourly = by_hour[day_of]
    equal = (chance[1:] == chance[:-1]) | (~known[1:] & ~known[:-1])
    cut[1:] = np.where(hourly[1:] & hourly[:-1], ~equal, ~same_day)
    begin = np.flatnonzero(cut)
    since = np.arange(len(chance)) - np.repeat(begin, np.diff(np.append(begin, len(chance))))
    first = np.flatnonzero(cut | ((hourly | told) & (since % LONGEST_RUN_H == 0)))
    length = np.diff(np.append(first, len(chance)))
    day = day_of[first + length // 2]
    return Runs(first, length, day, np.where(hourly[first], chance[first], np.nan))


def skill_correlation(lead_days: FloatArray, values: Table) -> FloatArray:
    """Correlation of a forecast of rain or none with what comes; its square is the Brier skill."""
    table = values.table("rain")
    fading = (lead_days / table.number("skill_days")) ** table.number("skill_power")
    skill = table.number("skill") * np.exp(-fading)
    return np.sqrt(skill)


def chance_from_amount(
    amount_mm: FloatArray, lead_days: FloatArray, climate_share: float, values: Table
) -> FloatArray:
    """Probability of a wet day behind a forecast amount that comes without one.

    Parameters
    ----------
    amount_mm
        Forecast amount, NaN where there is none: then the climate's share is returned.

    Notes
    -----
    With r the correlation of the forecast of rain or no rain with what comes, the calibrated
    probability is ``c + r (f - c)``, f being 1 or 0.
    """
    least = values.number("rain.wet")
    said = np.where(np.isfinite(amount_mm), amount_mm >= least, climate_share)
    return climate_share + skill_correlation(lead_days, values) * (said - climate_share)


class SaidRain(NamedTuple):
    """What the forecast says of each run, ``[run]``.

    Attributes
    ----------
    chance
        Probability of rain, 0..1.
    if_wet_mm
        Mean amount when it rains as forecast.
    chance_told, amount_told
        Whether the forecast itself tells the probability and the amount. Where it tells hours but
        not these, the others are the likeliest values, for the soil; see `known_by_the_hour`.
    as_forecast
        Of the futures with rain, the share in which the forecast's amount has any bearing; in the
        others the amount is one of the climate's.
    issued_mm
        The amount as issued; NaN where nothing is said of rain.
    hours_told
        Whether the forecast tells the run's hours, not its day alone.
    """

    chance: FloatArray
    if_wet_mm: FloatArray
    as_forecast: FloatArray
    part_of_day: FloatArray  # by which the climate's daily amounts are scaled
    issued_mm: FloatArray
    chance_told: npt.NDArray[np.bool_]
    amount_told: npt.NDArray[np.bool_]
    hours_told: npt.NDArray[np.bool_]


def known_by_the_hour(
    rain_mm: FloatArray, runs: Runs, said: SaidRain, by_hour: npt.NDArray[np.bool_], values: Table
) -> FloatArray:
    """Rain of the members by the hour as far as the forecast tells it, ``[1 + member, hour]``.

    What spray hours are judged by, in which an unknown must never be a yes. Where the forecast
    tells hours (`by_hour`) but no probability, rain of the futures is unknown. Where it tells a
    probability but no amount, rain of a future may be any depth (infinite), and as issued (row 0)
    it is unknown unless the probability is so low that it counts as none.
    """
    run_of = np.repeat(np.arange(len(runs.first)), runs.length)
    amount, chance = said.amount_told[run_of], said.chance_told[run_of]
    dry = chance & (said.chance[run_of] <= values.number("rain.as_dry"))
    first = np.where(by_hour & ~amount, np.where(dry, 0.0, np.nan), rain_mm[:1])
    deep = np.where(rain_mm[1:] > 0, np.inf, rain_mm[1:])
    others = np.where(by_hour & ~amount, deep, rain_mm[1:])
    return np.vstack([first, np.where(by_hour & ~chance, np.nan, others)])


def said_of_runs(
    runs: Runs,
    hourly_mm: FloatArray,
    daily_mm: FloatArray,
    values: Table,
    *,
    by_hour: npt.NDArray[np.bool_],
    wet_share: float,
    wet_mean_mm: float,
) -> SaidRain:
    """Probability and amount of rain of each run.

    Parameters
    ----------
    hourly_mm, daily_mm
        Forecast amounts, ``[hour]`` and ``[day]``, NaN where there are none. An amount that comes
        with a probability is the expected amount: divided by the probability it is what falls
        when it rains.
    by_hour
        Hours of which the forecast tells anything, ``[hour]``, as for `find_runs`.
    wet_share, wet_mean_mm
        The climate's share of wet days and mean amount of one. A run with a probability but no
        amount is issued with that mean where it is as likely wet as a day of the climate, else as
        dry.
    """
    table = values.table("rain")
    least = table.number("wet")
    summed = np.add.reduceat(np.nan_to_num(hourly_mm), runs.first)
    told = np.add.reduceat(np.isfinite(hourly_mm), runs.first) > 0
    hours_told = np.add.reduceat(by_hour, runs.first) > 0
    part = np.where(hours_told, np.minimum(runs.length / 24, 1.0), 1.0)
    of_day = np.where(
        told & (hours_told | np.isnan(daily_mm[runs.day])), summed, daily_mm[runs.day] * part
    )
    with_chance = np.isfinite(runs.chance)
    lead = middle_of_days(int(runs.day[-1]) + 1)[runs.day]
    likely_wet = chance_from_amount(of_day, lead, wet_share, values)
    chance = np.where(with_chance, runs.chance, likely_wet)
    part_of_day = np.sqrt(np.minimum(runs.length / 24, 1.0))
    some = np.where(with_chance, told & (summed > 0), of_day >= least)
    if_wet = np.where(with_chance, summed / np.maximum(chance, 1e-3), np.nan_to_num(of_day))
    by_skill = skill_correlation(lead, values) / np.maximum(chance, 1e-3)
    as_forecast = np.where(some, np.where(with_chance, 1.0, by_skill), 0.0)
    likely = np.where(chance >= min(wet_share, 0.5), wet_mean_mm * part_of_day, 0.0)
    issued = np.where(told, summed, np.where(with_chance, likely, of_day))
    amount_told = told | (np.isfinite(daily_mm[runs.day]) & ~with_chance)
    return SaidRain(
        chance, if_wet, as_forecast, part_of_day, issued, with_chance, amount_told, hours_told
    )


def drawn_amounts(
    rng: np.random.Generator,
    scores: FloatArray,
    runs: Runs,
    said: SaidRain,
    climate_mm: tuple[FloatArray, FloatArray],
    *,
    values: Table,
) -> FloatArray:
    """Amounts ``[member, run]``: rain in the share `chance` of the members.

    Parameters
    ----------
    scores
        Rain scores, ``[member, run]``; the members with the highest get the rain.
    climate_mm
        Amounts of the climate's wet days, rising, ``[wet day]``, from which some are drawn: those
        of the surroundings, where a forecast tells hours, and the record's own, where days.
    """
    table = values.table("rain")
    least, shape = table.number("wet"), table.number("forecast_shape")
    count = len(scores)
    wet = even_uniforms(runs.draw(rng.random, count), scores) > 1 - said.chance
    about = runs.draw(lambda size: rng.standard_gamma(shape, size), count) / shape
    rank = runs.draw(rng.random, count)
    by_hours, by_days = (amounts[(rank * len(amounts)).astype(int)] for amounts in climate_mm)
    usual = np.where(said.hours_told, by_hours, by_days) * said.part_of_day
    forecast = runs.draw(rng.random, count) < said.as_forecast
    amount = np.where(forecast, about * said.if_wet_mm, usual)
    return np.where(wet, np.maximum(amount, least), 0.0)


def spells(
    rng: np.random.Generator, amounts_mm: FloatArray, runs: Runs, values: Table
) -> FloatArray:
    """Rain by the hour, ``[member, hour]``: each run's amount as one spell inside the run.

    A missing amount leaves all hours of its run missing.
    """
    table = values.table("rain")
    low, high = table.number("spell_low"), table.number("spell_high")
    lengths, begins = (runs.draw(rng.random, len(amounts_mm)) for _ in range(2))
    share = low + (high - low) * lengths ** table.number("spell_power")
    long = np.clip(np.round(share * runs.length), 1, runs.length)
    begin = np.floor(begins * (runs.length - long + 1))
    run_of = np.repeat(np.arange(len(runs.first)), runs.length)
    position = np.arange(len(run_of)) - runs.first[run_of]
    inside = (position >= begin[:, run_of]) & (position < (begin + long)[:, run_of])
    per_hour = (amounts_mm / long)[:, run_of]
    return np.where(inside | np.isnan(per_hour), per_hour, 0.0)

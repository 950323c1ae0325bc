"""All the bulletins of a season, drawn at once: the hours that each morning's forecast tells."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from windowcast.core.record import FloatArray
from windowcast.core.values import PACKAGED, Table
from windowcast.verify.drawn_forecast import (
    LEADS,
    MOST_LOST,
    PERIOD_H,
    PERIODS,
    Bulletins,
    foretold,
    hourly_scores,
    numbers,
    period_scores,
    scaled,
    scores_that_came,
    smoothed,
    told_rain,
)
from windowcast.verify.drawn_hours import DrawnHours, RealDays, real_days
from windowcast.weather.hourly import diurnal_temperature_c, solar_days

CHANCE_DIGITS = 2  # a chance of rain is told in whole percent
LEAST_LOST = 0.2  # of the loss, what is not the hours' own
LIGHT_M_S = 0.5  # wind below which no gust is held against it


@dataclass(frozen=True)
class SeasonCame:
    """Days as they came, ``[day]``, and the climate that the years before tell.

    Attributes
    ----------
    extremes, normal, spread
        ``tmax_c`` and ``tmin_c`` → what came, its normal, the spread of departures from it.
    chance
        The climate's share of wet days.
    amounts_mm
        Amounts of wet days in order, ``[wet day]``.
    dewpoint_over_low_k
        Of months from January on, NaN where no humidity was measured, ``[month]``.
    wind_m_s
        Likewise the mean wind, NaN where none was.
    """

    extremes: Mapping[str, FloatArray]
    normal: Mapping[str, FloatArray]
    spread: Mapping[str, FloatArray]
    chance: FloatArray
    amounts_mm: FloatArray
    dewpoint_over_low_k: FloatArray
    wind_m_s: FloatArray


@dataclass(frozen=True)
class SeasonForetold:
    """What the bulletins of all mornings tell.

    Attributes
    ----------
    extremes
        ``tmax_c`` and ``tmin_c`` → ``[day, lead]``.
    by_hour
        Hourly variable but temperature → ``[lead, hour]``.
    """

    extremes: Mapping[str, FloatArray]
    by_hour: Mapping[str, FloatArray]
    came: SeasonCame
    drawn: DrawnHours
    curve_day: npt.NDArray[np.int64]  # day on whose extremes an hour's temperature hangs, [hour]
    curve: FloatArray  # weights of its low, its high and the next low, [3, hour]

    def reach(self, morning: int) -> int:
        """How many days the forecast of a morning has."""
        return min(LEADS, len(self.drawn.dates) - morning)

    def hours(self, morning: int) -> dict[str, FloatArray]:
        """The forecast of a morning by the hour, ``[hour]``."""
        days = self.reach(morning)
        span = slice(self.drawn.starts[morning], self.drawn.starts[morning + days])
        lead = self.drawn.day[span] - morning
        told = {
            name: table[:, span][lead, np.arange(len(lead))] for name, table in self.by_hour.items()
        }
        line = {}
        at = np.arange(days)
        for name, came in self.came.extremes.items():
            ahead = self.extremes[name][morning + at, at]
            line[name] = np.concatenate([came[morning - 1 : morning], ahead, ahead[-1:]])
        base = self.curve_day[span] - (morning - 1)
        low, high, rise = self.curve[:, span]
        following = np.minimum(base + 1, days + 1)
        temp = line["tmin_c"][base] * low + line["tmax_c"][base] * high
        temp += line["tmin_c"][following] * rise
        told = {"temp_c": temp, **told}
        told["dewpoint_c"] = np.minimum(told["dewpoint_c"], temp)
        return told


def foretold_season(
    came: SeasonCame,
    hours: DrawnHours,
    *,
    values: Table,
    seeds: tuple[Sequence[int], Sequence[int]],
    error_scale: float = 1.0,
    misses_of_high: FloatArray | None = None,
) -> SeasonForetold:
    """Draw the forecasts of all mornings of a season.

    Parameters
    ----------
    came
        Days as they came.
    hours
        Their hours.
    values
        ``data/lived.toml``.
    seeds
        Of the season, and of the place (what lasts there from season to season).
    error_scale
        Factor of the errors.
    misses_of_high
        Came minus told of forecasts as issued, °C, ``[day, lead]``, NaN where they are drawn.
    """
    drawing = _Drawing(came, hours, values, error_scale, real_days(), misses_of_high)
    return drawing.all_bulletins(*seeds)


@dataclass(frozen=True)
class _Drawing:
    """What the bulletins of a season are drawn from."""

    came: SeasonCame
    hours: DrawnHours
    values: Table
    error_scale: float
    real: RealDays
    misses_of_high: FloatArray | None

    def all_bulletins(self, season: Sequence[int], place: Sequence[int]) -> SeasonForetold:
        """Draw them with the seeds of the season and of the place."""
        parts = np.random.default_rng(season).integers(0, 2**63, 5)
        temperature, dew, wind, sky, rain = map(np.random.default_rng, parts)
        extremes = self.extremes(temperature, np.random.default_rng(place))
        by_hour = {
            "dewpoint_c": self.dewpoint(dew, extremes["tmin_c"]),
            **self.wind(wind),
            **self.rain(rain),
            "cloud_fraction": self.cloud(sky),
        }
        return SeasonForetold(extremes, by_hour, self.came, self.hours, *_curve(self.hours))

    def extremes(
        self, rng: np.random.Generator, place: np.random.Generator
    ) -> dict[str, FloatArray]:
        """Highs and lows, °C, ``[day, lead]``."""
        came = self.came
        new = Bulletins.drawn(rng, len(came.chance), self.values)
        pair = self.values.number("low.place_with_high")
        of_high, own = place.standard_normal(2)
        of_low = pair * of_high + np.sqrt(1 - pair**2) * own
        told = {}
        for name, part, noise, lasting in (
            ("tmax_c", "high", new.high, of_high),
            ("tmin_c", "low", new.low, of_low),
        ):
            table = self.values.table(part)
            spread = came.spread[name]
            off = (came.extremes[name] - came.normal[name]) / spread
            said = (
                foretold(off, scaled(numbers(table, "lost"), self.error_scale), noise)
                * spread[:, None]
            )
            bias = numbers(table, "too_cool") + table.number("place_sd") * lasting
            told[name] = said + came.normal[name][:, None] - self.error_scale * bias
        if self.misses_of_high is not None:
            as_issued = came.extremes["tmax_c"][:, None] - self.error_scale * self.misses_of_high
            told["tmax_c"] = np.where(np.isnan(as_issued), told["tmax_c"], as_issued)
        told["tmin_c"] = np.minimum(told["tmin_c"], told["tmax_c"])
        return told

    def dewpoint(self, rng: np.random.Generator, low_told: FloatArray) -> FloatArray:
        """Dew point, °C, ``[lead, hour]``; a part of its error is that of the low.

        Parameters
        ----------
        low_told
            ``[day, lead]``.
        """
        low = self.came.extremes["tmin_c"]
        above = _by_day(self.hours.record.get("dewpoint_c"), self.hours) - low[:, None]
        real = self.real.dewpoint_c - self.real.temp_c.min(axis=1)[:, None]
        usual, spread = self.real.by_month(real)
        here = np.nan_to_num(self.came.dewpoint_over_low_k - usual.mean(axis=1))
        shared = self.values.number("dewpoint.of_low")
        of_low = numbers(self.values, "low.lost") * np.mean(self.came.spread["tmin_c"] ** 2)
        own = (numbers(self.values, "dewpoint.ratio") ** 2 - shared**2) * of_low
        lost = np.maximum.accumulate(own / np.mean(spread**2))
        told = self._told(rng, above, real, lost, shift=here)
        base = low[:, None] + shared * (low_told - low[:, None])
        return told + base[self.hours.day].T

    def wind(self, rng: np.random.Generator) -> dict[str, FloatArray]:
        """Wind and gusts, m/s, ``[lead, hour]``; errors are drawn on the root of the speed."""
        known = self.hours.record
        there = self.real.by_month(self.real.wind_m_s)[0].mean(axis=1)
        windier = np.where(np.isnan(self.came.wind_m_s), 1.0, self.came.wind_m_s / there)
        real = self.real.wind_m_s * windier[self.real.month, None]
        plain = np.mean(self.real.by_month(real)[1] ** 2)
        lost = numbers(self.values, "wind.rmse") ** 2 / plain
        came = np.sqrt(_by_day(known.get("wind_m_s"), self.hours))
        root = self._told(rng, came, np.sqrt(real), lost)
        spread = self.real.by_month(np.sqrt(real))[1][self.hours.month]
        unknown = scaled(lost, self.error_scale)[:, None] * spread[self.hours.day] ** 2
        wind = np.maximum(root, 0.0) ** 2 + unknown  # the mean of what may come
        over = known.get("gust_m_s") / np.maximum(known.get("wind_m_s"), LIGHT_M_S)
        middle = np.median(self.real.gust_m_s / np.maximum(self.real.wind_m_s, LIGHT_M_S))
        skill = 1 - scaled(lost, self.error_scale)[:, None]  # of the wind, at each lead
        missed = 1 - self.values.number("gust.known") * skill
        factor = np.maximum(over - missed * min(self.error_scale, 1.0) * (over - middle), 1.0)
        return {"wind_m_s": wind, "gust_m_s": wind * factor}

    def cloud(self, rng: np.random.Generator) -> FloatArray:
        """Cloud, 0..1, ``[lead, hour]``."""
        lost = numbers(self.values, "cloud.lost")
        came = _by_day(self.hours.record.get("cloud_fraction"), self.hours)
        return np.clip(self._told(rng, came, self.real.cloud_fraction, lost), 0.0, 1.0)

    def rain(self, rng: np.random.Generator) -> dict[str, FloatArray]:
        """Chance of rain by the quarter of a day and amounts by the hour [mm], ``[lead, hour]``."""
        hours, wet = self.hours, self.values.number("rain.wet")
        periods = len(self.came.chance) * PERIODS
        period = hours.day * PERIODS + hours.hour // PERIOD_H
        long = np.bincount(period, minlength=periods)
        fallen = np.bincount(period, hours.record.get("precip_mm"), periods).astype(np.float64)
        parts = self.real.precip_mm.reshape(-1, PERIODS, PERIOD_H).sum(axis=2)
        parts = parts[parts.sum(axis=1) >= wet]
        share = self.values.number("rain.drawn_periods") * (parts >= wet).mean(axis=0)
        chance = (self.came.chance[:, None] * share).ravel()
        size = parts[parts >= wet].mean() / parts.sum(axis=1).mean()
        amounts = np.maximum(self.came.amounts_mm * size, wet)
        scores = scores_that_came(
            fallen,
            chance,
            amounts,
            wet=wet,
            together=self.values.number("rain.same_day"),
            draws=rng.random(periods),
            day_draws=rng.random(len(self.came.chance)),
        )
        known = numbers(self.values, "rain.correlation")
        unknown = np.minimum((1 - known**2) * self.error_scale**2, MOST_LOST)
        noise = period_scores(rng, len(self.came.chance), self.values)
        told, amount = told_rain(scores, chance, amounts, np.sqrt(1 - unknown), noise)
        amount = np.where(amount < self.values.number("rain.least_told"), 0.0, amount)
        return {
            "precip_mm": np.ascontiguousarray((amount / long[:, None])[period].T),
            "precip_prob": np.ascontiguousarray(np.round(told, CHANCE_DIGITS)[period].T),
        }

    def _told(
        self,
        rng: np.random.Generator,
        came: FloatArray,
        real: FloatArray,
        lost: FloatArray,
        *,
        shift: FloatArray | float = 0.0,
    ) -> FloatArray:
        """What is told of hours, ``[lead, hour]``.

        How they differ from hour to hour no forecast knows; it counts into what is lost.

        Parameters
        ----------
        came
            ``[day, hour of day]``.
        real
            The same of the real days, which tell the usual course and the spread about it.
        lost
            Share of the variance that is not known, ``[lead]``.
        shift
            By how much the usual differs here, a number or ``[month]``.
        """
        usual, spread = self.real.by_month(real)
        off = (real - usual[self.real.month]) / spread[self.real.month, None]
        rough = np.mean((off - smoothed(off)) ** 2)
        known = np.var(smoothed(off))
        least = LEAST_LOST * lost
        of_smooth = scaled(np.maximum(lost - rough, least) / known, self.error_scale)

        here = (usual + np.broadcast_to(shift, len(usual))[:, None])[self.hours.month]
        wide = spread[self.hours.month, None]
        off = (came - here) / wide
        smooth = smoothed(off)
        noise = hourly_scores(rng, len(came), self.values)
        said = foretold(smooth / np.sqrt(known), of_smooth, noise) * np.sqrt(known)
        said += max(1 - self.error_scale, 0.0) * (off - smooth)[:, None]
        table = here[:, None] + said * wide[:, None]
        return np.ascontiguousarray(table[self.hours.day, :, self.hours.hour].T)


def _by_day(values: FloatArray, hours: DrawnHours) -> FloatArray:
    """Hours as ``[day, hour]``; of a long or short day one hour twice or none."""
    days = len(hours.dates)
    table = np.zeros((days, 24))
    table[hours.day, hours.hour] = values
    short = np.bincount(hours.day, minlength=days) < 24
    table[short, 23] = table[short, 22]
    return table


def _curve(hours: DrawnHours) -> tuple[npt.NDArray[np.int64], FloatArray]:
    """How the temperature of each hour hangs on the extremes of days.

    It is linear in the low and the high of a day and the low of the next, so that the course for
    three sets of extremes tells the weights.
    """
    record = hours.record
    first = record.times[0]
    count = len(hours.dates)
    one = np.timedelta64(1, "D")
    more = np.arange(hours.dates[0] - one, hours.dates[-1] + 2 * one)
    table = PACKAGED["hourly"]
    sun = solar_days(record.place, more, first, table)
    since = (record.times - first).astype(np.float64)
    on = np.clip(np.searchsorted(sun.minimum, since, side="right") - 1, 0, count)
    even = (np.arange(len(more)) % 2 == 0).astype(np.float64)
    none = np.zeros(len(more))
    lows, highs = np.stack([even, 1 - even, none]), np.stack([none, none, none + 1])
    of_even, of_odd, of_high = diurnal_temperature_c(lows, highs, sun, since, table)
    own = np.where(on % 2 == 0, of_even, of_odd)
    following = np.where(on % 2 == 0, of_odd, of_even)
    return on - 1, np.stack([own, of_high, following])

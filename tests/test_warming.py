"""Past years are moved to today's climate."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from windowcast.core.record import Weather
from windowcast.core.values import load
from windowcast.weather.ensemble_years import past_years, warming_k_per_year
from windowcast.weather.sample import sample_weather

VALUES = load("ensemble")
TODAY = dt.date(2017, 8, 20)


def _years(slope: float, years: int, noise: float = 0.0) -> np.ndarray:
    mean = slope * np.arange(years) + noise * np.random.default_rng(3).standard_normal(years)
    return np.repeat(mean, 365)


def test_without_years_the_usual_warming_holds() -> None:
    usual = VALUES.number("warming.usual")
    for record in (np.zeros(0), np.zeros(300), np.full(800, np.nan), _years(0.0, 1)):
        assert warming_k_per_year(record, VALUES) == usual


def test_a_long_record_decides_and_a_short_one_hardly() -> None:
    usual = VALUES.number("warming.usual")
    found = [warming_k_per_year(_years(0.1, years), VALUES) for years in (3, 10, 30, 100)]
    assert found == sorted(found)
    assert found[0] == pytest.approx(usual, abs=0.001)
    assert found[-1] == pytest.approx(0.1, abs=0.002)


def test_a_year_with_many_gaps_is_left_out() -> None:
    record = _years(0.1, 30)
    record[:200] = np.nan
    assert warming_k_per_year(record, VALUES) == pytest.approx(
        warming_k_per_year(record[365:], VALUES)
    )


def _weather(warmer_each_year: float) -> Weather:
    weather = sample_weather()
    days = (weather.daily.times - weather.daily.times[0]).astype(float)
    values = {
        name: weather.daily.get(name) + warmer_each_year * days / 365.25
        for name in ("tmax_c", "tmin_c")
    }
    daily = replace(weather.daily, values={**weather.daily.values, **values})
    return replace(weather, daily=daily)


def test_futures_of_a_record_that_warms_are_those_of_its_end() -> None:
    plain, warm = (
        past_years(_weather(slope).daily, TODAY, 100, 200, VALUES) for slope in (0.0, 0.05)
    )
    days = (np.datetime64(TODAY) - sample_weather().daily.times[0]).astype(float)
    for name in ("tmax_c", "tmin_c"):
        middle = (warm.normal[name] - plain.normal[name]).mean()
        ahead = (warm.normal[name] + warm.departures[name]) - (
            plain.normal[name] + plain.departures[name]
        )
        at_the_middle, at_the_end = 0.05 * days / 365.25 / 2, 0.05 * days / 365.25
        assert at_the_middle < middle < at_the_end + 0.05
        # a past year and its normal move together: departures keep their size
        assert ahead.mean() == pytest.approx(middle, abs=0.08)
        assert warm.departure_sd[name] == pytest.approx(plain.departure_sd[name], abs=0.05)

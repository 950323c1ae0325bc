"""Seasons with forecasts as they were issued near by."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
from made_days import made_record

from windowcast.core.errors import InputError
from windowcast.core.record import FloatArray, Record
from windowcast.verify.issued import LEADS, Issued
from windowcast.verify.lived import lived

SEASON = 2015
MORNING = dt.date(2016, 1, 20)
TOO_COOL = np.arange(LEADS) + 1.0  # by lead, K


def city_of(record: Record, *, warmer: float) -> Issued:
    """A city some degrees warmer than the record, with forecasts too cool by 1 to 7 °C."""
    keep = record.times >= np.datetime64("2014-07-01")
    dates, high = record.times[keep], record.get("tmax_c")[keep] + warmer
    told: FloatArray = np.full((len(dates), LEADS), np.nan)
    for lead in range(LEADS):
        told[: len(dates) - lead, lead] = high[lead:] - TOO_COOL[lead]
    return Issued("69", 33.1, -87.1, dates, told, told - 10, high, high - 12)


def test_misses_as_issued_are_laid_on_what_came_here() -> None:
    record = made_record()
    season = lived(record, SEASON, issued=city_of(record, warmer=2.0))
    drawn = lived(record, SEASON)
    assert season is not None
    assert drawn is not None
    told, of_rest = season.mornings.foretold, drawn.mornings.foretold
    at = int((np.datetime64(MORNING) - season.mornings.hours.dates[0]).astype(int))
    ahead = np.arange(LEADS)
    came = told.came.extremes["tmax_c"][at + ahead]
    assert told.extremes["tmax_c"][at + ahead, ahead] == pytest.approx(came - TOO_COOL)
    assert np.array_equal(told.by_hour["precip_prob"], of_rest.by_hour["precip_prob"])
    weather = season.on(MORNING)
    high = weather.daily.get("tmax_c")[weather.today_index]
    assert high == pytest.approx(came[0] - 1.0, abs=0.3)


def test_a_day_of_which_nothing_was_told_is_drawn() -> None:
    record = made_record()
    city = city_of(record, warmer=0.0)
    row = int((np.datetime64(MORNING) - city.dates[0]).astype(int))
    city.high_c[row] = np.nan
    season, drawn = lived(record, SEASON, issued=city), lived(record, SEASON)
    assert season is not None
    assert drawn is not None
    at = int((np.datetime64(MORNING) - season.mornings.hours.dates[0]).astype(int))
    told = [one.mornings.foretold.extremes["tmax_c"] for one in (season, drawn)]
    assert told[0][at, 0] == told[1][at, 0]
    assert told[0][at, 1] != told[1][at, 1]


def test_a_city_with_other_weather_is_refused() -> None:
    record = made_record()
    elsewhere = city_of(made_record(seed=5), warmer=0.0)
    with pytest.raises(InputError, match="is not that of city 69"):
        lived(record, SEASON, issued=elsewhere)
    earlier = replace(elsewhere, dates=elsewhere.dates - np.timedelta64(40000, "D"))
    with pytest.raises(InputError, match="near by"):
        lived(record, SEASON, issued=earlier)

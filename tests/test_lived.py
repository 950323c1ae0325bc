"""Past seasons lived through: what came, and what a morning may know of it."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
from made_days import PLACE, made_record

from windowcast.core.errors import InputError
from windowcast.core.record import Grade, Record, Weather
from windowcast.verify.drawn_hours import BLOCK_D
from windowcast.verify.lived import Lived, lived
from windowcast.weather.load import RECENT_HOURS_DAYS

SEASON = 2015
TODAY = dt.date(2016, 1, 20)


def changed(record: Record, first: dt.date, seed: int = 2) -> Record:
    """The record with other weather from a date on."""
    other = made_record(seed=seed)
    at = record.times >= np.datetime64(first)
    values = {n: np.where(at, other.get(n), v) for n, v in record.values.items()}
    return replace(record, values=values)


def season_of(record: Record, **how: float) -> Lived:
    """Its season of 2015."""
    found = lived(record, SEASON, **how)
    assert found is not None
    return found


def same(one: Weather, other: Weather, *, days: int | None = None) -> bool:
    """Whether two are alike, on their first days and hours where so many are asked for."""
    pairs = [(one.daily, other.daily), (one.hourly, other.hourly)]
    hours = None if days is None else 24 * (RECENT_HOURS_DAYS + days - one.today_index)
    alike = True
    for (a, b), stop in zip(pairs, (days, hours), strict=True):
        assert a is not None
        assert b is not None
        alike &= set(a.values) == set(b.values)
        for name in a.values:
            first, second = a.values[name][:stop], b.values[name][:stop]
            alike &= bool(np.array_equal(first, second, equal_nan=True))
            alike &= bool(np.array_equal(a.grades[name][:stop], b.grades[name][:stop]))
    return alike


@pytest.fixture(scope="module")
def record() -> Record:
    return made_record()


@pytest.fixture(scope="module")
def season(record: Record) -> Lived:
    return season_of(record)


def test_a_morning_knows_the_record_to_yesterday_and_a_week_ahead(season: Lived) -> None:
    weather = season.on(TODAY)
    daily, hourly = weather.daily, weather.hourly
    assert hourly is not None
    at = weather.today_index
    assert len(daily.times) == at + 7
    for name in ("tmax_c", "tmin_c", "tmean_c", "precip_mm"):
        assert np.array_equal(daily.get(name)[:at], season.daily.get(name)[:at])
        assert (daily.grade(name)[:at] == Grade.OBSERVED).all()
        assert (daily.grade(name)[at:] == Grade.FORECAST).all()
    told = hourly.grade("temp_c") == Grade.FORECAST
    assert told.sum() == 7 * 24
    assert (hourly.grade("temp_c")[~told] == Grade.OBSERVED).sum() == 24 * RECENT_HOURS_DAYS
    for name in ("temp_c", "dewpoint_c", "wind_m_s", "gust_m_s", "precip_mm", "cloud_fraction"):
        assert np.isfinite(hourly.get(name)).all()
    assert np.isfinite(hourly.get("precip_prob")[told]).all()
    assert np.isnan(hourly.get("precip_prob")[~told]).all()
    assert (hourly.get("gust_m_s") >= hourly.get("wind_m_s")).all()
    assert (hourly.get("dewpoint_c") <= hourly.get("temp_c")).all()
    assert weather.daily.provenance[-1].issued is not None


def test_the_same_morning_is_told_the_same_again(record: Record, season: Lived) -> None:
    assert same(season.on(TODAY), season_of(made_record()).on(TODAY))
    elsewhere = replace(record, place=replace(PLACE, name="Another Field"))
    assert not same(season.on(TODAY), season_of(elsewhere).on(TODAY))


def test_what_comes_after_the_forecast_changes_nothing(record: Record, season: Lived) -> None:
    """Hours hang together in blocks, so those of the last days told may rest on the next two."""
    for today in (dt.date(2015, 9, 3), TODAY, dt.date(2016, 4, 30)):
        later = season_of(changed(record, today + dt.timedelta(7 + BLOCK_D - 1)))
        assert same(season.on(today), later.on(today))
        assert not same(season.on(today + dt.timedelta(4)), later.on(today + dt.timedelta(4)))


def test_what_comes_within_the_forecast_is_known_by_the_forecast_alone(
    record: Record, season: Lived
) -> None:
    other = season_of(changed(record, TODAY + dt.timedelta(BLOCK_D - 1)))
    one, two = season.on(TODAY), other.on(TODAY)
    assert same(one, two, days=one.today_index)
    assert not same(one, two)


def test_a_gap_that_still_lasts_is_filled_up_to_the_forecast(record: Record) -> None:
    at = int((np.datetime64(TODAY) - record.times[0]).astype(int))
    values = {n: v.copy() for n, v in record.values.items()}
    values["tmax_c"][at - 2 : at + 1] = np.nan
    with_gap = replace(record, values=values)
    weather = season_of(with_gap).on(TODAY)
    high = weather.daily.get("tmax_c")
    assert high[at - 2 : at] == pytest.approx(np.interp([1, 2], [0, 3], high[[at - 3, at]]))
    assert (weather.daily.grade("tmax_c")[at - 2 : at] == Grade.ESTIMATED).all()
    low = weather.daily.get("tmin_c")
    assert np.array_equal(low[at - 2 : at], record.get("tmin_c")[at - 2 : at])
    day_after = season_of(with_gap).on(TODAY + dt.timedelta(2)).daily.get("tmax_c")
    line = np.interp([1, 2, 3], [0, 4], record.get("tmax_c")[[at - 3, at + 1]])
    assert day_after[at - 2 : at + 1] == pytest.approx(line)


def test_days_and_hours_that_came_agree(season: Lived) -> None:
    hours = season.hourly
    assert str(hours.times[0]) == "2015-07-01T05"  # midnight in Alabama's summer
    assert str(hours.times[-1]) == "2016-07-01T04"
    at = int((np.datetime64("2015-07-01") - season.daily.times[0]).astype(int))
    assert len(season.daily.times) == at + 366
    fallen, rain = hours.get("precip_mm").sum(), season.daily.get("precip_mm")[at:].sum()
    assert fallen == pytest.approx(rain)
    wet_hours = (hours.get("precip_mm") > 0).mean()
    assert 0.02 < wet_hours < 0.15  # 4 % of the hours of Greensboro's typical year, 6 % of New York
    assert np.isfinite(season.daily.get("rh_mean_pct")[at:]).all()
    assert np.isnan(season.daily.get("rh_mean_pct")[:at]).all()


def test_measured_humidity_is_the_mean_of_its_hours(record: Record) -> None:
    humid = np.full(len(record.times), 62.0)
    measured = replace(
        record,
        values={**record.values, "rh_mean_pct": humid},
        grades={**record.grades, "rh_mean_pct": record.grades["tmax_c"]},
    )
    season = season_of(measured)
    at = int((np.datetime64("2015-07-01") - season.daily.times[0]).astype(int))
    assert season.daily.get("rh_mean_pct")[at:] == pytest.approx(62.0, abs=0.5)


def test_measured_wind_is_the_mean_of_its_hours(record: Record) -> None:
    wind = np.random.default_rng(3).gamma(6.0, 1.0, len(record.times))
    measured = replace(
        record,
        values={**record.values, "wind_mean_m_s": wind},
        grades={**record.grades, "wind_mean_m_s": record.grades["tmax_c"]},
    )
    season = season_of(measured)
    at = int((np.datetime64("2015-07-01") - season.daily.times[0]).astype(int))
    came = season.daily.get("wind_mean_m_s")[at:]
    assert came == pytest.approx(wind[at : at + 366], abs=0.01)
    assert (season.hourly.get("gust_m_s") >= season.hourly.get("wind_m_s")).all()
    told = np.mean(
        [season.on(TODAY + dt.timedelta(n)).hourly.get("wind_m_s")[-24:] for n in range(90)]
    )  # type: ignore[union-attr]
    assert told == pytest.approx(6.0, abs=0.6)  # windier than where the hours were measured


def test_of_gusts_no_more_is_known_than_of_the_wind_and_less_each_day_ahead(
    season: Lived,
) -> None:
    def kept(lead: int) -> float:
        """Correlation of the gusts told over the wind told with what came, at a lead of days."""
        told, came = [], []
        for n in range(-150, 130):
            morning = TODAY + dt.timedelta(n)
            hourly = season.on(morning).hourly
            assert hourly is not None
            at = (7 - lead) * 24
            hours = slice(-at, -at + 24 or None)
            true = season.hourly.between(hourly.times[hours][0], hourly.times[hours][-1])
            told.append(hourly.get("gust_m_s")[hours] / hourly.get("wind_m_s")[hours])
            came.append(true.get("gust_m_s") / np.maximum(true.get("wind_m_s"), 0.5))
        usual = np.median(came)
        off = np.concatenate(came) - usual
        return float(np.sum((np.concatenate(told) - usual) * off) / np.sum(off**2))

    leads = [kept(lead) for lead in (0, 3, 6)]
    assert leads == sorted(leads, reverse=True)
    assert leads[0] < 0.6
    assert leads[2] < 0.9 * leads[0]


def test_without_errors_what_is_told_comes(record: Record) -> None:
    sure = season_of(record, error_scale=0.0)
    told = sure.on(TODAY).hourly
    assert told is not None
    came = sure.hourly.between(told.times[-7 * 24], told.times[-1])
    for name in ("temp_c", "dewpoint_c", "wind_m_s", "gust_m_s", "cloud_fraction"):
        known = slice(0, -8 if name in {"temp_c", "dewpoint_c"} else None)  # the low after them
        off = 0.02 * np.ptp(came.get(name))
        assert told.get(name)[-7 * 24 :][known] == pytest.approx(came.get(name)[known], abs=off)
    halves = came.get("precip_mm").reshape(14, 12).sum(axis=1)
    chance = told.get("precip_prob")[-7 * 24 :].reshape(14, 12).max(axis=1)
    assert (chance[halves >= 1.0] > 0.9).all()
    assert (chance[halves == 0.0] < 0.1).all()


def test_a_season_without_enough_before_it_or_within_it_is_none(record: Record) -> None:
    assert lived(record, 2009) is None
    for before in (1980, 1900, int(str(record.times[0])[:4]) - 1):  # it ends before the record
        assert lived(record, before) is None
    assert (
        lived(record.between(record.times[-1] + np.timedelta64(1, "D"), record.times[-1]), 2009)
        is None
    )
    assert lived(record, 2016) is None
    values = {n: v.copy() for n, v in record.values.items()}
    at = int((np.datetime64(TODAY) - record.times[0]).astype(int))
    values["tmin_c"][at : at + 9] = np.nan
    assert lived(replace(record, values=values), SEASON) is None


def test_a_place_unknown_or_in_the_south_has_no_season(record: Record) -> None:
    nowhere = replace(record, place=replace(PLACE, latitude_deg=np.nan))
    with pytest.raises(InputError, match="neither latitude"):
        lived(nowhere, SEASON)
    assert lived(replace(record, place=replace(PLACE, latitude_deg=-33.0)), SEASON) is None


def test_a_day_outside_the_season_is_refused(season: Lived) -> None:
    with pytest.raises(ValueError, match="not in the season"):
        season.on(dt.date(2016, 7, 1))

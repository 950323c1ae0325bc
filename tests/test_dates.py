"""Key dates by season, for one site, members and many stations."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from test_state import made_up
from uscrn_sites import DEEP_SOUTH, MID_ATLANTIC, MID_SOUTH, record, site, state

from windowcast.core.season_calendar import season_name, season_slices
from windowcast.season.dates import fall_date, key_dates, share_date, spring_date
from windowcast.season.runs import trailing_mean, trailing_sum
from windowcast.season.state import build

DAYS = np.arange("2019-07-01", "2022-07-01", dtype="datetime64[D]")


def falling(day_zero="2019-10-01"):
    """Soil that falls through 21.1 °C by 0.1 K a day each year, on 1 October of the first."""
    doy = (DAYS - np.datetime64(day_zero)).astype(float) % 365.25
    doy = np.where(doy > 183, doy - 365.25, doy)
    return 21.1 - 0.1 * doy


def number(date):
    return float(np.datetime64(date).astype(int))


def test_seasons_are_named_by_both_years():
    assert season_name(np.datetime64("2024-12-24"), southern=False) == "2024/25"
    assert season_name(np.datetime64("2025-06-30"), southern=False) == "2024/25"
    assert season_name(np.datetime64("1999-07-01"), southern=False) == "1999/00"
    assert season_name(np.datetime64("2025-06-30"), southern=True) == "2025"
    assert [n for n, _ in season_slices(DAYS, southern=False)] == ["2019/20", "2020/21", "2021/22"]
    assert [n for n, _ in season_slices(DAYS, southern=True)] == ["2019", "2020", "2021", "2022"]


def test_fall_date_by_hand():
    # a straight fall of 0.1 K a day: the 7-day mean lags the soil by three days, and is below
    # the threshold on the day after it meets it
    soil = falling()
    found = fall_date(soil, DAYS, 21.1)
    assert found[0] == number("2019-10-05")
    assert found.shape == (3,)
    week = trailing_mean(soil, 7)
    i = int(found[0] - DAYS[0].astype(int))
    assert week[i] < 21.1 <= week[i - 1]


def test_missing_day_before_the_date_leaves_it_open():
    soil = falling()
    soil[60] = np.nan
    found = fall_date(soil, DAYS, 21.1)
    assert np.isnan(found[0])
    assert np.isfinite(found[1:]).all()


@settings(max_examples=30)
@given(st.integers(0, 80), st.integers(1, 4))
def test_many_stations_are_the_same_as_one_by_one(shift, stations):
    soil = np.stack([falling() + 0.05 * (shift + k) for k in range(stations)])
    many = fall_date(soil, DAYS, 21.1)
    assert many.shape == (stations, 3)
    for k in range(stations):
        np.testing.assert_array_equal(many[k], fall_date(soil[k], DAYS, 21.1))
    assert (np.diff(many[:, 1], axis=0) >= 0).all()  # warmer soil falls later


def test_southern_fall_is_half_a_year_away():
    soil = falling("2020-04-01")
    found = fall_date(soil, DAYS, 21.1, southern=True)
    assert found[1] == number("2020-04-05")


def test_rolling_windows():
    values = np.arange(10.0)
    np.testing.assert_array_equal(trailing_sum(values, 3)[2:], values[2:] * 3 - 3)
    assert np.isnan(trailing_mean(values, 3)[:2]).all()
    assert np.isnan(trailing_sum(values[:2], 3)).all()


def test_soil_marks_of_real_records_fall_in_the_published_windows():
    # Fall pre-emergence windows (last day to treat is before or near soil 70 °F = 21.1 °C):
    # Delaware late August (Univ. Delaware 2008); south Georgia mid-September to mid-October,
    # Georgia Piedmont by 20 September (Murphy / McCullough, ugaurbanag.com). Measured soil, 5 cm.
    for station, low, high in (
        (MID_ATLANTIC, "08-25", "10-15"),
        (MID_SOUTH, "08-25", "10-20"),
        (DEEP_SOUTH, "09-15", "10-31"),
    ):
        weather = record(station)
        days = fall_date(weather.get("soil_5cm_c"), weather.times, 21.1)
        known = [str(np.datetime64(int(d), "D"))[5:] for d in days if np.isfinite(d)]
        assert len(known) >= 3
        assert all(low <= day <= high for day in known), (station, known)
    # Spring, before soil reaches 55 °F (Univ. Georgia Extension 2019): north / south Georgia
    # 1-20 March / 15 February - 15 March. Selma lies between; the mark comes within or after.
    weather = record(DEEP_SOUTH)
    days = spring_date(weather.get("soil_5cm_c"), weather.times, 12.8)
    known = [str(np.datetime64(int(d), "D"))[5:] for d in days if np.isfinite(d)]
    assert len(known) >= 3
    assert np.mean([day <= "03-20" for day in known]) >= 0.75


def test_key_dates_come_in_order():
    found, _ = state(MID_ATLANTIC)
    keys = key_dates(found)
    assert {*keys.days} == {
        "soil_21", "soil_13", "poaan_10", "poaan_50", "poaan_80", "digis_10", "dormant",
        "last_safe", "greenup",
    }  # fmt: skip
    assert all(v.shape == (len(keys.seasons),) for v in keys.days.values())
    d = keys.days
    ordered = ("poaan_10", "poaan_50", "poaan_80")
    for earlier, later in pairwise(ordered):
        both = np.isfinite(d[earlier]) & np.isfinite(d[later])
        assert both.sum() >= 5
        assert (d[earlier][both] < d[later][both]).all()
    both = np.isfinite(d["last_safe"]) & np.isfinite(d["greenup"])
    assert both.sum() >= 4
    # the published margin: the last safe day lies at least 14 days before green-up
    assert (d["greenup"][both] - d["last_safe"][both] >= 14).all()
    both &= np.isfinite(d["dormant"])
    assert (d["dormant"][both] < d["last_safe"][both]).all()


def test_a_level_never_reached_is_nan():
    found, _ = state(DEEP_SOUTH)
    assert np.isnan(share_date(found.emergence["POAAN"], found.dates, 1.1)).all()


@pytest.mark.parametrize("southern", [False, True])
def test_key_dates_of_an_empty_climate_do_not_fail(southern):
    weather = made_up(days=40)
    found, _ = build(weather, site())
    keys = key_dates(found, southern=southern)
    assert np.isnan(keys.days["greenup"]).all()

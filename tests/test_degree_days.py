"""Degree days against xclim and hand-worked examples."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from windowcast.core.season_calendar import on_date
from windowcast.season import degree_days as dd


def test_degree_days_of_the_extremes_mean_by_a_worked_example():
    # Univ. Delaware Kent Co. Extension 2008: "a maximum of 75 and minimum of 27 gives us one
    # growing degree day" above 50 °F; a negative value adds zero.
    mean_c = (np.array([75.0 + 27.0, 60.0 + 30.0]) / 2 - 32) / 1.8
    assert dd.heating(mean_c, 10.0) * 1.8 == pytest.approx([1.0, 0.0])


@pytest.mark.slow
def test_heating_and_chilling_agree_with_xclim():
    import xarray as xr
    from xclim.core.units import convert_units_to
    from xclim.indices import cooling_degree_days, growing_degree_days, heating_degree_days

    rng = np.random.default_rng(4)
    values = 12 + 12 * np.sin(np.arange(730) / 58) + rng.normal(0, 4, 730)
    times = np.arange("2018-01-01", "2019-12-31", dtype="datetime64[D]")[:730]
    tas = xr.DataArray(
        values[: len(times)], coords={"time": times.astype("datetime64[ns]")}, dims="time"
    ).assign_attrs(units="degC", standard_name="air_temperature", cell_methods="time: mean")
    values = tas.values
    year = np.array([str(t)[:4] == "2018" for t in times])
    for ours, theirs in (
        (dd.heating(values, 10.0), growing_degree_days(tas, thresh="10 degC", freq="YS")),
        (dd.heating(values, 18.0), cooling_degree_days(tas, thresh="18 degC", freq="YS")),
        (dd.chilling(values, 21.0), heating_degree_days(tas, thresh="21 degC", freq="YS")),
    ):
        reference = convert_units_to(theirs, "degC d").values
        assert ours[year].sum() == pytest.approx(reference[0], rel=1e-9)
        assert ours[~year].sum() == pytest.approx(reference[1], rel=1e-9)


def test_missing_is_never_zero():
    daily = dd.heating(np.array([12.0, np.nan, 15.0, 13.0]), 10.0)
    assert np.isnan(daily[1])
    reset = np.array([True, False, False, True])
    np.testing.assert_array_equal(dd.accumulate(daily, reset), [2.0, np.nan, np.nan, 3.0])
    # a record that begins after the biofix cannot know its total
    assert np.isnan(dd.accumulate(daily, np.zeros(4, bool))).all()
    assert dd.accumulate(daily, np.zeros(4, bool), 5.0)[0] == 7.0


@settings(max_examples=60)
@given(
    st.lists(st.floats(0, 30), min_size=2, max_size=60),
    st.integers(1, 59),
    st.sets(st.integers(0, 59), max_size=3),
)
def test_accumulation_split_in_two_is_the_same_to_the_bit(values, cut, resets):
    daily = np.array(values)
    cut = min(cut, len(daily) - 1)
    reset = np.isin(np.arange(len(daily)), list(resets))
    whole = dd.accumulate(daily, reset, 1.25)
    first = dd.accumulate(daily[:cut], reset[:cut], 1.25)
    second = dd.accumulate(daily[cut:], reset[cut:], first[..., -1])
    np.testing.assert_array_equal(np.concatenate([first, second]), whole)


def test_accumulation_carries_members():
    daily = np.ones((3, 4))
    out = dd.accumulate(daily, np.zeros(4, bool), np.array([0.0, 10.0, np.nan]))
    np.testing.assert_array_equal(out[:, -1], [4.0, 14.0, np.nan])


def test_biofix_dates_turn_with_the_hemisphere():
    dates = np.arange("2020-01-01", "2021-01-01", dtype="datetime64[D]")
    assert dates[on_date(dates, "06-21", southern=False)] == [np.datetime64("2020-06-21")]
    assert dates[on_date(dates, "06-21", southern=True)] == [np.datetime64("2020-12-21")]
    assert dates[on_date(dates, "01-01", southern=True)] == [np.datetime64("2020-07-01")]
    assert dates[on_date(dates, "07-01", southern=True)] == [np.datetime64("2020-01-01")]

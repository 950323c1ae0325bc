"""Gap filling: the stated rule up to the stated length, and never more (property tests)."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from spoken import render

from windowcast.core.record import Grade, Place, Record
from windowcast.core.time_axis import record_of
from windowcast.weather.gaps import filled, gap_spans

PLACE = Place("Sea Loft", 38.7, -9.1, 60.0, "Europe/Lisbon")
LONGEST = 3  # days, quality.toml

cells = st.lists(st.one_of(st.none(), st.floats(-20, 40)), min_size=1, max_size=60)


def record(values: list[float | None], name: str = "tmax_c") -> Record:
    series = np.array([np.nan if v is None else v for v in values])
    first = np.datetime64("2019-11-01")
    return record_of(
        PLACE, np.arange(first, first + np.timedelta64(len(series), "D")), {name: series}
    )


@given(cells)
def test_known_values_never_change(values: list[float | None]) -> None:
    before = record(values)
    after = filled(before)
    known = np.isfinite(before.get("tmax_c"))
    np.testing.assert_array_equal(after.get("tmax_c")[known], before.get("tmax_c")[known])
    assert (after.grade("tmax_c")[known] == Grade.OBSERVED).all()


@given(cells)
def test_only_short_inner_gaps_are_filled(values: list[float | None]) -> None:
    before = record(values).get("tmax_c")
    after = filled(record(values))
    expected = np.isnan(before)
    for start, end in gap_spans(before):
        if end - start <= LONGEST:
            expected[start:end] = False
    np.testing.assert_array_equal(np.isnan(after.get("tmax_c")), expected)
    new = np.isnan(before) & ~expected
    assert (after.grade("tmax_c")[new] == Grade.ESTIMATED).all()
    assert (after.grade("tmax_c")[expected] == Grade.MISSING).all()


@given(cells)
def test_filled_values_lie_between_their_neighbours(values: list[float | None]) -> None:
    before = record(values).get("tmax_c")
    after = filled(record(values)).get("tmax_c")
    for start, end in gap_spans(before):
        if end - start <= LONGEST:
            low, high = sorted((before[start - 1], before[end]))
            assert (after[start:end] >= low - 1e-9).all()
            assert (after[start:end] <= high + 1e-9).all()


@given(cells)
def test_flags_count_every_missing_day(values: list[float | None]) -> None:
    before = record(values).get("tmax_c")
    after = filled(record(values))
    inner = sum(int(end - start) for start, end in gap_spans(before))
    flags = [f for f in after.flags if f.variable == "tmax_c"]  # rain is flagged on its own
    assert sum(f.count for f in flags) == inner
    left = sum(int(end - start) for start, end in gap_spans(after.get("tmax_c")))
    assert sum(f.count for f in flags if f.action == "refused") == left


@given(cells)
def test_filling_twice_changes_nothing_more(values: list[float | None]) -> None:
    once = filled(record(values))
    twice = filled(once)
    np.testing.assert_array_equal(once.get("tmax_c"), twice.get("tmax_c"))


@pytest.mark.parametrize(("length", "left"), [(1, 0), (3, 0), (4, 4)])
def test_the_length_that_decides(length: int, left: int) -> None:
    after = filled(record([10.0, *[None] * length, 14.0]))
    assert np.isnan(after.get("tmax_c")).sum() == left
    assert after.flags[0].action == ("refused" if left else "filled")
    if not left:
        step = 4.0 / (length + 1)
        np.testing.assert_allclose(np.diff(after.get("tmax_c")), step)


def test_rain_wind_and_snow_are_never_filled() -> None:
    for name in ("precip_mm", "wind_mean_m_s", "snow_depth_mm"):
        after = filled(record([2.0, None, 2.0], name))
        assert np.isnan(after.get(name)[1])
        assert after.flags[0].action == "refused"
        assert render(after.flags[0].text).endswith("1 day, never filled")


def test_hourly_rain_and_wind_are_never_filled() -> None:
    hours = np.arange("2020-01-01", "2020-01-02", dtype="datetime64[h]")
    series = np.arange(24.0)
    series[[5, 10, 11, 12, 13]] = np.nan
    names = ("temp_c", "precip_mm", "wind_m_s", "gust_m_s")
    after = filled(record_of(PLACE, hours, dict.fromkeys(names, series)))
    assert after.get("temp_c")[5] == 5.0
    assert np.isnan(after.get("temp_c")[10:14]).all()  # four hours
    for name in names[1:]:
        np.testing.assert_array_equal(after.get(name), series)

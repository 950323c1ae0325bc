"""Hours into local days and several sources into one record: no day twice, none lost."""

from __future__ import annotations

import datetime as dt
import warnings
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from spoken import render

from windowcast.core.local_days import day_starts, hours_of, local_dates, on_clock
from windowcast.core.record import Grade, Place, Record
from windowcast.core.time_axis import record_of
from windowcast.weather.hourly import daily_to_hourly
from windowcast.weather.join import as_forecast, hourly_to_daily, overlaid, seam_flags

LISBON = Place("Sea Loft", 38.7, -9.1, 60.0, "Europe/Lisbon")
ZONES = (
    "Europe/Lisbon", "America/New_York", "Australia/Lord_Howe", "Asia/Kolkata", "Asia/Kathmandu",
    "Pacific/Kiritimati", "Pacific/Pago_Pago", "Pacific/Apia", "America/St_Johns", "UTC",
)  # fmt: skip


# ------------------------------------------------------------------------------- local days


@given(st.sampled_from(ZONES), st.integers(0, 25_000))
def test_every_hour_lies_in_the_day_its_clock_shows(zone: str, hour: int) -> None:
    """Against the standard library, hour by hour, over 1970 to 2038."""
    tz = ZoneInfo(zone)
    start = np.datetime64("1970-01-02", "h") + np.timedelta64(hour * 24, "h")
    times = np.arange(start, start + np.timedelta64(72, "h"))
    shown = [t.item().replace(tzinfo=dt.UTC).astimezone(tz).date() for t in times]
    assert local_dates(tz, times).astype(object).tolist() == shown


@given(st.sampled_from(ZONES), st.integers(0, 25_000))
def test_days_follow_without_gap_or_overlap(zone: str, day: int) -> None:
    tz = ZoneInfo(zone)
    dates = np.datetime64("1970-01-02") + np.arange(day, day + 5)
    starts = day_starts(tz, dates)
    lengths = np.diff(starts).astype(int)
    assert set(lengths) <= {0, 23, 24, 25}  # 0: the day Apia skipped
    np.testing.assert_array_equal(
        np.concatenate([hours_of(tz, d, 1) for d in dates[:-1]]), np.arange(starts[0], starts[-1])
    )


def test_clock_changes_of_new_york() -> None:
    """US rule since 2007: 8 March and 1 November 2020 (Energy Policy Act of 2005)."""
    tz = ZoneInfo("America/New_York")
    lengths = [len(hours_of(tz, np.datetime64(d), 1)) for d in ("2020-03-08", "2020-11-01")]
    assert lengths == [23, 25]


# --------------------------------------------------------------------------- hours into days


def hours(first: str, values: np.ndarray, place: Place = LISBON, name: str = "temp_c") -> Record:
    start = day_starts(ZoneInfo(place.timezone), np.array([first], "datetime64[D]"))[0]
    return record_of(
        place, np.arange(start, start + np.timedelta64(len(values), "h")), {name: values}
    )


def test_day_from_its_hours() -> None:
    record = hours("2020-01-10", np.arange(48.0))
    daily = hourly_to_daily(record)
    assert daily.times.astype(str).tolist() == ["2020-01-10", "2020-01-11"]
    assert daily.get("tmax_c").tolist() == [23.0, 47.0]
    assert daily.get("tmin_c").tolist() == [0.0, 24.0]
    assert daily.get("tmean_c").tolist() == [11.5, 35.5]


@pytest.mark.parametrize(("lost", "known"), [(0, True), (2, True), (3, False)])
def test_a_day_needs_most_of_its_hours(lost: int, known: bool) -> None:
    values = np.arange(24.0)
    values[5 : 5 + lost] = np.nan
    daily = hourly_to_daily(hours("2020-01-10", values))
    assert np.isfinite(daily.get("tmax_c")[0]) == known
    assert (daily.grade("tmax_c")[0] == Grade.MISSING) != known


def test_a_missing_hour_is_not_a_dry_one() -> None:
    values = np.zeros(48)
    values[30] = np.nan
    rain = hourly_to_daily(hours("2020-01-10", values, name="precip_mm")).get("precip_mm")
    assert rain[0] == 0.0
    assert np.isnan(rain[1])


def test_part_of_a_day_is_no_day() -> None:
    record = hours("2020-01-10", np.arange(60.0))
    cut = record.between(record.times[6], record.times[-1])
    assert np.isfinite(hourly_to_daily(cut).get("tmax_c")).tolist() == [False, True, False]


def test_worst_grade_counts() -> None:
    record = hours("2020-01-10", np.arange(48.0))
    record = as_forecast(record, record.times[30])
    daily = hourly_to_daily(record)
    assert daily.grade("tmax_c").tolist() == [Grade.OBSERVED, Grade.FORECAST]


@pytest.mark.parametrize("zone", ["America/New_York", "Australia/Lord_Howe", "Pacific/Apia"])
def test_long_and_short_days(zone: str) -> None:
    """One degree an hour through a whole year of clock changes: sums and means stay right."""
    place = Place("anywhere", 0.0, 0.0, None, zone)
    tz = ZoneInfo(zone)
    times = hours_of(tz, np.datetime64("2011-01-01"), 365)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        daily = hourly_to_daily(record_of(place, times, {"precip_mm": np.ones(len(times))}))
    rain = daily.get("precip_mm")
    assert np.nansum(rain) == len(times)
    assert set(rain[np.isfinite(rain)]) <= {23.0, 24.0, 25.0}
    if zone == "Pacific/Apia":  # 30 December 2011 never was
        assert np.isnan(rain[daily.times == np.datetime64("2011-12-30")]).all()


def test_relative_humidity_of_a_day_from_dew_points() -> None:
    """20 °C with dew point 9.27 °C is 50 % (FAO-56 eq. 11)."""
    place_hours = hours("2020-01-10", np.full(24, 20.0))
    record = record_of(
        LISBON, place_hours.times, {"temp_c": np.full(24, 20.0), "dewpoint_c": np.full(24, 9.27)}
    )
    assert hourly_to_daily(record).get("rh_mean_pct")[0] == pytest.approx(50.0, abs=0.2)


def test_there_and_back() -> None:
    """Days to hours to days: the highest and lowest come back within the curve's reach."""
    times = np.arange("2020-01-01", "2020-02-01", dtype="datetime64[D]")
    rng = np.random.default_rng(3)
    low = 5 + np.cumsum(rng.normal(0, 1, 31))
    daily = record_of(
        LISBON, times, {"tmin_c": low, "tmax_c": low + 9, "precip_mm": rng.gamma(0.5, 5, 31)}
    )
    back = hourly_to_daily(daily_to_hourly(daily, dt.date(2020, 1, 1), 31))
    np.testing.assert_allclose(back.get("precip_mm"), daily.get("precip_mm"))
    assert np.abs(back.get("tmax_c") - daily.get("tmax_c"))[1:-1].max() < 1.0


# ------------------------------------------------------------------------------------ seams


def day_record(first: int, values: list[float | None], grade: Grade) -> Record:
    start = np.datetime64("2020-01-01") + np.timedelta64(first, "D")
    series = np.array([np.nan if v is None else v for v in values])
    return record_of(
        LISBON,
        np.arange(start, start + np.timedelta64(len(series), "D")),
        {"tmax_c": series},
        grade=grade,
    )


cells = st.lists(st.one_of(st.none(), st.floats(-20, 40)), min_size=1, max_size=20)
layers = st.lists(st.tuples(st.integers(0, 25), cells), min_size=1, max_size=4)


@given(layers)
def test_each_value_comes_from_the_first_that_has_it(
    parts: list[tuple[int, list[float | None]]],
) -> None:
    records = [day_record(first, values, Grade(k % 3)) for k, (first, values) in enumerate(parts)]
    joined = overlaid(records)
    for i, date in enumerate(joined.times):
        expected, grade = np.nan, Grade.MISSING
        for k, record in enumerate(records):
            here = np.flatnonzero(record.times == date)
            if len(here) and np.isfinite(record.get("tmax_c")[here[0]]):
                expected, grade = record.get("tmax_c")[here[0]], Grade(k % 3)
                break
        np.testing.assert_equal(joined.get("tmax_c")[i], expected)
        assert joined.grade("tmax_c")[i] == grade
    assert len(np.unique(joined.times)) == len(joined.times)


@given(cells, st.integers(-5, 25))
def test_forecast_begins_today(values: list[float | None], today: int) -> None:
    date = np.datetime64("2020-01-01") + np.timedelta64(today, "D")
    record = as_forecast(day_record(0, values, Grade.OBSERVED), date)
    grade = record.grade("tmax_c")
    known = np.isfinite(record.get("tmax_c"))
    assert (grade[known & (record.times < date)] == Grade.OBSERVED).all()
    assert (grade[known & (record.times >= date)] == Grade.FORECAST).all()
    assert (grade[~known] == Grade.MISSING).all()


def test_a_lasting_difference_between_sources_is_said() -> None:
    station = day_record(0, [10.0] * 10, Grade.OBSERVED)
    today = np.datetime64("2020-01-11")
    warm = day_record(0, [12.5] * 15, Grade.FORECAST)
    flags = seam_flags([station, warm], today)
    assert [f.check for f in flags] == ["seam"]
    assert "+2.5 °C" in render(flags[0].text)
    assert seam_flags([station, day_record(0, [11.0] * 15, Grade.FORECAST)], today) == ()
    assert seam_flags([station, day_record(7, [15.0] * 9, Grade.FORECAST)], today) == ()


def test_own_error_of_a_forecast_stays_with_its_temperature() -> None:
    """The error that one forecast gives of itself is none of another's, nor of a measurement."""
    days = np.datetime64("2025-03-01") + np.arange(3)
    first = record_of(LISBON, days, {"tmax_c": np.array([10.0, np.nan, np.nan])})
    second = record_of(
        LISBON,
        days,
        {"tmax_c": np.array([12.0, 13.0, np.nan]), "tmax_sd_k": np.array([1.0, 1.5, 2.0])},
    )
    third = record_of(LISBON, days, {"tmax_c": np.full(3, 14.0), "tmax_sd_k": np.full(3, 4.0)})
    joined = overlaid([first, second, third])
    assert np.array_equal(joined.get("tmax_c"), [10.0, 13.0, 14.0])
    assert np.array_equal(joined.get("tmax_sd_k"), [np.nan, 1.5, 4.0], equal_nan=True)
    assert list(joined.grade("tmax_sd_k") == Grade.MISSING) == [True, False, False]


@pytest.mark.parametrize(
    "zone",
    [
        "America/New_York",
        "Australia/Lord_Howe",
        "Asia/Kolkata",
        "Africa/Casablanca",
        "Pacific/Apia",
    ],
)
def test_hours_on_the_clock_are_those_of_the_zone(zone: str) -> None:
    """Hour by hour, over changes of a half and a whole hour, and a day left out (2011)."""
    times = np.arange(np.datetime64("2011-01-01T00"), np.datetime64("2013-01-01T00"))
    found = on_clock(ZoneInfo(zone), times.reshape(2, -1))
    utc = (moment.replace(tzinfo=dt.UTC) for moment in times.tolist())
    local = [moment.astimezone(ZoneInfo(zone)).replace(tzinfo=None) for moment in utc]
    assert found.shape == (2, len(times) // 2)
    assert found.ravel().tolist() == local

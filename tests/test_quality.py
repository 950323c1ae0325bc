"""Each quality check on weather with exactly the fault it is for, and on weather without.

Thresholds: ``data/quality.toml``, with their sources.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from windowcast.core.record import Grade, Place, Record
from windowcast.core.time_axis import record_of
from windowcast.sources.files import read_weather
from windowcast.weather.quality import CHECKS, checked, streaks

PLACE = Place("Sea Loft", 38.7, -9.1, 60.0, "Europe/Lisbon")
YEARS = np.arange("2008-01-01", "2020-01-01", dtype="datetime64[D]")


def daily(days: int = len(YEARS), **changes: dict[int, float]) -> Record:
    """Twelve plausible years, some values changed: ``tmax_c={day: value}``."""
    rng = np.random.default_rng(7)
    season = -8 * np.cos(2 * np.pi * np.arange(days) / 365.25)
    noise = rng.normal(0, 2.5, days)
    values = {
        "tmax_c": 20 + season + noise,
        "tmin_c": 10 + season + 0.8 * noise + rng.normal(0, 0.5, days),
        "tmean_c": 15 + season + 0.9 * noise,
        "precip_mm": np.where(rng.random(days) < 0.25, rng.gamma(0.7, 8, days), 0.0),
        "soil_5cm_c": 15 + 0.8 * season + rng.normal(0, 0.3, days),
    }
    for name, at in changes.items():
        for index, value in at.items():
            values[name][index] = value
    return record_of(PLACE, YEARS[:days], values)


def hourly(**changes: dict[int, float]) -> Record:
    hours = np.arange("2020-01-01", "2020-01-15", dtype="datetime64[h]")
    clock = np.arange(len(hours)) % 24
    values = {
        "temp_c": 10 - 4 * np.cos(2 * np.pi * clock / 24) + 0.01 * np.arange(len(hours)),
        "dewpoint_c": np.full(len(hours), 4.0) - 0.01 * clock,
        "wind_m_s": 2 + 0.1 * clock,
        "gust_m_s": 3 + 0.2 * clock,
    }
    for name, at in changes.items():
        for index, value in at.items():
            values[name][index] = value
    return record_of(PLACE, hours, values)


def removed(record: Record, check: str) -> dict[str, list[int]]:
    """Which steps of which variables a check takes out."""
    after = checked(record, [check])
    return {
        name: np.flatnonzero(np.isnan(after.values[name]) & np.isfinite(values)).tolist()
        for name, values in record.values.items()
        if (np.isnan(after.values[name]) & np.isfinite(values)).any()
    }


def test_plausible_weather_passes_every_check() -> None:
    for record in (daily(), hourly()):
        after = checked(record)
        assert after.flags == ()
        for name, values in record.values.items():
            np.testing.assert_array_equal(after.values[name], values)


@pytest.mark.parametrize(
    ("record", "check", "expected"),
    [
        (daily(tmax_c={5: 61.0}), "range", {"tmax_c": [5]}),
        (daily(precip_mm={5: -0.1}), "range", {"precip_mm": [5]}),
        (daily(tmin_c={9: 39.0}), "tmin-above-tmax", {"tmin_c": [9], "tmax_c": [9]}),
        (daily(tmean_c={9: 44.0}), "mean-outside-extremes", {"tmean_c": [9]}),
        (daily(tmean_c={9: -9.0}), "mean-outside-extremes", {"tmean_c": [9]}),
        (daily(tmax_c={7: 47.0}), "spike", {"tmax_c": [7]}),
        (daily(tmax_c={2000: -12.0}), "outlier", {"tmax_c": [2000]}),
        (
            daily(tmin_c=dict.fromkeys(range(10, 30), 7.5)),
            "stuck", {"tmin_c": list(range(10, 30))},
        ),
        (
            daily(precip_mm=dict.fromkeys(range(100, 470), 0.0)),
            "dead-gauge", {"precip_mm": None},
        ),
        (hourly(temp_c={40: 31.0}), "spike", {"temp_c": [40]}),
        (hourly(dewpoint_c={40: 21.0}), "dewpoint-above-temperature", {"dewpoint_c": [40]}),
        (hourly(gust_m_s={40: 1.0}), "gust-below-wind", {"gust_m_s": [40]}),
        (
            hourly(temp_c=dict.fromkeys(range(100, 136), 9.0)),
            "stuck", {"temp_c": list(range(100, 136))},
        ),
    ],
)  # fmt: skip
def test_check_finds_its_fault(
    record: Record, check: str, expected: dict[str, list[int] | None]
) -> None:
    found = removed(record, check)
    assert found.keys() == expected.keys()
    for name, steps in expected.items():
        if steps is None:
            assert set(range(100, 470)) <= set(found[name])
        else:
            assert found[name] == steps
    after = checked(record, [check])
    assert {f.check for f in after.flags} == {check}
    for flag in after.flags:
        assert flag.action == "removed"
        assert flag.count == len(found[flag.variable])
        assert (after.grade(flag.variable)[found[flag.variable]] == Grade.MISSING).all()


@pytest.mark.parametrize(
    ("record", "check"),
    [
        (daily(tmin_c=dict.fromkeys(range(10, 29), 7.5)), "stuck"),  # 19 days
        (daily(soil_5cm_c=dict.fromkeys(range(10, 60), 0.1)), "stuck"),  # freezing soil holds
        (daily(precip_mm=dict.fromkeys(range(100, 400), 0.0)), "dead-gauge"),  # a dry season
        (daily(days=60, tmax_c={30: 38.0}), "outlier"),  # one season cannot say what is unlike
    ],
)
def test_check_spares_real_weather(record: Record, check: str) -> None:
    assert removed(record, check) == {}


def test_rain_without_a_single_dry_day_is_reported() -> None:
    """Blank may mean dry or missing; nobody can tell, so nothing is made of it."""
    record = daily()
    rain = np.where(record.get("precip_mm") == 0, np.nan, record.get("precip_mm"))
    record = record_of(PLACE, record.times, {"precip_mm": rain})
    after = checked(record)
    assert [(f.check, f.action) for f in after.flags] == [("blank-rain", "kept")]
    np.testing.assert_array_equal(after.get("precip_mm"), rain)


def test_missing_values_break_a_streak() -> None:
    values = np.array([1.0, 1.0, np.nan, 1.0, 1.0, 1.0, 2.0])
    assert streaks(values, 3).tolist() == [False, False, False, True, True, True, False]
    assert not streaks(values, 4).any()


def test_a_real_cold_outbreak_is_no_fault(data: Path) -> None:
    """Austin, 8 October 2000: 6.7 °C at the most, a real record; the archive did not flag it."""
    record = read_weather(data / "ghcn" / "USW00013904_1999-2004.dly.gz")
    day = np.datetime64("2000-10-08")
    after = checked(record)
    assert np.isfinite(after.get("tmax_c")[after.times == day]).all()
    removed_days = {n: int(np.isnan(after.get(n)).sum() - np.isnan(record.get(n)).sum())
                    for n in ("tmax_c", "tmin_c", "precip_mm")}  # fmt: skip
    assert sum(removed_days.values()) == 0  # the archive's own checks were there first


@pytest.mark.parametrize("date", ["2020-07-18"])
def test_a_real_sensor_fault_is_found(data: Path, date: str) -> None:
    """Charlottesville 2 SSE, 18 July 2020: a minimum of 0.0 °C in the file between 21 and 24 °C."""
    record = read_weather(data / "uscrn" / "VA_Charlottesville_2_SSE.txt.gz")
    day = record.times == np.datetime64(date)
    assert record.get("tmin_c")[day] == 0.0
    after = checked(record)
    assert np.isnan(after.get("tmin_c")[day]).all()
    assert [f.check for f in after.flags if f.variable == "tmin_c"] == ["outlier"]


def test_a_heat_wave_is_spared_for_its_neighbours() -> None:
    """A first day 7 deviations out is kept when the next is 3 out, and removed when it is not."""
    assert removed(daily(tmax_c={2000: 48.0, 2001: 36.0}), "outlier") == {}
    assert removed(daily(tmax_c={2000: 48.0, 2001: 24.0}), "outlier") == {"tmax_c": [2000]}


def test_checks_run_in_order_and_can_be_added() -> None:
    assert next(iter(CHECKS)) == "range"
    # a value out of range must not make its neighbours look like spikes
    after = checked(daily(tmax_c={7: 99.0}))
    assert {f.check for f in after.flags} == {"range"}

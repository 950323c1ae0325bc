"""First emergence: two rules, the earlier warns; no dates that are those of the calendar."""

from __future__ import annotations

import dataclasses
import datetime as dt

import numpy as np
import pytest
from spoken import render
from windows_fixtures import site

from windowcast.core.phrase import NOTHING
from windowcast.core.record import Grade, Place, Record
from windowcast.programme.model import KeyDate
from windowcast.programme.season_today import season_today
from windowcast.season.clocks import Drivers
from windowcast.season.emergence import can_be_used, emerge, emerge_in_futures
from windowcast.season.state import build
from windowcast.season.weeds import weed
from windowcast.windows.odds import DateRange
from windowcast.windows.season_axis import SeasonAxis

DAYS = np.arange("2019-06-01", "2023-06-01", dtype="datetime64[D]")


def _course(middle_c: float, swing_c: float) -> np.ndarray:
    """A year whose coldest day is 20 January."""
    number = DAYS.astype(np.int64) % 365.25
    return middle_c - swing_c * np.cos(2 * np.pi * (number - 20.0) / 365.25)


def _drivers(air_c: np.ndarray) -> Drivers:
    rain = np.full(len(DAYS), 20.0)
    return Drivers(
        DAYS, air_c, air_c, np.full(len(DAYS), 0.8), rain, southern=False, latitude_deg=36.0
    )


MARYLAND, FLORIDA, COLD_COAST = _course(13.5, 12.0), _course(22.5, 6.5), _course(13.0, 3.0)


@pytest.mark.parametrize(
    ("code", "air_c", "usable"),
    [
        ("DIGIS", MARYLAND, True),
        ("DIGIS", FLORIDA, False),  # the clock runs from the day on which it is started
        ("DIGSA", FLORIDA, False),
        ("DIGIS", COLD_COAST, True),
        ("POAAN", MARYLAND, True),
        ("POAAN", FLORIDA, True),
        ("POAAN", COLD_COAST, False),
    ],
)
def test_a_curve_holds_where_its_clock_starts_in_a_quiet_season(
    code: str, air_c: np.ndarray, usable: bool
) -> None:
    curve, degree_days, carry = emerge(weed(code), _drivers(air_c))
    assert carry.usable == usable
    assert np.isfinite(curve.share[-1]) == usable
    assert np.isnan(curve.share).all() != usable
    assert np.isnan(curve.youngest_share).all() != usable
    assert np.isfinite(degree_days[-1])  # the total is a fact


def test_what_cannot_be_used_is_not_used_ahead_either() -> None:
    before = _drivers(FLORIDA)
    _, _, carry = emerge(weed("DIGIS"), before)
    so_far, ahead, _ = emerge_in_futures(
        weed("DIGIS"), before, dataclasses.replace(before), carry, scores=np.zeros(3)
    )
    for curve in (so_far, ahead):
        assert np.isnan(curve.share).all()
        assert curve.first_by_air is not None
        assert np.isnan(curve.first_by_air).all()


def test_a_place_is_judged_by_most_of_its_years_and_trusted_without_any() -> None:
    crab, days = weed("DIGIS"), np.arange("2020-01-01", "2023-01-01", dtype="datetime64[D]")
    share = np.zeros(len(days))
    for years, usable in ((0, True), (1, False)):
        share[: 365 * years + 60] = 0.5
        assert can_be_used(crab, share, days, southern=False) == usable
    unknown = np.full(len(days), np.nan)
    assert can_be_used(crab, unknown, days, southern=False)
    rows = np.stack([share, np.zeros(len(days))])
    np.testing.assert_array_equal(can_be_used(crab, rows, days, southern=False), [False, True])


def test_first_plants_by_air_temperature_come_at_the_published_total() -> None:
    curve, _, _ = emerge(weed("DIGIS"), _drivers(MARYLAND))
    assert curve.first_by_air is not None
    spring = slice(*np.searchsorted(DAYS, np.array(["2021-01-01", "2021-07-01"], "M8[D]")))
    total = np.cumsum(np.maximum(MARYLAND[spring] - 10.0, 0.0))
    np.testing.assert_allclose(curve.first_by_air[spring], total / 58.0)
    low, high = (np.argmax(total >= f * 5 / 9) for f in (70, 140))  # °F d of the source
    first = np.argmax(curve.first_by_air[spring] >= 1.0)
    assert low < first < high


def test_futures_spread_the_air_rule_by_what_its_sources_say() -> None:
    drivers = _drivers(MARYLAND)
    _, _, carry = emerge(weed("DIGIS"), drivers)
    scores = np.array([0.0, 1.2816, -1.2816])
    so_far, _, _ = emerge_in_futures(weed("DIGIS"), drivers, drivers, carry, scores=scores)
    assert so_far.first_by_air is not None
    early, late = so_far.first_by_air[1:, -1] / so_far.first_by_air[0, -1]
    assert early == pytest.approx(1 / late)
    assert 58.0 * 9 / 5 * late == pytest.approx(67, abs=2)  # °F d
    assert 58.0 * 9 / 5 * early == pytest.approx(163, abs=5)


def _record(air_c: np.ndarray) -> Record:
    values = {"tmax_c": air_c + 5.0, "tmin_c": air_c - 5.0, "precip_mm": np.full(len(DAYS), 3.0)}
    grades = {name: np.full(len(DAYS), Grade.OBSERVED, np.uint8) for name in values}
    return Record(Place("here", 28.0, -81.0), DAYS, values, grades)


def test_the_report_says_why_there_are_no_dates() -> None:
    here = site().model_copy(update={"weeds": ("DIGIS", "POAAN")})
    state, _ = build(_record(FLORIDA), here)
    said = [render(note) for note in state.notes]
    (why,) = [text for text in said if "winters here are too warm" in text]
    assert why.startswith("smooth crabgrass")
    assert not [text for text in said if "summers here are cooler" in text]
    assert np.isnan(state.emergence["DIGIS"].share).all()
    assert np.isfinite(state.emergence["POAAN"].share[-1])


def _key(name: str, day: int) -> KeyDate:
    date = dt.date(2023, 3, day)
    return KeyDate(name, NOTHING, None, DateRange(date, date, date, 0, 0, 9), None, (), "")


@pytest.mark.parametrize(("air", "soil", "first"), [(5, 20, "air"), (20, 5, "soil")])
def test_the_earlier_rule_warns(air: int, soil: int, first: str) -> None:
    here = site().model_copy(update={"weeds": ("DIGIS",)})
    today = int(np.searchsorted(DAYS, np.datetime64("2023-02-01")))
    record = _record(MARYLAND)
    past, carry = build(record.between(DAYS[0], DAYS[today - 1]), here)
    ahead, _ = build(record.between(DAYS[today], DAYS[-1]), here, start=carry)
    axis = SeasonAxis.of(past, ahead, southern=False, overseeded=False)
    lines = season_today(axis, [_key("DIGIS_air", air), _key("DIGIS_1", soil)], [])
    (said,) = [text for line in lines if "earlier date" in (text := render(line))]
    words = {"air": "by air temperature", "soil": "by the soil"}
    assert f"5 Mar {words[first]}" in said
    assert "20 Mar" in said
    late = season_today(axis, [_key("DIGIS_air", air)], [])
    assert not [line for line in late if "earlier date" in render(line)]

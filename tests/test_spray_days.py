"""Spray days on dormant turf: winters without dormancy, missing days, and what took the days."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from windowcast.core.record import FloatArray, Grade, Place, Record
from windowcast.core.season_calendar import season_slices
from windowcast.programme.workable_days import day_parts, workable
from windowcast.region.batch import Options
from windowcast.region.columns import EARLY_IF_NEVER, LOST_COLUMNS
from windowcast.region.models import Seasons, seasons_of, stacked
from windowcast.region.spray_days import spray_days
from windowcast.region.statistics import normals
from windowcast.region.tables import with_never
from windowcast.season.dates import whether
from windowcast.windows.purposes import purpose_of
from windowcast.windows.score import combine

DAYS = np.arange("2020-07-01", "2021-07-01", dtype="datetime64[D]")


def a_record(days: Any, **values: FloatArray) -> Record:
    grades = {name: np.full(len(days), Grade.OBSERVED, np.uint8) for name in values}
    return Record(Place("made up", 30.0, -82.0, 10.0), days, values, grades)


def counted(
    changes: dict[str, tuple[str, float]], *, safe_from: str = "2020-12-01"
) -> tuple[FloatArray, dict[str, FloatArray]]:
    """A winter of fine days with turf safe to February, some days changed; by day of the winter."""
    usual = {"tmax_c": 18.0, "tmin_c": 8.0, "precip_mm": 0.0, "wind_mean_m_s": 2.5}
    values = {name: np.full((1, len(DAYS)), value) for name, value in usual.items()}
    for day, (name, value) in changes.items():
        values[name][0, np.datetime64(day) == DAYS] = value
    record = a_record(DAYS, **values)
    safe = (np.datetime64(safe_from) <= DAYS) & (np.datetime64("2021-03-01") > DAYS)
    turf: Any = SimpleNamespace(
        phase=np.where(safe, 2, 1).astype(np.int8)[None],
        nonselective_safe=np.where(safe, 1.0, 0.0)[None],
    )
    purpose = purpose_of("dormant")
    parts = day_parts(record, purpose, purpose.generic)
    can = workable(combine(parts.values()), purpose.rule)
    seasons = [part for _, part in season_slices(DAYS, southern=False)]
    every = np.ones((1, len(DAYS)), dtype=bool)
    return spray_days(
        record, turf, purpose, workable=can, parts=parts, seasons=seasons, recorded=every
    )


def test_days_of_july_and_of_green_turf_are_no_spray_days() -> None:
    can, counts = counted({})
    assert can[0].sum() == counts["spray_days_total"][0, 0] == 90
    assert can[0, np.datetime64("2020-12-01") > DAYS].max() == 0
    _, late = counted({}, safe_from="2021-02-01")
    assert late["lost_not_dormant"][0, 0] == 62
    assert late["spray_days_total"][0, 0] == 28


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        (("precip_mm", 30.0), "wet"),
        (("wind_mean_m_s", 9.0), "windy"),
        (("tmax_c", -2.0), "cold"),
    ],
)
def test_what_took_a_day(change: tuple[str, float], reason: str) -> None:
    (_, usual), (_, found) = counted({}), counted({"2021-01-10": change})
    for name, column in LOST_COLUMNS.items():
        more = found[column] - usual[column]
        assert (more > 0).all() == (name == reason), name
    assert found["spray_days_total"] < usual["spray_days_total"]


def test_a_missing_day_matters_only_where_turf_is_safe() -> None:
    _, known = counted({"2020-09-10": ("precip_mm", np.nan)})
    assert known["spray_days_total"][0, 0] == 90
    _, open_ = counted({"2021-01-10": ("precip_mm", np.nan)})
    assert np.isnan(open_["spray_days_total"][0, 0])
    assert np.isnan(open_["lost_wet"][0, 0])


def test_whether_something_came_is_unknown_only_where_it_may_have() -> None:
    holds = np.array([[False, True, False], [False, False, False], [False, False, False]])
    unknown = np.array([[True, False, False], [False, False, False], [False, True, False]])
    np.testing.assert_array_equal(whether(holds, unknown), [1.0, 0.0, np.nan])


@pytest.fixture(scope="module")
def warm_and_mild() -> Seasons:
    """Three years: never below 14 °C at the first station, frosts in winter at the second."""
    days = np.arange("2018-07-01", "2021-07-01", dtype="datetime64[D]")
    wave = -np.cos(2 * np.pi * (days - np.datetime64("2018-01-15")).astype(float) / 365.25)
    wet = np.where(np.arange(len(days)) % 5, 0.0, 8.0)
    records = [
        a_record(
            days, tmax_c=mean + swing * wave + 5, tmin_c=mean + swing * wave - 5, precip_mm=wet
        )
        for mean, swing in ((25.0, 5.0), (14.0, 14.0))
    ]
    return seasons_of(stacked(records), Options().site())


def test_turf_that_never_browns_is_said_to_do_so(warm_and_mild: Seasons) -> None:
    values = warm_and_mild.values
    for name in ("dormant", "last_safe", "greenup", "first_frost"):
        happened = values[f"happened_{name}"]
        assert happened[0, 1] == happened[0, 2] == 0, name
        assert np.isnan(values[name][0]).all(), name
    assert values["happened_dormant"][1, 1] == values["happened_greenup"][1, 1] == 1
    np.testing.assert_array_equal(warm_and_mild.weeks["spray_days"][0, 1:], 0)
    assert values["spray_days_total"][0, 1] == 0
    assert values["lost_not_dormant"][0, 1] == 91  # 1 December to 29 February 2020
    assert values["spray_days_total"][1, 1] > 10


def test_a_median_counts_the_seasons_in_which_it_did_not_come() -> None:
    years = np.arange(10.0)
    day = np.array([150, 152, 154, 156, 158, 160, np.nan, np.nan, np.nan, np.nan])
    happened = np.isfinite(day).astype(float)
    for name in ("dormant", "greenup"):
        early = name in EARLY_IF_NEVER
        found = normals(years, with_never(name, day, happened))
        assert found.happens == 0.6
        assert found.median == (151 if early else 159)  # of the six alone it is 155
        assert (found.p10 if early else found.p90) == (-np.inf if early else np.inf)
    seldom = normals(years, with_never("dormant", day, np.where(day < 157, 1.0, 0.0)))
    assert seldom.median == np.inf
    assert normals(years, np.full(10, np.inf)).median == np.inf


def test_a_date_that_comes_less_often_moves_later() -> None:
    years = np.arange(30.0)
    day = np.where(years % 3 >= years // 10, 150.0 + years % 4, np.inf)
    found = normals(years, day)
    assert found.trend_per_decade >= 0
    assert found.p_value < 0.01

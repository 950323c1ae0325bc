"""Breaks against neighbours: the test itself, its levels, false alarms, and what it finds."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pytest
from bench_homogeneity import STATIONS, simulated

from windowcast.core.values import load
from windowcast.region.homogeneity import (
    NEEDED,
    ClearestSteps,
    break_table,
    breaks,
    chance,
    nearest,
    snht,
    with_breaks,
)
from windowcast.region.models import departures
from windowcast.region.tables import break_fields, station_schema

MARKS = load("homogeneity")


def test_the_statistic_is_that_of_a_library() -> None:
    library = pytest.importorskip("pyhomogeneity.pyhomogeneity")
    rng = np.random.default_rng(3)
    series = rng.standard_normal((40, 35))
    series[:20, 12:] += 1.5
    series[::3, [0, 11, 12, 34]] = np.nan
    found = snht(series)
    for row, values in enumerate(series):
        known = np.flatnonzero(np.isfinite(values))
        statistic, before = getattr(library, "__snht")(values[known])
        assert found.statistic[row] == pytest.approx(statistic, rel=1e-12)
        assert found.first[row] == known[before]
        after = known >= known[before]
        step = values[known][after].mean() - values[known][~after].mean()
        assert found.size[row] == pytest.approx(step, rel=1e-9)
        rest = values[known] - np.where(
            after, values[known][after].mean(), values[known][~after].mean()
        )
        if len(known) == len(values):  # pairs of neighbouring values are those of the whole series
            memory = (rest[1:] * rest[:-1]).sum() / (rest**2).sum()
            assert found.memory[row] == pytest.approx(memory, rel=1e-9)


def test_levels_are_near_the_published_ones() -> None:
    """Khaliq and Ouarda (2007), Int. J. Climatol. 27:681-687, table of 95 % (from memory)."""
    for length, published in ((10, 5.637), (30, 7.747), (50, 8.440), (100, 9.168)):
        memory = -MARKS.number("memory_bias") / length
        one = ClearestSteps(*(np.array([v]) for v in (published, 0, 0.0, length, memory)))
        assert chance(one, MARKS)[0] == pytest.approx(0.05, abs=0.003)


def test_clearer_steps_are_less_likely_by_chance() -> None:
    statistics = np.array([0.0, 3.0, 6.0, 9.0, 12.0, 40.0, np.nan])
    size = len(statistics)
    steps = ClearestSteps(
        statistics, np.zeros(size, int), np.zeros(size), np.full(size, 33), np.zeros(size)
    )
    p = chance(steps, MARKS)
    assert (np.diff(p[:-1]) <= 0).all()
    assert (p[0], p[-2]) == (1.0, pytest.approx(0.001))
    assert np.isnan(p[-1])
    remembers = ClearestSteps(statistics, steps.first, steps.size, steps.count, np.full(size, 0.3))
    assert (chance(remembers, MARKS)[1:-2] > p[1:-2]).all()


@pytest.mark.parametrize(("step_k", "least"), [(0.0, 0.0), (1.0, 0.75)])
def test_false_alarms_are_rare_and_clear_breaks_are_found(step_k: float, least: float) -> None:
    networks = 8
    false, found, _ = simulated(30, 0.1, step_k, networks)
    assert false <= 0.05 + 2 * np.sqrt(0.05 * 0.95 / (networks * STATIONS))
    assert found >= least


def network(seasons: int = 30, stations: int = 8) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Departures [station, season] and places, 50 km from one another in a row."""
    rng = np.random.default_rng(11)
    common = rng.standard_normal(seasons)
    values = common + 0.2 * rng.standard_normal((stations, seasons))
    return values, np.full(stations, 35.0), -90 + 0.55 * np.arange(stations)


def test_a_station_that_breaks_is_found_and_its_neighbours_are_not() -> None:
    values, lat, lon = network()
    lows = values.copy()
    lows[3, 17:] -= 1.2
    found = breaks(values, lows, lat, lon, MARKS)
    assert found.season.tolist() == [-1, -1, -1, 17, -1, -1, -1, -1]
    assert not found.highs[3]
    assert found.p[3] < 0.02
    assert found.size_k[3] == pytest.approx(-1.2, abs=0.2)
    assert (found.neighbours >= 6).all()


def test_alone_or_too_short_a_station_is_not_tested() -> None:
    values, lat, lon = network()
    few = breaks(values[:3], values[:3], lat[:3], lon[:3], MARKS)
    assert np.isnan(few.p).all()
    assert not few.neighbours.any()
    far = breaks(values, values, np.linspace(-60, 60, 8), lon, MARKS)
    assert np.isnan(far.p).all()
    values[5, 9:] = np.nan
    short = breaks(values, values, lat, lon, MARKS)
    assert np.isnan(short.p[5])
    assert np.isfinite(np.delete(short.p, 5)).all()
    assert (nearest(np.full(40, 35.0), np.full(40, 9.0), MARKS) != np.arange(40)[:, None]).all()


def test_a_gap_in_winter_makes_no_season_warm() -> None:
    days = np.arange(365 * 12)
    usual = 15 - 12 * np.cos(2 * np.pi * days / 365)
    parts = [slice(365 * n, 365 * (n + 1)) for n in range(12)]
    rng = np.random.default_rng(4)
    values = np.stack([usual + rng.standard_normal(len(days)) for _ in range(3)])
    values[:, parts[4]] += 1.0
    gaps = values.copy()
    gaps[:, 365 * 4 : 365 * 4 + 36] = np.nan  # the coldest days of that season
    for found in (departures(values, parts), departures(gaps, parts)):
        assert found[:, 4] == pytest.approx(1.0 - 1 / 12, abs=0.15)
    alone = departures(gaps[1:2], parts)
    np.testing.assert_array_equal(alone[0], departures(gaps, parts)[1])
    gaps[0, parts[7]] = np.nan
    assert np.isnan(departures(gaps, parts)[0, 7])


def test_breaks_get_into_the_stations_table() -> None:
    values, lat, lon = network()
    values[2, 12:] += 1.5
    names = [f"s{n}" for n in range(len(lat))]
    years = np.arange(1990, 2020)
    stations = pa.table({
        "station": names, "latitude": lat, "longitude": lon,
        "first_season": [1990] * len(lat), "last_season": [2019] * len(lat),
    })  # fmt: skip
    rows = pa.RecordBatch.from_pydict({
        "station": np.repeat([*names, "left out"], 30), "season": np.tile(years, len(lat) + 1),
        "complete": np.ones(30 * (len(lat) + 1)), "high_departure": [*values.ravel(), *years],
        "low_departure": [*values.ravel(), *years],
    })  # fmt: skip
    found = break_table(stations, [rows.select(NEEDED)])
    assert found["break_season"].to_pylist() == [None, None, 2002, *[None] * 5]
    assert found["break_of"][2].as_py() in ("highs", "lows")
    assert found["break_size"][2].as_py() == pytest.approx(1.5, abs=0.3)
    fields = [station_schema().field("station"), *break_fields()]
    bare = pa.RecordBatch.from_pylist(
        [{"station": "s2"}, {"station": "s0"}], schema=pa.schema(fields)
    )
    assert with_breaks(bare, found)["break_season"].to_pylist() == [2002, None]
    assert with_breaks(bare, found)["neighbours"].null_count == 0

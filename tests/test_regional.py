"""Regions: effects of stations and years against a library, intervals, differences."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import fields, replace
from typing import cast

import numpy as np
import numpy.typing as npt
import pytest
from region_fixtures import data, listed_as
from regions_made_up import regional_of, two_regions
from spoken import METRIC

from windowcast.core.record import FloatArray
from windowcast.core.season_calendar import paired_year
from windowcast.core.values import load
from windowcast.region import effects as module_of_effects
from windowcast.region.effects import (
    Effects,
    chance,
    effects,
    interval,
    station_draws,
    typical_median,
)
from windowcast.region.failing import failed, failing, share_failed
from windowcast.region.grids import Kept, SeasonRows
from windowcast.region.regional import Regional, RegionQuantity
from windowcast.region.regional_fit import controlled, regional
from windowcast.region.statistics import Normals, lag_one, normals, variance_factor
from windowcast.region.trends import trends
from windowcast.report.region_findings import Findings, findings_of
from windowcast.report.region_story import story, sub_line


def test_seasons_pair_across_hemispheres_by_the_year_they_end_in() -> None:
    assert paired_year(np.array([2020, 2021]), np.array([False, True])).tolist() == [2021, 2021]


def test_effects_are_those_of_a_regression_on_both_factors() -> None:
    rng = np.random.default_rng(3)
    values = rng.normal(0, 9, (7, 1)) + rng.normal(0, 5, 12) + rng.normal(0, 3, (7, 12))
    values[rng.random(values.shape) < 0.4] = np.nan
    row, year = np.nonzero(np.isfinite(values))
    design = np.hstack([np.eye(7)[row], np.eye(12)[year][:, 1:]])
    fit = np.linalg.lstsq(design, values[row, year])[0]
    theirs = fit[:7].mean() + np.concatenate([[0.0], fit[7:]])
    found = effects(values, drawn(0, 7))
    np.testing.assert_allclose(found.by_year, theirs, atol=1e-9)
    together = effects(np.stack([values, 2 * values], axis=-1), drawn(0, 7))
    np.testing.assert_allclose(together.by_year[:, 1], 2 * theirs, atol=1e-9)


def test_a_network_replaced_at_once_keeps_the_part_that_hangs_together() -> None:
    values = np.full((4, 8), np.nan)
    values[:2, :5] = np.arange(5.0)
    values[2:, 5:] = 40.0
    found = effects(values, drawn(0, 4))
    np.testing.assert_allclose(found.by_year[:5], np.arange(5.0))
    assert np.isnan(found.by_year[5:]).all()
    assert np.isnan(found.station[2:]).all()


def one(values: FloatArray, places: int = 0) -> Effects:
    """Effects of stations ``[station, year]`` whose places begin at a number."""
    return effects(values, drawn(places, len(values)))


def drawn(first: int, count: int) -> FloatArray:
    return station_draws(np.arange(first, first + count))


def world(rng: np.random.Generator, stations: int, years: int, lag: float = 0.0) -> FloatArray:
    """Stations at other levels that share their years, each year as the one before by `lag`."""
    noise = rng.normal(0, 1, (stations + 1, years))
    for year in range(1, years):
        noise[:, year] = lag * noise[:, year - 1] + (1 - lag**2) ** 0.5 * noise[:, year]
    return 100 + rng.normal(0, 8, (stations, 1)) + 6 * noise[0] + 3 * noise[1:]


def cut_short(rng: np.random.Generator, values: FloatArray) -> FloatArray:
    """The same stations, most of which begin late or end early."""
    out, years = values.copy(), values.shape[1]
    for row in out:
        kept = rng.integers(3, years + 1)
        row[slice(kept, None) if rng.random() < 0.5 else slice(0, years - kept)] = np.nan
    return out


def test_interval_of_one_station_is_that_of_a_mean() -> None:
    # Student's t of a sample of 25 that resembles the year before by nothing
    values = np.random.default_rng(1).normal(3.0, 2.0, (1, 25))
    years = np.arange(25.0)
    assert lag_one(values - values.mean(), 1) == 0
    found = interval(one(values), years)
    half = 2.0639 * values.std(ddof=1) / 5
    assert found.high - found.middle == pytest.approx(half, rel=0.1)
    change = interval(one(values + 0.5 * years), years, trend=True)
    assert change.low < 5.0 < change.high
    assert np.isnan(interval(one(values[:, :4]), years[:4]).low)


def test_the_same_stations_cut_short_are_no_other_region() -> None:
    """60 cuts, and a difference of 5 days: ``benchmarks/check_regions.py`` has more."""
    rng = np.random.default_rng(11)
    years, hits, found = np.arange(22.0), 0, 0
    for _ in range(60):
        whole = world(rng, 6, 22)
        cut = cut_short(rng, whole)
        same = interval(one(whole), years, less=one(cut))
        hits += same.low <= 0 <= same.high
        found += interval(one(whole + 5), years, less=one(cut)).low > 0
    assert hits >= 56
    assert found >= 54


def test_stations_of_another_place_count_as_other_stations() -> None:
    rng = np.random.default_rng(4)
    whole, years = world(rng, 8, 22), np.arange(22.0)
    shared = interval(one(whole), years, less=one(whole + 1))
    apart = interval(one(whole), years, less=one(whole + 1, places=8))
    assert shared.high - shared.low < 1e-6
    assert apart.high - apart.low > 5


def test_no_trend_is_found_where_years_only_resemble_one_another() -> None:
    """Of 200 regions and of 600 stations without a trend, at a correlation of 0.4.

    No two share their years; without the correction 15 % and more would show one.
    """
    rng = np.random.default_rng(2)
    years = np.arange(30.0)
    regions = [one(world(rng, 4, 30, 0.4)) for _ in range(200)]

    def found() -> float:
        p = np.array([interval(each, years, trend=True).p for each in regions])
        return float(np.mean(p < 0.05))

    assert found() < 0.08
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module_of_effects, "lag_one", lambda *_: np.float64(0.0))
        assert found() > 0.12
    alone = np.concatenate([world(rng, 1, 30, 0.4) for _ in range(600)])
    assert np.mean(normals(years, alone).p_value < 0.05) < 0.08
    assert np.mean(trends(years, alone, 5)[3] < 0.05) > 0.10


def test_false_discoveries_are_those_that_are_allowed() -> None:
    # the 15 p values of Benjamini & Hochberg 1995, J. R. Stat. Soc. B 57:289, section 4: four hold
    p = [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262,
         0.5719, 0.6528, 0.7590, 1.0000]  # fmt: skip
    q = controlled([np.nan, *p])
    assert np.isnan(q[0])
    assert (q[1:] <= 0.05).sum() == 4


def test_correlation_of_one_year_with_the_next() -> None:
    rng = np.random.default_rng(9)
    for lag in (0.0, 0.4):
        one_by_one = [world(rng, 1, 40, lag)[0] for _ in range(150)]
        series = np.array(one_by_one)
        found = lag_one(series - series.mean(axis=1, keepdims=True), 1)
        assert found.mean() == pytest.approx(lag, abs=0.08)
    assert variance_factor(np.array(0.4), 1000) == pytest.approx(1.4 / 0.6, rel=0.01)
    gaps = np.array([1.0, np.nan, 1.0, np.nan, -1.0, np.nan, -1.0])
    assert lag_one(gaps, 1) <= 0.6


def test_chance_and_median_of_what_does_not_come_every_season() -> None:
    # Wilson's interval of 10 in 20: 0.299 to 0.701 (Newcombe 1998, Stat. Med. 17:857, method 3)
    assert chance(0.5, (0.25 / 20) ** 0.5, 20)[1:] == pytest.approx((0.299, 0.701), abs=1e-3)
    rng = np.random.default_rng(1)
    whole = world(rng, 10, 25)
    late = np.where(whole > np.quantile(whole, 0.7), np.inf, whole)
    within = np.minimum(late, whole[np.isfinite(late)].max() + 1)
    weights, years = drawn(0, 10), np.arange(25.0)
    middle, low, high = typical_median(late, effects(within, weights), weights, years)
    assert middle == pytest.approx(np.quantile(whole, 0.5), abs=0.5)
    assert low < middle < high
    seldom = np.where(whole > np.quantile(whole, 0.3), np.inf, whole)
    within = np.minimum(seldom, whole[np.isfinite(seldom)].max() + 1)
    assert typical_median(seldom, effects(within, weights), weights, years)[0] == np.inf


def test_a_median_is_never_where_it_mostly_does_not_come_also_with_gaps() -> None:
    """Six of ten stations never; of every station half of the seasons are missing."""
    rng = np.random.default_rng(8)
    whole = world(rng, 10, 24)
    whole[4:] = np.inf
    whole[rng.random(whole.shape) < 0.5] = np.nan
    weights, years = drawn(0, 10), np.arange(24.0)
    for sign in (1.0, -1.0):  # a date that comes late, and one that is early if it never comes
        grid = sign * whole
        last = np.nanmax(np.where(np.isinf(whole), np.nan, whole)) + 1
        found = effects(np.where(np.isinf(whole), sign * last, grid), weights)
        assert typical_median(grid, found, weights, years)[0] == sign * np.inf
    mostly = np.where(np.isinf(whole) & (np.arange(10) < 8)[:, None], 100.0, whole)
    found = effects(np.where(np.isinf(mostly), np.nanmax(whole[:4]) + 1, mostly), weights)
    assert np.isfinite(typical_median(mostly, found, weights, years)[0])


class Stations:
    """Stations of regions of four, and rows of theirs of which only `dormant` varies."""

    def __init__(self, dormant: FloatArray) -> None:
        self.dormant, self.years = dormant, np.arange(2001, 2001 + dormant.shape[1])
        self.southern = np.zeros(len(dormant), dtype=bool)

    def __len__(self) -> int:
        return len(self.dormant)

    def texts(self, column: str, stations: Iterable[int]) -> list[str]:
        return [f"{column} {n // 4}" for n in stations]

    def places(self) -> npt.NDArray[np.int64]:
        """Those of each region are at the places of the first, so that all draw the same."""
        return np.arange(len(self)) % 4

    def normals(self, quantity: str) -> Normals:
        return normals(np.array(self.years, dtype=float), self.grid(quantity))

    def counting(self) -> npt.NDArray[np.int64]:
        return np.ones(self.dormant.shape, dtype=np.int64)

    def grid(self, column: str) -> FloatArray:
        if column == "happened_dormant":
            return np.isfinite(self.dormant).astype(float)
        if column == "dormant":
            return np.where(np.isfinite(self.dormant), self.dormant, np.nan)
        return np.ones(self.dormant.shape)

    def weeks(self, _: str, weeks: int) -> FloatArray:
        return np.full((*self.dormant.shape, weeks), 3.0)


def test_a_region_is_told_the_same_whichever_others_there_are(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    rng = np.random.default_rng(6)
    early, rare, late = world(rng, 4, 20) - 90, world(rng, 4, 20), world(rng, 4, 20) + 150
    rare[:, -7:] = np.inf
    monkeypatch.setattr(SeasonRows, "of", lambda data: data)
    two, three = (
        regional(cast("Kept", Stations(np.concatenate(each))))
        for each in ([early, rare], [early, rare, late])
    )
    for alone, beside in zip(two.regions, three.regions, strict=False):
        this, same = alone.quantities["dormant"], beside.quantities["dormant"]
        np.testing.assert_array_equal(this.by_season, same.by_season)
        for field in fields(RegionQuantity):
            if field.name != "by_season" and not field.name.endswith("_q"):  # q counts all tests
                np.testing.assert_equal(getattr(this, field.name), getattr(same, field.name))
    pairs = [
        next(b for b in each.between if (b.quantity, b.second) == ("dormant", "region 1"))
        for each in (two, three)
    ]
    assert pairs[0] == replace(pairs[1], q=pairs[0].q)
    assert pairs[0].at_least
    beside_late = three.between[[b.quantity for b in three.between].index("dormant") + 2]
    filled = np.where(np.isinf(rare), late.max() + 1, rare)
    assert (beside_late.first, beside_late.second) == ("region 1", "region 2")
    again = interval(one(filled), np.arange(20.0), less=one(late))
    assert beside_late.difference.middle == pytest.approx(again.middle)
    assert beside_late.difference.low == pytest.approx(again.low)


def test_no_difference_is_at_least_so_large_where_the_date_came_everywhere(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A mean of so many ones is 1 but for its last digit."""
    rng = np.random.default_rng(3)
    dormant = np.concatenate([world(rng, 4, 16) + 30 * n for n in range(6)])
    gaps = np.arange(16) < np.repeat(np.arange(6), 4)[:, None]  # one season fewer in each region
    assert len({np.full(n, 1 / n).sum() for n in range(11, 17)}) > 1

    class Shorter(Stations):
        def grid(self, column: str) -> FloatArray:
            return np.where(gaps, np.nan, super().grid(column))

    monkeypatch.setattr(SeasonRows, "of", lambda data: data)
    found = regional(cast("Kept", Shorter(dormant)))
    assert [b for b in found.between if b.at_least] == []
    apart = [b.difference.middle for b in found.between if b.quantity == "dormant"]
    assert min(map(abs, apart)) > 1
    for region in found.regions:
        assert np.isnan(region.quantities["dormant"].happens_trend_p)


def test_dates_on_the_first_day_searched_make_a_difference_larger_or_are_left_out(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    rng = np.random.default_rng(8)
    cool, mild, warm = world(rng, 4, 20) - 30, world(rng, 4, 20), world(rng, 4, 20) + 40
    always = np.full((4, 20), 31.0)
    cool[:, :6] = mild[:, :3] = 31.0  # 1 August

    class Soil(Stations):
        def grid(self, column: str) -> FloatArray:
            return self.dormant if column == "soil_21" else np.ones(self.dormant.shape)

    monkeypatch.setattr(SeasonRows, "of", lambda data: data)
    found = regional(cast("Kept", Soil(np.concatenate([cool, mild, warm, always]))))
    gaps = {(b.first[-1], b.second[-1]): b for b in found.between if b.quantity == "soil_21"}
    # of two that have some, nobody knows which way they pull: the seasons of both that are left
    both = interval(one(cool[:, 6:]), np.arange(14.0), less=one(mild[:, 6:]))
    assert (gaps["0", "1"].seasons, gaps["0", "1"].at_least) == (14, False)
    assert gaps["0", "1"].difference.middle == pytest.approx(both.middle)
    assert gaps["0", "1"].difference.low == pytest.approx(both.low)
    assert np.isnan(gaps["0", "3"].difference.middle)
    assert np.isnan(gaps["1", "3"].difference.middle)
    # of one that comes first they can only make it larger
    for (first, second), values in {("0", "2"): cool, ("1", "2"): mild}.items():
        counted = interval(one(values), np.arange(20.0), less=one(warm))
        assert gaps[first, second].at_least
        assert gaps[first, second].difference.middle == pytest.approx(counted.middle)
        assert counted.middle < 0
    assert gaps["2", "3"].at_least
    assert gaps["2", "3"].difference.middle == pytest.approx(warm.mean() - 31)
    shares = [region.quantities["soil_21"].already for region in found.regions]
    assert shares == [0.3, 0.15, 0.0, 1.0]


def test_a_date_on_the_first_day_searched_of_the_region_that_comes_last_is_left_out(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    rng = np.random.default_rng(9)
    early, late = world(rng, 4, 20) - 40, world(rng, 4, 20)
    late[:, 5] = 31.0

    class Soil(Stations):
        def grid(self, column: str) -> FloatArray:
            return self.dormant if column == "soil_21" else np.ones(self.dormant.shape)

    monkeypatch.setattr(SeasonRows, "of", lambda data: data)
    found = regional(cast("Kept", Soil(np.concatenate([early, late]))))
    gap = next(b for b in found.between if b.quantity == "soil_21")
    assert (gap.seasons, gap.at_least) == (19, False)
    left = np.delete(np.arange(20), 5)
    again = interval(one(early[:, left]), left.astype(float), less=one(late[:, left]))
    assert gap.difference.middle == pytest.approx(again.middle)
    said = [METRIC.text(line) for line in story(findings(found)).lines]
    assert [line for line in said if "first day searched" in line] == [(
        "In region 1 some dates had already come on the first day searched. Differences from them"
        " may be larger, or leave those seasons out."
    )]  # fmt: skip


def test_where_both_have_come_before_it_is_said_that_nobody_knows_how_far_apart(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    class Soil(Stations):
        def grid(self, column: str) -> FloatArray:
            return self.dormant if column == "soil_21" else np.ones(self.dormant.shape)

    monkeypatch.setattr(SeasonRows, "of", lambda data: data)
    found = regional(cast("Kept", Soil(np.full((8, 20), 31.0))))
    said = [METRIC.text(line) for line in story(findings(found)).lines]
    assert any("in region 0 and region 1 soil is mostly cool enough" in line for line in said)


def findings(found: Regional) -> Findings:
    return Findings(found, {region.name: region.name for region in found.regions})


def test_the_chance_of_a_region_changes_as_a_straight_line_through_its_seasons(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Slope of a least-squares line by NumPy; where it always comes there is nothing to test."""
    rng = np.random.default_rng(12)
    always, rare = world(rng, 4, 20), world(rng, 4, 20)
    rare[:, -7:][rng.random((4, 7)) < 0.7] = np.inf
    monkeypatch.setattr(SeasonRows, "of", lambda data: data)
    one, other = regional(cast("Kept", Stations(np.concatenate([always, rare])))).regions
    told = other.quantities["dormant"]
    share = np.isfinite(rare).mean(axis=0)
    assert told.happens_trend is not None
    assert told.happens_trend.middle == pytest.approx(10 * np.polyfit(np.arange(20), share, 1)[0])
    assert told.happens_trend.high < 0
    assert 0 < told.happens_trend_p < 0.05
    assert told.happens_trend_q == pytest.approx(told.happens_trend_p)  # the only one that varies
    assert np.isnan(one.quantities["dormant"].happens_trend_q)


def test_a_winter_fails_where_half_of_the_stations_had_no_week() -> None:
    weeks = np.zeros((3, 4, 5), np.float32)
    weeks[:, 0, 2], weeks[0, 1, 2], weeks[:, 2, 1], weeks[2, 3] = 3, 2, 1, np.nan
    fails = failed(weeks, 2)
    np.testing.assert_array_equal(fails[2], [0, 1, 1, np.nan])
    columns = {"spray_days_total": 3.0, "lost_wet": 9.0, "lost_windy": 1.0, "lost_cold": 8.0}
    columns |= {"lost_warm": 0.0}

    def grid(column: str) -> FloatArray:
        value = np.full((3, 4), columns[column])
        value[:, 3] = 0.5 if column == "lost_cold" else 0.0
        return value

    marks = load("region").table("failing")
    found = list(failing(share_failed(fails, drawn(0, 3), marks), fails, grid, marks))
    assert [(season, reason) for season, reason, _ in found] == [
        (1, "wet"), (2, "wet"), (3, "not_dormant"),
    ]  # fmt: skip
    assert found[0][2] == pytest.approx(2 / 3)
    unknown = share_failed(np.full((3, 4), np.nan), drawn(0, 3), marks)
    assert np.isnan(unknown).all()
    assert not list(failing(unknown, np.full((3, 4), np.nan), grid, marks))


def test_a_winter_that_few_stations_know_is_not_judged() -> None:
    fails = np.array([[1.0, 1.0, 0.0], [np.nan, 1.0, np.nan], [np.nan, np.nan, np.nan]])
    share = share_failed(fails, drawn(0, 3), load("region").table("failing"))
    assert np.isfinite(share).tolist() == [False, True, False]
    assert share[1] == 1.0


def test_regions_say_seasons_stations_and_differences_as_their_climates_do() -> None:
    found = data().regional()
    south, north = found.regions
    assert (south.name, south.stations, north.name, north.stations) == ("south", 1, "north", 2)
    assert not found.of_stations
    opens = next(b for b in found.between if b.quantity == "soil_21")
    assert opens.difference.low > 0  # 5 degrees further south
    assert opens.seasons == len(set(south.seasons) & set(north.seasons))
    typical = south.quantities["soil_21"].typical
    assert typical.low < typical.middle < typical.high
    assert south.stations_per_season.tolist() == [1] * len(south.seasons)
    for quantity in north.quantities.values():
        assert quantity.by_season.shape == north.seasons.shape
    assert south.quantities["last_safe"].median
    assert south.quantities["last_safe"].happens.middle == 0.5
    assert north.quantities["frost_days"].happens is None
    assert [f.reason for f in south.failing] == ["not_dormant"] * 3
    assert not north.failing
    assert (south.judged, north.judged) == (6, 8)
    assert not south.across
    assert south.weekly.by_season.shape == (6, 52)
    assert south.weekly.mean[:15].max() == 0  # not in summer
    apart = found.weeks_between[0]
    np.testing.assert_allclose(apart.middle[29], -0.8, atol=1.5)
    assert found.station_q["soil_21"].shape == (3,)
    tested = [b for b in found.between if np.isfinite(b.p)]
    assert all(b.q >= b.p for b in tested)


def test_one_region_speaks_for_its_own_stations_alone() -> None:
    bare = data().stations
    ids = [*bare["station"].to_pylist(), *(f"OUT{n}" for n in range(7))]
    ten = bare.take([0, 1, 2, *[0] * 7])
    alone = listed_as(ten, station=ids, region=["Coast", *[""] * 9])
    found = findings_of(alone, alone.regional())
    assert [(region.name, region.stations) for region in found.regions] == [("Coast", 1)]
    assert found.regions[0].stations_per_season.max() == 1
    assert sub_line(alone, found, METRIC).startswith("1 station · ")
    assert "this area" not in " ".join(METRIC.text(line).lower() for line in story(found).lines)


def test_stations_of_both_hemispheres_in_one_region_are_found() -> None:
    two = listed_as(data().stations, region=["A", "A", "B"], latitude=[30.0, -32.0, 31.0])
    mixed, other = two.regional().regions
    assert (mixed.across, mixed.southern) == (True, False)
    assert not other.across


def test_the_span_of_winters_is_that_of_both_hemispheres() -> None:
    north, south = two_regions().regions
    north = replace(north, seasons=np.arange(2000, 2011))
    south = replace(south, seasons=np.arange(2000, 2012), southern=True)
    for some in ((north, south), (south, north)):
        line = sub_line(data(), Findings(regional_of(*some), {}), METRIC)
        assert line.endswith("12 winters, 2000 to 2011")
    later = replace(south, seasons=np.arange(2001, 2009))
    line = sub_line(data(), Findings(regional_of(later, north), {}), METRIC)
    assert line.endswith("11 winters, 2000/01 to 2010/11")

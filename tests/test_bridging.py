"""Gaps in the weather and the weeds: told where other years leave little open, else not."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from spoken import render

from windowcast.core.record import Grade, Record
from windowcast.core.site import Site, site_from
from windowcast.core.values import load
from windowcast.season.bridging import bridged
from windowcast.season.model import SiteState
from windowcast.season.state import build
from windowcast.season.weeds import weed
from windowcast.sources.uscrn import read_uscrn
from windowcast.weather.gaps import filled

STATION = Path(__file__).parent / "data" / "uscrn" / "VA_Charlottesville_2_SSE.txt.gz"
COMMON = weed("POAAN").common
GAP_DOUBT = load("weeds").number("common.gap_doubt")


@pytest.fixture(scope="module")
def record() -> Record:
    """Real weather, 2012 to 2020 (NOAA NCEI USCRN, tests/data/ORIGIN.md)."""
    return filled(read_uscrn(STATION))


@pytest.fixture(scope="module")
def site() -> Site:
    return site_from({"name": "gaps", "latitude": 38.0, "longitude": -78.5})


@pytest.fixture(scope="module")
def whole(record: Record, site: Site) -> SiteState:
    return build(record, site)[0]


def without(record: Record, first: str, days: int, spared: tuple[str, ...] = ()) -> Record:
    """The record with nothing known over some days but what is spared."""
    at = int((np.datetime64(first) - record.times[0]).astype(int))
    values = {name: series.copy() for name, series in record.values.items()}
    grades = {name: grade.copy() for name, grade in record.grades.items()}
    for name in values.keys() - set(spared):
        values[name][at : at + days] = np.nan
        grades[name][at : at + days] = Grade.MISSING
    return replace(record, values=values, grades=grades)


def test_other_years_by_hand() -> None:
    """Six years of 2, 3, 2, 3, ... degree days a day, by year; a gap in the third."""
    year = np.floor(np.arange(6 * 365) / 365)
    daily = 2.0 + year % 2
    daily[2 * 365 + 100 : 2 * 365 + 104] = np.nan
    found = bridged(daily, COMMON)
    gap = slice(2 * 365 + 100, 2 * 365 + 104)
    # five other years: 2, 3, 3, 2, 3 a day, mean 2.6; the farthest lies 0.6 off
    np.testing.assert_allclose(found.daily[gap], 2.6)
    np.testing.assert_allclose(found.doubt[gap], 0.6)
    rest = np.ones(len(daily), bool)
    rest[gap] = False
    np.testing.assert_array_equal(found.daily[rest], daily[rest])
    assert not found.doubt[rest].any()


def test_what_no_other_year_shows_stays_unknown() -> None:
    daily = np.ones(4 * 365)
    daily[[0, 500, -1]] = np.nan
    assert np.isnan(bridged(daily, COMMON).daily[[0, 500, -1]]).all()  # three other years: too few
    longer = np.ones((2, 8 * 365))
    longer[:, [0, 500, -1]] = np.nan
    longer[1, 501::365] = np.nan
    found = bridged(longer, COMMON)
    assert np.isnan(found.daily[:, [0, -1]]).all()
    assert found.daily[0, 500] == 1.0
    assert found.doubt[0, 500] == 0.0


@pytest.mark.parametrize(
    ("first", "days"),
    [
        ("2017-07-10", 5),
        ("2018-08-20", 10),
        ("2017-09-20", 6),
        ("2018-10-08", 8),
        ("2018-01-08", 6),
    ],
)
def test_what_is_told_after_a_gap_holds_in_the_whole_record(
    record: Record, site: Site, whole: SiteState, first: str, days: int
) -> None:
    """The gap is cut out of a real record, which itself says what would have been right."""
    dry, _ = build(without(record, first, days, spared=("precip_mm",)), site)
    blind, _ = build(without(record, first, days), site)
    for code, truth in whole.emergence.items():
        found = dry.emergence[code]
        told = np.isfinite(found.share)
        assert (np.abs(found.share - truth.share)[told] <= GAP_DOUBT).all()
        for found in (dry.emergence[code], blind.emergence[code]):
            told = np.isfinite(found.share)
            assert told.sum() >= np.isfinite(truth.share).sum() - 150
            assert (found.share_low - 1e-9 <= truth.share)[told].all()
            assert (truth.share <= found.share_high + 1e-9)[told].all()


def test_a_summer_gap_leaves_the_fall_to_be_told(record: Record, site: Site) -> None:
    seen, _ = build(without(record, "2017-07-10", 5), site)
    season = (seen.dates >= np.datetime64("2017-07-10")) & (
        seen.dates < np.datetime64("2018-06-21")
    )
    assert np.isfinite(seen.emergence["POAAN"].share[season]).all()


def test_a_gap_in_the_flush_cannot_be_told_until_the_flush_is_over(
    record: Record, site: Site, whole: SiteState
) -> None:
    seen, _ = build(without(record, "2017-09-20", 25), site)
    share = seen.emergence["POAAN"].share
    october, march = (
        int(np.searchsorted(seen.dates, np.datetime64(d))) for d in ("2017-10-15", "2018-03-01")
    )
    assert np.isnan(share[october])
    assert whole.emergence["POAAN"].share[october] > 0.2
    assert np.isfinite(share[march])


def test_days_that_other_years_stand_in_for_are_named(record: Record, site: Site) -> None:
    cut = record.between(record.times[0], np.datetime64("2017-11-01"))
    assert not any("no temperature" in render(note) for note in build(cut, site)[0].notes)
    notes = [render(n) for n in build(without(cut, "2017-07-10", 5), site)[0].notes]
    assert any("annual bluegrass: 5 days of this season have no temperature" in n for n in notes)


def test_the_years_a_bridge_needs_can_be_varied() -> None:
    daily = np.ones(4 * 365)
    daily[500] = np.nan
    assert np.isnan(bridged(daily, COMMON).daily[500])
    assert bridged(daily, replace(COMMON, bridge_years=3)).daily[500] == 1.0

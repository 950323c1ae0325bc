"""Of many regions only some pairs are compared by week, drawn and listed; that is said."""

from __future__ import annotations

import re
from itertools import combinations
from typing import cast

import numpy as np
import pytest
from region_fixtures import data
from regions_made_up import between, region, regional_of, weeks_between
from spoken import METRIC
from test_regional import Stations

from windowcast.cli.compare import _print
from windowcast.core.record import FloatArray
from windowcast.region.columns import QUANTITIES
from windowcast.region.grids import Kept, SeasonRows
from windowcast.region.regional import Estimate
from windowcast.region.regional_fit import WEEKLY_PAIRS, regional
from windowcast.report.catalogue import Voice
from windowcast.report.region_findings import Findings
from windowcast.report.region_page import MOST_GAPS, MOST_PAIRS, MOST_STRIPS, region_page
from windowcast.report.region_story import story


class Rising(Stations):
    """Regions each with one spray day more than the one before; the last has no seasons."""

    def grid(self, column: str) -> FloatArray:
        if column != "spray_days_total":
            return super().grid(column)
        days = np.repeat(np.arange(len(self) // 4), 4).astype(float)
        return np.where(days == days.max(), np.nan, days)[:, None] * np.ones_like(self.dormant)


@pytest.mark.parametrize("regions", [16, 18])
def test_the_pairs_compared_by_week_are_those_that_differ_most(
    regions: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    rng = np.random.default_rng(1)
    monkeypatch.setattr(SeasonRows, "of", lambda kept: kept)
    found = regional(cast("Kept", Rising(rng.normal(150, 8, (4 * regions, 6)))))
    pairs = [(w.first, w.second) for w in found.weeks_between]
    number = {each.name: n for n, each in enumerate(found.regions)}
    off = {
        (a.name, b.name): -1 if b is found.regions[-1] else number[b.name] - number[a.name]
        for a, b in combinations(found.regions, 2)
    }
    assert len(pairs) == len(set(pairs)) == WEEKLY_PAIRS
    assert pairs == [pair for pair in off if pair in pairs], "in their order"
    others = [days for pair, days in off.items() if pair not in pairs]
    assert len(others) == len(off) - WEEKLY_PAIRS
    assert min(off[pair] for pair in pairs) >= max(others, default=-1)


def of_regions(count: int) -> Findings:
    """So many regions, each with more spray days than the one before."""
    regions = [
        region(f"Area {n:02d}", Estimate(10.0 + n, 8.0 + n, 12.0 + n), 1 + n / 20, seed=n)
        for n in range(count)
    ]
    pairs = list(combinations(regions, 2))
    apart = []
    for a, b in pairs:
        most, few = (each.quantities["spray_days_total"].typical.middle for each in (a, b))
        less = most - few
        apart += [
            between(a.name, b.name, name, Estimate(less, less - 1, less + 1)) for name in QUANTITIES
        ]
    weeks = tuple(weeks_between(a, b) for a, b in pairs[-WEEKLY_PAIRS:])
    told = regional_of(*regions, between=tuple(apart), weeks_between=weeks)
    return Findings(told, {each.name: each.name for each in regions})


def test_a_page_of_many_regions_says_what_it_leaves_out() -> None:
    count = MOST_STRIPS + 2
    page = region_page(data(), of_regions(count), METRIC)
    pairs = count * (count - 1) // 2
    for said in (
        f"{MOST_PAIRS} of {WEEKLY_PAIRS} pairs are drawn: those whose spray days differ most. ",
        f" Week by week {WEEKLY_PAIRS} of {pairs} pairs are compared",
        f"{MOST_STRIPS} of {count} regions are drawn.",
        f"{MOST_GAPS} of {pairs} pairs are listed",
    ):
        assert said in page, said
    (table,) = re.findall(r'<table class="sortable gaps">.*?</table>', page, re.DOTALL)
    assert table.count("<tr>") == MOST_GAPS + 1
    assert table.index("Area 41") < table.index("Area 40"), "the pair most apart comes first"
    assert page.count('class="chart fluid ribbons"') == MOST_PAIRS
    assert page.count('class="chart fluid strip"') == MOST_STRIPS
    ids = re.findall(r' id="([^"]+)"', page)
    assert len(ids) == len(set(ids))
    drawings = re.findall(r'<svg class="chart fluid ribbons".*?</svg></svg>', page, re.DOTALL)
    assert len(drawings) == MOST_PAIRS
    for drawn in drawings:
        assert len(set(re.findall(r'class="ribbon (r\d)"', drawn))) == 2, "told apart by color"
    spanish = region_page(data(), of_regions(count), Voice("metric", "es"))
    assert f"se comparan {WEEKLY_PAIRS} de {pairs} " in spanish


def test_sentences_about_many_regions_name_the_two_that_differ_most() -> None:
    """Six of them are named; the last listed has the most spray days."""
    lines = [METRIC.text(line) for line in story(of_regions(9)).lines]
    assert lines[0].startswith(
        "In an average winter Area 08 has 18 spray days on fully dormant turf (16 to 20), "
        "Area 00 10 (8 to 12), Area 01 11 (9 to 13), "
    )
    assert "Area 05" not in " ".join(lines)
    assert sum("in each of 22 winters" in line for line in lines) == 6
    few = [METRIC.text(line) for line in story(of_regions(4)).lines]
    assert few[0].startswith("In an average winter Area 00 has 10 ")


def test_of_a_few_regions_nothing_is_left_out() -> None:
    page = region_page(data(), of_regions(4), METRIC)
    assert "pairs are" not in page
    assert "regions are drawn" not in page


@pytest.mark.parametrize(("count", "said"), [(18, True), (16, False)])
def test_the_terminal_says_how_many_pairs_are_compared_by_week(
    count: int, said: bool, capsys: pytest.CaptureFixture[str]
) -> None:
    _print(data(), of_regions(count), METRIC)
    lines = " ".join(capsys.readouterr().out.split())
    assert ("Week by week 120 of 153 pairs are compared" in lines) == said

"""Ribbons of two regions: each by the dates of its own hemisphere."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from regions_made_up import two_regions
from spoken import METRIC

from windowcast.region.columns import day_label, day_of_season
from windowcast.report.chartkit import Chart
from windowcast.report.region_findings import Findings
from windowcast.report.region_page import _pairs
from windowcast.report.region_ribbons import Winter, winter_of

TEXT = re.compile(
    r'<text x="([\d.]+)%" y="([\d.]+)" class="(lab[^"]*)"[^>]*>([A-Z][a-z]{2})</text>'
)
WINTER = ["Dec", "Jan", "Feb", "Mar"]
SOUTHERN_WINTER = ["Jun", "Jul", "Aug", "Sep"]


def of_hemispheres(*, first: bool, second: bool) -> Findings:
    """Two regions, southern or not."""
    found = two_regions()
    regions = tuple(
        replace(region, southern=southern)
        for region, southern in zip(found.regions, (first, second), strict=True)
    )
    return replace(found, regional=replace(found.regional, regions=regions))


def drawn(first: bool, second: bool) -> tuple[Chart, Winter]:
    """Their ribbons, on an axis that was made for northern ones."""
    found = of_hemispheres(first=first, second=second)
    weeks = [region.weekly.mean for region in found.regions if region.weekly is not None]
    winter = winter_of(weeks, southern=False)
    numbers = {region.name: n for n, region in enumerate(found.regions)}
    (chart,) = _pairs(found, winter, numbers, METRIC)
    return chart, winter


def months(chart: Chart) -> dict[tuple[str, str], list[tuple[float, str]]]:
    """Places and names of months by class and height of their row."""
    rows: dict[tuple[str, str], list[tuple[float, str]]] = {}
    for place, y, kind, name in TEXT.findall(chart.svg):
        rows.setdefault((kind, y), []).append((float(place), name))
    return rows


@pytest.mark.parametrize(("south", "names"), [(False, WINTER), (True, SOUTHERN_WINTER)])
def test_regions_of_one_hemisphere_have_its_months_once(south: bool, names: list[str]) -> None:
    chart, winter = drawn(south, south)
    ((_, row),) = months(chart).items()
    assert [name for _, name in row] == names
    assert "Months" not in chart.desc
    first, last = (day_label(7 * week, southern=south) for week in (winter.first, winter.stop - 1))
    assert (chart.rows[0][0], chart.rows[-1][0]) == (first, last)


@pytest.mark.parametrize("first_south", [False, True])
def test_a_northern_region_beside_a_southern_one_has_its_own_months(first_south: bool) -> None:
    chart, winter = drawn(first_south, not first_south)
    rows = months(chart)
    assert [kind for kind, _ in rows] == ["lab r0", "lab r1"], "in the colors of their ribbons"
    named = [[name for _, name in row] for row in rows.values()]
    assert named == ([SOUTHERN_WINTER, WINTER] if first_south else [WINTER, SOUTHERN_WINTER])
    for southern, row in zip((first_south, not first_south), rows.values(), strict=True):
        days = 7 * (winter.stop - winter.first)
        for place, name in row:  # where that month begins, to a tenth of a day
            day = 7 * winter.first + place / 100 * days
            assert day == pytest.approx(round(day), abs=0.1)
            date = day_of_season(round(day), southern=southern)
            assert (date.day, f"{date:%b}") == (1, name)
    assert chart.desc.endswith("the upper row for Coastal plain, the lower for Highlands.")
    assert chart.columns[0] == "Week from (Coastal plain / Highlands)"
    for n, week in enumerate(range(winter.first, winter.stop)):
        both = [day_label(7 * week, southern=south) for south in (first_south, not first_south)]
        assert chart.rows[n][0] == " / ".join(both)


def test_a_southern_region_alone_has_southern_months() -> None:
    found = of_hemispheres(first=True, second=True)
    region = found.regions[0]
    alone = replace(found, regional=replace(found.regional, regions=(region,)))
    assert region.weekly is not None
    winter = winter_of([region.weekly.mean], southern=False)
    (chart,) = _pairs(alone, winter, {region.name: 0}, METRIC)
    ((_, row),) = months(chart).items()
    assert [name for _, name in row] == SOUTHERN_WINTER

"""The comparison in a browser: labels apart, nothing sideways, the map's layers by choice."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from boxes import MEASURE
from region_fixtures import data
from regions_made_up import regional_of, two_regions, with_difference
from test_region_ribbons import of_hemispheres

from windowcast.region.regional import Estimate
from windowcast.report.catalogue import Voice
from windowcast.report.region_findings import Findings
from windowcast.report.region_page import region_page

WIDTHS = (320, 360, 768, 1280)


def _findings(kind: str) -> Findings:
    if kind == "two":
        return two_regions("south", "north")
    if kind == "long names":
        return two_regions("Gulf Coastal Plain of Alabama", "Cumberland Plateau and Ridges")
    if kind == "hemispheres":
        return of_hemispheres(first=False, second=True)
    if kind == "turned":
        return with_difference(two_regions(), "spray_days_total", Estimate(-9.0, -15.0, -3.0))
    one = two_regions().regions[1]
    return Findings(regional_of(one), {one.name: ""})


@pytest.fixture
def page_of(tmp_path: Path) -> Callable[..., str]:
    def write(kind: str, lang: str) -> str:
        text = region_page(replace(data(), notes=("a note",)), _findings(kind), Voice("us", lang))
        (tmp_path / "index.html").write_text(text, "utf-8")
        return (tmp_path / "index.html").as_uri()

    return write


@pytest.mark.parametrize(
    ("kind", "lang"),
    [
        ("two", "es"),
        ("long names", "en"),
        ("turned", "en"),
        ("one", "en"),
        ("hemispheres", "es"),
    ],
)
def test_no_label_lies_on_a_line_or_another_label_and_nothing_runs_sideways(
    page_of: Callable[..., str], visit: Callable[..., Any], kind: str, lang: str
) -> None:
    page = visit(page_of(kind, lang))
    page.evaluate("document.querySelectorAll('main details').forEach(d => { d.open = true })")
    charts = page.query_selector_all("main svg.chart")
    assert len(charts) >= 16
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 900})
        found = [chart.evaluate(MEASURE) for chart in charts]
        for each in found:
            assert (width, each["struck"], each["covered"], each["outside"]) == (
                width, [], [], [],
            )  # fmt: skip
        assert all(each["clear"] >= 0 for each in found), width


def test_all_of_the_finding_is_seen_at_once_on_a_desk(
    page_of: Callable[..., str], visit: Callable[..., Any]
) -> None:
    page = visit(page_of("two", "en"), viewport={"width": 1280, "height": 1000})
    for part in ("h1", ".found .line:last-of-type", "svg.ribbons", "svg.strip >> nth=1"):
        box = page.locator(part).bounding_box()
        assert box["y"] + box["height"] <= 1000, part
    left, right = (page.locator("svg.strip").nth(n).bounding_box() for n in (0, 1))
    assert left["y"] == right["y"]
    page.set_viewport_size({"width": 360, "height": 740})
    order = [page.locator(part).first.bounding_box()["y"] for part in
             ("h1", ".line", "svg.ribbons", "svg.strip", ".map")]  # fmt: skip
    assert order == sorted(order)


def test_the_map_shows_what_is_chosen_without_a_script(
    page_of: Callable[..., str], chromium: Any
) -> None:
    context = chromium.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(page_of("two", "en"))
    assert page.locator(".map .place").first.is_visible()
    assert not page.locator(".map circle").first.is_visible()
    page.get_by_text("turf dormant", exact=True).first.click()
    assert not page.locator(".map .place").first.is_visible()
    seen = [dot for dot in page.locator(".map circle[class^=dot]").all() if dot.is_visible()]
    assert 3 <= len(seen) <= 9, "one layer and its legend"
    context.close()

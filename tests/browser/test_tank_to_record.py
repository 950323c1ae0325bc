"""From an open window to a stored spray record, by clicks in a real browser."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest

KEPT = """
[[sprayer]]
name = "Big boom"
tank = "300 gal"
carrier = "40 gal/acre"

[[area]]
name = "greens"
size = "3 acre"
"""
LABELS = """
[[products]]
name = "Shed jug"
active = "glyphosate"
concentration = "4 lb/gal"
formulation = "SL"
rate = "16 fl oz/acre"
"""


@pytest.mark.parametrize("lang", ["en", "es"])
def test_the_crew_sheet_of_a_tank_that_waits_is_one_page_with_a_place_to_sign(
    own_site: Any, visit: Callable[..., Any], lang: str
) -> None:
    tank = (
        "purpose=dormant&area=12+acre&carrier=40+gal/acre&tank=300+gal&p0.name=glyphosate"
        "&p0.rate=16+fl+oz/acre&p0.concentration=4+lb/gal"
    )
    page = visit(
        f"{own_site.url}/s/own/plan/tank?{tank}&lang={lang}", viewport={"width": 360, "height": 740}
    )
    button = page.locator("a.button[href*='/plan/crew']")
    assert button.bounding_box()["y"] < 740  # no scrolling to it
    with page.expect_navigation():
        button.click()
    text = page.inner_text(".crew").replace("\N{NO-BREAK SPACE}", " ")
    first, hours = {
        "en": ("Do not start before your supervisor has signed below.", "Sunday 21 January 2018"),
        "es": ("No empiece antes de que su supervisor firme abajo.", "Domingo, 21 de enero"),
    }[lang]
    assert first in text  # nobody entered how much the label allows in a year
    assert hours in text  # the best window for what is in this tank, not for the site
    assert page.locator(".signs-by-hand dt").count() == 9
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    assert len(re.findall(rb"/Type\s*/Page\b", page.pdf(format="Letter"))) == 1


@pytest.mark.parametrize("screen", ["today", "plan"])
def test_the_tank_sheet_is_reached_without_scrolling(
    reading: Any, visit: Callable[..., Any], screen: str
) -> None:
    page = visit(f"{reading.url}/s/own/{screen}", viewport={"width": 360, "height": 740})
    box = page.locator("main a.button[href*='/plan/tank?purpose=dormant']").first.bounding_box()
    assert box["y"] + box["height"] <= 740
    with page.expect_navigation():
        page.locator("main a.button[href*='/plan/tank?purpose=dormant']").first.click()
    assert page.locator("#f-area").bounding_box()["y"] <= 740


@pytest.mark.parametrize("width", [390, 1280])
def test_from_an_open_window_to_a_stored_record(
    own_site: Any, visit: Callable[..., Any], width: int
) -> None:
    file = own_site.folder / "own.toml"
    (own_site.folder / "labels").mkdir()
    (own_site.folder / "labels" / "own.toml").write_text(LABELS)
    head = 'materials_file = "labels/own.toml"\nstock = ["glyphosate"]\n'
    text = file.read_text()
    for line in ('name = "R. Vega"', 'certification = "C-17"'):
        text = text.replace(f"# {line}", line)
    file.write_text(head + text + KEPT)
    page = visit(f"{own_site.url}/s/own/today", viewport={"width": width, "height": 900})
    clicks = 0
    for what in (
        ".card a[href*='plan/tank?purpose=dormant']",
        "button:text('Log this application')",
    ):
        with page.expect_navigation():
            page.click(what)
        clicks += 1
        assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert clicks <= 5
    text = page.inner_text("main")
    assert "This application is in the log" in text
    assert "Still to enter, as many states ask" in text
    for said in ("greens", "3 acre", "Shed jug", "R. Vega", "C-17", "Dormant application"):
        assert said in text

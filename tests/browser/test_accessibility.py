"""axe-core (as packed in axe-playwright-python) on every screen: no finding of any level."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any
from urllib.request import urlopen

import pytest

TANK = (
    "/s/own/plan/tank?area=12+acre&carrier=40+gal/acre&tank=300+gal&p0.name=glyphosate"
    "&p0.rate=16+fl+oz/acre&p0.concentration=4+lb/gal"
)
SCREENS = (
    "/s/own/today",
    "/s/own/season",
    "/s/own/plan",
    TANK,
    "/s/own/plan/tank?area=12",
    TANK.replace("/tank?", "/crew?"),
    "/s/own/plan/seasons",
    "/s/own/log",
    "/s/own/log/new/application",
    "/s/own/log/APPLICATION",
    "/s/own/log/APPLICATION/record",
    "/s/own/review",
    "/s/own/compare",
    "/s/own/settings",
    "/new?place=spring",
    "/s/none/today",
    "/weeds",
    "/actives",
    "/actives/glyphosate",
    "/away",
)


# of what passes one element each: that list took most of the time
LOOKED_AT = {"rules": {"target-size": {"enabled": True}}, "resultTypes": ["violations"]}


@pytest.mark.parametrize("path", SCREENS)
def test_no_finding_of_any_level(reading: Any, visit: Callable[..., Any], path: str) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="browser extra")
    page = visit(reading.url + _address(reading, path), viewport={"width": 360, "height": 900})
    page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true })")
    for scheme, width in (("light", 360), ("dark", 1280)):
        page.emulate_media(color_scheme=scheme)
        page.set_viewport_size({"width": width, "height": 900})
        found = axe.Axe().run(page, options=LOOKED_AT).response["violations"]
        said = [
            (v["id"], v["help"], [node["html"][:160] for node in v["nodes"][:3]]) for v in found
        ]
        assert said == [], (scheme, width)


def test_the_check_notices_a_finding_of_the_lowest_level(
    reading: Any, visit: Callable[..., Any]
) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="browser extra")
    page = visit(f"{reading.url}/s/none/today")
    page.evaluate("document.querySelector('main').append(document.createElement('h5'))")
    page.evaluate("document.querySelector('h5').textContent = 'a level left out'")
    found = axe.Axe().run(page, options=LOOKED_AT).response["violations"]
    assert [v["impact"] for v in found if v["id"] == "heading-order"] == ["moderate"]


def test_nothing_shifts_while_a_page_comes_in(reading: Any, visit: Callable[..., Any]) -> None:
    """Cumulative layout shift is 0 on a phone and on a desk."""
    measure = """() => new Promise(done => {
      let sum = 0;
      new PerformanceObserver(list => list.getEntries().forEach(e => { sum += e.value; }))
        .observe({ type: "layout-shift", buffered: true });
      setTimeout(() => done(sum), 300);
    })"""
    for width in (360, 1280):
        page = visit("about:blank", viewport={"width": width, "height": 740})
        for screen in ("today", "season", "plan"):
            page.goto(f"{reading.url}/s/own/{screen}")
            assert page.evaluate(measure) == 0, (width, screen)


def _address(server: Any, path: str) -> str:
    """The path with the id of the logged application in its place."""
    with urlopen(f"{server.url}/api/sites/own/log?kind=application") as answer:
        return path.replace("APPLICATION", json.load(answer)[0]["id"])

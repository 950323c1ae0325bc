"""axe-core (as packed in axe-playwright-python) on every screen: no serious finding."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any
from urllib.request import urlopen

import pytest

TANK = (
    "/s/own/plan?area=12+acre&carrier=40+gal/acre&tank=300+gal&p0.name=glyphosate"
    "&p0.rate=16+fl+oz/acre&p0.concentration=4+lb/gal"
)
SCREENS = (
    "/s/own/today",
    "/s/own/season",
    "/s/own/plan",
    TANK,
    "/s/own/plan?area=12",
    "/s/own/log",
    "/s/own/log/new/application",
    "/s/own/log/APPLICATION",
    "/s/own/log/APPLICATION/record",
    "/s/own/review",
    "/s/own/compare",
    "/s/own/settings",
    "/new?place=spring",
    "/s/none/today",
)


@pytest.mark.parametrize("path", SCREENS)
def test_no_serious_finding(reading: Any, visit: Callable[..., Any], path: str) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="browser extra")
    page = visit(reading.url + _address(reading, path), viewport={"width": 800, "height": 900})
    page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true })")
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        found = axe.Axe().run(page).response["violations"]
        serious = [
            (v["id"], v["help"], [node["html"][:160] for node in v["nodes"][:3]])
            for v in found
            if v["impact"] in {"serious", "critical"}
        ]
        assert serious == [], scheme


def _address(server: Any, path: str) -> str:
    """The path with the id of the logged application in its place."""
    with urlopen(f"{server.url}/api/sites/own/log?kind=application") as answer:
        return path.replace("APPLICATION", json.load(answer)[0]["id"])

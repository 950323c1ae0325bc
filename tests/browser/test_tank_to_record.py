"""From an open window to a stored spray record, by clicks in a real browser."""

from __future__ import annotations

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
    for said in ("greens", "3 acre", "Shed jug", "R. Vega", "C-17", "dormant"):
        assert said in text

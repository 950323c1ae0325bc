"""The season's picture in a browser: no label on a line or another label, and a day read out."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from boxes import MEASURE


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_label_lies_on_a_line_or_another_label(
    reading: Any, visit: Callable[..., Any], scheme: str
) -> None:
    page = visit(f"{reading.url}/s/own/season", color_scheme=scheme)
    for width in (320, 360, 412, 600, 768, 1024, 1280, 1920):
        page.set_viewport_size({"width": width, "height": 900})
        found = page.evaluate(MEASURE)
        assert found["texts"] > 30
        assert found["points"] > 2000
        assert (width, found["struck"], found["covered"], found["outside"]) == (width, [], [], [])
        assert found["clear"] == 0


def test_the_check_of_boxes_notices(reading: Any, visit: Callable[..., Any]) -> None:
    page = visit(f"{reading.url}/s/own/season")
    page.evaluate("""() => {
      const soil = document.querySelector(".plot.soil svg"), make = x => {
        const text = document.createElementNS("http://www.w3.org/2000/svg", "text");
        for (const [name, value] of [["x", x], ["y", "50%"]]) text.setAttribute(name, value);
        text.textContent = "on a line";
        soil.append(text);
      };
      make("20%"); make("21%");
    }""")
    found = page.evaluate(MEASURE)
    assert any("on a line" in words for words in found["struck"])
    assert any("on a line" in words for words in found["covered"])


def test_a_day_is_read_with_pointer_and_keys(reading: Any, visit: Callable[..., Any]) -> None:
    page = visit(f"{reading.url}/s/own/season")
    head, slider = page.locator(".timeline p.name"), page.get_by_role("slider")
    assert "Pick a day" in head.inner_text()
    height = page.evaluate("document.querySelector('.timeline').offsetHeight")
    box = page.locator(".plot.soil").bounding_box()
    page.mouse.move(box["x"] + box["width"] * (78.5 / 365), box["y"] + 30)
    assert head.inner_text() == "Sun 17 Sep"
    assert "°F" in page.locator("div.name .read").first.inner_text()
    assert page.locator("div.name .note").first.is_hidden()
    page.mouse.move(2, 2)
    assert "Pick a day" in head.inner_text()
    slider.focus()
    for key, day in (("ArrowRight", "Mon 18 Sep"), ("ArrowLeft", "Sun 17 Sep"),
                     ("PageUp", "Sun 24 Sep"), ("Home", "Sat 1 Jul"), ("ArrowLeft", "Sat 1 Jul"),
                     ("End", "Sat 30 Jun")):  # fmt: skip
        page.keyboard.press(key)
        assert head.inner_text() == day
        spoken = slider.get_attribute("aria-valuetext").replace("\N{NO-BREAK SPACE}", " ")
        assert spoken.startswith(f"{day}. Soil at 2 in: ")
    assert page.evaluate("document.querySelector('.timeline').offsetHeight") == height


def test_a_tap_reads_a_day_on_a_phone(reading: Any, visit: Callable[..., Any]) -> None:
    page = visit(
        f"{reading.url}/s/own/season", viewport={"width": 360, "height": 740}, has_touch=True
    )
    page.locator(".plot.turf").scroll_into_view_if_needed()
    box = page.locator(".plot.turf").bounding_box()
    page.touchscreen.tap(box["x"] + box["width"] * (170.5 / 365), box["y"] + 5)
    assert page.locator(".timeline p.name").inner_text() == "Mon 18 Dec"
    assert "likely" in page.locator("div.name .read").nth(3).inner_text()


def test_without_a_script_the_table_says_the_same(reading: Any, visit: Callable[..., Any]) -> None:
    page = visit(f"{reading.url}/s/own/season", java_script_enabled=False)
    page.get_by_text("The numbers").first.click()
    rows = page.locator("table.weeks tbody tr")
    assert rows.count() == 53
    assert "°F" in rows.first.inner_text()
    assert len(page.content()) < 150_000

"""An hour of a day panel read check by check: with a pointer, a tap, the keys, and no script."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any


def _tap(page: Any, day: int, share: float) -> None:
    """Tap a day's picture, this far from its left end."""
    chart = page.locator(".day-hours").nth(day)
    chart.scroll_into_view_if_needed()
    box = chart.bounding_box()
    page.touchscreen.tap(box["x"] + box["width"] * share, box["y"] + 20)


def test_a_tap_says_each_check_and_moves_nothing(reading: Any, visit: Callable[..., Any]) -> None:
    view = {"width": 360, "height": 740}
    page = visit(f"{reading.url}/s/own/today", viewport=view, has_touch=True)
    height = page.evaluate("document.querySelector('.day-grid').offsetHeight")
    _tap(page, 2, 0.6)
    card = page.locator(".hour-card")
    text = card.inner_text().replace("\N{NO-BREAK SPACE}", " ")
    assert text.startswith("Sat 20, 13:00: ")
    # what is against the hour first; what fits is one step away
    assert "Air temperature: 54 °F, slow uptake" in text
    assert "Wind: 6 mph" not in text
    assert len(text.splitlines()) <= 8
    card.get_by_text("Checks that fit: ").tap()
    text = card.inner_text().replace("\N{NO-BREAK SPACE}", " ")
    assert "Wind: 6 mph, fits (best 3 to 8 mph)" in text
    assert page.evaluate("document.querySelector('.day-grid').offsetHeight") == height
    assert page.evaluate("document.documentElement.scrollWidth") <= view["width"]
    page.locator("h1").tap()
    assert card.is_hidden()


def test_the_arrow_keys_read_hour_by_hour(reading: Any, visit: Callable[..., Any]) -> None:
    page = visit(f"{reading.url}/s/own/today")
    page.locator(".day summary").nth(2).focus()
    card = page.locator(".hour-card b")
    for key, start in (("ArrowRight", "Sat 20, 08:00"), ("ArrowRight", "Sat 20, 09:00"),
                       ("ArrowLeft", "Sat 20, 08:00"), ("ArrowLeft", "Sat 20, 08:00")):  # fmt: skip
        page.keyboard.press(key)
        assert card.inner_text().startswith(start)
    page.keyboard.press("Escape")
    assert card.is_hidden()


def test_without_a_script_the_table_has_every_hour(reading: Any, visit: Callable[..., Any]) -> None:
    page = visit(f"{reading.url}/s/own/today", java_script_enabled=False)
    page.get_by_text("Every hour, every check").first.click()
    rows = page.locator(".hour-checks").first.locator("tbody tr")
    assert rows.count() >= 10 * 9
    assert page.get_by_text("Tap an hour").is_hidden()
    assert len(page.content()) < 150_000

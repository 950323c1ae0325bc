"""Every other chart in a browser: no label on a line or another label, none cut off."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from boxes import MEASURE

WIDTHS = (320, 360, 480, 768, 1024, 1280, 1920)


@pytest.mark.parametrize("screen", ["today", "season", "plan", "plan/seasons", "compare", "review"])
@pytest.mark.parametrize("lang", ["en", "es"])
def test_no_label_of_a_chart_lies_on_a_line_or_another_label(
    reading: Any, visit: Callable[..., Any], screen: str, lang: str
) -> None:
    page = visit(f"{reading.url}/s/own/{screen}?lang={lang}")
    page.evaluate("document.querySelectorAll('main details').forEach(d => { d.open = true })")
    charts = page.query_selector_all("main svg.chart, main .chart > svg")
    assert charts
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 900})
        for chart in charts:
            found = chart.evaluate(MEASURE)
            assert (width, found["struck"], found["covered"], found["outside"]) == (
                width, [], [], [],
            )  # fmt: skip

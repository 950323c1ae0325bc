"""The picture of a lived season in a browser: no label on a line or another label, none cut off."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any, get_args

import pytest
from boxes import MEASURE
from stories_made_up import SEASON

from windowcast.report.advice_story import stories
from windowcast.report.catalogue import Voice
from windowcast.verify.regret import Cause
from windowcast.windows.model import PURPOSES


@pytest.mark.parametrize("lang", ["en", "es"])
def test_no_label_of_a_lived_season_lies_on_a_line_or_another_label(
    visit: Callable[..., Any], tmp_path: Path, lang: str
) -> None:
    worst = [
        replace(SEASON, cause=cause, purpose=purpose)
        for cause in get_args(Cause)
        if cause != "none"
        for purpose in PURPOSES
    ]
    (tmp_path / "all.html").write_text("<!doctype html><meta charset=utf-8>", "utf-8")
    page = visit(f"file://{tmp_path}/all.html", viewport={"width": 700, "height": 900})
    for one in stories(worst, Voice("metric", lang)):
        page.set_content(f"<style>* {{ margin: 0 }}</style>{one.svg}")
        found = page.query_selector("svg").evaluate(MEASURE)
        assert found["texts"] > 20
        assert (found["struck"], found["covered"], found["outside"]) == ([], [], [])

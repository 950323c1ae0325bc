"""How much there is to read on Today, and how heavy each page is."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any
from urllib.request import urlopen

import pytest

# Words of the first answer that a reader sees before opening anything; the ticks of drawings are
# no words.
READ = r"""() => {
  const card = document.querySelector(".card.board"), seen = [];
  const walk = document.createTreeWalker(card, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const text = walk.currentNode, range = document.createRange();
    if (text.parentElement.closest(".sr, svg") || !text.parentElement.checkVisibility()) continue;
    range.selectNodeContents(text);
    if ([...range.getClientRects()].some(box => box.width * box.height > 1)) seen.push(text.data);
  }
  return seen.join(" ").split(/\s+/).filter(word => word);
}"""
PAGES = ("/s/own/today", "/s/own/season", "/s/own/plan", "/s/own/plan/tank", "/s/own/plan/seasons",
         "/s/own/log", "/s/own/log/new/application", "/s/own/review", "/s/own/compare",
         "/s/own/settings", "/s/own/page.html", "/new", "/weeds", "/actives", "/actives/glyphosate",
         "/static/windowcast.css")  # fmt: skip


@pytest.mark.parametrize("lang", ["en", "es"])
@pytest.mark.parametrize("width", [360, 1280])
def test_the_answer_is_read_in_180_words(
    reading: Any, visit: Callable[..., Any], lang: str, width: int
) -> None:
    view = {"width": width, "height": 740}
    page = visit(f"{reading.url}/s/own/today?lang={lang}", viewport=view)
    words = page.evaluate(READ)
    assert 60 < len(words) <= 180
    assert words[0] in ("Spray", "Aplique")
    page.evaluate("document.querySelectorAll('.card details').forEach(d => { d.open = true })")
    assert len(page.evaluate(READ)) > 400  # what is folded would be counted


@pytest.mark.parametrize("lang", ["en", "es"])
def test_no_page_is_heavier_than_150_kb(reading: Any, lang: str) -> None:
    with urlopen(f"{reading.url}/api/sites/own/log?kind=application") as answer:
        record = f"/s/own/log/{json.load(answer)[0]['id']}/record"
    weights = {}
    for path in (*PAGES, record):
        with urlopen(f"{reading.url}{path}?lang={lang}") as answer:
            weights[path] = len(answer.read())
    assert {path: weight for path, weight in weights.items() if weight > 150_000} == {}

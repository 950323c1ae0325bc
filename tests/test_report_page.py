"""The page file: self-contained, escaped, complete (parsed with html.parser)."""

from __future__ import annotations

import re
from html.parser import HTMLParser

import pytest
from report_fixtures import HOSTILE, answer, plan
from spoken import render, voice_of

from windowcast.report.answer_page import answer_view
from windowcast.report.page import render_page

VOID = {"meta", "link", "input", "br", "img", "hr"}


class _Reader(HTMLParser):
    """Collects elements, text and any imbalance."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def _read(html: str) -> _Reader:
    reader = _Reader()
    reader.feed(html)
    assert reader.open == []
    return reader


@pytest.fixture(scope="module")
def page() -> _Reader:
    made = answer(units="us")
    return _read(render_page(made, plans=[plan()], voice=voice_of(made)))


def test_page_needs_nothing_from_anywhere(page: _Reader) -> None:
    for tag, attrs in page.elements:
        assert tag not in {"script", "link", "img", "iframe", "object"}
        for name, value in attrs.items():
            assert not name.startswith("on")
            assert name != "style"
            assert "://" not in (value or "")
    assert "url(http" not in "".join(page.words)


def test_ids_are_unique_and_labels_point_to_them(page: _Reader) -> None:
    ids = [attrs["id"] for _, attrs in page.elements if "id" in attrs]
    assert len(ids) == len(set(ids))
    for _, attrs in page.elements:
        for target in (attrs.get("aria-labelledby") or "").split():
            assert target in ids


def test_page_answers_first_and_carries_the_cautions(page: _Reader) -> None:
    text = " ".join(" ".join(page.words).split())
    first = next(attrs for tag, attrs in page.elements if tag == "h2")
    assert first["class"] == "answer"
    assert text.index("Spray Wed 8 Nov, 10:00 to 15:00.") < text.index("Cannot tell")
    for caution in answer().ranking.cautions:
        assert render(caution) in text


def test_every_chart_has_a_table_behind_it(page: _Reader) -> None:
    charts = sum(1 for tag, attrs in page.elements if attrs.get("class") == "chart")
    figures = sum(1 for tag, _ in page.elements if tag == "figure")
    assert charts == figures == 0  # the season is one picture
    pictures = sum(1 for tag, attrs in page.elements if attrs.get("class") == "timeline")
    tables = sum(1 for tag, attrs in page.elements if attrs.get("class") == "weeks")
    assert pictures == tables == 1


def test_every_day_ahead_says_its_weather_and_its_hours_in_words(page: _Reader) -> None:
    days = [
        attrs
        for tag, attrs in page.elements
        if tag == "details" and "day" in (attrs.get("class") or "").split()
    ]
    assert len(days) == 2 * 7  # two open applications
    text = " ".join(" ".join(page.words).split())
    assert "wind unknown" in text  # of the last day
    assert "air temperature 47 °F" in text  # what limits an hour, with its value


def test_hostile_site_name_stays_text() -> None:
    made = answer(site=HOSTILE)
    reader = _read(render_page(made, plans=[plan(site=HOSTILE)], voice=voice_of(made)))
    assert not [tag for tag, _ in reader.elements if tag == "script"]
    assert HOSTILE in "".join(reader.words)


def test_only_a_sample_is_called_one() -> None:
    assert not answer_view(answer(), voice_of(answer())).sample


def test_no_id_stands_twice_on_a_page_of_several_areas() -> None:
    text = render_page(
        answer(), answer(), answer(), plans=[plan(), plan(), plan()], voice=voice_of(answer())
    )
    ids = re.findall(r'\bid="([^"]+)"', text)
    repeated = {one for one in ids if ids.count(one) > 1}
    assert not repeated

"""No screen in Spanish holds a sentence of the English catalogue."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from functools import cache
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from web_fixtures import client, make_site

from windowcast.cli import cli
from windowcast.records.model import KINDS, fields_of
from windowcast.report.catalogue import Voice, catalogue
from windowcast.web.log_forms import asked_in

SCREENS = ("today", "season", "plan", "log", "review", "compare", "settings", "plan/seasons",
           "plan/crew", "log/new/application", "log/new/resistance", "log/new/rating")  # fmt: skip


@cache
def english() -> tuple[str, ...]:
    """Every stretch of three words and more that English says and Spanish says otherwise."""
    spanish = " ".join(_texts(catalogue("es").raw)).lower()
    found: dict[str, None] = {}
    for text in _texts(catalogue("en").raw):
        for part in re.split(r"\{[^}]*\}|[.:;]\s", text):
            said = part.strip(" .,:;()–-").lower()
            if len(said.split()) >= 3 and said not in spanish:
                found[said] = None
    return tuple(found)


def _texts(raw: Mapping[str, Any]) -> Iterator[str]:
    for value in raw.values():
        if isinstance(value, str):
            yield value
        elif isinstance(value, Mapping):
            yield from _texts({k: v for k, v in value.items() if k != "count"})


def left_in_english(text: str) -> list[str]:
    said = " ".join(text.lower().split()).replace("the turf is still green", "")  # made up
    return [
        part for part in english() if part in said and re.search(rf"\b{re.escape(part)}\b", said)
    ]


def words_of(page: str) -> str:
    page = re.sub(r"<(script|style)\b.*?</\1>", " ", page, flags=re.DOTALL)
    return unescape(re.sub(r"<[^>]+>", " ", page))


@pytest.mark.parametrize("screen", SCREENS)
def test_a_screen_in_spanish_holds_no_english_sentence(tmp_path: Path, screen: str) -> None:
    browser = client(tmp_path)
    for site in ("sample", make_site(tmp_path)):
        answer = browser.get(f"/s/{site}/{screen}?lang=es")
        assert 'lang="es"' in answer.text or answer.status_code == 409
        assert left_in_english(words_of(answer.text)) == []


@pytest.mark.parametrize("address", ["/", "/new"])
def test_a_page_beside_the_sites_holds_no_english_sentence(tmp_path: Path, address: str) -> None:
    text = words_of(client(tmp_path).get(f"{address}?lang=es").text)
    assert left_in_english(text) == []


@pytest.mark.parametrize("words", [["rank", "--sample", "--explain"], ["season", "--sample"]])
def test_a_command_in_spanish_holds_no_english_sentence(words: list[str]) -> None:
    done = CliRunner().invoke(cli, [*words, "--lang", "es"])
    assert done.exit_code == 0, done.output
    assert left_in_english(done.output) == []


def test_the_check_finds_english() -> None:
    assert len(english()) > 800
    assert left_in_english("Do not spray: keep dry until noon and no irrigation")


@pytest.mark.parametrize("kind", [*KINDS, "material"])
def test_what_the_log_asks_is_in_the_catalogue_as_the_fields_say_it(kind: str) -> None:
    voice = Voice("us", "en")
    for field in fields_of(kind):
        for text in (field.asked.title, field.asked.hint, field.asked.heading):
            assert asked_in(voice, text) == text

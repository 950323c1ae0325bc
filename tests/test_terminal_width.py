"""Text broken to the reader's screen."""

from __future__ import annotations

import os
import shutil
import sys

import pytest

from windowcast.report.terminal_width import PROSE_WIDTH, fitted, prose_width, screen_width, wrapped


def test_no_number_is_parted_from_its_unit_or_month() -> None:
    said = "from 31 Mar to 12 Apr 97 % at 66 °F"
    for width in range(8, 40):
        lines = wrapped(said, width)
        assert " ".join(lines) == said
        assert not any(line.endswith(("31", "12", "97", "66")) for line in lines)


def test_what_follows_stands_further_in_and_words_stay_whole() -> None:
    lines = fitted(["  - see https://example.org/a-very-long-address now", "", "short"], 20)
    assert lines == [
        "  - see",
        "    https://example.org/a-very-long-address",
        "    now",
        "",
        "short",
    ]


@pytest.mark.parametrize(("columns", "width"), [(72, 72), (200, PROSE_WIDTH), (10, 40)])
def test_sentences_follow_the_terminal(
    columns: int, width: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True, raising=False)
    size = os.terminal_size((columns, 24))
    monkeypatch.setattr(shutil, "get_terminal_size", lambda: size)
    assert screen_width() == columns
    assert prose_width() == width
    monkeypatch.setattr(sys.stdout, "isatty", lambda: False, raising=False)
    assert screen_width() is None
    assert prose_width() == PROSE_WIDTH


@pytest.mark.parametrize(("asked", "width"), [("64", 64), ("", None), ("0", None), ("wide", None)])
def test_a_pipe_has_the_width_that_columns_asks_for(
    asked: str, width: int | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys.stdout, "isatty", lambda: False, raising=False)
    monkeypatch.setenv("COLUMNS", asked)
    assert screen_width() == width

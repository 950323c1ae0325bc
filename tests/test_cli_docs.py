"""The documentation: read from the command line, and each of its links leads somewhere."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from windowcast.cli import docs, main

TOP = Path(__file__).parents[1]
WRITTEN = [*sorted((TOP / "docs").rglob("*.md")), *sorted(TOP.glob("*.md"))]
LINK = re.compile(r"\[[^\]]*\]\(([^)\s]+)\)")


def test_pages_are_listed_and_read() -> None:
    listed = CliRunner().invoke(docs.command).output
    for path in (TOP / "docs").glob("*.md"):
        assert path.stem in listed
        assert CliRunner().invoke(docs.command, [path.stem]).output == path.read_text("utf-8")
    begun = CliRunner().invoke(docs.command, ["Turf-Lim"]).output
    assert begun == (TOP / "docs" / "turf_limits.md").read_text("utf-8")
    assert CliRunner().invoke(docs.command, ["readme"]).output == (TOP / "README.md").read_text()


def test_words_are_found_with_their_page_and_line() -> None:
    found = CliRunner().invoke(docs.command, ["--search", "CANNOT TELL"]).output.splitlines()
    assert found
    for line in found:
        page, number, text = line.split(":", 2)
        written = docs.pages()[page].read_text("utf-8").splitlines()[int(number) - 1]
        assert "cannot tell" in text.lower()
        assert text.strip() == written.strip()


def test_a_terminal_shows_every_word_of_a_table(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("COLUMNS", "60")
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True)
    word = "w" * 50
    docs._show(f"| a | b | c |\n| --- | --- | --- |\n| {word} | d | e and more of it |\n")
    shown = re.sub(r"\x1b\[[0-9;]*m", "", capsys.readouterr().out)
    assert "…" not in shown
    assert shown.count("w") == len(word)
    assert max(map(len, shown.splitlines())) <= 60


@pytest.mark.parametrize(
    ("args", "says"),
    [
        (["xx"], "'xx' is no page; read one of: README, tutorial, faq, reference, actives"),
        (["w"], "'w' is more than one page; read one of: weather"),
        (["--search", "no such words at all"], "no page holds"),
    ],
)
def test_what_is_not_there(args: list[str], says: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as end:
        main(["docs", *args])
    assert end.value.code == 2
    assert says in capsys.readouterr().err


def _anchor(heading: str) -> str:
    """How a heading is called in an address (GitHub's rule)."""
    plain = re.sub(r"[^\w\- ]", "", heading.strip().lower())
    return plain.replace(" ", "-")


@pytest.mark.parametrize("path", WRITTEN, ids=lambda path: str(path.relative_to(TOP)))
def test_links_within_the_documentation_lead_somewhere(path: Path) -> None:
    for link in LINK.findall(path.read_text("utf-8")):
        if "://" in link or link.startswith("mailto:"):
            continue
        file, _, part = link.partition("#")
        target = (path.parent / file) if file else path
        assert target.exists(), link
        if part and target.suffix == ".md":
            heads = re.findall(r"^#+ (.+)$", target.read_text("utf-8"), re.MULTILINE)
            assert part in {_anchor(head) for head in heads}, link

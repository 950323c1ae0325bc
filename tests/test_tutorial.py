"""The tutorial: every command is run as it stands, and prints what the page shows."""

from __future__ import annotations

from contextlib import chdir
from pathlib import Path

import pytest
from console_blocks import Block, alike, blocks, change, followed, part_of, steps

PAGE = Path(__file__).parents[1] / "docs" / "tutorial.md"
SHOWN = {"init", "rank", "season", "plan", "weather check", "tank sheet", "log add", "log list",
         "review", "watch", "serve"}  # fmt: skip


def test_every_command_prints_what_is_shown(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    with chdir(tmp_path):
        for step, seen in followed(PAGE.read_text("utf-8")):
            if step.shown:
                expected = part_of(step.shown, seen.lines)
                assert alike(step.shown) == alike(expected), (
                    f"{step.command}\nbring it up to date: python {Path(__file__).parent.name}/"
                    f"console_blocks.py docs/{PAGE.name}"
                )


def test_the_season_is_whole_and_asks_no_other_machine() -> None:
    told = [block for block in blocks(PAGE.read_text("utf-8")) if block.kind == "console"]
    said = [step.command for block in told for step in steps(block)]
    for command in SHOWN:
        assert any(line.startswith(f"windowcast {command} ") for line in said), command
    for line in said:
        if line.split()[1] in {"rank", "season", "review", "watch", "serve"}:
            assert {"--offline", "--date"} <= set(line.split()), line


# ---- the runner itself ------------------------------------------------------------------------


def test_what_a_page_shows_is_told_apart_from_what_was_seen() -> None:
    page = "```console\n$ windowcast rank \\\n    my.toml\nSpray Mon.\n...\n$ echo $?\n0\n```\n"
    (one, two) = steps(blocks(page)[0])
    assert page[one.start :].startswith("Spray Mon.")
    assert (one.command, one.shown) == ("windowcast rank my.toml", ("Spray Mon.", "..."))
    assert (two.command, two.shown) == ("echo $?", ("0",))
    assert part_of(one.shown, ["Wait.", "Then", "more"]) == ("Wait.", "...")
    assert part_of(("...", "last"), ["Wait.", "more"]) == ("...", "more")
    assert part_of(("Wait.",), ["Wait.", "more"]) == ("Wait.", "more")
    assert alike(["0a1b2c3d  2018-01-20  Rating"]) == alike(["ffffffff  2018-01-20  Rating"])
    assert alike(["0a1b2c3d  2018-01-20"]) != alike(["ffffffff  2018-01-21"])


def test_a_command_that_fails_unsaid_stops_the_page(tmp_path: Path) -> None:
    fails = "```console\n$ windowcast rank no.toml\n$ windowcast docs\n```\n"
    with chdir(tmp_path), pytest.raises(AssertionError, match=r"before 'windowcast docs'"):
        list(followed(fails))
    said = fails.replace("$ windowcast docs", "$ echo $?\n2\n$ windowcast docs")
    with chdir(tmp_path):
        ends = [seen for step, seen in followed(said) if step.shown]
    assert [seen.lines for seen in ends] == [("2",)]


def test_a_line_that_no_file_has_is_found(tmp_path: Path) -> None:
    with chdir(tmp_path):
        Path("my.toml").write_text('\n# stock = ["prodiamine"]\n', "utf-8")
        uncommented = Block(
            "toml", 'stock = ["prodiamine"]\n', "In `my.toml` take the `#` away:", 0
        )
        change(uncommented)
        assert Path("my.toml").read_text("utf-8") == '\nstock = ["prodiamine"]\n'
        with pytest.raises(AssertionError, match="has no line"):
            change(uncommented)

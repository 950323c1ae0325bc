"""What pages for users say is so: commands and options exist, no host and no data is left out."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import click
import pytest

from windowcast.cli import cli
from windowcast.sources import (
    archive,
    coarse_grid,
    forecast,
    metno,
    mosmix,
    nrcs_soil,
    uscrn_network,
)

TOP = Path(__file__).parents[1]
WRITTEN = [*sorted((TOP / "docs").glob("*.md")), TOP / "README.md"]
SAID = re.compile(r"`(windowcast [a-z][^`]*)`|^(?:    |\$ )(windowcast [a-z].*)$", re.MULTILINE)
ASKED = (archive, coarse_grid, forecast, metno, mosmix, nrcs_soil, uscrn_network)
# addresses in the code that name a form or a page and are never asked
NAMES_ONLY = {"json-schema.org", "specs.frictionlessdata.io", "www.w3.org", "www.opengis.net"}


def page(name: str) -> str:
    return (TOP / "docs" / f"{name}.md").read_text("utf-8")


def commands(text: str) -> list[list[str]]:
    """The words behind ``windowcast`` of each command line, without remarks behind them."""
    found = []
    for match in SAID.finditer(text.replace("\\\n", " ")):
        line = (match[1] or match[2]).split(" #")[0].split("  ")[0].partition(" > ")[0]
        found.append(shlex.split(line.partition(" | ")[0].replace("'", '"'))[1:])
    return found


def problem(words: list[str]) -> str:
    """What is not so in a command line; "" where all of it is."""
    here: click.Command = cli
    context = click.Context(here)
    words = list(words)
    while isinstance(here, click.Group) and words and not words[0].startswith("-"):
        name = words.pop(0)
        choices = name.split("|")  # "install|status|remove"
        known = [here.get_command(context, choice) for choice in choices]
        if None in known:
            return f"{name} is no command"
        here = known[0] or here
    options = {name for parameter in here.params for name in parameter.opts}
    options |= {"--help", "-h", "--version"}
    for word in words:
        name = word.partition("=")[0]
        if re.fullmatch(r"--?[a-z][a-z-]*", name) and name not in options:
            return f"{name} is no option of {here.name}"
    return ""


@pytest.mark.parametrize("path", WRITTEN, ids=lambda path: path.name)
def test_commands_and_options_are_there(path: Path) -> None:
    for words in commands(path.read_text("utf-8")):
        assert not problem(words), words


def test_what_is_not_there_is_found() -> None:
    assert problem(["rank", "my.toml", "--explain"]) == ""
    assert problem(["rank", "--explane"]) == "--explane is no option of rank"
    assert problem(["weather", "wash"]) == "wash is no command"
    said = "See `windowcast rank x.toml --explain`.\n\n    windowcast plan x.toml   # soon\n"
    assert commands(said) == [["rank", "x.toml", "--explain"], ["plan", "x.toml"]]


def test_privacy_names_every_host_that_is_asked() -> None:
    text = page("privacy")
    hosts = {module.HOST for module in ASKED} | {mosmix.LIST_HOST}
    for host in hosts:
        assert f"`{host.removeprefix('https://')}`" in text
    in_code = {
        host
        for file in (TOP / "windowcast").rglob("*.py")
        for host in re.findall(r"https?://((?:[a-z0-9-]+\.)+[a-z]{2,})", file.read_text("utf-8"))
    }
    known = {host.removeprefix("https://") for host in hosts} | NAMES_ONLY
    examples = {host for host in in_code if host.endswith(("example.org", "example.com"))}
    assert in_code <= known | examples


def test_licences_name_every_source_and_every_data_file() -> None:
    text = page("licences")
    for module in ASKED:
        assert module.LICENCE in text
    packaged = [
        file.relative_to(TOP / "windowcast").as_posix()
        for file in (TOP / "windowcast" / "data").iterdir()
        if file.suffix in {".csv", ".gz", ".json"}
    ]
    sample = [f"sample_weather/{file.name}" for file in (TOP / "sample_weather").glob("*.gz")]
    assert len(packaged) >= 4
    for name in (*packaged, *sample):
        assert f"`{name}`" in text


def test_answers_of_the_questions_are_short() -> None:
    """At most five lines of a page that is 120 wide."""
    for part in page("faq").split("\n### ")[1:]:
        question, _, rest = part.partition("\n")
        answer = " ".join(rest.split("\n## ")[0].split())
        assert 60 < len(answer) <= 5 * 130, question

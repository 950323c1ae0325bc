"""The reference is made from the code, whole and current."""

from __future__ import annotations

from pathlib import Path

import click
import pytest
from every_command import leaves
from pydantic import BaseModel

from windowcast.cli import cli
from windowcast.cli.reference import _model_in, page, texts_of_keys
from windowcast.core.packaged import packaged_toml
from windowcast.core.record import DAILY_VARIABLES, HOURLY_VARIABLES
from windowcast.core.site import Site
from windowcast.report.tables import CSV_COLUMNS
from windowcast.sources.columns import variable_and_unit

PAGE = Path(__file__).parents[1] / "docs" / "reference.md"
WRITTEN = PAGE.read_text("utf-8")


def test_the_page_is_current() -> None:
    assert page() == WRITTEN, "python -m windowcast.cli.reference > docs/reference.md"


def tables(model: type[BaseModel] = Site) -> set[type[BaseModel]]:
    found = {model}
    for field in model.model_fields.values():
        if inner := _model_in(field.annotation):
            found |= tables(inner[0])
    return found


@pytest.mark.parametrize("model", sorted(tables(), key=lambda m: m.__name__))
def test_every_key_says_what_it_means(model: type[BaseModel]) -> None:
    assert set(texts_of_keys(model)) == set(model.model_fields)
    for key in model.model_fields:
        assert f"`{key}`" in WRITTEN or f"{key}]" in WRITTEN


def test_a_key_without_a_text_is_found() -> None:
    class Bare(BaseModel):
        said: int = 1
        """What it is."""
        unsaid: int = 2
        also: str = ""
        """Its text is in two
        lines.
        """

    assert texts_of_keys(Bare) == {"said": "What it is", "also": "Its text is in two lines"}


@pytest.mark.parametrize("name", list(leaves()))
def test_every_option_of_every_command_is_there(name: str) -> None:
    part = WRITTEN.partition(f"\n### windowcast {name}\n")[2].partition("\n##")[0]
    command: click.Command = cli
    for word in name.split():
        assert isinstance(command, click.Group)
        command = command.get_command(click.Context(command), word) or command
    options = [p for p in command.params if isinstance(p, click.Option) and not p.hidden]
    assert part
    for option in options:
        if option.name != "help":
            assert f"| `{option.opts[0]}" in part, option.name


def test_columns_of_a_ranking_are_those_that_are_described() -> None:
    assert tuple(packaged_toml("windowcast.report", "rank_columns.toml")) == CSV_COLUMNS


def test_names_of_weather_columns_are_read_as_said() -> None:
    part = WRITTEN.partition("## Weather columns")[2].partition("## Written files")[0]
    by_day, by_hour = part.split("### By hour")
    for text, daily, variables in (
        (by_day, True, DAILY_VARIABLES), (by_hour, False, HOURLY_VARIABLES),
    ):  # fmt: skip
        said = set()
        for row in text.splitlines():
            for name in row.split("|")[1].split(", ") if row.startswith("| `") else ():
                read = variable_and_unit(name.strip(" `"), daily)
                assert read is not None, name
                said.add(read[0])
        assert said == set(variables)

"""Output shared by the commands: options of those that give an answer, lines to the terminal."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from windowcast.cli.options import format_option, page_option
from windowcast.core.errors import InputError
from windowcast.core.given_files import read_regular
from windowcast.core.phrase import LANGUAGES

if TYPE_CHECKING:
    from windowcast.core.site import Site
    from windowcast.core.units import System
    from windowcast.programme.answer import Answer
    from windowcast.report.catalogue import Voice
    from windowcast.windows.model import Ranking

Command = Callable[..., Any]
_SITE_FILE_BYTES = 1_000_000
_ASKED = "windowcast.lang"  # where click keeps what --lang says

_OPTIONS = (
    click.option("--units", type=click.Choice(["us", "metric"]), help="Units shown (site's own)."),
    format_option("table", "json", "csv", "text"),
    page_option("Also write a self-contained page."),
    click.option(
        "--calendar",
        type=click.Path(path_type=Path),
        metavar="OUT.ics",
        help="Also write or update a calendar file.",
    ),
    click.option(
        "--explain", is_flag=True, help="Decision, windows, what holds them back and the sources."
    ),
)


def _keep(ctx: click.Context, _: click.Parameter, lang: str | None) -> None:
    ctx.meta[_ASKED] = lang


lang_option = click.option(
    "--lang",
    type=click.Choice(LANGUAGES),
    expose_value=False,
    callback=_keep,
    help="Language  [default: the site file's, else en]",
)


def voice_in(units: System, site: Site | None = None) -> Voice:
    """How a command speaks to its reader: as --lang says, else the site file, else in English."""
    from windowcast.report.catalogue import Voice

    context = click.get_current_context(silent=True)
    asked = context.meta.get(_ASKED) if context is not None else None
    return Voice(units, asked or (site.language if site is not None else None) or "en")


def voice_of_words(words: Sequence[str]) -> Voice:
    """How an error speaks before any command runs: as ``--lang`` among the words says, else as a
    site file among them, else in English."""
    from windowcast.report.catalogue import Voice

    asked = [after for word, after in pairwise(words) if word == "--lang"]
    asked += [word.removeprefix("--lang=") for word in words if word.startswith("--lang=")]
    asked += [_written_language(word) for word in words if word.endswith(".toml")]
    return Voice("metric", next((lang for lang in asked if lang in LANGUAGES), "en"))


def _written_language(file: str) -> str:
    """The language that a site file asks for, though the rest of it may be wrong."""
    found = None
    with suppress(OSError, InputError):
        text = read_regular(file, _SITE_FILE_BYTES).decode("utf-8", "replace")
        found = re.search(r"""^\s*language\s*=\s*["'](\w+)""", text, re.MULTILINE)
    return found[1] if found else ""


def output_options(command: Command) -> Command:
    """Add ``--units --lang --format --page --calendar --explain`` to a command."""
    for option in reversed((*_OPTIONS, lang_option)):
        command = option(command)
    return command


def emit(
    *answers: Answer,
    units: System | None,
    format_: str,
    page: Path | None,
    calendar: Path | None,
    explain: bool,
) -> None:
    """Write the files asked for, then print the answer.

    Raises
    ------
    InputError
        A file cannot be written, or --explain is asked of a format that cannot hold it; nothing
        is then printed.
    """
    if explain and format_ in ("csv", "text"):
        raise InputError(
            f"has no place in {format_}", field="--explain", remedy="use --format table or json"
        )
    if units is not None:
        answers = tuple(replace(a, ranking=replace(a.ranking, units=units)) for a in answers)
    voice = voice_in(answers[0].ranking.units, answers[0].site)
    if page is not None:
        from windowcast.api import plan_of
        from windowcast.core.atomic_files import write_atomic
        from windowcast.report.page import render_page

        plans = [plan_of(answer) for answer in answers]
        write_atomic(page, render_page(*answers, plans=plans, voice=voice))
    if calendar is not None:
        from windowcast.report.calendar import write_calendar

        write_calendar(calendar, *answers, voice=voice)
    rankings = [answer.ranking for answer in answers]
    click.echo(_text(rankings, voice, format_, explain), nl=False)


def _text(rankings: Sequence[Ranking], voice: Voice, format_: str, explain: bool) -> str:
    if format_ == "json":
        from windowcast.report.tables import json_text

        return json_text(*rankings, voice=voice)
    if format_ == "csv":
        from windowcast.report.tables import csv_text

        return csv_text(*rankings, voice=voice)
    if format_ == "text":
        from windowcast.report.message import message_text

        return message_text(*rankings, voice=voice)
    from windowcast.report.terminal import table_text

    return table_text(*rankings, voice=voice, explain=explain)


def echo(*lines: str) -> None:
    """Print lines, broken to the terminal; whole where the output goes elsewhere."""
    from windowcast.report.terminal_width import fitted, screen_width

    width, whole = screen_width(), "\n".join(lines)
    click.echo("\n".join(fitted(whole.split("\n"), width)) if width else whole)

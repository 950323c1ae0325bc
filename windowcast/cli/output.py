"""Output shared by the commands: options of those that give an answer, lines to the terminal."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from windowcast.cli.options import format_option, page_option, units_option
from windowcast.core.errors import InputError
from windowcast.core.given_files import read_regular
from windowcast.core.phrase import LANGUAGES
from windowcast.report.terminal_width import (
    fitted,
    prose_width,
    screen_width,
    table_lines,
    table_width,
)

if TYPE_CHECKING:
    from windowcast.core.site import Site
    from windowcast.core.units import System
    from windowcast.programme.answer import Answer
    from windowcast.report.catalogue import Voice
    from windowcast.windows.model import Ranking

Command = Callable[..., Any]
Found = TypeVar("Found")
_SITE_FILE_BYTES = 1_000_000
_ASKED = "windowcast.lang"  # where click keeps what --lang says

_OPTIONS = (
    units_option,
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
        from windowcast.report.board import message_text

        return message_text(*rankings, voice=voice)
    from windowcast.report.terminal import table_text

    return table_text(*rankings, voice=voice, explain=explain)


def echo(*lines: str) -> None:
    """Print lines, broken to the terminal; whole where the output goes elsewhere."""
    width, whole = screen_width(), "\n".join(lines)
    click.echo("\n".join(fitted(whole.split("\n"), width)) if width else whole)


def print_fitted(lines: Iterable[str], width: int | None = None) -> None:
    """Print lines broken to `width`; None for that of sentences, wherever the output goes."""
    click.echo("\n".join(fitted(lines, width or prose_width())).rstrip())


def print_json(found: Any, voice: Voice | None = None, *, indent: int = 1) -> None:
    """Print what `report.plain` makes of a result: numbers that are not finite are null."""
    import json

    from windowcast.report.plain import plain

    document = plain(found, voice or voice_in("metric"))
    click.echo(json.dumps(document, ensure_ascii=False, indent=indent, allow_nan=False))


def print_found(
    found: Found, format_: str, lines: Callable[[Found, int], Iterable[str]], *, indent: int = 1
) -> None:
    """Print a result as JSON, or as lines for a screen so wide, that of tables."""
    if format_ == "json":
        print_json(found, indent=indent)
        return
    width = table_width()
    print_fitted(lines(found, width), width)


def print_table(names: Sequence[str], rows: list[list[str]], voice: Voice) -> None:
    """Columns wide enough for their cells, two spaces apart; on a narrower screen row by row.

    `names` are ids of the catalogue's ``cache``.
    """
    header = [voice.say(f"cache.{name}") for name in names]
    lines = table_lines(header, rows, ())
    if max(map(len, lines)) <= (screen_width() or math.inf):
        click.echo("\n".join(lines))
        return
    for row in rows:
        beside = zip(header[2:], row[2:], strict=True)
        echo("  ".join(row[:2]), *(f"  {name}: {cell}" for name, cell in beside))

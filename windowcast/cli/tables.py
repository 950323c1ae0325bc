"""A plain table on the terminal."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

from windowcast.cli.output import echo

if TYPE_CHECKING:
    from windowcast.report.catalogue import Voice


def print_table(names: Sequence[str], rows: list[list[str]], voice: Voice) -> None:
    """Columns wide enough for their cells, two spaces apart; on a narrower screen row by row.

    `names` are ids of the catalogue's ``cache``.
    """
    from windowcast.report.terminal_width import screen_width, table_lines

    header = [voice.say(f"cache.{name}") for name in names]
    lines = table_lines(header, rows, ())
    if max(map(len, lines)) <= (screen_width() or math.inf):
        click.echo("\n".join(lines))
        return
    for row in rows:
        beside = zip(header[2:], row[2:], strict=True)
        echo("  ".join(row[:2]), *(f"  {name}: {cell}" for name, cell in beside))

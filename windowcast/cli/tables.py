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
    from windowcast.report.terminal_width import screen_width

    header = [voice.say(f"cache.{name}") for name in names]
    widths = [max(len(row[i]) for row in [header, *rows]) for i in range(len(header))]
    if sum(widths) + 2 * len(widths) - 2 > (screen_width() or math.inf):
        for row in rows:
            beside = zip(header[2:], row[2:], strict=True)
            echo("  ".join(row[:2]), *(f"  {name}: {cell}" for name, cell in beside))
        return
    for row in [header, *rows]:
        cells = [cell.ljust(width) for cell, width in zip(row, widths, strict=True)]
        click.echo("  ".join(cells).rstrip())

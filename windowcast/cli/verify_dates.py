"""``windowcast verify dates``: the season's key dates against what came."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import click

from windowcast.cli.options import format_option
from windowcast.core.errors import InputError


@click.command(name="dates")
@click.argument(
    "paths", nargs=-1, required=True, metavar="PATH...", type=click.Path(path_type=Path)
)
@click.option(
    "--seasons",
    type=click.IntRange(1, 30),
    default=5,
    show_default=True,
    help="Last seasons of each station that are replayed; earlier ones are what is known.",
)
@click.option(
    "--issue",
    "issues",
    multiple=True,
    metavar="MM-DD",
    help="Day on which the dates are told; repeatable. By default 08-20, 10-01, 12-01 and 02-01.",
)
@format_option("json", "table")
def command(
    *, paths: tuple[Path, ...], seasons: int, issues: tuple[str, ...], format_: str
) -> None:
    """Score the 10 to 90 % of soil, turf and weed dates told in past seasons.

    PATHs are USCRN daily01 files or folders, plain or gzip. A season takes some seconds a station.
    """
    from windowcast.verify.dates import ISSUES, verify_dates

    for issue in issues:
        _check(issue)
    result = verify_dates(paths, seasons=seasons, issues=issues or ISSUES, on_station=_told)
    if format_ == "json":
        click.echo(json.dumps(result, indent=1))
    else:
        from windowcast.report.terminal_width import table_width

        click.echo(dates_table(result, table_width()))


def _told(name: str) -> None:
    """Which station is at work, where somebody looks."""
    if sys.stderr.isatty():
        click.echo(name, err=True)


def _check(issue: str) -> None:
    import datetime as dt

    try:
        dt.date.fromisoformat(f"2023-{issue}")
    except ValueError:
        raise InputError(
            f"{issue!r} is not a day of the year", field="--issue", remedy="write it as 08-20"
        ) from None


def dates_table(result: dict[str, Any], width: int) -> str:
    """The result as tables for a terminal so many letters wide."""
    from windowcast.report.terminal_width import fitted, table_lines

    lines = []
    for issue, regions in result["issues"].items():
        for region, by_event in regions.items():
            if not by_event:
                continue
            title = f"issued {issue}, {region.replace('_', ' ')}"
            head = [title, "n", "within", "width", "middle", "abs", "skill"]
            rows = [_row(name, found) for name, found in by_event.items()]
            lines += ["", *table_lines(head, rows, range(1, len(head)), width)]
    notes = [f"- {note}" for note in result["notes"]]
    return "\n".join(fitted([*lines[1:], "", *notes], width))


def _row(name: str, found: dict[str, Any]) -> list[str]:
    skill = "" if found["skill"] is None else f"{found['skill']:+.2f}"
    off = f"{found['middle_mean_abs_days']:.1f}"
    return [
        name, f"{found['n']}", f"{found['coverage']:.0%}", f"{found['width_days']:.1f}",
        f"{found['middle_days']:+.1f}", off, skill,
    ]  # fmt: skip

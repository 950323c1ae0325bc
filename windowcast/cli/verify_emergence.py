"""``windowcast verify emergence``: the emergence curves held against published figures."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from windowcast.core.errors import InputError

if TYPE_CHECKING:
    from windowcast.verify.emergence import Check


@click.command(name="emergence")
@click.argument(
    "files", nargs=-1, required=True, metavar="FILE...", type=click.Path(path_type=Path)
)
@click.option(
    "--format", "format_", type=click.Choice(["table", "json"]), default="table", show_default=True
)
def command(*, files: tuple[Path, ...], format_: str) -> None:
    """Hold the emergence curves against published figures of their regions.

    FILEs are daily records (USCRN daily01, GHCN-Daily or CSV), one station each. Stations outside
    the latitudes a figure is from are left out of it.
    """
    from windowcast.sources.files import read_weather
    from windowcast.verify.emergence import checks
    from windowcast.weather.gaps import filled

    records = []
    for path in files:
        record = read_weather(path)
        if not record.daily:
            raise InputError("is not a daily record", path=path, remedy="give daily values")
        records.append(filled(record))
    found = checks(records)
    if not any(check.found for check in found):
        raise InputError(
            "no published figure applies to these records",
            path=files[0],
            remedy="give whole years of northern stations between 34 and 42 degrees latitude",
        )
    if format_ == "json":
        rows = [{**asdict(c), "median": c.median, "inside": c.inside} for c in found if c.found]
        click.echo(json.dumps(rows, indent=2, ensure_ascii=False))
    else:
        click.echo("\n".join(_lines(found)))


def _lines(found: tuple[Check, ...]) -> list[str]:
    """The report as text: figure by figure, a line a station."""
    lines: list[str] = []
    for name in dict.fromkeys(check.name for check in found):
        rows = [check for check in found if check.name == name and check.found]
        if not rows:
            continue
        low, high = rows[0].published
        span = f"{low:g}" if low == high else f"{low:g} to {high:g}"
        lines += ["", f"{name}: published {span} ({rows[0].unit})", f"  {rows[0].source}"]
        for c in rows:
            within = "" if low == high else f"  within {c.inside:4.0%} of {len(c.found)} seasons"
            lines.append(
                f"  {c.station:32s} median {c.median:6.2f}  from {min(c.found):6.2f} "
                f"to {max(c.found):6.2f}{within}"
            )
    return lines[1:]

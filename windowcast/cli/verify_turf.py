"""``windowcast verify turf``: dormancy and green-up against dated sightings."""

from __future__ import annotations

import json
from pathlib import Path

import click

from windowcast.cli.options import format_option


@click.command(name="turf")
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path))
@click.option(
    "--weather",
    "weather",
    multiple=True,
    required=True,
    metavar="PATH",
    type=click.Path(path_type=Path),
    help="Weather file that carries a place (USCRN daily01 and the like), or a folder of them.",
)
@click.option(
    "--within-km",
    type=click.FloatRange(1.0, 1000.0),
    default=150.0,
    show_default=True,
    help="How far off the nearest station may lie.",
)
@format_option("table", "json")
def command(*, file: Path, weather: tuple[Path, ...], within_km: float, format_: str) -> None:
    """Hold dormancy and green-up against dated sightings in FILE, a CSV.

    Columns: grass, event, date (YYYY-MM-DD, or normal MM-DD), lat, lon; cultivar, percent, site,
    source, status, precision_d and note where known. The weather is that of the nearest station
    that knows the season.
    """
    from windowcast.verify.turf import turf_table, verify_turf

    result = verify_turf(file, weather, within_km=within_km)
    if format_ == "json":
        click.echo(json.dumps(result, indent=1, ensure_ascii=False))
    else:
        click.echo("\n".join(turf_table(result)))

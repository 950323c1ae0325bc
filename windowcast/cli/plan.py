"""``windowcast plan``: two to four seasons of jobs, and what each programme does."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from windowcast.cli.options import Start, area_option, format_option, units_option
from windowcast.cli.output import lang_option, voice_in
from windowcast.cli.progress import at_work
from windowcast.cli.site_log import say_left_out
from windowcast.core.atomic_files import write_atomic
from windowcast.core.errors import InputError
from windowcast.core.units import System
from windowcast.windows.model import PURPOSES

if TYPE_CHECKING:
    from windowcast.programme.seasons_ahead import SeasonsAhead
    from windowcast.windows.model import PurposeName


@click.command(name="plan")
@click.argument("site_file", metavar="SITE.toml", type=click.Path(path_type=Path))
@click.option(
    "--seasons", type=click.IntRange(2, 4), default=3, show_default=True, help="How many."
)
@click.option(
    "--purpose",
    "purposes",
    multiple=True,
    type=click.Choice(PURPOSES),
    help="Only this job each season; may be repeated.",
)
@click.option("--date", metavar="YYYY-MM-DD", help="Plan from this date (today).")
@click.option("--seed", type=click.IntRange(0), default=1, show_default=True, help="Of the draws.")
@units_option
@format_option("table", "json")
@click.option("--picture", type=click.Path(path_type=Path), metavar="OUT.svg", help="Also draw it.")
@area_option
@lang_option
def command(
    *,
    site_file: Path,
    seasons: int,
    purposes: tuple[PurposeName, ...],
    date: str | None,
    seed: int,
    units: System | None,
    format_: str,
    picture: Path | None,
    area: str,
) -> None:
    """Lay out the jobs of two to four seasons and compare programmes.

    What you do now, changing groups, and mixtures are compared by a simulation: control, seeds in
    the ground, and how soon a group would be lost to resistance. No weather is needed.
    """
    from windowcast.report.seasons_ahead import ahead_json, ahead_svg, ahead_text

    start = Start(site_file, sample=False, files=(), date=date, offline=True)
    voice = voice_in(units or start.site().units, start.site())
    with at_work():
        found = compared(
            start, seasons=seasons, purposes=purposes or PURPOSES, seed=seed, area=area
        )
    if picture is not None:
        if len(found) > 1:
            raise InputError(
                "the site has several areas", field="--picture", remedy="name one with --area"
            )
        write_atomic(picture, ahead_svg(found[0], voice))
    if format_ == "json":
        click.echo(ahead_json(*found, voice=voice), nl=False)
    else:
        click.echo("\n".join(ahead_text(one, voice) for one in found), nl=False)


def compared(
    start: Start, *, seasons: int, purposes: tuple[PurposeName, ...], seed: int, area: str
) -> list[SeasonsAhead]:
    """The comparison for each piece of the site's ground, by its log and materials."""
    import datetime as dt

    from windowcast.records.grounds_ahead import grounds_ahead
    from windowcast.records.observations import Logged
    from windowcast.records.store import SeasonLog
    from windowcast.weather.load import FIRST_YEAR, LAST_YEAR

    site = start.site()
    today = start.day() or dt.datetime.now(site.zone).date()
    if not FIRST_YEAR <= today.year <= LAST_YEAR:
        raise InputError(
            f"{today} is no date to plan from",
            field="--date",
            remedy=f"give one from {FIRST_YEAR} to {LAST_YEAR}",
        )
    log_file = start.log_file(site)
    logged = None
    if log_file is not None and log_file.is_file():
        logged = Logged.read(log_file, until=today, zone=site.zone)
        with SeasonLog(log_file, create=False) as log:
            say_left_out(log.read()[1], voice_in(site.units, site))
    return grounds_ahead(
        site, logged, today, materials_file=start.beside(site.materials_file), seasons=seasons,
        purposes=purposes, area=area, seed=seed,
    )  # fmt: skip

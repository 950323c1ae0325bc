"""``windowcast rank``: the coming application windows, best first."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from windowcast.cli.options import Start, area_option, site_options
from windowcast.cli.output import emit, output_options
from windowcast.core.errors import InputError
from windowcast.windows.model import PURPOSES

if TYPE_CHECKING:
    from windowcast.core.units import System
    from windowcast.materials.actives import Formulation
    from windowcast.windows.model import PurposeName


@click.command(name="rank")
@site_options
@click.option(
    "--purpose",
    "purposes",
    multiple=True,
    type=click.Choice(PURPOSES),
    help="Only this purpose; may be repeated.",
)
@click.option(
    "--days",
    type=click.IntRange(1, 14),
    default=10,
    show_default=True,
    help="Days from the date that are ranked.",
)
@click.option(
    "--active",
    "actives",
    default=None,
    metavar="NAME[+NAME]",
    help="Score for this active ingredient or mixture; the strictest member governs.",
)
@click.option(
    "--formulation",
    type=click.Choice(["spray", "granule"]),
    help="How it is put out: some turf takes granules and not the spray.",
)
@area_option
@output_options
def command(
    *,
    start: Start,
    purposes: tuple[PurposeName, ...],
    days: int,
    actives: str | None,
    formulation: Formulation | None,
    units: System | None,
    format_: str,
    page: Path | None,
    calendar: Path | None,
    explain: bool,
    area: str,
) -> None:
    """Rank the coming application windows of a site, best first.

    Start with: windowcast rank --sample
    """
    if actives is not None and not actives.strip(" +"):
        raise InputError("names no active ingredient", field="--active", remedy="give a name")
    answers = start.answers(
        purposes=purposes or None,
        days=days,
        actives=actives or "",
        formulation=formulation,
        area=area,
    )
    emit(*answers, units=units, format_=format_, page=page, calendar=calendar, explain=explain)

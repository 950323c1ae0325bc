"""``windowcast season``: where the season stands, its key dates and the plan."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from windowcast.cli.options import Start, site_options

if TYPE_CHECKING:
    from windowcast.core.units import System
    from windowcast.programme.model import SeasonPlan


@click.command(name="season")
@site_options
@click.option("--units", type=click.Choice(["us", "metric"]), help="Units shown (site's own).")
@click.option(
    "--format",
    "format_",
    type=click.Choice(["table", "json"]),
    default="table",
    show_default=True,
    help="What is printed.",
)
@click.option(
    "--page",
    type=click.Path(path_type=Path),
    metavar="OUT.html",
    help="Also write the plan as a self-contained page.",
)
@click.option("--explain", is_flag=True, help="Trace the plan's values to their sources.")
def command(
    *,
    site_file: Path | None,
    sample: bool,
    files: tuple[str, ...],
    date: str | None,
    offline: bool,
    units: System | None,
    format_: str,
    page: Path | None,
    explain: bool,
) -> None:
    """Show where the season stands, its key dates with intervals, and the plan.

    Start with: windowcast season --sample
    """
    from windowcast.cli.output import echo
    from windowcast.report.season import plan_json, plan_text

    plan = plan_of(Start(site_file, sample, files, date, offline))
    if units is not None:
        plan = replace(plan, units=units)
    if page is not None:
        from windowcast.core.atomic_files import write_atomic
        from windowcast.report.page import render_plan

        write_atomic(page, render_plan(plan, sample=sample))
    click.echo(plan_json(plan) if format_ == "json" else plan_text(plan), nl=False)
    if explain and format_ != "json":  # the JSON always holds them
        from windowcast.report.catalogue import render

        sources = [f"{render(key.label, plan.units)}: {key.source}" for key in plan.key_dates]
        values = [render(line, plan.units) for line in plan.explain]
        echo("", "Where the numbers come from", *sources, *values)


def plan_of(start: Start) -> SeasonPlan:
    """The plan for what the shared options said."""
    from windowcast.api import plan_of as planned

    return planned(start.answer())

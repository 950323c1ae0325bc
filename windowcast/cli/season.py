"""``windowcast season``: where the season stands, its key dates and the plan."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import click

from windowcast.cli.options import (
    Start,
    area_option,
    format_option,
    page_option,
    site_options,
    units_option,
)
from windowcast.cli.output import echo, lang_option, voice_in
from windowcast.core.atomic_files import write_atomic
from windowcast.core.units import System


@click.command(name="season")
@site_options
@units_option
@format_option("table", "json")
@page_option("Also write the plan as a self-contained page.")
@area_option
@lang_option
@click.option("--explain", is_flag=True, help="Trace the plan's values to their sources.")
def command(
    *,
    start: Start,
    units: System | None,
    format_: str,
    page: Path | None,
    explain: bool,
    area: str,
) -> None:
    """Show where the season stands, its key dates with intervals, and the plan.

    Start with: windowcast season --sample
    """
    from windowcast.api import plan_of
    from windowcast.report.season import plan_json, plan_text

    found = start.answers(area=area)
    plans = [plan_of(answer) for answer in found]
    if units is not None:
        plans = [replace(plan, units=units) for plan in plans]
    voice = voice_in(plans[0].units, found[0].site)
    if page is not None:
        from windowcast.report.page import render_plan

        write_atomic(page, render_plan(*plans, voice=voice, sample=start.sample))
    if format_ == "json":
        text = plan_json(*plans, voice=voice)
    else:
        text = "\n".join(plan_text(plan, voice) for plan in plans)
    click.echo(text, nl=False)
    if explain and format_ != "json":  # the JSON always holds them
        first = plans[0]
        sources = [f"{voice.text(key.label)}: {key.source}" for key in first.key_dates]
        values = [voice.text(line) for line in first.explain]
        echo("", voice.say("cli.sources"), *sources, *values)

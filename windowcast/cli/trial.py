"""``windowcast trial``: plot trials, from the plan to the report."""

from __future__ import annotations

from math import isnan
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from windowcast.cli.options import (
    deadline_option,
    format_option,
    given_deadline_s,
    only_a_page,
    page_option,
)
from windowcast.cli.output import echo, lang_option, print_json, voice_in
from windowcast.cli.trial_dose import dose
from windowcast.cli.trial_evidence import evidence
from windowcast.cli.trial_opened import against_option, analysed, opened, trial_argument
from windowcast.cli.trial_pool import pool
from windowcast.cli.trial_power import power
from windowcast.cli.trial_threshold import threshold
from windowcast.core.atomic_files import write_atomic
from windowcast.core.errors import InputError
from windowcast.core.phrase import names
from windowcast.report.terminal_width import table_width

if TYPE_CHECKING:
    import datetime as dt

    from windowcast.core.record import Weather
    from windowcast.core.site import Site
    from windowcast.records.trial_weather import AppliedHour
    from windowcast.trials.trial_file import TrialFile

_PATH = click.Path(path_type=Path)


@click.group(name="trial")
def command() -> None:
    """Plot trials with untreated checks: plan, rating sheets, ratings, analysis, report.

    Begin with: windowcast trial new trial.toml --site "North field=33.26,-84.28"
    """


@command.command("new")
@click.argument("out", type=_PATH, default=Path("trial.toml"))
@click.option("--name", default="", help="Name of the trial  [default: that of the file].")
@click.option("--site", "sites", multiple=True, metavar="NAME=LAT,LON", help="One for each site.")
@click.option(
    "--from", "site_files", multiple=True, type=_PATH, metavar="SITE.toml",
    help="A site as its site file has it; may be repeated.",
)  # fmt: skip
@click.option(
    "--design", type=click.Choice(["rcbd", "crd", "factorial", "split-plot"]), default="rcbd",
    show_default=True, help="Complete blocks, no blocks, or every treatment at every timing.",
)  # fmt: skip
@click.option("--replicates", type=click.IntRange(1, 50), default=4, show_default=True)
@click.option("--seed", type=click.IntRange(min=0), help="Of the plan  [default: drawn now].")
@click.option("--units", type=click.Choice(["us", "metric"]), default="us", show_default=True)
@click.option("--force", is_flag=True, help="Overwrite an existing file.")
@lang_option
def new(
    out: Path,
    name: str,
    sites: tuple[str, ...],
    site_files: tuple[Path, ...],
    seed: int | None,
    *,
    force: bool,
    **said: Any,
) -> None:
    """Write a commented trial file to OUT (trial.toml by default), to be filled in."""
    import secrets

    from windowcast.core.site import load_site
    from windowcast.trials.trial_template import NewTrial, trial_toml

    if out.exists() and not force:
        raise InputError("exists already", path=out, remedy="name another file or add --force")
    places = [_place(text) for text in sites]
    places += [(s.name, s.latitude, s.longitude) for s in map(load_site, site_files)]
    if not places:
        raise InputError(
            "is missing", field="--site", remedy='name one: --site "North field=33.26,-84.28"'
        )
    drawn = secrets.randbelow(1_000_000) if seed is None else seed
    write_atomic(out, trial_toml(NewTrial(name or out.stem, places, seed=drawn, **said)))
    echo(voice_in("metric").say("cli.written", file=str(out)))


def _place(text: str) -> tuple[str, float, float]:
    name, _, numbers = text.rpartition("=")
    try:
        lat, lon = (float(number) for number in numbers.split(","))
    except ValueError:
        lat = lon = float("nan")
    if not name.strip() or isnan(lat + lon):
        raise InputError(
            f"{text!r} is not NAME=LAT,LON", field="--site",
            remedy='write it like "North field=33.26,-84.28"',
        )  # fmt: skip
    return name.strip(), lat, lon


@command.command("plan")
@trial_argument
@format_option("text", "csv", "svg", "json")
@page_option("Also write the maps as a page to print.")
@click.option("--site", default="", metavar="NAME", help="Only this site.")
@lang_option
def plan(trial_file: Path, format_: str, page: Path | None, site: str) -> None:
    """Draw which plot gets which treatment: the same seed always gives the same plan."""
    from windowcast.report.trial_plan import plan_csv, plan_lines, plan_svg, render_trial_plan
    from windowcast.trials.layout import plan_of

    trial, voice = opened(trial_file)
    trial = _only(trial, site)
    try:
        plots = plan_of(trial)
    except InputError as error:
        raise error.at(path=trial_file) from None
    if page is not None:
        write_atomic(page, render_trial_plan(trial, voice))
    if format_ == "csv":
        click.echo(plan_csv(plots).encode(), nl=False)
    elif format_ == "svg":
        from windowcast.report.chartkit import one_drawing

        each = [[p for p in plots if p.site == s.name] for s in trial.site]
        click.echo(one_drawing([plan_svg(trial, inside, voice) for inside in each]))
    elif format_ == "json":
        print_json(plots)
    else:
        echo(*plan_lines(trial, plots, voice))


def _only(trial: TrialFile, site: str) -> TrialFile:
    if not site:
        return trial
    found = trial.site_named(site)
    if found is None:
        raise InputError(
            f"{site!r} is no site of the trial", field="--site",
            remedy=f"use one of {', '.join(s.name for s in trial.site)}",
        )  # fmt: skip
    return trial.model_copy(update={"site": (found,)})


@command.command("sheet")
@trial_argument
@click.option(
    "--out", type=_PATH, metavar="OUT.html", callback=only_a_page,
    help="[default: beside the trial file]",
)  # fmt: skip
@click.option("--site", default="", metavar="NAME", help="Only this site.")
@click.option("--blind", is_flag=True, help="Leave the treatments out, so that none is favoured.")
@lang_option
def sheet(trial_file: Path, out: Path | None, site: str, *, blind: bool) -> None:
    """Rating sheets to print, a page for each site: its map, and a row for each plot."""
    from windowcast.report.trial_plan import render_sheets

    trial, voice = opened(trial_file)
    if not trial.measure:
        raise InputError(
            "is missing", path=trial_file, field="measure", remedy="say what is rated: [[measure]]"
        )
    out = out or trial_file.with_name(f"{trial_file.stem}-sheets.html")
    try:
        write_atomic(out, render_sheets(_only(trial, site), voice, blind=blind))
    except InputError as error:
        raise error if error.path else error.at(path=trial_file) from None
    echo(voice.say("cli.written", file=str(out)))


@command.command("import")
@trial_argument
@click.argument("file", metavar="FILE[:key=value]")
@click.option("--yes", "-y", is_flag=True, help="Store what was understood.")
@lang_option
def import_(trial_file: Path, file: str, *, yes: bool) -> None:
    """Read ratings from a table, CSV or Excel: show how it is understood, with --yes store it.

    Long (a row for each value) or wide (a column for each rating: "POAAN control 28 DAT (%)",
    "injury 3/14/2026"), with the names people use: rep, site, trt, plot, UTC, weedy check. A value
    that is impossible is refused with its plot, and then nothing is stored. A table can be read
    again: what is there stays, and a corrected value replaces the old one, which the log keeps.

    What a table cannot tell is said behind its name: dates=mdy (or dmy), decimal=comma (or
    point), sheet=NAME, measure=control %, weed=POAAN, site=NAME, date=2026-03-14, unknown=ignore.
    """
    from windowcast.records.store import SeasonLog
    from windowcast.records.trial_log import (
        changes_of,
        read_ratings_file,
        store_ratings,
        trial_log_path,
        trial_ratings,
    )
    from windowcast.report.trial_import import change_lines, ratings_lines

    trial, voice = opened(trial_file)
    read = read_ratings_file(file, trial)
    echo(*ratings_lines(read, voice))
    path = trial_log_path(trial, trial_file)
    if not path.is_file() and not yes:
        echo(*change_lines(changes_of(read.values, [], trial.name), voice))
    else:
        with SeasonLog(path, create=yes) as log:  # only now: a refused file begins no log
            changes = changes_of(read.values, trial_ratings(log, trial.name), trial.name)
            echo(*change_lines(changes, voice))
            if yes:
                store_ratings(log, changes, trial.name)
    echo(voice.say("trial_import.stored" if yes else "trial_import.not_yet", file=str(path)))


@command.command("analyse")
@trial_argument
@against_option
@format_option("text", "json")
@lang_option
def analyse(trial_file: Path, against: str, format_: str) -> None:
    """Means with their ranges and letters, and control against the check, for every rating."""
    from windowcast.report.trial_results import result_lines, result_plain

    trial, voice = opened(trial_file)
    _, rounds = analysed(trial, trial_file, against)
    if format_ == "json":
        print_json(result_plain(trial.name, rounds, voice))
    else:
        echo(*result_lines(trial.name, rounds, voice, table_width()))


@command.command("report")
@trial_argument
@click.option("--out", type=_PATH, required=True, metavar="DIR", help="Folder to write to.")
@against_option
@click.option(
    "--weather",
    "hours",
    is_flag=True,
    help="Add the weather each site was sprayed in, by its own files, or the station archive.",
)
@click.option("--offline", is_flag=True, help="Use only files and what is cached.")
@deadline_option
@lang_option
def report(trial_file: Path, out: Path, against: str, *, hours: bool, offline: bool) -> None:
    """Figures, tables, methods, tidy data with its description, a script to check the numbers."""
    from windowcast.report.trial_report import write_report

    trial, voice = opened(trial_file)
    ratings, rounds = analysed(trial, trial_file, against)
    applied = _applied_hours(trial, trial_file, offline) if hours else ()
    for hour in applied:
        if hour.problem is not None:
            click.echo(voice.say("cli.not_filled", problem=str(hour.problem)), err=True)
    files, no_png = write_report(out, trial, ratings, rounds, voice, hours=applied)
    echo(voice.say("trial_result.report", folder=str(out), files=names(*files, join="comma")))
    if no_png:
        echo(voice.say("trial_result.no_png", why=no_png))


def _applied_hours(trial: TrialFile, trial_file: Path, offline: bool) -> tuple[AppliedHour, ...]:
    from windowcast.records.trial_weather import applied_hours
    from windowcast.weather.load import load_weather

    def load(site: Site, until: dt.date) -> Weather:
        return load_weather(site, today=until, offline=offline, deadline_s=given_deadline_s())

    return applied_hours(trial, trial_file.parent, load)


command.add_command(dose)
command.add_command(pool)
command.add_command(power)
command.add_command(evidence)
command.add_command(threshold)

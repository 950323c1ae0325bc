"""``windowcast trial dose``: curves of dose and response, and how much more a population needs."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from windowcast.cli.options import format_option
from windowcast.cli.output import lang_option, print_json, voice_in
from windowcast.cli.trial_opened import opened, rated
from windowcast.core.atomic_files import write_atomic
from windowcast.core.errors import InputError
from windowcast.core.extras import require
from windowcast.core.phrase import Name, Value
from windowcast.report.terminal_width import prose_width

if TYPE_CHECKING:
    from windowcast.report.catalogue import Voice
    from windowcast.report.trial_dose import DoseSaid
    from windowcast.trials.dose_populations import DoseFindings
    from windowcast.trials.dose_table import DoseTable

_PATH = click.Path(path_type=Path)


@click.command("dose")
@click.argument("source", metavar="FILE.csv|TRIAL.toml")
@click.option("--susceptible", default="", metavar="NAME", help="Population to compare with.")
@click.option(
    "--percent", "percents", type=click.FloatRange(0, 100, min_open=True, max_open=True),
    multiple=True, default=(50.0, 90.0), show_default="50 and 90", help="May be repeated.",
)  # fmt: skip
@click.option(
    "--low", type=float, help="Response at the highest doses, where known: 0 for survivors."
)
@click.option(
    "--same-ends", is_flag=True,
    help="All populations give the same untreated, and the same at the highest doses.",
)  # fmt: skip
@click.option("--round", "key", default="", metavar="NAME", help="Only this round of a trial.")
@click.option("--picture", type=_PATH, metavar="OUT.svg|png", help="Also draw it.")
@format_option("text", "json")
@lang_option
def dose(
    source: str, key: str, susceptible: str, picture: Path | None, format_: str, **asked: Any
) -> None:
    """Dose and response: ED50, ED90 and resistance ratios, with 95 % ranges.

    FILE.csv (or Excel) has a row for each pot or plot: its dose, what came of it, and where there
    are several its population, with the names people use (rate, biotype, dry weight). What it
    cannot tell is said behind its name: response=COLUMN, population=COLUMN, dose=COLUMN,
    active=COLUMN, decimal=comma, sheet=NAME, unknown=ignore.

    Of a trial, treatments are used that are rates of one active ingredient.

    Example: windowcast trial dose pots.csv --susceptible S1 --picture pots.svg
    """
    from windowcast.records.dose_trials import OPTIONS
    from windowcast.report.trial_dose import dose_lines, dose_plain, dose_said
    from windowcast.sources.textfile import split_options
    from windowcast.trials.dose_populations import dose_findings

    require(click.get_current_context().command_path, "trials", "scipy")
    voice, tables = _tables(source, key)
    lines: list[str] = []
    plain, drawn = [], []
    for name, what, table in tables:
        try:
            found = dose_findings(table.populations, susceptible=susceptible, **asked)
        except InputError as error:
            raise error.at(path=split_options(source, OPTIONS)[0]) from None
        said = dose_said(name, what, table, found, voice)
        lines += [*([""] if lines else []), *dose_lines(said, prose_width())]
        plain.append(dose_plain(name, table, found, voice))
        drawn.append((said, table, found))
    if picture is not None:
        _draw(picture, drawn, voice)
    if format_ == "json":
        print_json({"analyses": plain})
    else:
        click.echo("\n".join(lines))


def _tables(source: str, key: str) -> tuple[Voice, list[tuple[str, Value, DoseTable]]]:
    """How the reader is spoken to, and each table with a name and what responds."""
    from windowcast.records.dose_trials import OPTIONS, doses_of_file, doses_of_rounds, needs_doses
    from windowcast.records.trial_analyses import all_rounds
    from windowcast.report.trial_results import round_title
    from windowcast.sources.textfile import split_options

    if not source.endswith(".toml"):
        if key:
            raise InputError("is for a trial file", field="--round", remedy="leave it out")
        table = doses_of_file(source)
        name = Path(split_options(source, OPTIONS)[0]).stem
        return voice_in("metric"), [(name, Name(table.response), table)]
    path = Path(source)
    trial, voice = opened(path)
    found = doses_of_rounds(trial, all_rounds(trial, rated(trial, path)))
    if not found:
        raise needs_doses(trial).at(path=path)
    named: list[tuple[str, Value, DoseTable]] = [
        (each.key, round_title(each), t) for each, t in found
    ]
    chosen = [each for each in named if key in ("", each[0])]
    if not chosen:
        raise InputError(
            f"{key!r} is no round of the trial", path=path, field="--round",
            remedy=f"use one of {', '.join(name for name, *_ in named)}",
        )  # fmt: skip
    return voice, chosen


def _draw(
    picture: Path, drawn: list[tuple[DoseSaid, DoseTable, DoseFindings]], voice: Voice
) -> None:
    """One picture of all analyses."""
    from windowcast.report.chartkit import one_drawing
    from windowcast.report.dose_chart import dose_chart
    from windowcast.report.figures_png import dose_png

    kind = picture.suffix.lower()
    if kind not in {".svg", ".png"}:
        raise InputError(
            f"{picture.name!r} is neither SVG nor PNG", field="--picture",
            remedy="end its name in .svg or .png",
        )  # fmt: skip
    if kind == ".svg":
        write_atomic(picture, one_drawing([dose_chart(*each, voice).svg for each in drawn]))
        return
    if len(drawn) > 1:
        raise InputError(
            f"a PNG holds one of the {len(drawn)} rounds", field="--picture",
            remedy="name one with --round, or end its name in .svg",
        )  # fmt: skip
    write_atomic(picture, dose_png(*drawn[0], voice))

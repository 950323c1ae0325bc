"""The report of a trial as a folder: figures, tables, text, and the script that checks them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from functools import partial
from importlib import resources
from pathlib import Path

from windowcast.core.atomic_files import made_folder, write_atomic
from windowcast.core.errors import InputError
from windowcast.records.dose_trials import dosed_rounds
from windowcast.records.model import Rating
from windowcast.records.trial_weather import AppliedHour
from windowcast.report.catalogue import Voice
from windowcast.report.chartkit import Chart, one_drawing
from windowcast.report.dose_chart import doses_drawn
from windowcast.report.figures_png import dose_png, means_png
from windowcast.report.page import page_of, style_sheet
from windowcast.report.trial_chart import said_and_drawn
from windowcast.report.trial_dataset import (
    APPLICATIONS,
    DOSES,
    application_rows,
    data_package,
    dose_rows,
    table_csv,
    tables_of,
)
from windowcast.report.trial_plan import plan_csv, treatment_rows
from windowcast.report.trial_results import Analysed, methods_text
from windowcast.trials.layout import plan_of
from windowcast.trials.trial_file import TrialFile

_SCRIPT = "reproduce.py"  # every report has one


def write_report(
    folder: Path,
    trial: TrialFile,
    ratings: Sequence[Rating],
    rounds: Sequence[Analysed],
    voice: Voice,
    *,
    hours: Sequence[AppliedHour] = (),
) -> tuple[list[str], str]:
    """Write every file of the report; their names, and why there is no PNG ("" where there is).

    Raises
    ------
    InputError
        The folder cannot be made, a file not be written, or it has one of that name which is not
        of an earlier report.
    """
    voice = voice.on_page
    folder = made_folder(folder)
    drawn = said_and_drawn(rounds, voice)
    files: dict[str, str | bytes] = {}
    no_png = ""

    def add(name: str, chart: Chart, png: Callable[[], bytes]) -> None:
        nonlocal no_png
        files[f"{name}.svg"] = one_drawing([chart.svg])
        if no_png:
            return
        try:
            files[f"{name}.png"] = png()
        except InputError as error:
            no_png = str(error)

    for result, (each, chart) in zip(rounds, drawn, strict=True):
        if chart is not None:
            add(each.key, chart, partial(means_png, result, each))
    dosed = dosed_rounds(trial, [found for found, _ in rounds])
    doses = doses_drawn(dosed, voice)
    for (said, dose_figure), (_, table, found) in zip(doses, dosed, strict=True):
        add(dose_figure.key, dose_figure, partial(dose_png, said, table, found, voice))
    tables = tables_of(trial, ratings, rounds, {each.key: each.problem for each, _ in drawn})
    if hours:
        tables["applications.csv"] = APPLICATIONS, application_rows(hours)
    if dosed:
        tables["doses.csv"] = DOSES, dose_rows(dosed)
    files |= {name: table_csv(fields, rows) for name, (fields, rows) in tables.items()}
    plan = plan_of(trial) if trial.seed is not None else ()
    if plan:
        files["plan.csv"] = plan_csv(plan)
    files["datapackage.json"] = data_package(trial, tables, dt.datetime.now(dt.UTC))
    methods = methods_text(rounds, voice, len(plan))
    files["methods.txt"] = f"{methods}\n"
    files["report.html"] = page_of(
        "trial_report_page.html", voice, trial=trial, treatments=treatment_rows(trial, voice),
        rounds=drawn, doses=doses, methods=methods, style=style_sheet(),
    )  # fmt: skip
    script = resources.files("windowcast.report").joinpath("trial_reproduce.py")
    strange = [name for name in files if (folder / name).exists()]
    if strange and not (folder / _SCRIPT).exists():  # ratings.csv may be the ratings as they came
        raise InputError(
            f"has a {strange[0]} that is not of a report", path=folder, field="--out",
            remedy="name a new folder",
        )  # fmt: skip
    files[_SCRIPT] = script.read_text("utf-8")
    for name, content in files.items():
        write_atomic(folder / name, content)
    return list(files), no_png

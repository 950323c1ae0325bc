"""What every command on a trial begins with: its file, its voice, its analyses."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from windowcast.cli.output import voice_in
from windowcast.cli.progress import at_work
from windowcast.core.errors import InputError

if TYPE_CHECKING:
    from windowcast.records.model import Rating
    from windowcast.report.catalogue import Voice
    from windowcast.trials.trial_file import TrialFile

trial_argument = click.argument("trial_file", metavar="TRIAL.toml", type=click.Path(path_type=Path))
against_option = click.option(
    "--against", default="", metavar="TREATMENT", help="Compare with this  [default: the check]."
)


def opened(trial_file: Path) -> tuple[TrialFile, Voice]:
    """A trial, and how its reader is spoken to."""
    from windowcast.trials.trial_file import load_trial

    trial = load_trial(trial_file)
    return trial, trial_voice(trial)


def trial_voice(trial: TrialFile) -> Voice:
    """How the reader of a trial is spoken to."""
    from dataclasses import replace

    voice = voice_in(trial.units)
    asked = click.get_current_context().meta.get("windowcast.lang")
    return voice if asked or not trial.language else replace(voice, lang=trial.language)


def analysed(trial: TrialFile, trial_file: Path, against: str) -> tuple[list[Any], list[Any]]:
    """The ratings of a trial, and each round with its analysis."""
    from windowcast.records.trial_analyses import analysed_rounds
    from windowcast.trials.layout import arms_of
    from windowcast.trials.trial_cells import arm_named

    arm = arm_named(against, "", arms_of(trial)) if against else None
    if against and arm is None:
        raise InputError(
            f"{against!r} is no treatment of the trial", field="--against",
            remedy=f"use one of {', '.join(a.name for a in arms_of(trial))}",
        )  # fmt: skip
    ratings = rated(trial, trial_file)
    with at_work():
        return ratings, analysed_rounds(trial, ratings, arm.name if arm else "")


def rated(trial: TrialFile, trial_file: Path) -> list[Rating]:
    """The ratings of a trial, of which there are some."""
    from windowcast.records.trial_log import ratings_or_names

    ratings, others = ratings_or_names(trial, trial_file)
    if others:
        raise InputError(
            f"has no ratings under its name; its log has some of {', '.join(others)}",
            path=trial_file, field="name",
            remedy="give it the name that it was rated under, or import its ratings again",
        )  # fmt: skip
    if not ratings:
        raise InputError(
            "has no ratings yet", path=trial_file, remedy="read some with windowcast trial import"
        )
    return ratings

"""``windowcast trial pool``: several trials taken together."""

from __future__ import annotations

from pathlib import Path

import click

from windowcast.cli.options import format_option, page_option
from windowcast.cli.output import echo, lang_option, print_json
from windowcast.cli.trial_opened import trial_voice
from windowcast.core.atomic_files import write_atomic

_PATH = click.Path(path_type=Path)


@click.command("pool")
@click.argument("trial_files", metavar="TRIAL.toml...", type=_PATH, nargs=-1, required=True)
@click.option(
    "--against", default="", metavar="TREATMENT",
    help="Compare with what this treatment of a trial got  [default: the untreated check].",
)  # fmt: skip
@format_option("text", "json")
@page_option("Also write a page with pictures.")
@lang_option
def pool(trial_files: tuple[Path, ...], against: str, format_: str, page: Path | None) -> None:
    """Take trials of several years and sites together: one effect, and how much places differ.

    Treatments are the same where they got the same active ingredients, rates and timing, whatever
    the trials call them. What cannot be pooled is named with the reason.
    """
    from windowcast.materials.actives import load_actives
    from windowcast.records.place_effects import read_trials
    from windowcast.records.pooled_trials import pool_trials
    from windowcast.report.trial_pool import pool_lines, pool_plain, render_pool

    trials = read_trials(trial_files)
    voice = trial_voice(trials[0].trial)
    found = pool_trials(trials, load_actives(), against)
    if page is not None:
        write_atomic(page, render_pool(found, voice))
    if format_ == "json":
        print_json(pool_plain(found, voice))
    else:
        echo(*pool_lines(found, voice))

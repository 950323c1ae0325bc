"""``windowcast trial threshold``: the weed cover above which treating pays."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import click

from windowcast.cli.options import format_option
from windowcast.cli.output import lang_option, print_json
from windowcast.cli.trial_opened import analysed, opened, trial_argument
from windowcast.core.errors import InputError
from windowcast.core.extras import require
from windowcast.report.terminal_width import prose_width
from windowcast.trials.layout import arms_of


@click.command("threshold")
@trial_argument
@click.option(
    "--cost", "costs", multiple=True, metavar="[TREATMENT=]MONEY",
    help='Of treating once: "45 USD per acre"; may be repeated, for a treatment each.',
)  # fmt: skip
@click.option("--worth", default="", metavar="MONEY", help="Of one percent of weed cover less.")
@click.option("--worth-step", default="", metavar="MONEY", help="Of one step of quality more.")
@click.option(
    "--acceptable", type=click.FloatRange(1, 9), help="Lowest quality that is good enough."
)
@click.option("--round", "key", default="", metavar="NAME", help="Whose control is taken.")
@click.option("--weed", default="", metavar="WEED", help="Of which, where the trial rates several.")
@format_option("text", "json")
@lang_option
def threshold(
    trial_file: Path,
    costs: tuple[str, ...],
    acceptable: float | None,
    key: str,
    weed: str,
    **asked: str,
) -> None:
    """The weed cover above which each treatment pays, by the trial's own control.

    Turf has no yield to lose, so you say what a percent of weed cover is worth to you, or a step of
    quality: then the trial's plots, rated for both on one day, say how quality falls with cover.

    Example: windowcast trial threshold trial.toml --cost "45 USD per acre" --worth "3 USD per acre"
    """
    from windowcast.records.trial_threshold import prices_said, turf_threshold
    from windowcast.report.trial_threshold import threshold_lines, threshold_plain

    require(click.get_current_context().command_path, "trials", "scipy")
    worth, worth_step = asked["worth"], asked["worth_step"]
    trial, voice = opened(trial_file)
    names = [arm.name for arm in arms_of(trial)]
    if not (worth or worth_step or acceptable is not None):
        raise InputError(
            "is missing", field="--worth",
            remedy="say what a percent of cover is worth, a step of quality (--worth-step), or the"
            " lowest quality that is good enough (--acceptable)",
        )  # fmt: skip
    prices = prices_said(costs, worth, worth_step, names)
    rounds = analysed(trial, trial_file, "")[1]
    if key and key not in {found.key for found, _ in rounds}:
        raise InputError(
            f"{key!r} is no round of the trial", path=trial_file, field="--round",
            remedy=f"use one of {', '.join(found.key for found, _ in rounds)}",
        )  # fmt: skip
    rated = list(dict.fromkeys(found.weed for found, _ in rounds if found.weed))
    found = turf_threshold(
        trial,
        rounds,
        costs={name: price for (field, name), price in prices.items() if field == "--cost"},
        worth=prices.get(("--worth", "")),
        worth_step=prices.get(("--worth-step", "")),
        acceptable=acceptable,
        key=key,
        weed=_rated(weed, rated, trial_file),
    )
    if asked["format_"] == "json":
        print_json(threshold_plain(trial.name, found, voice))
    else:
        click.echo("\n".join(threshold_lines(trial.name, found, voice, prose_width())))


def _rated(weed: str, rated: Sequence[str], trial_file: Path) -> str:
    """The code of a weed that the trial rates; "" where none is named."""
    from windowcast.core.weed_codes import weed_code

    if weed in ("", *rated):
        return weed
    try:
        code = weed_code(weed)
    except ValueError as error:
        raise InputError(str(error), field="--weed") from None
    if code not in rated:
        raise InputError(
            f"the trial rates no {weed}", path=trial_file, field="--weed",
            remedy=f"use one of {', '.join(rated)}" if rated else "leave it out",
        )  # fmt: skip
    return code

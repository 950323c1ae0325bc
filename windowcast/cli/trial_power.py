"""``windowcast trial power``: what a trial can show, before it is laid out."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from windowcast.cli.options import format_option
from windowcast.cli.output import lang_option, print_json, voice_in
from windowcast.cli.progress import at_work
from windowcast.cli.trial_opened import analysed, opened
from windowcast.core.errors import InputError
from windowcast.core.extras import require
from windowcast.report.terminal_width import prose_width
from windowcast.trials.rated_measures import MEASURES

if TYPE_CHECKING:
    import datetime as dt

    from windowcast.trials.spread import SpreadKnown

_PATH = click.Path(path_type=Path)


@click.command("power")
@click.argument("trial_file", metavar="[TRIAL.toml]", type=_PATH, required=False)
@click.option("--treatments", type=click.IntRange(2, 200), help="The check counts as one.")
@click.option("--blocks", type=click.IntRange(1, 50), help="At each site  [default: 4].")
@click.option("--sites", type=click.IntRange(1, 50), help="[default: 1]")
@click.option("--design", type=click.Choice(["rcbd", "crd"]), help="[default: rcbd]")
@click.option("--measure", type=click.Choice(list(MEASURES)), help="[default: control %]")
@click.option("--weed", default="", metavar="CODE", help="Of the past trial, where it rates some.")
@click.option("--mean", type=float, help="Expected, in the unit of the measure.")
@click.option(
    "--difference", type=float, metavar="D",
    help="To be shown, in points; of counts and weights in percent.",
)  # fmt: skip
@click.option(
    "--compare", type=click.Choice(["check", "all"]),
    help="Each with the check, or all pairs  [default: check for weeds counted or covering].",
)  # fmt: skip
@click.option("--from", "past", type=_PATH, metavar="PAST.toml", help="A trial with ratings.")
@format_option("text", "json")
@lang_option
def power(
    trial_file: Path | None, past: Path | None, weed: str, format_: str, **asked: Any
) -> None:
    """What a trial can show: the least difference, and the chance to show one you look for.

    Of TRIAL.toml, treatments, blocks, sites, design and what is rated are taken; options override
    them. How much plots vary comes from a past trial with ratings (--from), else from typical
    figures with their source.

    Example: windowcast trial power --treatments 6 --blocks 4 --difference 20 --from last-year.toml
    """
    from dataclasses import replace

    from windowcast.report.trial_power import power_lines, power_plain
    from windowcast.trials.showable import power_answer, usual_layout

    require(click.get_current_context().command_path, "trials", "scipy")
    trial, voice = opened(trial_file) if trial_file is not None else (None, voice_in("us"))
    layout = usual_layout(trial) | {
        key: asked.pop(key)
        for key in ("treatments", "blocks", "sites", "design", "measure")
        if asked[key] is not None
    }
    if "treatments" not in layout:
        raise InputError(
            "is missing", field="--treatments",
            remedy="say how many there are, or name a trial file",
        )  # fmt: skip
    wanted = {key: asked[key] for key in ("mean", "difference", "compare")}
    spread, name, days = _spread(layout["measure"], weed, past)
    with at_work():
        answer = replace(power_answer(layout, spread, **wanted), weed=weed, past=name, days=days)
    if format_ == "json":
        print_json(power_plain(answer, voice))
    else:
        click.echo("\n".join(power_lines(answer, voice, prose_width())))


def _spread(
    measure: str, weed: str, past: Path | None
) -> tuple[SpreadKnown, str, tuple[dt.date, ...]]:
    """How plots vary, with the past trial and the days it was rated on."""
    from windowcast.core.values import PACKAGED
    from windowcast.trials.spread import past_spread, typical_spread

    table = PACKAGED["trial_spread"]
    if past is None:
        return typical_spread(measure, table), "", ()
    trial, _ = opened(past)
    rounds = [
        (found, analysis)
        for found, analysis in analysed(trial, past, "")[1]
        if found.measure == measure and not found.since and weed in ("", found.weed)
    ]
    if len({found.weed for found, _ in rounds}) > 1:
        raise InputError(
            f"rates {measure} of several weeds", path=past, field="--weed",
            remedy=f"name one of {', '.join(dict.fromkeys(found.weed for found, _ in rounds))}",
        )  # fmt: skip
    sites = max((len(found.dates) for found, _ in rounds), default=1)
    looks = [(found.rows, found.options, analysis) for found, analysis in rounds]
    known = past_spread(measure, looks, table, sites=sites)
    if known is None:
        raise InputError(
            f"has no analysis of {measure} that says how plots vary", path=past, field="--from",
            remedy="name another trial, or leave it out for typical figures",
        )  # fmt: skip
    days = tuple(min(found.dates.values()) for found, analysis in rounds if not analysis.problem)
    return known, trial.name, days

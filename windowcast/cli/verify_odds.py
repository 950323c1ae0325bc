"""``windowcast verify odds``: replay past seasons and score the odds."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from windowcast.cli.output import voice_in
from windowcast.core.errors import InputError
from windowcast.windows.model import PURPOSES, PurposeName

if TYPE_CHECKING:
    from windowcast.core.record import Record
    from windowcast.report.catalogue import Voice
    from windowcast.verify.odds import OddsReport


@click.command(name="odds")
@click.argument("files", nargs=-1, metavar="[FILE]...", type=click.Path(path_type=Path))
@click.option("--sample", is_flag=True, help="Use the embedded sample record.")
@click.option(
    "--purpose",
    type=click.Choice(PURPOSES),
    default="post-early",
    show_default=True,
    help="Whose workable days are foretold.",
)
@click.option(
    "--seasons",
    type=click.IntRange(1, 30),
    default=5,
    show_default=True,
    help="Last seasons of each record that are replayed; earlier ones are what the odds rest on.",
)
@click.option(
    "--every",
    type=click.IntRange(1, 60),
    default=5,
    show_default=True,
    help="Days between issues.",
)
@click.option("--members", "count", type=click.IntRange(20, 1000), default=100, show_default=True)
@click.option("--seed", type=int, default=0, show_default=True)
@click.option(
    "--format", "format_", type=click.Choice(["table", "json"]), default="table", show_default=True
)
@click.option(
    "--diagram", type=click.Path(path_type=Path), metavar="OUT.svg", help="Also draw reliability."
)
def command(
    *,
    files: tuple[Path, ...],
    sample: bool,
    purpose: PurposeName,
    seasons: int,
    every: int,
    count: int,
    seed: int,
    format_: str,
    diagram: Path | None,
) -> None:
    """Replay past seasons issue day by issue day and score the odds of workable days.

    FILEs are daily records (USCRN daily01, GHCN-Daily or CSV), one station each, of at least four
    whole years.
    """
    from windowcast.verify.odds import joined, last_seasons, replay, report
    from windowcast.windows.purposes import purpose_of

    records = _records(files, sample=sample)
    chosen = purpose_of(purpose)
    parts = []
    replayed: set[int] = set()
    for record in records:
        years = last_seasons(record, seasons)
        replayed.update(years)
        parts.append(
            replay(record, chosen, seasons=years, every_days=every, count=count, seed=seed)
        )
    together = joined(parts)
    if not together.issues:
        raise InputError(
            "no season can be replayed",
            path=files[0] if files else None,
            remedy="give records of at least four whole years of high, low and rain",
        )
    names = [record.place.name for record in records]
    result = report(together, chosen, names, sorted(replayed))
    voice = voice_in("metric")
    if diagram is not None:
        from windowcast.core.atomic_files import write_atomic
        from windowcast.report.reliability import reliability_svg

        title = f"Odds of a workable day, {purpose}: {result.issues} issues"
        write_atomic(diagram, reliability_svg(result.reliability, title))
    if format_ == "json":
        from windowcast.report.plain import plain

        click.echo(json.dumps(plain(result, voice), indent=2, ensure_ascii=False))
    else:
        click.echo("\n".join(_lines(result, voice)))


def _records(files: Sequence[Path], *, sample: bool) -> list[Record]:
    """The records asked for; only days before the sample's "today" are real."""
    if sample == bool(files):
        raise InputError("give record files or --sample", remedy="one of the two")
    if sample:
        import numpy as np

        from windowcast.weather.sample import SAMPLE_TODAY, sample_weather

        daily = sample_weather().daily
        return [daily.between(daily.times[0], np.datetime64(SAMPLE_TODAY) - 1)]
    from windowcast.sources.files import read_weather

    records = [read_weather(path) for path in files]
    for path, record in zip(files, records, strict=True):
        if not record.daily:
            raise InputError("is not a daily record", path=path, remedy="give daily values")
    return records


_HEAD = "lead     n  base   Brier  climate  certain  skill (10 to 90 %)          v certain"


def _lines(result: OddsReport, voice: Voice) -> list[str]:
    """The report as text."""
    seasons = f"{result.seasons[0]} to {result.seasons[-1]}"
    overall = (
        f"Brier score {result.brier:.4f}; skill against climatology {result.skill_climate:+.3f}, "
        f"against the forecast taken as certain {result.skill_certain:+.3f}; "
        f"calibration error {result.calibration_error:.3f} "
        f"({result.calibration_by_chance:.3f} by chance alone)"
    )
    lines = [
        f"Odds that {voice.text(result.event)}",
        f"{len(result.stations)} station(s), seasons {seasons}, {result.issues} issues",
        "",
        overall,
        "",
        f"{_HEAD}  calib. (chance)",
    ]
    for lead in result.leads:
        low, high = lead.skill_climate_10_90
        lines.append(
            f"{lead.lead:4d} {lead.count:5d} {lead.base_rate:5.2f}  {lead.brier:.4f}   "
            f"{lead.brier_climate:.4f}   {lead.brier_certain:.4f}  {lead.skill_climate:+.3f} "
            f"({low:+.3f} to {high:+.3f})     {lead.skill_certain:+.3f}    "
            f"{lead.calibration_error:.3f}  ({lead.calibration_by_chance:.3f})"
        )
    lines += ["", "odds said   came       n"]
    lines += [f"{b.said:9.3f} {b.came:6.3f} {b.count:7d}" for b in result.reliability]
    return [*lines, "", *result.notes]

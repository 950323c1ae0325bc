"""``windowcast verify odds``: replay past seasons and score the odds."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import click

from windowcast.cli.options import format_option
from windowcast.cli.output import voice_in
from windowcast.cli.progress import at_work
from windowcast.core.atomic_files import write_atomic
from windowcast.core.errors import InputError
from windowcast.report.terminal_width import fitted, table_lines, table_width
from windowcast.windows.model import PURPOSES, PurposeName

if TYPE_CHECKING:
    from windowcast.core.record import Record
    from windowcast.report.catalogue import Voice
    from windowcast.verify.issued_scores import IssuedReport
    from windowcast.verify.odds import OddsReport


@click.command(name="odds")
@click.argument("files", nargs=-1, metavar="[FILE]...", type=click.Path(path_type=Path))
@click.option("--sample", is_flag=True, help="Use the embedded sample record.")
@click.option(
    "--forecasts",
    type=click.Path(path_type=Path),
    metavar="FOLDER",
    help="Score forecasts as issued: a folder of forecasts, observed and cities (docs/odds.md).",
)
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
@click.option(
    "--error-scale",
    type=click.FloatRange(0.5, 2.0),
    default=1.0,
    show_default=True,
    help="Factor of the simulated forecasts' errors of temperature: another make of forecast.",
)
@click.option("--members", "count", type=click.IntRange(20, 1000), default=100, show_default=True)
@click.option("--seed", type=int, default=0, show_default=True)
@format_option("table", "json")
@click.option(
    "--diagram", type=click.Path(path_type=Path), metavar="OUT.svg", help="Also draw reliability."
)
def command(
    *,
    files: tuple[Path, ...],
    sample: bool,
    forecasts: Path | None,
    purpose: PurposeName,
    seasons: int,
    every: int,
    error_scale: float,
    count: int,
    seed: int,
    format_: str,
    diagram: Path | None,
) -> None:
    """Replay past seasons issue day by issue day and score the odds of workable days.

    FILEs are daily records (USCRN daily01, GHCN-Daily or CSV), one station each, of at least four
    whole years; forecasts for them are simulated. With --forecasts the forecasts are real.
    """

    if forecasts is not None:
        if files or sample:
            raise _one_of_three()
        with at_work():
            scored = _issued(forecasts, purpose, every=every, count=count, seed=seed)
        title = f"Odds of temperatures, forecasts as issued: {scored.issues} issues"
        _put_out(scored, title, format_, diagram, _issued_lines)
        return
    from windowcast.verify.odds import joined, last_seasons, replay, report
    from windowcast.windows.purposes import purpose_of

    records = _records(files, sample=sample)
    chosen = purpose_of(purpose)
    parts = []
    replayed: set[int] = set()
    with at_work():
        for record in records:
            years = last_seasons(record, seasons)
            replayed.update(years)
            parts.append(
                replay(
                    record, chosen, seasons=years, every_days=every, count=count, seed=seed,
                    error_scale=error_scale,
                )
            )  # fmt: skip
    together = joined(parts)
    if not together.issues:
        raise InputError(
            "no season can be replayed",
            path=files[0] if files else None,
            remedy="give records of at least four whole years of high, low and rain",
        )
    names = [record.place.name for record in records]
    result = report(together, chosen, names, sorted(replayed))
    title = f"Odds of a workable day, {purpose}: {result.issues} issues"
    _put_out(result, title, format_, diagram, _lines)


Report = TypeVar("Report", "OddsReport", "IssuedReport")


def _put_out(
    result: Report,
    title: str,
    format_: str,
    diagram: Path | None,
    lines: Callable[[Report, Voice], list[str]],
) -> None:
    """Draw, and print as asked."""
    voice = voice_in("metric")
    if diagram is not None:
        from windowcast.report.reliability import reliability_svg

        write_atomic(diagram, reliability_svg(result.reliability, title, voice))
    if format_ == "json":
        from windowcast.report.plain import plain

        click.echo(json.dumps(plain(result, voice), indent=2, ensure_ascii=False))
    else:
        click.echo("\n".join(fitted(lines(result, voice), table_width())))


def _issued(
    folder: Path, purpose: PurposeName, *, every: int, count: int, seed: int
) -> IssuedReport:
    """Replay and score a folder of forecasts as issued."""
    from windowcast.verify.issued import read_folder
    from windowcast.verify.issued_odds import events_of, replay_issued
    from windowcast.verify.issued_scores import issued_report
    from windowcast.windows.purposes import purpose_of

    cities = read_folder(folder)
    events = events_of(purpose_of(purpose))
    drawn = replay_issued(cities, events, every_days=every, count=count, seed=seed)
    if not drawn.issues:
        raise InputError(
            "no forecast can be replayed",
            path=folder,
            remedy="give cities with more than a year of observed highs",
        )
    return issued_report(drawn, events, cities, folder.name, count)


def _one_of_three() -> InputError:
    return InputError("give record files, --sample or --forecasts", remedy="one of the three")


def _records(files: Sequence[Path], *, sample: bool) -> list[Record]:
    """The records asked for; only days before the sample's "today" are real."""
    if sample == bool(files):
        raise _one_of_three()
    if sample:
        import numpy as np

        from windowcast.core.time_axis import step_before
        from windowcast.weather.sample import SAMPLE_TODAY, sample_weather

        daily = sample_weather().daily
        return [daily.between(daily.times[0], step_before(np.datetime64(SAMPLE_TODAY)))]
    from windowcast.sources.files import read_weather

    records = [read_weather(path) for path in files]
    for path, record in zip(files, records, strict=True):
        if not record.daily:
            raise InputError("is not a daily record", path=path, remedy="give daily values")
    return records


def _lines(result: OddsReport, voice: Voice) -> list[str]:
    """The report as text."""
    seasons = f"{result.seasons[0]} to {result.seasons[-1]}"
    overall = (
        f"Brier score {result.brier:.4f}; "
        f"skill against climatology {_signed(result.skill_climate)}, "
        f"against the forecast taken as certain {_signed(result.skill_certain)}; "
        f"calibration error {result.calibration_error:.3f} "
        f"({result.calibration_by_chance:.3f} by chance alone)"
    )
    head = ["lead", "n", "base", "Brier", "climate", "certain", "skill (10 to 90 %)", "v certain",
            "calib. (chance)"]  # fmt: skip
    rows = []
    for lead in result.leads:
        low, high = map(_signed, lead.skill_climate_10_90)
        skill = f"{_signed(lead.skill_climate)} ({low} to {high})"
        calibration = f"{lead.calibration_error:.3f} ({lead.calibration_by_chance:.3f})"
        rows.append([
            f"{lead.lead}", f"{lead.count}", f"{lead.base_rate:.2f}", f"{lead.brier:.4f}",
            f"{lead.brier_climate:.4f}", f"{lead.brier_certain:.4f}", skill,
            _signed(lead.skill_certain), calibration,
        ])  # fmt: skip
    return [
        f"Odds that {voice.text(result.event)}",
        f"{len(result.stations)} station(s), seasons {seasons}, {result.issues} issues",
        "", overall, "", *_table(head, rows), "", *_reliability(result), "", *result.notes,
    ]  # fmt: skip


def _issued_lines(result: IssuedReport, voice: Voice) -> list[str]:
    """The scores of forecasts as issued, as text."""
    about = (
        f"Forecasts as issued, {len(result.cities)} cities, {result.first} to {result.last}: "
        f"{result.issues} issues of {len(result.highs)} days, {result.members} futures each"
    )
    lines = [about, "", "highs, °C; lead 0 is the date of issue"]
    head = ["lead", "n", "bias", "RMSE", "spread", "spread/error", "CRPS", "CRPS of a fixed error"]
    rows = [
        [
            f"{h.lead}", f"{h.count}", f"{h.bias:+.2f}", f"{h.rmse:.2f}", f"{h.spread:.2f}",
            f"{h.spread_over_error:.2f}", f"{h.crps:.3f}", f"{h.crps_fixed_error:.3f}",
        ]
        for h in result.highs
    ]  # fmt: skip
    lines += _table(head, rows)
    for event in result.events:
        said = (
            f"{voice.text(event.title)}: calibration error {event.calibration_error:.3f} "
            f"({event.calibration_by_chance:.3f} by chance alone); "
            f"skill against climatology {_signed(event.skill_climate)}"
        )
        lines += ["", said]
        if event.middle_said is not None:
            lines.append(
                f"odds of 0.3 to 0.7: {event.middle_said:.3f} said, {event.middle_came:.3f} came, "
                f"{event.middle_count} cases"
            )
        rows = [
            [
                f"{k.lead}", f"{k.count}", f"{k.base_rate:.2f}", f"{k.brier:.4f}",
                f"{k.brier_climate:.4f}", _signed(k.skill_climate),
                f"{k.calibration_error:.3f} ({k.calibration_by_chance:.3f})",
            ]
            for k in event.leads
        ]  # fmt: skip
        head = ["lead", "n", "base", "Brier", "climate", "skill", "calib. (chance)"]
        lines += _table(head, rows)
    return [*lines, "", "all events", *_reliability(result), "", *result.notes]


def _reliability(result: OddsReport | IssuedReport) -> list[str]:
    rows = [[f"{b.said:.3f}", f"{b.came:.3f}", f"{b.count}"] for b in result.reliability]
    return _table(["odds said", "came", "n"], rows)


def _table(head: list[str], rows: list[list[str]]) -> list[str]:

    return table_lines(head, rows, range(len(head)), table_width())


def _signed(skill: float) -> str:
    """A skill; a dash where what it is held against never missed."""
    return "–" if math.isnan(skill) else f"{skill:+.3f}"

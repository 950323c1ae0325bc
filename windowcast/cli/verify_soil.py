"""``windowcast verify soil``: the soil model against probes."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

from windowcast.cli.options import format_option

PLAIN = "model_without_radiation_and_humidity"
ALONE = "model, highs, lows and rain alone"
MEASURED = "model, sun and humidity measured"


@click.command(name="soil")
@click.argument("paths", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--readings",
    type=click.IntRange(0, 1000),
    default=10,
    show_default=True,
    help="Probe readings given to the model in the second part; 0 leaves it out.",
)
@click.option(
    "--draws",
    type=click.IntRange(1, 1000),
    default=10,
    show_default=True,
    help="How often the readings are drawn.",
)
@click.option("--seed", type=int, default=0, show_default=True, help="Seed of the draws.")
@format_option("json", "table")
def command(*, paths: tuple[Path, ...], readings: int, draws: int, seed: int, format_: str) -> None:
    """Soil temperature against USCRN daily01 files or folders, plain or gzip."""
    from windowcast.cli.progress import at_work
    from windowcast.verify.soil import verify_soil

    with at_work():
        result = verify_soil(paths, readings=readings, draws=draws, seed=seed)
    if format_ == "json":
        click.echo(json.dumps(result, indent=1))
    else:
        from windowcast.report.terminal_width import table_width

        click.echo(soil_table(result, table_width()))


def soil_table(result: dict[str, Any], width: int) -> str:
    """The result as tables for a terminal so many letters wide."""
    from windowcast.report.terminal_width import fitted

    said = "5 cm, September to April; autumn, spring: days off, mean / median"
    lines = [said]
    for key, title in (("all", "all stations"), ("south_east", "south-east, transition zone")):
        part = result["pooled"].get(key)
        if part is None:
            continue
        others, rows = dict(part["others"]), []
        for name, scores in ((ALONE, others.pop(PLAIN)), (MEASURED, part)):
            rows.append(_row(name, scores))
            for rule, with_them in scores.get("with_readings", {}).items():
                rows.append(_row(f"  with readings, {rule.replace('_', ' ')}", with_them))
        rows += [_row(name.replace("_", " "), scores) for name, scores in others.items()]
        lines += ["", *_table(title, rows, width)]
    plain = [{"name": s["name"]} | s["others"][PLAIN] for s in result["stations"]]
    stations = [_row(s["name"], s) for s in sorted(plain, key=_worst_first)]
    lines += ["", *_table("station, highs, lows, rain alone", stations, width), ""]
    return "\n".join(fitted(lines + [f"- {note}" for note in result["notes"]], width))


def _worst_first(station: dict[str, Any]) -> float:
    return -(station["rmse_c"] or 0.0)


def _table(title: str, rows: list[list[str]], width: int) -> list[str]:
    from windowcast.report.terminal_width import table_lines

    head = [title, "n", "RMSE °C", "bias °C", "autumn", "spring"]
    return table_lines(head, rows, range(1, len(head)), width)


def _row(name: str, scores: dict[str, Any]) -> list[str]:
    if not scores["n"]:
        return [name, "0", "", "", "", ""]
    row = [name, f"{scores['n']}", f"{scores['rmse_c']:.2f}", f"{scores['bias_c']:+.2f}"]
    for key in ("autumn_21.1c", "spring_12.8c"):
        mean, median = f"{key}_mean_abs_days", f"{key}_median_abs_days"
        known = scores.get(f"{key}_years")
        row.append(f"{scores[mean]:.1f} / {scores[median]:.0f}" if known else "")
    return row

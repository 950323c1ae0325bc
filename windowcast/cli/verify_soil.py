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
    from windowcast.verify.soil import verify_soil

    result = verify_soil(paths, readings=readings, draws=draws, seed=seed)
    click.echo(json.dumps(result, indent=1) if format_ == "json" else soil_table(result))


def soil_table(result: dict[str, Any]) -> str:
    """The result as a table for the terminal."""
    head = f"{'':34}{'n':>8}{'RMSE':>7}{'bias':>7}{'autumn':>14}{'spring':>14}"
    lines = [f"{'5 cm, September to April':34}{'':8}{'°C':>7}{'°C':>7}{'d mean/med.':>14}{'':14}"]
    for key, title in (("all", "all stations"), ("south_east", "south-east, transition zone")):
        part = result["pooled"].get(key)
        if part is None:
            continue
        lines += ["", head.replace(" " * 34, f"{title:34}", 1)]
        others = dict(part["others"])
        for name, scores in ((ALONE, others.pop(PLAIN)), (MEASURED, part)):
            lines.append(_row(name, scores))
            for rule, with_them in scores.get("with_readings", {}).items():
                lines.append(_row(f"  with readings, {rule.replace('_', ' ')}", with_them))
        lines += [_row(name.replace("_", " "), scores) for name, scores in others.items()]
    lines += ["", head.replace(" " * 34, f"{'station, highs, lows, rain alone':34}", 1)]
    plain = [{"name": s["name"]} | s["others"][PLAIN] for s in result["stations"]]
    lines += [_row(s["name"], s) for s in sorted(plain, key=_worst_first)]
    return "\n".join(lines + [""] + [f"- {note}" for note in result["notes"]])


def _worst_first(station: dict[str, Any]) -> float:
    return -(station["rmse_c"] or 0.0)


def _row(name: str, scores: dict[str, Any]) -> str:
    if not scores["n"]:
        return f"{name:34}{0:8}"
    row = f"{name:34}{scores['n']:8}{scores['rmse_c']:7.2f}{scores['bias_c']:+7.2f}"
    for key in ("autumn_21.1c", "spring_12.8c"):
        if scores.get(f"{key}_years"):
            mean, median = scores[f"{key}_mean_abs_days"], scores[f"{key}_median_abs_days"]
            row += f"{f'{mean:.1f} / {median:.0f}':>14}"
        else:
            row += f"{'':14}"
    return row

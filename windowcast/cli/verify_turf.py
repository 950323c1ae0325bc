"""``windowcast verify turf``: dormancy and green-up against dated sightings."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

from windowcast.cli.options import format_option


@click.command(name="turf")
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path))
@click.option(
    "--weather",
    "weather",
    multiple=True,
    required=True,
    metavar="PATH",
    type=click.Path(path_type=Path),
    help="Weather file that carries a place (USCRN daily01 and the like), or a folder of them.",
)
@click.option(
    "--within-km",
    type=click.FloatRange(1.0, 1000.0),
    default=150.0,
    show_default=True,
    help="How far off the nearest station may lie.",
)
@format_option("table", "json")
def command(*, file: Path, weather: tuple[Path, ...], within_km: float, format_: str) -> None:
    """Hold dormancy and green-up against dated sightings in FILE, a CSV.

    Columns: grass, event, date (YYYY-MM-DD, or normal MM-DD), lat, lon; cultivar, percent, site,
    source, status, precision_d and note where known. The weather is that of the nearest station
    that knows the season.
    """
    from windowcast.cli.progress import at_work
    from windowcast.verify.turf import verify_turf

    with at_work():
        result = verify_turf(file, weather, within_km=within_km)
    if format_ == "json":
        click.echo(json.dumps(result, indent=1, ensure_ascii=False))
    else:
        from windowcast.report.terminal_width import table_width

        click.echo(turf_table(result, table_width()))


def turf_table(result: dict[str, Any], width: int) -> str:
    """The result for a terminal so many letters wide."""
    from windowcast.report.terminal_width import fitted, table_lines

    head = ["row", "seen", "date", "km", "state said", "leaf", "half", "off", "10 to 90 %",
            "permitted", "place"]  # fmt: skip
    lines = table_lines(head, [_row(r) for r in result["rows"]], (0, 3, 5, 6, 7), width)
    lines.append("")
    for name, t in result["totals"].items():
        dated = (
            f"{t['dated']} dated: median {t['median_abs_days_off']} d off, 90 % within "
            f"{t['p90_abs_days_off']} d, bias {t['bias_days']:+} d, "
            f"{t['inside_10_90']:.0%} inside 10 to 90 %"
            if t["dated"]
            else "none dated"
        )
        lines.append(
            f"{name.replace('_', ' '):14} {t['n']} rows, live leaf in {t['live_leaf_seen']} "
            f"({t['called_dormant']} called dormant), wrong permissions {t['wrong_permissions']}; "
            f"{dated}"
        )
    lines.append("")
    lines += [f"{u['row']:4} not used: {u['why']} ({u['event']})" for u in result["unused"]]
    if result["weather_skipped"]:
        names = ", ".join(result["weather_skipped"])
        lines.append(f"weather files without a place, or of no known kind: {names}")
    return "\n".join(fitted(lines, width))


def _row(r: dict[str, Any]) -> list[str]:
    chances = [
        "?" if r[k] is None else f"{r[k]:.0%}"
        for k in ("green_probability", "half_green_probability")
    ]
    off = "" if r["days_off"] is None else f"{r['days_off']:+d} d"
    span = f"{r['early']} {r['late']}" if r["early"] else ""
    days = f"{r['permitted_days']} d" if r["permitted_days"] else "no"
    permitted = f"WRONG: {r['permitted_days']} d" if r["wrong_permission"] else days
    place = f"{r['species']}, {r['site']}"
    return [
        f"{r['row']}", r["kind"], f"{r['date']}", f"{r['distance_km']:.0f}", r["state"], *chances,
        off, span, permitted, place,
    ]  # fmt: skip

"""``windowcast verify``: soil, key dates, turf and emergence held against what was seen."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from statistics import median
from typing import TYPE_CHECKING, Any

import click

from windowcast.cli.options import format_option
from windowcast.cli.output import print_found, print_json
from windowcast.cli.progress import at_work, tell
from windowcast.core.errors import InputError
from windowcast.report.terminal_width import table_lines

if TYPE_CHECKING:
    from windowcast.core.record import Record
    from windowcast.verify.emergence import Beside, Check

_PATH = click.Path(path_type=Path)
PLAIN = "model_without_radiation_and_humidity"
ALONE = "model, highs, lows and rain alone"
MEASURED = "model, sun and humidity measured"

# ---- soil ---------------------------------------------------------------------------------------


@click.command("soil")
@click.argument("paths", nargs=-1, required=True, type=_PATH)
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
def soil(*, paths: tuple[Path, ...], format_: str, **asked: int) -> None:
    """Soil temperature against USCRN daily01 files or folders, plain or gzip."""
    from windowcast.verify.soil import verify_soil

    with at_work():
        result = verify_soil(paths, **asked)
    print_found(result, format_, _soil_lines)


def _soil_lines(result: dict[str, Any], width: int) -> list[str]:
    lines = ["5 cm, September to April; autumn, spring: days off, mean / median"]
    for key, title in (("all", "all stations"), ("south_east", "south-east, transition zone")):
        part = result["pooled"].get(key)
        if part is None:
            continue
        others, rows = dict(part["others"]), []
        for name, scores in ((ALONE, others.pop(PLAIN)), (MEASURED, part)):
            rows.append(_soil_row(name, scores))
            for rule, with_them in scores.get("with_readings", {}).items():
                rows.append(_soil_row(f"  with readings, {rule.replace('_', ' ')}", with_them))
        rows += [_soil_row(name.replace("_", " "), scores) for name, scores in others.items()]
        lines += ["", *_soil_table(title, rows, width)]
    plain = [{"name": s["name"]} | s["others"][PLAIN] for s in result["stations"]]
    worst_first = sorted(plain, key=lambda station: -(station["rmse_c"] or 0.0))
    stations = [_soil_row(s["name"], s) for s in worst_first]
    lines += ["", *_soil_table("station, highs, lows, rain alone", stations, width), ""]
    return [*lines, *_notes(result)]


def _soil_table(title: str, rows: list[list[str]], width: int) -> list[str]:
    head = [title, "n", "RMSE °C", "bias °C", "autumn", "spring"]
    return table_lines(head, rows, range(1, len(head)), width)


def _soil_row(name: str, scores: dict[str, Any]) -> list[str]:
    if not scores["n"]:
        return [name, "0", "", "", "", ""]
    row = [name, f"{scores['n']}", f"{scores['rmse_c']:.2f}", f"{scores['bias_c']:+.2f}"]
    for key in ("autumn_21.1c", "spring_12.8c"):
        mean, median = f"{key}_mean_abs_days", f"{key}_median_abs_days"
        known = scores.get(f"{key}_years")
        row.append(f"{scores[mean]:.1f} / {scores[median]:.0f}" if known else "")
    return row


def _notes(result: dict[str, Any]) -> list[str]:
    return [f"- {note}" for note in result["notes"]]


# ---- key dates ----------------------------------------------------------------------------------


@click.command("dates")
@click.argument("paths", nargs=-1, required=True, metavar="PATH...", type=_PATH)
@click.option(
    "--seasons",
    type=click.IntRange(1, 30),
    default=5,
    show_default=True,
    help="Last seasons of each station that are replayed; earlier ones are what is known.",
)
@click.option(
    "--issue",
    "issues",
    multiple=True,
    metavar="MM-DD",
    help="Day on which the dates are told; repeatable. By default 08-20, 10-01, 12-01 and 02-01.",
)
@format_option("json", "table")
def dates(*, paths: tuple[Path, ...], seasons: int, issues: tuple[str, ...], format_: str) -> None:
    """Score the 10 to 90 % of soil, turf and weed dates told in past seasons.

    PATHs are USCRN daily01 files or folders, plain or gzip. A season takes some seconds a station.
    """
    from windowcast.verify.dates import ISSUES, verify_dates

    for issue in issues:
        try:
            dt.date.fromisoformat(f"2023-{issue}")
        except ValueError:
            raise InputError(
                f"{issue!r} is not a day of the year", field="--issue", remedy="write it as 08-20"
            ) from None
    result = verify_dates(paths, seasons=seasons, issues=issues or ISSUES, on_station=tell)
    print_found(result, format_, dates_lines)


def dates_lines(result: dict[str, Any], width: int) -> list[str]:
    """The result as tables for a terminal so many letters wide."""
    lines = []
    for issue, regions in result["issues"].items():
        for region, by_event in regions.items():
            if not by_event:
                continue
            title = f"issued {issue}, {region.replace('_', ' ')}"
            head = [title, "n", "within", "width", "middle", "abs", "skill"]
            rows = [_dates_row(name, found) for name, found in by_event.items()]
            lines += ["", *table_lines(head, rows, range(1, len(head)), width)]
    return [*lines[1:], "", *_notes(result)]


def _dates_row(name: str, found: dict[str, Any]) -> list[str]:
    skill = "" if found["skill"] is None else f"{found['skill']:+.2f}"
    off = f"{found['middle_mean_abs_days']:.1f}"
    return [
        name, f"{found['n']}", f"{found['coverage']:.0%}", f"{found['width_days']:.1f}",
        f"{found['middle_days']:+.1f}", off, skill,
    ]  # fmt: skip


# ---- turf ---------------------------------------------------------------------------------------


@click.command("turf")
@click.argument("file", metavar="FILE", type=_PATH)
@click.option(
    "--weather",
    "weather",
    multiple=True,
    required=True,
    metavar="PATH",
    type=_PATH,
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
def turf(*, file: Path, weather: tuple[Path, ...], within_km: float, format_: str) -> None:
    """Hold dormancy and green-up against dated sightings in FILE, a CSV.

    Columns: grass, event, date (YYYY-MM-DD, or normal MM-DD), lat, lon; cultivar, percent, site,
    source, status, precision_d and note where known. The weather is that of the nearest station
    that knows the season.
    """
    from windowcast.verify.turf import verify_turf

    with at_work():
        result = verify_turf(file, weather, within_km=within_km)
    print_found(result, format_, _turf_lines)


def _turf_lines(result: dict[str, Any], width: int) -> list[str]:
    head = ["row", "seen", "date", "km", "state said", "leaf", "half", "off", "10 to 90 %",
            "permitted", "place"]  # fmt: skip
    lines = table_lines(head, [_turf_row(r) for r in result["rows"]], (0, 3, 5, 6, 7), width)
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
    return lines


def _turf_row(r: dict[str, Any]) -> list[str]:
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


# ---- emergence ----------------------------------------------------------------------------------


@click.command("emergence")
@click.argument("files", nargs=-1, required=True, metavar="FILE...", type=_PATH)
@format_option("table", "json")
@click.option(
    "--sightings",
    type=_PATH,
    metavar="SEEN.csv",
    help="First plants and seedheads as seen: weed, event, date, lat, lon.",
)
def emergence(*, files: tuple[Path, ...], format_: str, sightings: Path | None) -> None:
    """Hold the emergence curves against published figures of their regions.

    With --sightings, against dates on which first plants were seen near a station.

    FILEs are daily records (USCRN daily01, GHCN-Daily or CSV), one station each. Stations outside
    the latitudes a figure is from are left out of it.
    """
    with at_work():
        records = [_filled(path) for path in files]
    if sightings is not None:
        print_found(_sighted(records, sightings), format_, _seen_lines, indent=2)
        return
    from windowcast.verify.emergence import checks

    with at_work():
        found = [check for check in checks(records) if check.found]
    if not found:
        raise InputError(
            "no published figure applies to these records",
            path=files[0],
            remedy="give whole years of northern stations between 34 and 42 degrees latitude",
        )
    if format_ == "json":
        rows = [{**asdict(c), "median": c.median, "inside": c.inside} for c in found]
        print_json(rows, indent=2)
        return
    print_found(found, format_, _emergence_lines)


def _filled(path: Path) -> Record:
    """A daily record without gaps."""
    from windowcast.sources.files import read_weather
    from windowcast.weather.gaps import filled

    record = read_weather(path)
    if not record.daily:
        raise InputError("is not a daily record", path=path, remedy="give daily values")
    return filled(record)


def _sighted(records: Sequence[Record], sightings: Path) -> list[Beside]:
    from windowcast.verify.emergence import beside, read_seen

    found = beside(records, read_seen(sightings))
    if not found:
        raise InputError(
            "no sighting lies near these records",
            path=sightings,
            remedy="give a station within 350 km that has the year",
        )
    return found


def _seen_lines(found: Sequence[Beside], _: int) -> list[str]:
    lines: list[str] = []
    for row in found:
        seen = row.seen
        when = seen.month_day if seen.year is None else f"{seen.year}-{seen.month_day}"
        told = "" if math.isnan(row.days) else f", model {row.days:+.0f} d"
        by_air = (
            "" if math.isnan(row.days_by_air) else f", by air temperature {row.days_by_air:+.0f} d"
        )
        lines.append(f"{seen.weed} {seen.event} {when}, {seen.place}")
        lines.append(
            f"  {row.station}, {row.distance_km:.0f} km: day {row.middle:.0f} "
            f"({row.early:.0f} to {row.late:.0f}){told}{by_air}"
            f"{'' if row.agrees else '; disagrees'}"
        )
    lines.append(f"{len(found)} sightings, {sum(row.agrees for row in found)} within the range")
    for name, errors in (
        ("model", [row.days for row in found]),
        ("air", [row.days_by_air for row in found]),
    ):
        off = [abs(error) for error in errors if not math.isnan(error)]
        if off:
            lines.append(f"median error by {name}: {median(off):.0f} d of {len(off)} dates")
    return lines


def _emergence_lines(found: Sequence[Check], width: int) -> list[str]:
    """Figure by figure, a line a station."""
    lines: list[str] = []
    for name in dict.fromkeys(check.name for check in found):
        rows = [check for check in found if check.name == name]
        low, high = rows[0].published
        ranged = low != high
        span = f"{low:g} to {high:g}" if ranged else f"{low:g}"
        lines += ["", f"{name}: published {span} ({rows[0].unit})", f"  {rows[0].source}"]
        head = ["station", "median", "from", "to", "seasons", *(["within"] if ranged else [])]
        cells = [
            [
                c.station, f"{c.median:.2f}", f"{min(c.found):.2f}", f"{max(c.found):.2f}",
                f"{len(c.found)}", *([f"{c.inside:.0%}"] if ranged else []),
            ]
            for c in rows
        ]  # fmt: skip
        table = table_lines(head, cells, range(1, len(head)), width - 2)
        lines += [f"  {line}".rstrip() for line in table]
    return lines[1:]

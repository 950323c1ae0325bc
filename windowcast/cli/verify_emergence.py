"""``windowcast verify emergence``: the emergence curves held against published figures."""

from __future__ import annotations

import json
import math
from dataclasses import asdict
from pathlib import Path
from statistics import median
from typing import TYPE_CHECKING, Any

import click

from windowcast.cli.options import format_option
from windowcast.core.errors import InputError

if TYPE_CHECKING:
    from windowcast.core.record import Record
    from windowcast.verify.emergence import Check


@click.command(name="emergence")
@click.argument(
    "files", nargs=-1, required=True, metavar="FILE...", type=click.Path(path_type=Path)
)
@format_option("table", "json")
@click.option(
    "--sightings",
    type=click.Path(path_type=Path),
    metavar="SEEN.csv",
    help="First plants and seedheads as seen: weed, event, date, lat, lon.",
)
def command(*, files: tuple[Path, ...], format_: str, sightings: Path | None) -> None:
    """Hold the emergence curves against published figures of their regions.

    With --sightings, against dates on which first plants were seen near a station.

    FILEs are daily records (USCRN daily01, GHCN-Daily or CSV), one station each. Stations outside
    the latitudes a figure is from are left out of it.
    """
    from windowcast.cli.progress import at_work
    from windowcast.sources.files import read_weather
    from windowcast.verify.emergence import checks
    from windowcast.weather.gaps import filled

    records = []
    with at_work():
        for path in files:
            record = read_weather(path)
            if not record.daily:
                raise InputError("is not a daily record", path=path, remedy="give daily values")
            records.append(filled(record))
    if sightings is not None:
        _seen(records, sightings, format_)
        return
    with at_work():
        found = checks(records)
    if not any(check.found for check in found):
        raise InputError(
            "no published figure applies to these records",
            path=files[0],
            remedy="give whole years of northern stations between 34 and 42 degrees latitude",
        )
    if format_ == "json":
        rows = [{**asdict(c), "median": c.median, "inside": c.inside} for c in found if c.found]
        click.echo(json.dumps(rows, indent=2, ensure_ascii=False))
    else:
        from windowcast.report.terminal_width import table_width

        click.echo("\n".join(_lines(found, table_width())))


def _seen(records: list[Record], sightings: Path, format_: str) -> None:
    from windowcast.verify.emergence import beside, read_seen

    found = beside(records, read_seen(sightings))
    if not found:
        raise InputError(
            "no sighting lies near these records",
            path=sightings,
            remedy="give a station within 350 km that has the year",
        )
    if format_ == "json":
        rows = [{key: _plain(value) for key, value in asdict(row).items()} for row in found]
        click.echo(json.dumps(rows, indent=2, ensure_ascii=False))
        return
    from windowcast.report.terminal_width import fitted, table_width

    lines: list[str] = []
    for row in found:
        seen = row.seen
        when = seen.month_day if seen.year is None else f"{seen.year}-{seen.month_day}"
        told = "" if math.isnan(row.days) else f", model {row.days:+.0f} d"
        air = (
            "" if math.isnan(row.days_by_air) else f", by air temperature {row.days_by_air:+.0f} d"
        )
        lines.append(f"{seen.weed} {seen.event} {when}, {seen.place}")
        lines.append(
            f"  {row.station}, {row.distance_km:.0f} km: day {row.middle:.0f} "
            f"({row.early:.0f} to {row.late:.0f}){told}{air}{'' if row.agrees else '; disagrees'}"
        )
    lines.append(f"{len(found)} sightings, {sum(row.agrees for row in found)} within the range")
    for name, errors in (
        ("model", [row.days for row in found]),
        ("air", [row.days_by_air for row in found]),
    ):
        off = [abs(error) for error in errors if not math.isnan(error)]
        if off:
            lines.append(f"median error by {name}: {median(off):.0f} d of {len(off)} dates")
    click.echo("\n".join(fitted(lines, table_width())))


def _plain(value: Any) -> Any:
    return None if isinstance(value, float) and not math.isfinite(value) else value


def _lines(found: tuple[Check, ...], width: int) -> list[str]:
    """The report as text: figure by figure, a line a station."""
    from windowcast.report.terminal_width import fitted, table_lines

    lines: list[str] = []
    for name in dict.fromkeys(check.name for check in found):
        rows = [check for check in found if check.name == name and check.found]
        if not rows:
            continue
        low, high = rows[0].published
        span = f"{low:g}" if low == high else f"{low:g} to {high:g}"
        lines += ["", f"{name}: published {span} ({rows[0].unit})", f"  {rows[0].source}"]
        head = ["station", "median", "from", "to", "seasons", *([] if low == high else ["within"])]
        cells = [
            [
                c.station, f"{c.median:.2f}", f"{min(c.found):.2f}", f"{max(c.found):.2f}",
                f"{len(c.found)}", *([] if low == high else [f"{c.inside:.0%}"]),
            ]
            for c in rows
        ]  # fmt: skip
        table = table_lines(head, cells, range(1, len(head)), width - 2)
        lines += [f"  {line}".rstrip() for line in table]
    return fitted(lines[1:], width)

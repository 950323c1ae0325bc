"""``windowcast compare``: many stations, regions and years side by side."""

from __future__ import annotations

import math
import re
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING

import click

from windowcast.cli.options import format_option
from windowcast.cli.output import echo, lang_option, voice_in
from windowcast.cli.progress import at_work, fetch_progress
from windowcast.core.atomic_files import made_folder, write_atomic
from windowcast.core.extras import require
from windowcast.core.phrase import Noted, names
from windowcast.core.units import System
from windowcast.report.terminal_width import prose_width, table_width, wrapped

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

    from windowcast.region.compare import Compared
    from windowcast.region.regional import Between
    from windowcast.report.catalogue import Voice
    from windowcast.report.region_findings import Findings

SHOWN = (
    "soil_21", "poaan_50", "dormant", "greenup", "digis_10", "barrier_fall", "cover_fall",
)  # fmt: skip
MAX_PRINTED = 40  # stations in the printed table
MAX_PAIRS = 10  # of places whose differences are printed
_SOUTHERN_BOX = re.compile(r"-[\d.]+(,-?[\d.]+)+")


class _TakesBoxes(click.Command):
    """A command to which a box that begins with a minus is no option."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """A blank in front of such a box, which `box_of` passes over."""
        return super().parse_args(
            ctx, [f" {word}" if _SOUTHERN_BOX.fullmatch(word) else word for word in args]
        )


@click.command(name="compare", cls=_TakesBoxes)
@click.argument("source", metavar="STATIONS.csv|FOLDER|S,W,N,E")
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    default=Path("comparison"),
    show_default=True,
    help="Folder for tables, GeoJSON and the page; finished parts are kept there too.",
)
@click.option(
    "--stations",
    "places",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="ghcnd-stations.txt, for the places of GHCN-Daily stations.",
)
@click.option(
    "--region",
    "regions",
    multiple=True,
    metavar="NAME=S,W,N,E|FILE",
    help="A region: a box of degrees, or polygons of a GeoJSON file (FILE:name=PROPERTY). Repeat.",
)
@click.option(
    "--region-column",
    metavar="COLUMN",
    help="Column of the list that names regions; or state, country, network of the archive.",
)
@click.option(
    "--region-heights",
    metavar="M,M,…",
    help="Regions by height: 300,900 in metres, or 1000,3000ft.",
)
@click.option(
    "--at-least",
    type=click.IntRange(1),
    metavar="SEASONS",
    help="Complete seasons of a station that is compared  [default: 10]",
)
@click.option("--since", type=int, metavar="YEAR", help="First season, by its first year.")
@click.option("--until", type=int, metavar="YEAR", help="Last season, by its first year.")
@click.option("--species", default="hybrid bermudagrass", show_default=True, help="Turf species.")
@click.option("--texture", default="unknown", show_default=True, help="Soil texture.")
@click.option("--irrigated", is_flag=True, help="Treat every station as irrigated.")
@click.option("--workers", type=click.IntRange(1), help="Processes (all cores).")
@click.option(
    "--chunk",
    type=click.IntRange(1),
    help="Stations computed together (16 to 64, by their number): fewer need less memory.",
)
@click.option(
    "--scheduler", metavar="tcp://HOST:PORT", help="Compute on this Dask cluster instead."
)
@click.option("--units", type=click.Choice(["us", "metric"]), default="us", show_default=True)
@click.option("--netcdf", is_flag=True, help="Also write seasons.nc with CF names.")
@lang_option
@format_option(
    "table",
    "json",
    "csv",
    help="What is printed: a table, the normals as CSV, or the stations as GeoJSON.",
)
@click.option("--offline", is_flag=True, help="For a box: use only what is cached.")
@click.option(
    "--deadline",
    "deadline_s",
    type=click.FloatRange(min=0, min_open=True),
    metavar="SECONDS",
    help="For a box: wait so long for the archive  [default: as long as it takes]",
)
def command(
    *,
    source: str,
    out: Path,
    places: Path | None,
    regions: tuple[str, ...],
    region_column: str | None,
    region_heights: str | None,
    at_least: int | None,
    since: int | None,
    until: int | None,
    species: str,
    texture: str,
    irrigated: bool,
    workers: int | None,
    chunk: int | None,
    scheduler: str | None,
    units: System,
    netcdf: bool,
    format_: str,
    offline: bool,
    deadline_s: float | None,
) -> None:
    """Compare stations, regions and years.

    SOURCE is a CSV list of stations (columns file, id, name, region, latitude, longitude,
    elevation_m), a folder of weather files, a file or folder of GHCN-Daily by year (CSV) or in the
    archive's Parquet layout, or a box of degrees south,west,north,east whose stations come from the
    open archive. An interrupted run carries on when it is started again.
    """
    from windowcast import api
    from windowcast.region import outputs
    from windowcast.region.dictionary import write_dictionary
    from windowcast.region.outputs import write_regional

    if netcdf:
        require("--netcdf", "netcdf", "netCDF4")
    outputs.refuse_others(out, source)
    with fetch_progress() as told:
        data = api.compare(
            source,
            out,
            stations=places,
            regions=regions,
            region_column=region_column,
            region_heights=region_heights,
            at_least=at_least,
            since=since,
            until=until,
            species=species,
            texture=texture,
            irrigated=irrigated,
            workers=workers,
            chunk=chunk,
            scheduler=scheduler,
            offline=offline,
            deadline_s=deadline_s,
            progress=told,
        )
    from windowcast.report.region_findings import findings_of

    voice = voice_in(units)
    with at_work():
        found = data.regional()
        findings = findings_of(data, found)
        tables = [*outputs.write_tables(out, data, found.between), *write_regional(out, found)]
        written = [data.season_file, data.station_file, *tables]
        written.append(_write_pages(out, data, findings, voice))
        if netcdf:
            from windowcast.region.netcdf import write_netcdf

            written += write_netcdf(out / "seasons.nc", data)
        written.append(write_dictionary(out, written, outputs.schemas()))
    if format_ == "table":
        _print(data, findings, voice)
        files = names(*(path.name for path in written), join="comma")
        echo(voice.say("cli.written_files", folder=str(out), files=files))
    else:
        _copy(out / {"json": "stations.geojson", "csv": "normals.csv"}[format_])


def _write_pages(out: Path, data: Compared, told: Findings, voice: Voice) -> Path:
    """The page and, beside it, one for each listed station; those of an earlier run are removed."""
    from windowcast.report.region_page import region_page
    from windowcast.report.region_station import FOLDER, station_pages

    made_folder(out / FOLDER)
    kept = {
        write_atomic(out / address, page, synced=False)
        for address, page in station_pages(told, data, voice)
    }
    for old in set((out / FOLDER).glob("*.html")) - kept:
        old.unlink()
    return write_atomic(out / "index.html", region_page(data, told, voice))


def _copy(path: Path) -> None:
    """A written file to the output, a piece at a time."""
    with path.open("rb") as stream:
        while piece := stream.read(1 << 16):
            click.echo(piece, nl=False)


def _print(data: Compared, told: Findings, voice: Voice) -> None:
    """What was found in sentences, median dates of stations, differences, and what is left out."""
    import numpy as np
    from rich.console import Console

    from windowcast.region.statistics import MIN_YEARS
    from windowcast.report.region_charts import spread_evenly
    from windowcast.report.region_story import weekly_limit
    from windowcast.report.region_words import quantity_headed

    console = Console(highlight=False, markup=False, width=table_width())
    _print_story(data, told, voice)
    rows = np.arange(len(data))
    title = voice.say("cli.medians", stations=len(data))
    if len(data) > MAX_PRINTED:
        rows = spread_evenly(np.argsort(-data.latitude_deg), MAX_PRINTED)
        title = voice.say("cli.some_medians", stations=len(data), shown=MAX_PRINTED)
    south = data.southern[rows].tolist()
    years = np.zeros(len(rows), np.int64)
    columns = []
    for name in SHOWN:
        found = data.normals(name)
        years = np.maximum(years, found.years[rows])
        medians = zip(found.median[rows].tolist(), south, strict=True)
        columns.append([_median(v, name, voice, southern=at) for v, at in medians])
    names = data.texts("name", rows.tolist())
    first = (voice.say(f"region_short.{name}") for name in ("station", "years"))
    table = _table(*first, *(voice.text(quantity_headed(name)) for name in SHOWN))
    for cells in zip(names, map(str, years.tolist()), *columns, strict=True):
        table.add_row(*cells)
    console.print(title)
    console.print(table)
    if any("?" in column for column in columns):
        console.print(voice.say("cli.cannot_tell", years=MIN_YEARS))
    if any(voice.say("cli.never") in column for column in columns):
        console.print(voice.say("cli.never_means"))
    if told.regional.between:
        _print_differences(console, told, voice)
    for note in (weekly_limit(told, voice), *(voice.write(Noted(n)) for n in data.notes)):
        if note:
            console.print(note)
    for station, text in data.problems.items():
        console.print(voice.say("cli.not_used", station=station, problem=Noted(text)))
    if data.unusable > len(data.problems):
        console.print(voice.say("cli.not_used_in_all", stations=data.unusable))


def _print_story(data: Compared, told: Findings, voice: Voice) -> None:
    """The sentences that the page begins with."""
    from windowcast.report.region_story import left_out_line, story, sub_line

    said = story(told)
    lines = [voice.text(line) for line in (said.title, *said.lines)]
    lines.insert(
        1, " · ".join(filter(None, (sub_line(data, told, voice), left_out_line(data, voice))))
    )
    for line in filter(None, lines):
        click.echo("\n".join(wrapped(line, prose_width())))
    click.echo()


def _print_differences(console: Console, told: Findings, voice: Voice) -> None:
    """A row for each of the first pairs of places, a star where a difference shows."""
    from windowcast.report.region_words import quantity_headed

    pairs = told.between
    title = voice.say("cli.differences")
    if len(pairs) > MAX_PAIRS:
        title = voice.say("cli.some_differences", shown=MAX_PAIRS, pairs=len(pairs))
    console.print(f"\n{title}")
    heads = (voice.text(quantity_headed(name)) for name in SHOWN)
    table = _table(voice.say("region_short.places"), *heads)
    for of in islice(pairs.values(), MAX_PAIRS):
        gaps = [of[name] for name in SHOWN]
        places = (told.called[place] for place in (gaps[0].first, gaps[0].second))
        table.add_row(" − ".join(places), *map(_difference, gaps))
    console.print(table)


def _median(value: float, quantity: str, voice: Voice, *, southern: bool) -> str:
    """A median for a narrow column; an infinite one does not come in half of the years."""
    from windowcast.report.region_words import quantity_said

    if math.isinf(value):
        return voice.say("cli.never")
    return "?" if math.isnan(value) else quantity_said(value, quantity, voice, southern=southern)


def _difference(gap: Between) -> str:
    from windowcast.report.region_findings import shows
    from windowcast.report.region_words import gap_said

    if not math.isfinite(gap.difference.middle):
        return "?"
    return gap_said(gap) + ("*" if shows(gap.difference, gap.q) else "")


def _table(first: str, *others: str) -> Table:
    """An empty table: names to the left, numbers to the right, room left for the names."""
    from rich.table import Table

    table = Table(box=None, padding=(0, 1, 0, 0))
    table.add_column(first, overflow="fold")
    for heading in others:
        table.add_column(heading.replace(" ", "\n", 1), justify="right", min_width=5)
    return table

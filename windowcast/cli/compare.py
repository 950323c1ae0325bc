"""``windowcast compare``: many stations, regions and years side by side."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from windowcast.cli.progress import fetch_progress

if TYPE_CHECKING:
    from windowcast.region.compare import Compared, Summary
    from windowcast.region.stations import StationList
    from windowcast.weather.sources import Progress

SHOWN = {
    "soil_21": "soil 21 °C",
    "poaan_50": "POAAN 50 %",
    "dormant": "dormant",
    "greenup": "green-up",
    "digis_10": "DIGIS 10 %",
    "barrier_fall": "barrier",
    "cover_fall": "cover",
}


@click.command(name="compare")
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
@click.option("--since", type=int, metavar="YEAR", help="First season, by its first year.")
@click.option("--until", type=int, metavar="YEAR", help="Last season, by its first year.")
@click.option("--species", default="hybrid bermudagrass", show_default=True, help="Turf species.")
@click.option("--texture", default="unknown", show_default=True, help="Soil texture.")
@click.option("--irrigated", is_flag=True, help="Treat every station as irrigated.")
@click.option("--workers", type=click.IntRange(1), help="Processes (all cores).")
@click.option(
    "--chunk",
    type=click.IntRange(1),
    help="Stations computed together (32 to 512, by their number): fewer need less memory.",
)
@click.option(
    "--scheduler", metavar="tcp://HOST:PORT", help="Compute on this Dask cluster instead."
)
@click.option("--netcdf", is_flag=True, help="Also write seasons.nc with CF names.")
@click.option(
    "--format",
    "format_",
    type=click.Choice(["table", "json", "csv"]),
    default="table",
    show_default=True,
    help="What is printed: a table, the normals as CSV, or the stations as GeoJSON.",
)
@click.option("--offline", is_flag=True, help="For a box: use only what is cached.")
def command(
    *,
    source: str,
    out: Path,
    places: Path | None,
    since: int | None,
    until: int | None,
    species: str,
    texture: str,
    irrigated: bool,
    workers: int | None,
    chunk: int | None,
    scheduler: str | None,
    netcdf: bool,
    format_: str,
    offline: bool,
) -> None:
    """Compare stations, regions and years.

    SOURCE is a CSV list of stations (columns file, id, name, region, latitude, longitude,
    elevation_m), a folder of weather files, a file or folder of GHCN-Daily by year (CSV) or in the
    archive's Parquet layout, or a box of degrees south,west,north,east whose stations come from the
    open archive. An interrupted run carries on when it is started again.
    """
    from windowcast.region import batch, compare, engine, outputs

    _needs_pyarrow()
    options = batch.Options(species, texture, irrigated, since, until)
    options.site()  # refuses what no station could be compared with
    with fetch_progress() as told:
        found = _stations(source, out, places, offline, told)
        parts = engine.run(
            found.stations,
            batch.compute,
            options.plain(),
            out / "parts",
            workers=workers,
            chunk_stations=chunk,
            scheduler=scheduler,
            on_progress=lambda done, total: told and told("stations", done, total),
        )
    data = compare.compared(engine.tables(parts))
    _refuse_none(data)
    summary = compare.summarise(data)
    from windowcast.files import write_atomic
    from windowcast.report.region_page import region_page

    written = outputs.write_tables(out, parts, data, summary)
    written.append(write_atomic(out / "index.html", region_page(data, summary, found.notes)))
    if netcdf:
        written.append(outputs.write_netcdf(out / "seasons.nc", data))
    if format_ == "json":
        click.echo(outputs.geojson(data, summary), nl=False)
    elif format_ == "csv":
        click.echo(outputs.normals_csv(data, summary), nl=False)
    else:
        _print(data, summary, found.notes)
        click.echo(f"Written to {out}: {', '.join(path.name for path in written)}")


def _stations(
    source: str, out: Path, places: Path | None, offline: bool, told: Progress | None
) -> StationList:
    from windowcast.region.stations import box_of, find_stations

    box = box_of(source)
    if box is None:
        return find_stations(source, out / "records", places=places, progress=told)
    import datetime as dt

    from windowcast.region.box import fetch_box
    from windowcast.weather.cache import Cache
    from windowcast.weather.fetch import Fetcher

    with Cache() as cache:
        return fetch_box(
            box,
            out / "records",
            Fetcher(cache, offline=offline),
            today=dt.datetime.now(dt.UTC).date(),
            progress=told,
        )


def _needs_pyarrow() -> None:
    from windowcast.errors import InputError

    try:
        import pyarrow
        import scipy.stats
    except ImportError:
        raise InputError(
            "compare needs the region extra", remedy="pip install 'windowcast[region]'"
        ) from None
    del pyarrow, scipy


def _refuse_none(data: Compared) -> None:
    if not data.stations:
        from windowcast.errors import InputError

        first = next(iter(data.problems.values()), "no season in the years asked for")
        raise InputError(f"none of {len(data.problems)} stations can be used; the first: {first}")


def _print(data: Compared, summary: Summary, notes: tuple[str, ...]) -> None:
    """Median dates of each station, and what could not be used."""
    from rich.console import Console
    from rich.table import Table

    from windowcast.region.compare import shown

    console = Console(highlight=False)
    medians = {(n.station, n.quantity): n.normal for n in summary.normals}
    table = Table(
        title=f"{len(data.stations)} stations: median dates", title_justify="left", box=None
    )
    table.add_column("station", overflow="fold")
    table.add_column("years", justify="right")
    for heading in SHOWN.values():
        table.add_column(heading, justify="right")
    for i, station in enumerate(data.stations):
        years = max(medians[station, name].years for name in SHOWN)
        south = bool(data.places[i, 0] < 0)
        cells = [shown(medians[station, name].median, name, southern=south) for name in SHOWN]
        table.add_row(station, str(years), *cells)
    console.print(table)
    for note in notes:
        console.print(note)
    for station, text in data.problems.items():
        console.print(f"not used: {station}: {text}")

"""Many stations and years compared."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import replace
from os import fspath
from pathlib import Path
from typing import TYPE_CHECKING

from windowcast.core.errors import InputError
from windowcast.core.extras import require

if TYPE_CHECKING:
    from windowcast.api.inputs import Pathlike
    from windowcast.region.compare import Compared
    from windowcast.region.drawn import Drawing, RegionsGiven
    from windowcast.region.stations import StationList
    from windowcast.sources.source import Progress


def compare(
    source: Pathlike | tuple[float, float, float, float],
    out: Pathlike,
    *,
    stations: Pathlike | None = None,
    regions: RegionsGiven = (),
    region_column: str | None = None,
    region_heights: str | None = None,
    at_least: int | None = None,
    since: int | None = None,
    until: int | None = None,
    species: str = "hybrid bermudagrass",
    texture: str = "unknown",
    irrigated: bool = False,
    workers: int | None = None,
    chunk: int | None = None,
    scheduler: str | None = None,
    offline: bool = False,
    progress: Progress | None = None,
    deadline_s: float | None = None,
) -> Compared:
    """Compare stations, regions and years: ``windowcast compare``, without its tables and page.

    Parameters
    ----------
    source
        A CSV list of stations; a folder of weather files; a file or folder of GHCN-Daily by year or
        as Parquet; or a box ``(south, west, north, east)`` [degrees] of the open archive.
    out
        Folder for the results. An interrupted run carries on when it is started again.
    stations
        ``ghcnd-stations.txt``, for the places of GHCN-Daily stations.
    regions
        Regions that are drawn: boxes ``(south, west, north, east)`` by name, or
        ``"NAME=SOUTH,WEST,NORTH,EAST"`` and names of GeoJSON files with polygons.
    region_column
        Column of the list that names regions instead of ``region``; ``state``, ``country`` or
        ``network`` of GHCN-Daily stations, ``state`` of USCRN files.
    region_heights
        Heights between bands of height: ``"300,900"`` in metres, ``"1000,3000ft"``.
    at_least
        Complete seasons of a station that is compared (10); where none has so many, as many as the
        longest has.
    since, until
        First and last season, by their first year.
    species, texture, irrigated
        The turf and soil that every station is taken to have.
    workers, chunk, scheduler
        Processes (all cores); stations computed together; address of a Dask cluster instead.
    offline, progress
        As of `load_weather`; offline matters to a box only.
    deadline_s
        Seconds in which the archive must have answered for a box; by default as long as it takes.

    Returns
    -------
    Compared
        Seasons and statistics of each station; `Compared.to_pandas` and `Compared.to_xarray` make
        tables and grids of them, `Compared.regional` says how regions differ.

    Raises
    ------
    InputError
        An extra is missing, nothing is found at the source, no station can be used, regions cannot
        be drawn as asked, or a station lies in two of them.
    SourceUnreachableError
        A box is asked for and the archive cannot be reached.

    Notes
    -----
    The models are those of `answer`, compiled; a station's normals are medians over its seasons.

    References
    ----------
    Sen (1968), *J. Am. Stat. Assoc.* 63:1379-1389, for trends; see ``docs/compare.md``.

    Examples
    --------
    Days from 1 July to half of the annual bluegrass, at the one station of the sample:

    >>> import shutil
    >>> from tempfile import TemporaryDirectory
    >>> import windowcast
    >>> with TemporaryDirectory() as folder:
    ...     _ = shutil.copy(windowcast.sample_folder() / "daily.csv.gz", folder)
    ...     data = windowcast.compare(folder, f"{folder}/out", since=2012, until=2015, workers=1)
    ...     grid = data.to_xarray()
    >>> grid["poaan_50"].values.tolist()
    [[101.0, 110.0, 112.0, 114.0]]
    """
    from windowcast.region import batch, engine
    from windowcast.region.compare import put_together
    from windowcast.region.drawn import Drawing
    from windowcast.region.left_out import usual_least

    require("compare", "region", "numba", "pyarrow", "scipy")
    options = batch.Options(species, texture, irrigated, since, until)
    options.site()  # refuses what no station could be compared with
    drawing = _drawing(regions, region_column, region_heights)
    folder = Path(out)
    found = _stations(
        source, folder, stations, region_column,
        offline=offline, progress=progress, deadline_s=deadline_s, workers=workers,
    )  # fmt: skip
    parts = engine.run(
        [replace(station, region="") for station in found.stations],
        batch.compute,
        options.plain(),
        folder / "parts",
        workers=workers,
        chunk_stations=chunk,
        scheduler=scheduler,
        on_progress=lambda done, total: progress and progress("stations", done, total),
    )
    drawing = drawing or Drawing({station.id: station.region for station in found.stations})
    least = usual_least() if at_least is None else at_least
    data = put_together(
        parts, folder, found.notes, drawing=drawing, at_least=least, beforehand=found.left_out
    )
    if not len(data):
        first = next(iter(data.problems.values()), "no season in the years asked for")
        raise InputError(f"none of {data.unusable} stations can be used; the first: {first}")
    return data


def _drawing(regions: RegionsGiven, column: str | None, heights: str | None) -> Drawing | None:
    """How regions are drawn; None where the stations' list names them.

    Raises
    ------
    InputError
        They cannot be drawn so, or in more than one way at once.
    """
    from windowcast.region.drawn import Drawing, areas_of, heights_of

    if sum(map(bool, (regions, column, heights))) > 1:
        raise InputError(
            "regions are asked for in more than one way",
            remedy="give one of --region, --region-column and --region-heights",
        )
    if heights:
        return Drawing(heights=heights_of(heights))
    return Drawing(areas=areas_of(regions)) if regions else None


def _stations(
    source: Pathlike | tuple[float, float, float, float],
    out: Path,
    places: Pathlike | None,
    column: str | None,
    *,
    offline: bool,
    progress: Progress | None,
    deadline_s: float | None,
    workers: int | None,
) -> StationList:
    from windowcast.region.stations import box_of, find_stations

    text = ",".join(map(str, source)) if isinstance(source, tuple) else fspath(source)
    box = box_of(text)
    if box is None:
        where = Path(places) if places is not None else None
        return find_stations(
            text, out / "records", places=where, column=column, progress=progress, workers=workers
        )
    from windowcast.region.box import fetch_box
    from windowcast.sources.cache import Cache
    from windowcast.sources.fetch import Fetcher

    with Cache() as cache:
        return fetch_box(
            box,
            out / "records",
            Fetcher.within(cache, deadline_s or math.inf, offline=offline),
            today=dt.datetime.now(dt.UTC).date(),
            column=column,
            progress=progress,
        )

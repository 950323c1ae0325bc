"""Many stations and years compared."""

from __future__ import annotations

import datetime as dt
import math
from os import fspath
from pathlib import Path
from typing import TYPE_CHECKING

from windowcast.core.errors import InputError
from windowcast.core.extras import require

if TYPE_CHECKING:
    from windowcast.api.inputs import Pathlike
    from windowcast.region.compare import Compared
    from windowcast.region.stations import StationList
    from windowcast.sources.source import Progress


def compare(
    source: Pathlike | tuple[float, float, float, float],
    out: Pathlike,
    *,
    stations: Pathlike | None = None,
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
        tables and grids of them.

    Raises
    ------
    InputError
        An extra is missing, nothing is found at the source, or no station can be used.
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

    require("compare", "region", "numba", "pyarrow", "scipy")
    options = batch.Options(species, texture, irrigated, since, until)
    options.site()  # refuses what no station could be compared with
    folder = Path(out)
    found = _stations(source, folder, stations, offline, progress, deadline_s=deadline_s)
    parts = engine.run(
        found.stations,
        batch.compute,
        options.plain(),
        folder / "parts",
        workers=workers,
        chunk_stations=chunk,
        scheduler=scheduler,
        on_progress=lambda done, total: progress and progress("stations", done, total),
    )
    data = put_together(parts, folder, found.notes)
    if not len(data):
        first = next(iter(data.problems.values()), "no season in the years asked for")
        raise InputError(f"none of {data.unusable} stations can be used; the first: {first}")
    return data


def _stations(
    source: Pathlike | tuple[float, float, float, float],
    out: Path,
    places: Pathlike | None,
    offline: bool,
    progress: Progress | None,
    *,
    deadline_s: float | None,
) -> StationList:
    from windowcast.region.stations import box_of, find_stations

    text = ",".join(map(str, source)) if isinstance(source, tuple) else fspath(source)
    box = box_of(text)
    if box is None:
        where = Path(places) if places is not None else None
        return find_stations(text, out / "records", places=where, progress=progress)
    from windowcast.region.box import fetch_box
    from windowcast.sources.cache import Cache
    from windowcast.sources.fetch import Fetcher

    with Cache() as cache:
        return fetch_box(
            box,
            out / "records",
            Fetcher.within(cache, deadline_s or math.inf, offline=offline),
            today=dt.datetime.now(dt.UTC).date(),
            progress=progress,
        )

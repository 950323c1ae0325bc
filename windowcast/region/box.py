"""Stations of the open archive inside a box of degrees, their daily records kept as files."""

from __future__ import annotations

import datetime as dt
import math
from pathlib import Path

import numpy as np

from windowcast.core.atomic_files import made_folder, write_atomic
from windowcast.core.errors import InputError
from windowcast.core.record import Place, Record
from windowcast.region.engine import Station
from windowcast.region.left_out import LeftOut
from windowcast.region.stations import Box, StationList
from windowcast.sources.archive import ArchiveSource
from windowcast.sources.archive_stations import ArchiveStation
from windowcast.sources.fetch import Fetcher
from windowcast.sources.source import Progress, Request

MAX_STATIONS = 500
YEARS = 30
_GROUPS = ("country", "state")
_WRITTEN = ("tmax_c", "tmin_c", "precip_mm")


def fetch_box(
    box: Box,
    folder: Path,
    fetcher: Fetcher,
    *,
    today: dt.date,
    column: str | None = None,
    progress: Progress | None = None,
) -> StationList:
    """Fetch every station in the box and keep its daily record in `folder`.

    Parameters
    ----------
    box
        South, west, north, east in degrees.
    fetcher
        Cache and client; an offline one uses only what is cached.
    today
        The record is asked for up to the day before, `YEARS` years back.
    column
        ``country`` or ``state``: the archive's code of either becomes the region.

    Raises
    ------
    InputError
        The archive has no station there, or more than `MAX_STATIONS`; it has no such column; or
        the folder cannot be made.
    FetchError
        The archive could not be reached.
    """
    if column not in (None, *_GROUPS):
        raise InputError(
            f"the archive names no {column}", field="--region-column",
            remedy=f"use one of {', '.join(_GROUPS)}, or draw regions with --region",
        )  # fmt: skip
    source = ArchiveSource()
    near = source.stations_in_box(box, fetcher)
    if not near:
        raise InputError("the archive has no station in that box", remedy="give a wider box")
    if len(near) > MAX_STATIONS:
        raise InputError(
            f"the box holds {len(near)} stations, more than {MAX_STATIONS}",
            remedy="give a smaller box, or a list of stations",
        )
    made_folder(folder)
    stations, left = [], []
    for done, found in enumerate(near):
        if progress is not None:
            progress("records", done + 1, len(near))
        place = Place(found.name, found.latitude_deg, found.longitude_deg, found.elevation_m)
        request = Request(place, dt.date(today.year - YEARS, 1, 1), today, station=found.id)
        daily = [r for r in source.fetch(request, fetcher).records if r.daily]
        if not daily or not {"tmax_c", "tmin_c"} <= set(daily[0].values):
            left.append(LeftOut(found.id, found.name, "not usable", "has no daily record"))
            continue
        path = write_atomic(folder / f"{found.id}.csv", record_csv(daily[0]))
        height = math.nan if found.elevation_m is None else found.elevation_m
        stations.append(
            Station(
                found.id,
                str(path),
                found.name,
                _group(found, column),
                found.latitude_deg,
                found.longitude_deg,
                height,
            )
        )
    without = ", ".join(each.name for each in left)
    notes = (f"without daily record in the archive: {without}",) if left else ()
    return StationList(tuple(stations), notes, tuple(left))


def _group(found: ArchiveStation, column: str | None) -> str:
    return {"country": found.country, "state": found.state}.get(column or "", "")


def record_csv(record: Record) -> str:
    """A daily record in our own CSV, missing values empty."""
    names = [name for name in _WRITTEN if name in record]
    columns = [[_cell(v) for v in record.get(name)] for name in names]
    dates = np.datetime_as_string(record.times)
    rows = [",".join(row) for row in zip(dates.tolist(), *columns, strict=True)]
    return "\n".join([",".join(["date", *names]), *rows]) + "\n"


def _cell(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".") if math.isfinite(value) else ""

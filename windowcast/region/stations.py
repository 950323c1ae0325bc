"""Which stations to compare: a list, a folder of weather files, or GHCN-Daily in bulk.

A list is a CSV with the columns ``file`` and, where they are wanted or where the file does not say
them, ``id``, ``name``, ``region``, ``latitude``, ``longitude``, ``elevation_m``. Files are taken
relative to the list, with options where they need them (``old.csv:units=us``). Places of GHCN-Daily
stations come from the archive's own list, ``ghcnd-stations.txt``.

A station's region is the column ``region`` of the list or another one of it; of GHCN-Daily the
state, country or network that the archive names; of a USCRN file the state in its name.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from windowcast.core.errors import InputError
from windowcast.core.given_files import refuse_special
from windowcast.core.record import Place
from windowcast.region.archive_files import joined, sorted_stations, yearly_files
from windowcast.region.engine import Station
from windowcast.region.left_out import LeftOut
from windowcast.region.names import Spellings, refuse_many, shown_name
from windowcast.sources.files import parse_spec
from windowcast.sources.ghcn_bulk import bulk_files
from windowcast.sources.textfile import read_text_bytes, text_of
from windowcast.sources.uscrn import first_line, is_uscrn, station_name

COLUMNS = ("id", "file", "name", "region", "latitude", "longitude", "elevation_m")
PLACES_FILE = "ghcnd-stations.txt"
ARCHIVE_COLUMNS = ("state", "country", "network")
_ENDINGS = (".gz", ".txt", ".csv", ".dly")
_WEATHER_ONLY = (".gz", ".txt", ".dly")  # a list of stations is a .csv
_NO_HEIGHT = -999.9


@dataclass(frozen=True)
class StationList:
    """The stations found, and in words what was passed over."""

    stations: tuple[Station, ...]
    notes: tuple[str, ...] = ()
    left_out: tuple[LeftOut, ...] = ()


Box = tuple[float, float, float, float]


def box_of(text: str) -> Box | None:
    """``"south,west,north,east"`` in degrees; None when the text is not four numbers.

    West may be greater than east: the box then lies across the date line.

    Raises
    ------
    InputError
        Out of range, or south is not below north.
    """
    try:
        south, west, north, east = (float(part) for part in text.split(","))
    except ValueError:
        return None
    if not (-90 <= south < north <= 90 and -180 <= west <= 180 and -180 <= east <= 180):
        raise InputError(
            f"{text.strip()!r} is not a box",
            remedy="give south,west,north,east in degrees, south first",
        )
    return south, west, north, east


def find_stations(
    source: str | Path,
    work: Path,
    *,
    places: Path | None = None,
    column: str | None = None,
    progress: Callable[[str, int, int], object] | None = None,
    workers: int | None = None,
) -> StationList:
    """Stations of a CSV list, a folder of weather files, or GHCN-Daily by year or as Parquet.

    Parameters
    ----------
    work
        Folder for bulk files in order of station.
    places
        The archive's list of stations; in a folder it is found by its name.
    column
        What tells regions apart; by default the column ``region`` of a list.
    workers
        Processes that sort bulk files; all cores when None.

    Raises
    ------
    InputError
        The list is not one, a row lacks its file, nothing is found, the column is not there, names
        cannot be shown or are too many, or a file may not be read.
    """
    try:
        return _found(Path(source), work, places, column, progress=progress, workers=workers)
    except PermissionError as error:
        raise InputError(
            f"cannot be read ({error.strerror})",
            path=error.filename or source,
            remedy="check the name and the permissions",
        ) from error


def _found(
    path: Path,
    work: Path,
    places: Path | None,
    column: str | None,
    *,
    progress: Callable[[str, int, int], object] | None,
    workers: int | None,
) -> StationList:
    if not path.exists():
        raise InputError(
            "is not there", path=path, remedy="give a list, a folder, or south,west,north,east"
        )
    bulk = bulk_files(path)
    beside = (path if path.is_dir() else path.parent) / PLACES_FILE
    places = places or (beside if beside.is_file() else None)
    if bulk:
        by_id = sorted_stations(bulk, work, workers=workers, progress=progress)
        found = StationList(tuple(by_id.values()))
    elif path.is_dir():
        found = _of_folder(path, work, column)
    elif path.suffix in _WEATHER_ONLY:
        found = StationList((_of_file(path, column),))
    else:
        of_archive = places is not None and column in ARCHIVE_COLUMNS
        found = _of_list(path, None if of_archive else column)
    if not found.stations:
        raise InputError(
            "holds no weather file", path=path, remedy="give a folder of weather files or a list"
        )
    if places is not None:
        found = _placed(found, places, column, only=bool(bulk))
    refuse_many((station.region for station in found.stations), field=column or "region")
    if column and not any(station.region for station in found.stations):
        raise InputError(
            f"no station of {path} has a {column}",
            field="--region-column",
            remedy=f"name a column of a list, or give --stations for {', '.join(ARCHIVE_COLUMNS)}",
        )
    return found


@dataclass(frozen=True, slots=True)
class ArchivePlace:
    """A station on the archive's list: its place, and what it may be grouped by."""

    place: Place
    groups: Mapping[str, str]  # by the names in `ARCHIVE_COLUMNS`


def read_places(path: Path) -> dict[str, ArchivePlace]:
    """Stations of ``ghcnd-stations.txt`` by id.

    Fixed width (NOAA NCEI, *ghcnd/readme.txt*, section IV; from memory): id 1-11, the first two of
    which are the country's FIPS 10-4 code, latitude 13-20, longitude 22-30, elevation 32-37
    (-999.9 unknown), state 39-40, name 42-71, GSN 73-75, HCN or CRN 77-79.

    Raises
    ------
    InputError
        A line is not one of that list.
    """
    found: dict[str, ArchivePlace] = {}
    for row, line in enumerate(text_of(read_text_bytes(path), path).splitlines(), start=1):
        if not line.strip():
            continue
        try:
            latitude, longitude = float(line[12:20]), float(line[21:30])
            height = float(line[31:37])
        except ValueError:
            raise InputError(
                "is not a line of the archive's list of stations", path=path, row=row,
                remedy=f"give {PLACES_FILE} as published by NOAA NCEI",
            ) from None  # fmt: skip
        state = line[38:40].strip()
        name = " ".join(f"{line[41:71].strip()} {state}".split())
        known = None if height == _NO_HEIGHT else height
        networks = " ".join(f"{line[72:75]} {line[76:79]}".split())
        groups = {"state": state, "country": line[:2], "network": networks}
        found[line[:11].strip()] = ArchivePlace(Place(name, latitude, longitude, known), groups)
    return found


def _placed(found: StationList, path: Path, column: str | None, *, only: bool) -> StationList:
    """The stations with places of the archive's list; of bulk files `only` those on it."""
    places = read_places(path)
    stations, left = [], []
    for station in found.stations:
        listed = places.get(station.id)
        if listed is not None:
            place = listed.place
            height = math.nan if place.elevation_m is None else place.elevation_m
            stations.append(
                replace(
                    station,
                    name=place.name,
                    region=listed.groups.get(column or "", station.region),
                    latitude_deg=place.latitude_deg,
                    longitude_deg=place.longitude_deg,
                    elevation_m=height,
                )
            )
        elif only:
            left.append(LeftOut(station.id, station.id, "not listed", f"is not on {path.name}"))
        else:
            stations.append(station)
    notes = (f"{len(left)} stations are not on {path.name} and left out",) if left else ()
    if not stations:
        raise InputError("names none of the stations", path=path, remedy="give the archive's list")
    return StationList(tuple(stations), (*found.notes, *notes), (*found.left_out, *left))


def _of_folder(folder: Path, work: Path, column: str | None) -> StationList:
    years = yearly_files(folder)
    yearly = {path for files in years.values() for path in files}
    files = sorted(p for p in folder.iterdir() if p.is_file() and not p.name.startswith("."))
    files = [p for p in files if p not in yearly]
    weather = [p for p in files if p.suffix in _ENDINGS and not _is_list(p)]
    others = [p.name for p in files if p not in weather]
    notes = (f"passed over in the folder: {', '.join(others)}",) if others else ()
    whole = [joined(some, station, work) for station, some in years.items()]
    return StationList(tuple(_of_file(path, column) for path in (*weather, *whole)), notes)


def _of_file(path: Path, column: str | None) -> Station:
    """The station of a weather file, called as the file is."""
    region = _state_in_name(path) if column == "state" else ""
    return Station(_stem(path), str(path), _stem(path).replace("_", " "), region)


def _state_in_name(path: Path) -> str:
    """``AL`` of ``AL_Selma_13_WNW.txt``, if it is a file of that network."""
    return station_name(path)[:2] if is_uscrn(first_line(path)) else ""


def _is_list(path: Path) -> bool:
    """Whether a file in a folder lists stations rather than weather."""
    if path.name == PLACES_FILE:
        return True
    if path.suffix != ".csv":
        return False
    refuse_special(path)
    with path.open("rb") as stream:
        head = stream.readline(4096).decode("utf-8", "replace").lower()
    return "station" in head and ("file" in head or "lat" in head) and "date" not in head


def _stem(path: Path) -> str:
    name = path.name
    for ending in _ENDINGS:
        name = name.removesuffix(ending)
    return name


def _of_list(path: Path, column: str | None) -> StationList:
    text = text_of(read_text_bytes(path), path)
    rows = csv.DictReader(io.StringIO(text), skipinitialspace=True)
    header = [name.strip() for name in rows.fieldnames or ()]
    if "file" not in header:
        raise InputError(
            f"has no column 'file' (found: {', '.join(header)[:80]})",
            path=path,
            row=1,
            remedy=f"use the columns {', '.join(COLUMNS)}",
        )
    if column and column not in header:
        raise InputError(
            f"has no column {column!r}",
            path=path,
            row=1,
            field="--region-column",
            remedy=f"use one of {', '.join(header)[:200]}",
        )
    rows.fieldnames = header
    stations = []
    by, spellings = column or "region", Spellings()
    for row in rows:
        cells = {k: (v or "").strip() for k, v in row.items() if isinstance(v, str) or v is None}
        if not any(cells.values()):
            continue
        at = rows.line_num
        for field in ("id", "name", by):
            if field in cells:
                cells[field] = shown_name(cells[field], field=field, path=path, row=at)
        cells["region"] = cells.get(by, "")
        spellings.check(cells["region"], field=by, path=path, row=at)
        stations.append(_station(cells, path, at))
    unknown = sorted(set(header) - set(COLUMNS) - {column})
    notes = (f"columns not used: {', '.join(unknown)}",) if unknown else ()
    return StationList(tuple(stations), notes)


def _station(cells: dict[str, str], path: Path, row: int) -> Station:
    if not cells["file"]:
        raise InputError("is empty", path=path, row=row, field="file", remedy="name a weather file")
    try:
        file = path.parent / parse_spec(cells["file"]).path
    except InputError as error:
        raise error.at(path=path, row=row, field="file") from None
    if not file.is_file():
        raise InputError(
            f"{cells['file']!r} is not a file",
            path=path,
            row=row,
            field="file",
            remedy="give it relative to the list",
        )
    name = cells.get("name") or _stem(file).replace("_", " ")
    return Station(
        id=cells.get("id") or _stem(file),
        path=str(path.parent / cells["file"]),
        name=name,
        region=cells["region"],
        latitude_deg=_number(cells, "latitude", (-90, 90), path, row),
        longitude_deg=_number(cells, "longitude", (-180, 180), path, row),
        elevation_m=_number(cells, "elevation_m", (-430, 9000), path, row),
    )


def _number(
    cells: dict[str, str], field: str, limits: Sequence[float], path: Path, row: int
) -> float:
    text = cells.get(field, "")
    if not text:
        return math.nan
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not limits[0] <= value <= limits[1]:
        raise InputError(
            f"{text!r} is not a number from {limits[0]} to {limits[1]}",
            path=path,
            row=row,
            field=field,
            remedy="correct it or leave it empty",
        )
    return value

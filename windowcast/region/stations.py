"""Which stations to compare: a list, or a folder of weather files.

A list is a CSV with the columns ``file`` and, where they are wanted or where the file does not say
them, ``id``, ``name``, ``region``, ``latitude``, ``longitude``, ``elevation_m``. Files are taken
relative to the list.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from windowcast.errors import InputError
from windowcast.region.engine import Station
from windowcast.weather.textfile import read_text_bytes, text_of

COLUMNS = ("id", "file", "name", "region", "latitude", "longitude", "elevation_m")
_ENDINGS = (".gz", ".txt", ".csv", ".dly")


@dataclass(frozen=True)
class StationList:
    """The stations found, and in words what was passed over."""

    stations: tuple[Station, ...]
    notes: tuple[str, ...] = ()


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
            f"{text!r} is not a box", remedy="give south,west,north,east in degrees, south first"
        )
    return south, west, north, east


def find_stations(source: str | Path) -> StationList:
    """Stations of a CSV list or a folder.

    Raises
    ------
    InputError
        The list is not one, a row lacks its file, or nothing is found.
    """
    path = Path(source)
    found = _of_folder(path) if path.is_dir() else _of_list(path)
    if not found.stations:
        raise InputError(
            "holds no weather file", path=path, remedy="give a folder of weather files or a list"
        )
    return found


def _of_folder(folder: Path) -> StationList:
    files = sorted(p for p in folder.iterdir() if p.is_file() and not p.name.startswith("."))
    stations = [p for p in files if p.suffix in _ENDINGS and not _is_list(p)]
    others = [p.name for p in files if p not in stations]
    notes = (f"passed over in the folder: {', '.join(others)}",) if others else ()
    return StationList(
        tuple(Station(_stem(p), str(p), name=_stem(p).replace("_", " ")) for p in stations), notes
    )


def _is_list(path: Path) -> bool:
    """Whether a CSV in a folder lists stations rather than weather."""
    if path.suffix != ".csv":
        return False
    with path.open("rb") as stream:
        head = stream.readline(4096).decode("utf-8", "replace").lower()
    return "station" in head and ("file" in head or "lat" in head) and "date" not in head


def _stem(path: Path) -> str:
    name = path.name
    for ending in _ENDINGS:
        name = name.removesuffix(ending)
    return name


def _of_list(path: Path) -> StationList:
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
    rows.fieldnames = header
    stations = []
    for row in rows:
        cells = {k: (v or "").strip() for k, v in row.items() if isinstance(v, str) or v is None}
        if any(cells.values()):
            stations.append(_station(cells, path, rows.line_num))
    unknown = sorted(set(header) - set(COLUMNS))
    notes = (f"columns not used: {', '.join(unknown)}",) if unknown else ()
    return StationList(tuple(stations), notes)


def _station(cells: dict[str, str], path: Path, row: int) -> Station:
    if not cells["file"]:
        raise InputError("is empty", path=path, row=row, field="file", remedy="name a weather file")
    file = path.parent / cells["file"]
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
        path=str(file),
        name=name,
        region=cells.get("region", ""),
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

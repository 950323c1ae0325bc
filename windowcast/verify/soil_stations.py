"""Soil stations for verification: files found, read, put on one time axis, probes screened.

The screening knows nothing of the soil model, so that it cannot flatter it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from os import PathLike
from pathlib import Path

import numpy as np

from windowcast.core.errors import InputError
from windowcast.core.record import DateArray, FloatArray, Record
from windowcast.sources.uscrn import first_line, is_uscrn, read_uscrn, station_number
from windowcast.weather.soil_nearby import screen

WEATHER = ("tmax_c", "tmin_c", "precip_mm", "solar_mj_m2", "rh_mean_pct")
PROBES = ("soil_5cm_c", "soil_10cm_c")
YEARS_BEFORE = np.timedelta64(730, "D")  # of weather alone, for the model to start on


@dataclass(frozen=True)
class Stations:
    """Weather and screened probes of many stations on one axis, ``[station, time]``."""

    numbers: tuple[str, ...]
    names: tuple[str, ...]
    latitude_deg: FloatArray
    longitude_deg: FloatArray
    dates: DateArray
    weather: dict[str, FloatArray]
    soil_c: FloatArray  # [depth (5, 10 cm), station, time], NaN where missing or screened out
    screened: tuple[dict[str, int], ...]  # per station: rule → probe-days removed
    skipped: tuple[str, ...]  # names of stations without any soil temperature


def find_files(paths: Sequence[str | PathLike[str]]) -> dict[str, list[Path]]:
    """USCRN daily files below `paths` by station number; folders are searched, files must fit.

    Raises
    ------
    InputError
        A path is missing, a named file is of another kind, or a folder holds none.
    """
    found: dict[str, list[Path]] = {}
    for given in map(Path, paths):
        if not given.exists():
            raise InputError("does not exist", path=given, remedy="name a file or a folder")
        files = [given]
        if given.is_dir():
            files = [p for p in sorted(given.rglob("*")) if p.is_file() and _is_uscrn(p)]
            if not files:
                raise InputError(
                    "holds no USCRN daily01 file", path=given, remedy="name a folder that does"
                )
        for file in files:
            found.setdefault(station_number(file), []).append(file)
    return {number: list(dict.fromkeys(files)) for number, files in sorted(found.items())}


def _is_uscrn(path: Path) -> bool:
    return path.suffix.lower() in {".txt", ".gz"} and is_uscrn(first_line(path))


def read_stations(paths: Sequence[str | PathLike[str]]) -> Stations:
    """All stations with soil temperature; those without are named in `skipped`.

    Raises
    ------
    InputError
        A file cannot be read, or no station has soil temperature.
    """
    records = {number: read_uscrn(files) for number, files in find_files(paths).items()}
    kept = {n: r for n, r in records.items() if "soil_5cm_c" in r}
    skipped = tuple(r.place.name for n, r in records.items() if n not in kept)
    if not kept:
        raise InputError(
            "no station has soil temperature", remedy="give USCRN stations with soil probes"
        )
    probed = min(_first_value(r, PROBES[0]) for r in kept.values())
    first = max(min(r.times[0] for r in kept.values()), probed - YEARS_BEFORE)
    last = max(r.times[-1] for r in kept.values())
    dates = np.arange(first, last + np.timedelta64(1, "D"))
    weather = {name: _together(kept, name, dates) for name in WEATHER}
    raw = np.stack([_together(kept, name, dates) for name in PROBES])
    soil, screened = screen(raw, weather["tmax_c"], weather["tmin_c"])
    return Stations(
        numbers=tuple(kept),
        names=tuple(r.place.name for r in kept.values()),
        latitude_deg=np.array([r.place.latitude_deg for r in kept.values()]),
        longitude_deg=np.array([r.place.longitude_deg for r in kept.values()]),
        dates=dates,
        weather=weather,
        soil_c=soil,
        screened=screened,
        skipped=skipped,
    )


def _together(records: dict[str, Record], name: str, dates: DateArray) -> FloatArray:
    values = np.full((len(records), len(dates)), np.nan)
    for row, record in zip(values, records.values(), strict=True):
        begin = int((record.times[0] - dates[0]).astype(np.int64))
        skip = max(-begin, 0)
        row[begin + skip : begin + len(record.times)] = record.get(name)[skip:]
    return values


def _first_value(record: Record, name: str) -> np.datetime64:
    """Date of the first known value."""
    first: np.datetime64 = record.times[int(np.argmax(np.isfinite(record.get(name))))]
    return first

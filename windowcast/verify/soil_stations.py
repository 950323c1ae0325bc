"""Soil stations for verification: files found, read, put on one time axis, probes screened.

The screening knows nothing of the soil model, so that it cannot flatter it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from os import PathLike
from pathlib import Path

import numpy as np
import numpy.typing as npt

from windowcast.core.errors import InputError
from windowcast.core.record import DateArray, FloatArray, Record
from windowcast.core.values import load
from windowcast.sources.uscrn import first_line, is_uscrn, read_uscrn, station_number

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


def screen(
    soil_c: FloatArray, tmax_c: FloatArray, tmin_c: FloatArray
) -> tuple[FloatArray, tuple[dict[str, int], ...]]:
    """Remove what a failed probe gives, by rules on the probes and the air alone.

    Rules (limits in ``data/soil_verify.toml``): a value warmer or colder than the air of the
    days before allows; 5 and 10 cm further apart than heat conduction allows (both removed); a
    change from one day to the next beyond what a soil can do; the same value for many days in
    soil that is not held at 0 °C by freezing.

    Parameters
    ----------
    soil_c
        ``[depth, station, time]`` for 5 and 10 cm.
    tmax_c, tmin_c
        ``[station, time]``.
    """
    limit = load("soil_verify").table("screen")
    days = int(limit.number("air_days"))
    hottest = _trailing(np.fmax, tmax_c, days) + limit.number("above_air_k")
    coldest = _trailing(np.fmin, tmin_c, days) - limit.number("below_air_k")
    apart = np.abs(soil_c[0] - soil_c[1]) > limit.number("apart_k")
    step = np.abs(np.diff(soil_c, axis=-1, prepend=np.nan))
    jump = step > limit.number("jump_k")
    jump[..., :-1] |= jump[..., 1:]
    rules = {
        "air": (soil_c > hottest) | (soil_c < coldest),
        "apart": np.broadcast_to(apart, soil_c.shape),
        "jump": jump,
        "stuck": _stuck(soil_c, int(limit.number("stuck_days")), limit.number("stuck_above_c")),
    }
    kept = np.where(np.any(list(rules.values()), axis=0), np.nan, soil_c)
    counts = tuple(
        {rule: int(hit[:, i].sum()) for rule, hit in rules.items() if hit[:, i].any()}
        for i in range(soil_c.shape[1])
    )
    return kept, counts


def _trailing(choose: np.ufunc, values: FloatArray, days: int) -> FloatArray:
    """Largest or smallest known value of the last `days` days, today included."""
    result = values.copy()
    for lag in range(1, days):
        result[..., lag:] = choose(result[..., lag:], values[..., :-lag])
    return result


def _stuck(soil_c: FloatArray, days: int, above_c: float) -> npt.NDArray[np.bool_]:
    """Runs of at least `days` equal values further than `above_c` from 0 °C."""
    same = (np.diff(soil_c, axis=-1, prepend=np.nan) == 0) & (np.abs(soil_c) > above_c)
    count = np.zeros(soil_c.shape[:-1], dtype=np.int64)
    length = np.zeros(soil_c.shape, dtype=np.int64)
    for day in range(soil_c.shape[-1]):
        count = np.where(same[..., day], count + 1, 0)
        length[..., day] = count
    reached = length >= days - 1
    for day in range(soil_c.shape[-1] - 2, -1, -1):  # back over the run that led there
        reached[..., day] |= reached[..., day + 1] & same[..., day + 1]
    return reached

"""Files of the open archive to arrays, read by the package `meteostat`.

meteostat is given files that were fetched, checked and kept by us; it never reaches the network
or a cache of its own here. Its failures, which it logs and turns into empty series, become
errors. Its import costs a second and happens only when a file has not been read before.
"""

from __future__ import annotations

import csv
import datetime as dt
import gzip
import io
import json
import logging
import tempfile
import threading
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
import numpy.typing as npt

from windowcast.weather.archive_stations import Station
from windowcast.weather.record import DateArray, FloatArray, Grade

if TYPE_CHECKING:
    import pandas as pd

Step = Literal["daily", "hourly"]
# part of the keys under which arrays are kept: change it when the same file reads differently
READER = "reader-2"

# column of the archive → variable of the schema
_COLUMNS: Mapping[Step, Mapping[str, str]] = {
    "daily": {
        "tmax": "tmax_c", "tmin": "tmin_c", "temp": "tmean_c", "prcp": "precip_mm",
        "snwd": "snow_depth_mm", "rhum": "rh_mean_pct", "wspd": "wind_mean_m_s",
    },
    "hourly": {
        "temp": "temp_c", "rhum": "rh_pct", "prcp": "precip_mm", "wspd": "wind_m_s",
        "wpgt": "gust_m_s", "wdir": "wind_from_deg", "pres": "pressure_hpa",
        "cldc": "cloud_fraction",
    },
}  # fmt: skip
# unit as meteostat names it → factor to the unit of the schema
_FACTORS: Mapping[str, float] = {
    "°C": 1.0, "%": 1.0, "mm": 1.0, "cm": 10.0, "km/h": 1 / 3.6, "hPa": 1.0, "°": 1.0,
    "okta": 1 / 8,
}  # fmt: skip
# hourly rain is the total of the hour that ends at the time; ours is of the hour that begins then
_ENDING = frozenset({"precip_mm"})
_YEARS_AT_ONCE: Mapping[Step, int] = {"daily": 10, "hourly": 1}
_LOCK = threading.Lock()  # meteostat's settings are global


@dataclass(frozen=True)
class Series:
    """Values of one station on times in order (with gaps), by variable, ``[row]``."""

    times: DateArray
    values: Mapping[str, FloatArray]
    grades: Mapping[str, npt.NDArray[np.uint8]]

    def known(self, *names: str) -> npt.NDArray[np.bool_]:
        """Where every one of the variables is known, ``[row]``."""
        blank = np.full(len(self.times), np.nan)
        parts = [np.isfinite(self.values.get(name, blank)) for name in names]
        both: npt.NDArray[np.bool_] = np.logical_and.reduce(parts)
        return both


class UnreadableError(ValueError):
    """A file of the archive is not in the form that the installed meteostat reads."""


def read_years(station: Station, step: Step, files: Mapping[int, bytes]) -> dict[int, Series]:
    """Read a station's files, each of one year (CSV text).

    Raises
    ------
    UnreadableError
        One of them cannot be read.
    """
    out: dict[int, Series] = {}
    for years in _runs(sorted(files), _YEARS_AT_ONCE[step]):
        frame = _frame(station, step, {year: files[year] for year in years})
        whole = _series(frame, step)
        if step == "hourly":  # its first rain belongs to the last hour of the year before
            out[years[0]] = whole
            continue
        of_year = whole.times.astype("datetime64[Y]").astype(np.int64) + 1970
        for year in years:
            rows = of_year == year
            out[year] = Series(
                whole.times[rows],
                {name: value[rows] for name, value in whole.values.items()},
                {name: grade[rows] for name, grade in whole.grades.items()},
            )
    return out


def _runs(years: list[int], longest: int) -> list[list[int]]:
    """Consecutive years together, since a missing file between two would look like a failure."""
    runs: list[list[int]] = []
    for year in years:
        if runs and runs[-1][-1] == year - 1 and len(runs[-1]) < longest:
            runs[-1].append(year)
        else:
            runs.append([year])
    return runs


class _Listener(logging.Handler):
    """Collects what meteostat logs as a warning or worse."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self.heard: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        self.heard.append(record.getMessage())


def _frame(station: Station, step: Step, files: Mapping[int, bytes]) -> pd.DataFrame | None:
    """What meteostat makes of the files: values and sources by naive UTC time (or date)."""
    import importlib

    import meteostat

    first, last = min(files), max(files)
    provider: Any = importlib.import_module(f"meteostat.providers.meteostat.{step}")
    log, listener = logging.getLogger("meteostat"), _Listener()
    with tempfile.TemporaryDirectory(prefix="windowcast-") as folder, _LOCK:
        for year, body in files.items():
            (Path(folder) / f"{year}.csv.gz").write_bytes(gzip.compress(_sourced(body), 1))
        kept = meteostat.config.cache_enable, provider.ENDPOINT, log.propagate
        meteostat.config.cache_enable = False
        provider.ENDPOINT = Path(folder).as_uri() + "/{year}.csv.gz"
        log.addHandler(listener)
        log.propagate = False
        try:
            about = meteostat.Station(
                id=station.id, latitude=station.latitude_deg, longitude=station.longitude_deg,
                elevation=None, timezone=station.timezone,
            )  # fmt: skip
            ask = meteostat.daily if step == "daily" else meteostat.hourly
            series = ask(about, dt.date(first, 1, 1), dt.date(last, 12, 31))
            frame: pd.DataFrame | None = series.fetch(sources=True)
        except Exception as error:  # it raises whatever pandas raises
            raise UnreadableError(f"{type(error).__name__} while reading") from None
        finally:
            log.removeHandler(listener)
            meteostat.config.cache_enable, provider.ENDPOINT, log.propagate = kept
    if listener.heard:
        raise UnreadableError("not in the form the installed meteostat reads")
    return frame


def _sourced(body: bytes) -> bytes:
    """The CSV with ``unknown`` as the source of values that name none.

    meteostat 2.1 fails on a value without a source; its grade is then "estimated".
    """
    try:
        rows = list(csv.reader(io.StringIO(body.decode("utf-8"))))
        header = rows[0]
    except (UnicodeDecodeError, csv.Error, IndexError):
        raise UnreadableError("not CSV text") from None
    pairs = [
        (header.index(name), header.index(f"{name}_source"))
        for name in header
        if f"{name}_source" in header
    ]
    changed = False
    for row in rows[1:]:
        for value, source in pairs:
            if source < len(row) and row[value] and not row[source]:
                row[source] = "unknown"
                changed = True
    if not changed:
        return body
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue().encode()


def _series(frame: pd.DataFrame | None, step: Step) -> Series:
    unit = "D" if step == "daily" else "h"
    if frame is None or frame.empty:
        return Series(np.zeros(0, dtype=f"datetime64[{unit}]"), {}, {})
    stamps = frame.index.to_numpy().astype("datetime64[s]")
    times = stamps.astype(f"datetime64[{unit}]")
    if (times != stamps).any() or (np.diff(times) <= np.timedelta64(0)).any():
        raise UnreadableError("its times are not whole steps in order")
    values, grades = {}, {}
    for column, name in _COLUMNS[step].items():
        if column not in frame:
            continue
        value = frame[column].to_numpy(dtype=np.float64, na_value=np.nan)
        if np.isfinite(value).any():
            values[name] = value * _factor(column, step)
            grades[name] = _grades(frame[f"{column}_source"], value)
    if step == "hourly" and _ENDING & values.keys():
        times, values, grades = _begun(times, values, grades)
    return Series(times, values, grades)


def _begun(times: DateArray, values: dict[str, FloatArray], grades: dict[str, Any]) -> Any:
    """Move amounts from the end of their hour to its beginning."""
    axis = np.union1d(times, times - np.timedelta64(1, "h"))
    moved_values, moved_grades = {}, {}
    for name, value in values.items():
        at = times - np.timedelta64(1 if name in _ENDING else 0, "h")
        rows = np.searchsorted(axis, at)
        moved_values[name] = np.full(len(axis), np.nan)
        moved_values[name][rows] = value
        moved_grades[name] = np.full(len(axis), Grade.MISSING, dtype=np.uint8)
        moved_grades[name][rows] = grades[name]
    return axis, moved_values, moved_grades


def _factor(column: str, step: Step) -> float:
    """From meteostat's unit, as it declares it, to the schema's."""
    from meteostat import Parameter
    from meteostat.core.parameters import parameter_service
    from meteostat.enumerations import Granularity

    about = parameter_service.get_parameter(Parameter(column), Granularity(step))
    unit = str(about.unit) if about is not None else "none"
    if unit not in _FACTORS:
        raise UnreadableError(f"{column} is in {unit}, which is not known here")
    return _FACTORS[unit]


def _grades(sources: pd.Series[str], value: FloatArray) -> npt.NDArray[np.uint8]:
    """Grade of each value by its source; several sources count as the least of them."""
    table = {
        text: max(_grade(source) for source in str(text).split() or ["unknown"])
        for text in sources.dropna().unique()
    }
    graded = sources.map(table).fillna(int(Grade.ESTIMATED)).to_numpy(dtype=np.uint8)
    return np.where(np.isfinite(value), graded, np.uint8(Grade.MISSING))


def _grade(source: str) -> Grade:
    from meteostat.core.providers import provider_service
    from meteostat.enumerations import Grade as Theirs

    provider = provider_service.get_provider(source)
    if provider is None or provider.grade is None:
        return Grade.ESTIMATED
    if provider.grade is Theirs.FORECAST:
        return Grade.FORECAST
    return Grade.ESTIMATED if provider.grade is Theirs.ANALYSIS else Grade.OBSERVED


# ---- keeping what was read ----


def packed(series: Series) -> bytes:
    """A series as one line of JSON that says its form, and plain arrays after it."""
    unit = np.datetime_data(series.times.dtype)[0]
    head = {"unit": unit, "rows": len(series.times), "names": list(series.values)}
    parts = [series.times.astype(np.int64)]
    for name in series.values:
        parts += [series.values[name].astype(np.float64), series.grades[name].astype(np.uint8)]
    return b"\n".join([json.dumps(head).encode(), b"".join(part.tobytes() for part in parts)])


def unpacked(raw: bytes) -> Series:
    """A series from the bytes of `packed`."""
    line, _, body = raw.partition(b"\n")
    head = json.loads(line)
    rows = int(head["rows"])
    times = np.frombuffer(body, np.int64, rows).astype(f"datetime64[{head['unit']}]")
    values, grades = {}, {}
    for n, name in enumerate(head["names"]):
        start = 8 * rows + 9 * rows * n
        values[name] = np.frombuffer(body, np.float64, rows, start)
        grades[name] = np.frombuffer(body, np.uint8, rows, start + 8 * rows)
    return Series(times, values, grades)


def joined(parts: list[Series]) -> Series:
    """Parts (years in order) one after another; at a shared time the later known value counts."""
    parts = [part for part in parts if len(part.times)]
    if not parts:
        return Series(np.zeros(0, dtype="datetime64[D]"), {}, {})
    first = min(part.times[0] for part in parts)
    axis = np.arange(first, max(part.times[-1] for part in parts) + np.timedelta64(1))
    seen = np.zeros(len(axis), dtype=bool)
    values, grades = {}, {}
    for name in dict.fromkeys(name for part in parts for name in part.values):
        values[name] = np.full(len(axis), np.nan)
        grades[name] = np.full(len(axis), Grade.MISSING, dtype=np.uint8)
    for part in parts:
        rows = (part.times - first).astype(np.int64)
        seen[rows] = True
        for name, value in part.values.items():
            known = np.isfinite(value)
            values[name][rows[known]] = value[known]
            grades[name][rows[known]] = part.grades[name][known]
    return Series(
        axis[seen],
        {name: value[seen] for name, value in values.items()},
        {name: grade[seen] for name, grade in grades.items()},
    )

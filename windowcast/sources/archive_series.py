"""Files of the open archive to arrays.

The reader of plain tables reads them. The package `meteostat`, the archive's own client, says in
which unit each column is and what kind of source each value comes from. Importing it costs a
second, so its answer is kept until another version is installed.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from windowcast.core.errors import InputError
from windowcast.core.record import (
    DAILY_VARIABLES,
    HOURLY_VARIABLES,
    DateArray,
    FloatArray,
    Grade,
)
from windowcast.core.time_axis import steps
from windowcast.sources.csv_rows import Rows, split_rows
from windowcast.sources.numerals import NotPlain, calendar_dates, decimals

Step = Literal["daily", "hourly"]
# part of the keys under which arrays are kept: change it when the same file reads differently
READER = "reader-3"

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
_VARIABLES = {"daily": DAILY_VARIABLES, "hourly": HOURLY_VARIABLES}
# unit as meteostat names it → factor to the unit of the schema
_FACTORS: Mapping[str, float] = {
    "°C": 1.0, "%": 1.0, "mm": 1.0, "cm": 10.0, "km/h": 1 / 3.6, "hPa": 1.0, "°": 1.0,
    "okta": 1 / 8,
}  # fmt: skip
# hourly rain is the total of the hour that ends at the time; ours is of the hour that begins then
_ENDING = frozenset({"precip_mm"})


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
        return np.asarray(np.logical_and.reduce(parts))


class UnreadableError(ValueError):
    """A file of the archive is not in the form in which the archive writes."""


@dataclass(frozen=True)
class SeriesNotes:
    """What the archive's client says of its files.

    Attributes
    ----------
    grades
        Grade (`Grade`, as a number) of the values from each source.
    units
        Unit of each column, by step.
    """

    grades: Mapping[str, int]
    units: Mapping[str, Mapping[str, str]]

    @classmethod
    def of_client(cls) -> SeriesNotes:
        """From the installed `meteostat`."""
        from meteostat.core.parameters import parameter_service
        from meteostat.core.providers import provider_service
        from meteostat.enumerations import Grade as Theirs

        ours = {
            None: Grade.ESTIMATED, Theirs.ANALYSIS: Grade.ESTIMATED,
            Theirs.FORECAST: Grade.FORECAST, Theirs.OBSERVATION: Grade.OBSERVED,
            Theirs.RECORD: Grade.OBSERVED,
        }  # fmt: skip
        grades = {
            str(provider.id): int(ours[provider.grade]) for provider in provider_service.providers
        }
        units: dict[str, dict[str, str]] = {step: {} for step in _COLUMNS}
        for column in parameter_service.parameters:
            if column.granularity in units:
                units[column.granularity][str(column.id)] = str(column.unit)
        return cls(grades, units)

    @classmethod
    def unpacked(cls, raw: bytes) -> SeriesNotes:
        """From the bytes of `packed`."""
        return cls(**json.loads(raw))

    def packed(self) -> bytes:
        """As JSON, for the cache."""
        return json.dumps(asdict(self)).encode()

    def factor(self, step: Step, column: str) -> float:
        """From the unit of a column to the schema's; `UnreadableError` for an unknown one."""
        unit = self.units[step].get(column, "none")
        if unit not in _FACTORS:
            raise UnreadableError(f"{column} is in {unit}, which is not known here")
        return _FACTORS[unit]

    def grade(self, sources: str) -> Grade:
        """Grade of a value by the sources named beside it; several count as the least of them."""
        known = [self.grades.get(source, Grade.ESTIMATED) for source in sources.split()]
        return Grade(max(known, default=Grade.ESTIMATED))


def read_year(body: bytes, step: Step, year: int, catalogue: SeriesNotes) -> Series:
    """Read a station's file of one year (CSV text).

    Values that no weather on Earth has are left out, and so are rows of another year.

    Raises
    ------
    UnreadableError
        It cannot be read, or it has a time twice.
    """
    try:
        text = body.decode("utf-8")
    except UnicodeDecodeError:
        raise UnreadableError("it is no text") from None
    try:
        rows = split_rows(text, "")
    except InputError as error:
        at = f"row {error.row} " if error.row else "it "
        raise UnreadableError(f"{at}{error.problem}") from None
    times = _times(rows, step)
    order = np.argsort(times, kind="stable")
    order = order[times[order].astype("datetime64[Y]") == np.datetime64(str(year), "Y")]
    times = times[order]
    if (np.diff(times.astype(np.int64)) <= 0).any():
        raise UnreadableError("it has a time twice")
    values, grades = {}, {}
    for column, name in _COLUMNS[step].items():
        if column not in rows.header:
            continue
        value = _numbers(rows, column)[order] * catalogue.factor(step, column)
        limits = _VARIABLES[step][name]
        value[(value < limits.low) | (value > limits.high)] = np.nan
        if np.isfinite(value).any():
            values[name] = value
            grade = _grades(rows, f"{column}_source", catalogue)[order]
            grades[name] = np.where(np.isfinite(value), grade, np.uint8(Grade.MISSING))
    series = Series(times, values, grades)
    return _begun(series) if step == "hourly" and _ENDING & values.keys() else series


def file_problem(body: bytes, step: Step, year: int, catalogue: SeriesNotes) -> str:
    """What keeps a station's file of one year from being used, as a clause; "" when it is fit."""
    try:
        series = read_year(body, step, year, catalogue)
    except UnreadableError as error:
        return f"its file of {year}: {error}"
    return "" if len(series.times) else f"its file of {year} holds no {step} values"


def _times(rows: Rows, step: Step) -> DateArray:
    """Dates, or UTC hours, from the columns year, month, day and hour."""
    names = ("year", "month", "day", "hour") if step == "hourly" else ("year", "month", "day")
    if missing := [name for name in names if name not in rows.header]:
        raise UnreadableError(f"it has no column {missing[0]}")
    year, month, day, *hours = (_numbers(rows, name) for name in names)
    number = year * 10_000 + month * 100 + day
    parts = np.array([year, month, day, *hours])
    if not ((parts >= 0) & (parts < 10_000) & (np.trunc(parts) == parts)).all():
        raise UnreadableError("a row has no date")
    dates, right = calendar_dates(number.astype(np.int64))
    if not right.all() or any((hour > 23).any() for hour in hours):
        raise UnreadableError("a row has no date of the calendar")
    if step == "daily":
        return dates
    return np.asarray(dates.astype("datetime64[h]") + hours[0].astype("timedelta64[h]"))


def _numbers(rows: Rows, column: str) -> FloatArray:
    """A column as numbers, NaN for cells without one."""
    index = rows.header.index(column)
    try:
        value, plain = decimals(rows.cells.chars(index))
        if plain.all():
            return value
    except NotPlain:
        pass
    try:
        cells = [float(cell) if cell.strip() else math.nan for cell in rows.column(index)]
    except ValueError:
        raise UnreadableError(f"{column} holds words") from None
    return np.array(cells)


def _grades(rows: Rows, column: str, catalogue: SeriesNotes) -> npt.NDArray[np.uint8]:
    """Grades of values by the column that names their sources."""
    if column not in rows.header:
        return np.full(len(rows), Grade.ESTIMATED, dtype=np.uint8)
    cells = rows.column(rows.header.index(column))
    table = {cell: catalogue.grade(cell) for cell in set(cells)}
    return np.array([table[cell] for cell in cells], dtype=np.uint8)


def _begun(series: Series) -> Series:
    """Amounts moved from the end of their hour to its beginning."""
    one = np.timedelta64(1, "h")
    moved, kept = (
        Series(
            series.times - one if ending else series.times,
            {n: v for n, v in series.values.items() if (n in _ENDING) == ending},
            series.grades,
        )
        for ending in (True, False)
    )
    return joined([moved, kept])


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
    axis = steps(first, max(part.times[-1] for part in parts))
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

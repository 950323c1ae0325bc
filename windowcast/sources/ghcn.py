"""What GHCN-Daily observations mean, whichever layout they came in.

Values are integers in tenths (temperature, rain, wind) or whole units (snow depth, humidity).
Rules, from the archive's own readme (NOAA NCEI, *ghcnd/readme.txt*; from memory):

- a non-blank quality flag means the value failed a check: it is removed;
- measurement flag ``T`` is a trace of rain: set to the figure in ``quality.toml``, estimated;
- measurement flag ``P`` is "missing, presumed zero": it stays missing;
- ``MDPR`` is rain collected over the last ``DAPR`` days: spread evenly over those days, estimated;
- an observation time in the morning (long CSV) means that the highest temperature and the rain
  mostly belong to the day before: they are moved there, with a flag.

Fixed-width files (``.dly``) are read here, by slicing the file as one matrix of bytes.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from os import PathLike
from pathlib import Path

import numpy as np
import numpy.typing as npt

from windowcast.core.errors import InputError
from windowcast.core.phrase import say
from windowcast.core.record import DateArray, Flag, FloatArray, Grade, Place, Provenance, Record
from windowcast.core.time_axis import extended, span_flag
from windowcast.core.values import load
from windowcast.sources.numerals import BLANK, Bytes, right_aligned, unsigned

# element → (variable, factor)
_ELEMENTS: Mapping[bytes, tuple[str, float]] = {
    b"TMAX": ("tmax_c", 0.1),
    b"TMIN": ("tmin_c", 0.1),
    b"TAVG": ("tmean_c", 0.1),
    b"PRCP": ("precip_mm", 0.1),
    b"SNWD": ("snow_depth_mm", 1.0),
    b"AWND": ("wind_mean_m_s", 0.1),
    b"RHAV": ("rh_mean_pct", 1.0),
}
_TOTAL, _TOTAL_DAYS = b"MDPR", b"DAPR"
READ = (*_ELEMENTS, _TOTAL, _TOTAL_DAYS)  # elements a reader has to bring
_COOPERATIVE = "USC"  # network code of the US Cooperative Observer Program
REMEDY = "give a GHCN-Daily file as published by NOAA NCEI"

LINE = 269  # 21 for the key, then 31 times value(5), mflag, qflag, sflag
_DLY_LINE = re.compile(rb"^[A-Z]{2}[A-Z0-9_\-]{9}\d{6}[A-Z]{2}[A-Z0-9]{2}[ \-\d]{4}\d")


@dataclass(frozen=True)
class Observations:
    """The valid entries of one element: one item for each day that has a value."""

    dates: DateArray
    values: FloatArray  # whole numbers as in the file
    mflag: Bytes
    qflag: Bytes


def record_of_observations(
    found: Mapping[bytes, Observations],
    station: str,
    path: str | PathLike[str],
    observed: str,
) -> Record:
    """The record of one station: flags honoured, rain totals spread, observing day moved.

    Raises
    ------
    InputError
        No element of use has a value.
    """
    name = Path(path).name
    spans = [found[e].dates for e in _ELEMENTS if len(found[e].dates)]
    if not spans:
        raise InputError("holds no temperature or rain", path=path, remedy=REMEDY)
    axis = np.arange(min(d[0] for d in spans), max(d[-1] for d in spans) + np.timedelta64(1, "D"))
    values: dict[str, FloatArray] = {}
    grades: dict[str, npt.NDArray[np.uint8]] = {}
    flags: list[Flag] = []
    for element, (variable, factor) in _ELEMENTS.items():
        obs = found[element]
        if not len(obs.dates):
            continue
        failed = obs.qflag != BLANK
        if failed.any():
            text = say("flag.quality", count=int(failed.sum()))
            flags.append(span_flag("archive-quality", variable, obs.dates[failed], "removed", text))
        trace = (obs.mflag == ord("T")) & (variable == "precip_mm")
        presumed = (obs.mflag == ord("P")) & (variable == "precip_mm")
        if presumed.any():
            text = say("flag.presumed_zero", count=int(presumed.sum()))
            flags.append(span_flag("presumed-zero", variable, obs.dates[presumed], "removed", text))
        lost = failed | presumed
        amount = np.where(trace, load("quality").number("trace_rain"), obs.values * factor)
        at = (obs.dates - axis[0]).astype(np.int64)
        values[variable] = np.full(len(axis), np.nan)
        values[variable][at] = np.where(lost, np.nan, amount)
        grades[variable] = np.full(len(axis), Grade.MISSING, dtype=np.uint8)
        known = np.where(trace, Grade.ESTIMATED, Grade.OBSERVED)
        grades[variable][at] = np.where(lost, Grade.MISSING, known)
    if station.startswith(_COOPERATIVE) and not observed:
        text = say("flag.observing_hour")
        flags.append(span_flag("observing-day", "", axis, "kept", text))
    measured = tuple(k for k, v in values.items() if np.isfinite(v).any())
    source = Provenance(
        "file", f"{name}, GHCN-Daily station {station}", measured, str(axis[0]), str(axis[-1]),
        licence="GHCN-Daily, NOAA NCEI; US stations public domain",
    )  # fmt: skip
    record = Record(Place(station, np.nan, np.nan), axis, values, grades, (source,), tuple(flags))
    record = _with_totals(record, found[_TOTAL], found[_TOTAL_DAYS])
    return moved_to_calendar_day(record) if observed == "morning" else record


def _with_totals(record: Record, total: Observations, days: Observations) -> Record:
    """Rain collected over several days, spread evenly over those that have none of their own."""
    if not len(total.dates):
        return record
    rain, grade = record.get("precip_mm").copy(), record.grade("precip_mm").copy()
    length = dict(zip(days.dates.tolist(), days.values.tolist(), strict=True))
    last = (total.dates - record.times[0]).astype(np.int64)
    spread = np.zeros(len(rain), dtype=bool)
    lost = 0
    for date, end, amount, failed in zip(
        total.dates.tolist(), last.tolist(), total.values * 0.1, total.qflag != BLANK, strict=True
    ):
        span = slice(max(end - int(length.get(date, 0)) + 1, 0), end + 1)
        if failed or not 2 <= length.get(date, 0) <= 31 or not 0 <= end < len(rain):
            lost += 1
        elif np.isnan(rain[span]).all():
            rain[span], grade[span] = amount / length[date], Grade.ESTIMATED
            spread[span] = True
    flags = []
    if spread.any():
        text = say("flag.spread_rain", days=int(spread.sum()))
        flags.append(
            span_flag("several-days-rain", "precip_mm", record.times[spread], "filled", text)
        )
    if lost:
        text = say("flag.lost_totals", count=int(lost))
        flags.append(span_flag("several-days-rain", "precip_mm", total.dates, "removed", text))
    return record.with_variables({"precip_mm": rain}, {"precip_mm": grade}, flags=flags)


def moved_to_calendar_day(record: Record) -> Record:
    """A morning observer's highest temperature and rain, moved to the day they mostly fell on.

    A thermometer read and reset in the morning shows the maximum of the afternoon before, and the
    gauge the rain of mostly yesterday; the minimum is this morning's. The last day of the record
    is left without the two.
    """
    moved = [name for name in ("tmax_c", "precip_mm") if name in record]
    earlier = extended(
        record, record.times[0] + np.timedelta64(1, "D"), record.times[-1] + np.timedelta64(1, "D")
    )
    text = say("flag.morning")
    flag = span_flag("observing-day", ", ".join(moved), record.times, "kept", text)
    return record.with_variables(
        {name: earlier.values[name] for name in moved},
        {name: earlier.grades[name] for name in moved},
        flags=[flag],
    )


def is_dly(data: bytes) -> bool:
    """Whether a file that starts like this is a ``.dly``."""
    return bool(_DLY_LINE.match(data[:64]))


def read_dly(
    data: bytes,
    path: str | PathLike[str],
    *,
    observed: str = "",
) -> Record:
    """The daily record of one station; the format does not say where it stands.

    Parameters
    ----------
    data
        The file's bytes, decompressed.
    path
        For messages and provenance.
    observed
        ``"morning"`` when the station is read in the morning.

    Raises
    ------
    InputError
        Not such a file, a damaged line, an element-month twice, or several stations.
    """
    lines = _line_matrix(data, path)
    station = np.ascontiguousarray(lines[:, :11]).view("S11").ravel()
    one_station = station == station[0]
    if not one_station.all():
        row = int(np.argmin(one_station))
        raise _fault("another station begins", path, row, "ID", "give one station's file")
    element = np.ascontiguousarray(lines[:, 17:21]).view("S4").ravel()
    rows = np.flatnonzero(np.isin(element, READ))
    year, month = unsigned(lines[rows, 11:15].T), unsigned(lines[rows, 15:17].T)
    bad = (year < 1600) | (month < 1) | (month > 12)
    if bad.any():
        raise _fault("is no year and month", path, int(rows[np.argmax(bad)]), "YEAR MONTH")
    months = (year - 1970) * 12 + month - 1
    cells = lines[rows, 21:].reshape(len(rows), 31, 8)
    values, readable = right_aligned(np.moveaxis(cells[..., :5], -1, 0), blank=-9999)
    if not readable.all():
        at = int(np.argmin(readable.all(axis=1)))
        field = f"VALUE{int(np.argmin(readable[at])) + 1}"
        raise _fault("is not a whole number", path, int(rows[at]), field)
    starts, ends = (
        m.astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)[:, None]
        for m in (months, months + 1)
    )
    days = starts + np.arange(31)
    known = (values != -9999) & (days < ends)
    found = {}
    for name in READ:
        mine = np.flatnonzero(element[rows] == name)
        _, first = np.unique(months[mine], return_index=True)
        if len(first) < len(mine):
            twice = np.setdiff1d(np.arange(len(mine)), first)[0]
            raise _fault(f"{name.decode()} has this month twice", path, int(rows[mine[twice]]))
        in_order = mine[first]
        keep = known[in_order]
        found[name] = Observations(
            days[in_order][keep].astype("datetime64[D]"),
            values[in_order][keep].astype(np.float64),
            cells[in_order, :, 5][keep],
            cells[in_order, :, 6][keep],
        )
    return record_of_observations(found, lines[0, :11].tobytes().decode(), path, observed)


def _line_matrix(data: bytes, path: str | PathLike[str]) -> Bytes:
    """The lines as a matrix of bytes, ``[row, LINE]``, short lines filled with blanks."""
    raw = np.frombuffer(data, dtype=np.uint8)
    if len(raw) % (LINE + 1) == 0 and (raw[LINE :: LINE + 1] == ord("\n")).all():
        return raw.reshape(-1, LINE + 1)[:, :LINE]
    lines = [line for line in data.splitlines() if line.strip()]
    for row, line in enumerate(lines):
        if len(line.rstrip()) > LINE or not _DLY_LINE.match(line):
            raise _fault("is not a line of GHCN-Daily", path, row)
    padded = b"".join(line.rstrip().ljust(LINE) for line in lines)
    return np.frombuffer(padded, dtype=np.uint8).reshape(-1, LINE)


def _fault(
    problem: str, path: str | PathLike[str], row: int, field: str = "", remedy: str = REMEDY
) -> InputError:
    return InputError(problem, path=path, row=row + 1, field=field or None, remedy=remedy)

"""Reader of GHCN-Daily fixed-width files (``.dly``), by slicing the file as one matrix of bytes."""

from __future__ import annotations

import re
from os import PathLike

import numpy as np

from windowcast.core.errors import InputError
from windowcast.core.record import Record
from windowcast.sources.ghcn import READ, REMEDY, Observations, record_of_observations
from windowcast.sources.numerals import Bytes, right_aligned, unsigned

LINE = 269  # 21 for the key, then 31 times value(5), mflag, qflag, sflag
_DLY_LINE = re.compile(rb"^[A-Z]{2}[A-Z0-9_\-]{9}\d{6}[A-Z]{2}[A-Z0-9]{2}[ \-\d]{4}\d")


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

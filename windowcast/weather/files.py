"""Weather files: the format is recognised by its first line, then read by its own reader.

Formats: our own CSV and other wide tables (`tables`), GHCN-Daily ``.dly`` and long CSV (`ghcn`),
USCRN daily01 (`uscrn`); each plain or gzip.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from os import PathLike, fspath
from typing import cast, get_args

import numpy as np

from windowcast.errors import InputError
from windowcast.values import load
from windowcast.weather.columns import FileUnits
from windowcast.weather.csv_rows import beyond_forecast
from windowcast.weather.ghcn import moved_to_calendar_day
from windowcast.weather.ghcn_csv import is_long_csv, read_long_csv
from windowcast.weather.ghcn_dly import is_dly, read_dly
from windowcast.weather.record import DAILY_VARIABLES, HOURLY_VARIABLES, Place, Record
from windowcast.weather.tables import read_table
from windowcast.weather.textfile import read_text_bytes, text_of
from windowcast.weather.uscrn import is_uscrn, read_uscrn

_SPEC = re.compile(r"^(?P<path>.+?):(?P<options>[a-z]+=[^:=,]*(?:,[a-z]+=[^:=,]*)*)$")
_OPTIONS = {
    "units": get_args(FileUnits),
    "observed": ("morning", "midnight"),
    "order": ("any",),
    "station": (),
}


@dataclass(frozen=True, slots=True)
class FileSpec:
    """A weather file and what its owner says about it: ``FILE[:key=value[,key=value]]``."""

    path: str
    units: FileUnits | None = None
    observed: str = ""
    station: str = ""
    any_order: bool = False


def parse_spec(text: str | PathLike[str]) -> FileSpec:
    """``"old.csv:units=us,observed=morning"`` taken apart.

    Raises
    ------
    InputError
        An unknown option or value.
    """
    text = fspath(text)
    match = _SPEC.match(text)
    if match is None:
        return FileSpec(text)
    options = dict(item.split("=", 1) for item in match["options"].split(","))
    for key, value in options.items():
        if key not in _OPTIONS:
            raise InputError(
                f"option {key!r} is not known", path=match["path"],
                remedy=f"use {', '.join(_OPTIONS)}",
            )  # fmt: skip
        if _OPTIONS[key] and value not in _OPTIONS[key]:
            raise InputError(
                f"{key}={value} is not known", path=match["path"],
                remedy=f"use one of {', '.join(_OPTIONS[key])}",
            )  # fmt: skip
    return FileSpec(
        match["path"],
        cast(FileUnits | None, options.get("units")),
        options.get("observed", ""),
        options.get("station", ""),
        "order" in options,
    )


def read_weather(source: str | PathLike[str] | FileSpec, *, place: Place | None = None) -> Record:
    """The record of one weather file of any known format, plain or gzip.

    Parameters
    ----------
    source
        A path, optionally followed by ``:units=us`` and the like (`parse_spec`).
    place
        Where the record belongs; replaces what the file says.

    Returns
    -------
    Record
        Daily or hourly; the reader's own flags, but not yet the checks of `quality`.

    Raises
    ------
    InputError
        The file cannot be read without a guess; names file, row, field and remedy.
    """
    spec = source if isinstance(source, FileSpec) else parse_spec(source)
    data = read_text_bytes(spec.path)
    if is_dly(data):
        record = read_dly(data, spec.path, place=place, observed=spec.observed)
    else:
        text = text_of(data, spec.path)
        first_line = text.lstrip().partition("\n")[0]
        if is_uscrn(first_line):
            record = read_uscrn(spec.path, place=place)
        elif is_long_csv(first_line):
            record = read_long_csv(
                text, spec.path, place=place, station=spec.station, observed=spec.observed
            )
        else:
            record = read_table(
                text,
                spec.path,
                place=place,
                units=spec.units,
                station=spec.station,
                any_order=spec.any_order,
            )
            if spec.observed == "morning" and record.daily:
                record = moved_to_calendar_day(record)
    _refuse_implausible(record, spec.path)
    return record


def _refuse_implausible(record: Record, path: str) -> None:
    """Refuse what single faulty days cannot explain: another column, another unit, nothing."""
    if not any(name in record for name in record.values):
        raise InputError("holds no usable value", path=path, remedy="check the missing-value codes")
    if beyond_forecast(record.times) is not None:
        raise InputError(
            f"{record.times[-1]} lies further ahead than any forecast", path=path,
            remedy="check the year",
        )  # fmt: skip
    share = load("quality").number("mostly_wrong_share")
    if "tmax_c" in record and "tmin_c" in record:
        tmax, tmin = record.get("tmax_c"), record.get("tmin_c")
        both = np.isfinite(tmax) & np.isfinite(tmin)
        below = both & (tmax < tmin)
        if below.sum() > share * max(both.sum(), 1):
            raise InputError(
                f"tmax lies below tmin on {below.sum()} of {both.sum()} days", path=path,
                field="tmax_c", remedy="exchange the two columns",
            )  # fmt: skip
    limits = DAILY_VARIABLES if record.daily else HOURLY_VARIABLES
    for name, values in record.values.items():
        known = np.isfinite(values)
        wrong = known & ((values < limits[name].low) | (values > limits[name].high))
        if wrong.sum() > share * max(known.sum(), 1):
            worst = float(values[wrong][0])
            raise InputError(
                f"{wrong.sum()} of {known.sum()} values are impossible, the first {worst:g} "
                f"{limits[name].unit}", path=path, field=name,
                remedy="check the unit in the column's name, and which column it is",
            )  # fmt: skip

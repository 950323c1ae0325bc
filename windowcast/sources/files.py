"""Weather files: the format is recognised by its first line, then read by its own reader.

Formats: our own CSV and other wide tables (`tables`), GHCN-Daily ``.dly`` and long CSV (`ghcn`),
USCRN daily01 (`uscrn`); each plain or gzip.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from os import PathLike
from pathlib import Path
from typing import Any, Literal, cast, get_args
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np

from windowcast.core.errors import InputError
from windowcast.core.great_circle import distance_km
from windowcast.core.phrase import Name, Quantity, joined, say
from windowcast.core.record import DAILY_VARIABLES, HOURLY_VARIABLES, Place, Record
from windowcast.core.source_flags import remark
from windowcast.core.time_axis import span_flag
from windowcast.core.values import load
from windowcast.sources.blend import TEMPERATURES, height_shift_c, lapse_rate
from windowcast.sources.columns import FileUnits
from windowcast.sources.csv_rows import EARLIEST, beyond_forecast
from windowcast.sources.ghcn import is_dly, moved_to_calendar_day, read_dly
from windowcast.sources.ghcn_csv import is_long_csv, read_long_csv
from windowcast.sources.morning_readings import dated_a_day_late
from windowcast.sources.table_times import TimeOptions
from windowcast.sources.tables import read_table
from windowcast.sources.textfile import MARKS, read_text_bytes, split_options, text_of
from windowcast.sources.understood import Understood
from windowcast.sources.uscrn import is_uscrn, read_uscrn
from windowcast.sources.written_dates import ORDERS, Order

FRAME = "DataFrame"  # what a table handed over by a program is called
_OPTIONS = {
    "units": get_args(FileUnits),
    "observed": ("morning", "midnight"),
    "measured": ("here",),
    "order": ("any",),
    "station": (),
    "dates": ORDERS,
    "decimal": tuple(MARKS),
    "zone": (),
    "sheet": (),
}


@dataclass(frozen=True, slots=True)
class FileSpec:
    """A weather file and what its owner says about it: ``FILE[:key=value[,key=value]]``."""

    path: str
    units: FileUnits | None = None
    observed: str = ""
    station: str = ""
    any_order: bool = False
    dates: Order | None = None
    decimal: Literal["comma", "point"] | None = None
    zone: str = ""
    sheet: str = ""
    here: bool = False  # measured on the site


def parse_spec(text: str | PathLike[str]) -> FileSpec:
    """``"old.csv:units=us,observed=morning"`` taken apart.

    Raises
    ------
    InputError
        An unknown option or value.
    """
    path, said = split_options(text, _OPTIONS)
    any_order, here = (said.pop(key, "") != "" for key in ("order", "measured"))
    return FileSpec(path, any_order=any_order, here=here, **cast(Any, said))


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
    return read_and_understand(source, place=place)[0]


def read_and_understand(
    source: str | PathLike[str] | FileSpec, *, place: Place | None = None
) -> tuple[Record, Understood | None]:
    """As `read_weather`, and how a table was understood; None for formats that leave no doubt."""
    spec = source if isinstance(source, FileSpec) else parse_spec(source)
    record, understood = _read(spec, place)
    refuse_implausible(record, spec.path)
    if not spec.observed:
        record = _with_late_highs_named(record, Path(spec.path).name)
    if place is None:
        own = bool(np.isfinite([record.place.latitude_deg, record.place.longitude_deg]).all())
        return (measured_at(record, record.place) if own else record), understood
    if not spec.here:
        return placed(record, place), understood
    away = _distance_km(record.place, place)
    if away is not None and away > load("quality").number("own_km"):
        raise InputError(
            f"was measured {away:.0f} km from the site, as it says itself", path=spec.path,
            field="measured", remedy="leave out measured=here, or correct its coordinates",
        )  # fmt: skip
    return measured_at(record, place), understood


def measured_at(record: Record, place: Place) -> Record:
    """The record as one that was measured at a place."""
    origins = (
        replace(p, distance_km=0.0, elevation_m=place.elevation_m) for p in record.provenance
    )
    return replace(record, place=place, provenance=tuple(origins))


def _read(spec: FileSpec, place: Place | None) -> tuple[Record, Understood | None]:
    """The record of a file by the reader of its format, at the place the file tells."""
    if spec.path.endswith(".shards"):
        from windowcast.sources.ghcn_sorted import read_station

        return read_station(spec.path, spec.station, observed=spec.observed), None
    data = read_text_bytes(spec.path, sheet=spec.sheet)
    if is_dly(data):
        return read_dly(data, spec.path, observed=spec.observed), None
    text = text_of(data, spec.path)
    first_line = text.lstrip().partition("\n")[0]
    if is_uscrn(first_line):
        return read_uscrn(spec.path), None
    if is_long_csv(first_line):
        record = read_long_csv(text, spec.path, station=spec.station, observed=spec.observed)
        return record, None
    site_clock = ZoneInfo(place.timezone) if place is not None else None
    record, understood = read_table(
        text, spec.path, units=spec.units, station=spec.station, any_order=spec.any_order,
        times=TimeOptions(spec.dates, _zone(spec), site_clock),
        mark=MARKS[spec.decimal] if spec.decimal else None,
    )  # fmt: skip
    if spec.observed == "morning" and record.daily:
        record = moved_to_calendar_day(record)
    return record, understood


def _zone(spec: FileSpec) -> ZoneInfo | None:
    try:
        return ZoneInfo(spec.zone) if spec.zone else None
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise InputError(
            f"zone={spec.zone} is not an IANA time zone", path=spec.path,
            remedy="name one such as America/New_York, or Etc/GMT+5 for UTC−5 all year",
        ) from None  # fmt: skip


def _with_late_highs_named(record: Record, name: str) -> Record:
    """The record with a remark where its highs look dated a day late; values stay as they are."""
    if not (record.daily and dated_a_day_late(record.get("tmax_c"), record.get("tmin_c"))):
        return record
    flag = remark("highs-a-day-late", say("flag.highs_late", file=Name(name)), variable="tmax_c")
    return replace(record, flags=(*record.flags, flag))


def placed(record: Record, place: Place) -> Record:
    """The record at a site, with the distance and height of where it was measured, if known.

    Temperatures measured elsewhere at another height are moved to that of the site by the lapse
    rate of the standard atmosphere (ISO 2533); other values are left as they are. Flags say so,
    when the two places are far apart, and when where or how high it was measured is unknown.
    """
    there, limit = record.place, load("quality").number
    name = Name(record.provenance[0].detail if record.provenance else there.name)
    away = _distance_km(there, place)
    elsewhere = away is not None and away > limit("own_km")
    higher_m: float | None = None
    if there.elevation_m is not None and place.elevation_m is not None:
        higher_m = there.elevation_m - place.elevation_m
    where = []
    if away is not None and away > limit("far_km"):
        where.append(say("flag.away", distance=Quantity(away, "km")))
    uneven = higher_m is not None and abs(higher_m) > limit("far_height")
    if higher_m is not None and uneven:
        apart = Quantity(abs(higher_m), "m", "elevation")
        where.append(say("flag.higher" if higher_m > 0 else "flag.lower", height=apart))
    flags = list(record.flags)
    if where:
        found = joined(*where)
        text = say("flag.far_station", station=name, where=found)
        if uneven and elsewhere:
            text = say("flag.moved_station", station=name, where=found, rate=lapse_rate())
        flags.append(span_flag("far-station", "", record.times, "kept", text))
    days = int(load("soil").number("error.unknown_place_days"))
    if away is None:
        counts = Quantity(load("soil").number("error.unknown_distance"), "km")
        of_frame = name == Name(FRAME)
        text = say(
            "flag.no_place_frame" if of_frame else "flag.no_place",
            station=name, distance=counts, days=days,
        )  # fmt: skip
        flags.append(remark("no-place", text))
    elif elsewhere and higher_m is None:
        distance, rate = Quantity(away, "km"), lapse_rate()
        if there.elevation_m is None:
            text = say("flag.station_height", station=name, distance=distance, rate=rate)
        else:
            text = say("flag.site_height", station=name, distance=distance, rate=rate)
        flags.append(remark("no-elevation", text))
    provenance = tuple(
        replace(p, distance_km=away, elevation_m=there.elevation_m) for p in record.provenance
    )
    values = record.values
    if uneven and elsewhere:
        shift_k = height_shift_c(there.elevation_m, place.elevation_m)
        values = {n: v + shift_k if n in TEMPERATURES else v for n, v in values.items()}
    return replace(record, place=place, values=values, provenance=provenance, flags=tuple(flags))


def _distance_km(there: Place, place: Place) -> float | None:
    """Between two places [km]; None where the first tells no coordinates."""
    at = there.latitude_deg, there.longitude_deg
    if not np.isfinite(at).all():
        return None
    return float(distance_km(*at, place.latitude_deg, place.longitude_deg))


def refuse_implausible(record: Record, path: str) -> None:
    """Refuse what single faulty days cannot explain: another column, another unit, nothing."""
    if not any(name in record for name in record.values):
        raise InputError("holds no usable value", path=path, remedy="check the missing-value codes")
    if record.times[0] < EARLIEST:
        raise InputError(
            f"{record.times[0]} is before there were thermometers", path=path,
            remedy="check the year",
        )  # fmt: skip
    if beyond_forecast(record.times) is not None:
        raise InputError(
            f"{record.times[-1]} lies further ahead than any forecast", path=path,
            remedy="check the year",
        )  # fmt: skip
    share = load("quality").number("mostly_wrong_share")
    if "tmax_c" in record and "tmin_c" in record:
        tmax, tmin = record.get("tmax_c"), record.get("tmin_c")
        both = int(np.count_nonzero(np.isfinite(tmax) & np.isfinite(tmin)))
        below = int(np.count_nonzero(tmax < tmin))
        if below > share * max(both, 1):
            raise InputError(
                f"tmax lies below tmin on {below} of {both} days", path=path,
                field="tmax_c", remedy="exchange the two columns",
            )  # fmt: skip
    hottest = load("quality").number("mean_tmax_limit")
    if "tmax_c" in record and np.nanmean(record.get("tmax_c")) > hottest:
        raise InputError(
            f"the highest temperatures average {np.nanmean(record.get('tmax_c')):.0f} degC",
            path=path, field="tmax_c", remedy="name the column tmax_f if they are degrees F",
        )  # fmt: skip
    limits = DAILY_VARIABLES if record.daily else HOURLY_VARIABLES
    for name, values in record.values.items():
        known = int(np.count_nonzero(np.isfinite(values)))
        wrong = np.flatnonzero((values < limits[name].low) | (values > limits[name].high))
        if len(wrong) > share * max(known, 1):
            worst = float(values[wrong[0]])
            raise InputError(
                f"{len(wrong)} of {known} values are impossible, the first {worst:g} "
                f"{limits[name].unit}", path=path, field=name,
                remedy="check the unit in the column's name, and which column it is",
            )  # fmt: skip

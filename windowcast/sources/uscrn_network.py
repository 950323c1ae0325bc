"""The US Climate Reference Network as it is published day by day: list of stations, daily files,
and the live file of each hour.

- ``stations.tsv``: tab-separated with a header; ELEVATION in feet.
- ``daily01/YYYY/CRND0103-YYYY-ST_Location_Vector.txt``: 28 fields, see `windowcast.sources.uscrn`.
- ``hourly02/updates/YYYY/CRN60H0203-YYYYMMDDHHMM.txt``: one hour of all stations, 38 fields after
  five header lines, some of which end in CR CR LF, and an ETX at the end. The time in the name is
  that at which it closed. Read for yesterday where the daily file does not reach that far.

Lines with NUL bytes or another number of fields are left out. -9999, -999 and -99 mean missing.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import partial

import numpy as np

from windowcast.core.record import DAILY_VARIABLES, FloatArray, Grade, Place, Record
from windowcast.core.time_axis import on_regular_axis, record_of
from windowcast.core.units import M_PER_FOOT
from windowcast.core.values import load
from windowcast.sources.fetch import Fetched, Fetcher, Terms, all_found
from windowcast.sources.http_answer import Expect, base_url
from windowcast.sources.numerals import calendar_dates
from windowcast.sources.origin import fetched_origin, possible_height_m
from windowcast.sources.soil_network import HOURS_FOR_A_DAY, SoilNetwork, SoilStation, at_station
from windowcast.sources.source import Request
from windowcast.sources.uscrn import COLUMNS, FIELDS

NAME = "uscrn"
HOST = "https://www.ncei.noaa.gov"
FOLDER = "/pub/data/uscrn/products"
LICENCE = "NOAA NCEI U.S. Climate Reference Network, public domain"
HOURLY_FIELDS = 38
SHORT_DAYS = 20  # a file that ends so long before its time was cut, or tells nothing of late
LIST_COLUMNS = ("WBAN", "STATE", "LOCATION", "VECTOR", "LATITUDE", "LONGITUDE", "ELEVATION")
# daily variable → field of the hourly file, and how hours become a day
_FROM_HOURS: Mapping[str, tuple[int, Callable[[FloatArray], np.float64]]] = {
    "tmax_c": (10, np.max),
    "tmin_c": (11, np.min),
    "precip_mm": (12, np.sum),
    "soil_5cm_c": (33, np.mean),
}


def _base() -> str:
    return base_url("WINDOWCAST_USCRN_URL", HOST) + FOLDER


def stations_of(body: bytes) -> list[SoilStation]:
    """The operating stations of a list; rows that cannot be read are left out."""
    lines = body.decode("utf-8", "replace").splitlines()
    header = [name.strip().upper() for name in lines[0].split("\t")] if lines else []
    if not set(LIST_COLUMNS) <= set(header):
        return []
    found = []
    for line in lines[1:]:
        row = dict(zip(header, (cell.strip() for cell in line.split("\t")), strict=False))
        if row.get("OPERATION", "").lower() not in ("", "operational", "na"):
            continue
        named = "_".join(row.get(part, "") for part in ("STATE", "LOCATION", "VECTOR"))
        file = named.strip("_").replace(" ", "_")
        try:
            latitude, longitude = float(row["LATITUDE"]), float(row["LONGITUDE"])
            number = int(row["WBAN"])
        except (KeyError, ValueError):
            continue
        if not re.fullmatch(r"[\w.'-]+", file) or not (
            abs(latitude) <= 90 and abs(longitude) <= 180
        ):
            continue
        try:
            height = float(row["ELEVATION"]) * M_PER_FOOT
        except ValueError:
            height = float("nan")
        place = Place(file.replace("_", " "), latitude, longitude, possible_height_m(height))
        found.append(
            SoilStation(f"{number:05d}", place, partial(read_station, file, number, place))
        )
    return found


NETWORK = SoilNetwork(NAME, lambda: f"{_base()}/stations.tsv", Expect.TEXT, 5_000_000, stations_of)


def read_station(
    file: str, number: int, place: Place, request: Request, fetcher: Fetcher
) -> Record | None:
    """The station's last days and those before; None where it measures no soil.

    Raises
    ------
    FetchError
        One of its files could not be had.
    """
    days = int(load("sources").number("soil_network.days"))
    first = request.today - dt.timedelta(days=days)
    years = range(first.year, request.today.year + 1)
    urls = {f"{_base()}/daily01/{y}/CRND0103-{y}-{file}.txt": y for y in years}

    def terms(url: str) -> Terms:
        age = "archive_recent" if urls[url] >= request.today.year - 1 else "archive_past"
        end = min(dt.date(urls[url], 12, 31), request.today)
        problem = partial(daily_problem, number=number, reaches=end - dt.timedelta(days=SHORT_DAYS))
        return Terms.named(NAME, age, Expect.TEXT, max_bytes=3_000_000, problem=problem)

    answers = fetcher.get_all(list(urls), terms)
    had = all_found(answers)
    rows = [rows_of(answer.body(), FIELDS, number, range(1, 2)) for answer in had]
    table = np.concatenate([np.zeros((0, FIELDS)), *rows])
    if not len(table):
        return None
    dates, values = _by_date(table[:, 1], {name: table[:, i] for name, i in COLUMNS.items()})
    yesterday = np.datetime64(request.today) - np.timedelta64(1, "D")
    if np.isfinite(values["soil_5cm_c"]).any() and dates[-1] < yesterday:
        late = _live_day(number, place, yesterday.item(), fetcher)
        if late is not None:
            dates = np.append(dates, yesterday)
            values = {n: np.append(v, late.get(n, np.nan)) for n, v in values.items()}
    inside = (dates >= np.datetime64(first)) & (dates <= yesterday)
    if not inside.any():
        return None
    axis, values = on_regular_axis(dates[inside], {n: v[inside] for n, v in values.items()})
    known = (name for name, v in values.items() if np.isfinite(v).any())
    origin = fetched_origin(
        had, NAME, f"station {number:05d} {place.name}, daily", known, axis,
        licence=LICENCE, elevation_m=place.elevation_m,
    )  # fmt: skip
    record = record_of(place, axis, values, grade=Grade.OBSERVED, provenance=(origin,))
    return at_station(record, place)


def daily_problem(body: bytes, number: int | None = None, reaches: dt.date | None = None) -> str:
    """What keeps a daily file from being used.

    Parameters
    ----------
    number
        Of the station; None takes the lines of any.
    reaches
        A day that a file of a station at work has reached; None asks for none.
    """
    table = rows_of(body, FIELDS, number, range(1, 2))
    if not len(table):
        return "its file holds no day of the station"
    if reaches is not None and table[:, 1].max() < int(f"{reaches:%Y%m%d}"):
        return f"its file ends before {reaches}"
    return ""


def rows_of(body: bytes, fields: int, number: int | None, dates: Sequence[int]) -> FloatArray:
    """The lines of a station as numbers ``[row, field]``, text as NaN; damaged lines left out.

    `dates` are the fields that must hold YYYYMMDD; `number` None takes the lines of any station.
    """
    rows = [list(row) for row in _rows(body, fields, number)]
    table = np.array(rows, dtype=np.float64).reshape(-1, fields)
    right = np.ones(len(table), dtype=bool)
    for field in dates:
        whole = np.where((table[:, field] > 1e7) & (table[:, field] < 1e8), table[:, field], 0)
        right &= calendar_dates(whole.astype(np.int64))[1]
    return table[right]


def _rows(body: bytes, fields: int, number: int | None) -> Iterator[Iterator[float]]:
    for line in re.split(rb"[\r\n\x03]+", body):
        cells = line.split()
        if len(cells) != fields or b"\0" in line or not cells[0].isdigit():
            continue
        if number in (None, int(cells[0][:9])):
            yield (_number(cell) for cell in cells)


def _number(cell: bytes) -> float:
    try:
        return float(cell)
    except ValueError:
        return float("nan")


def _by_date(
    written: FloatArray, columns: Mapping[str, FloatArray]
) -> tuple[np.ndarray[tuple[int, ...], np.dtype[np.datetime64]], dict[str, FloatArray]]:
    """Days in order, the later row of a date twice; missing and impossible values NaN."""
    dates, _ = calendar_dates(written.astype(np.int64))
    order = np.argsort(dates, kind="stable")
    last = np.append(np.diff(dates[order]) > np.timedelta64(0, "D"), True)
    keep = order[last]
    return dates[keep], {name: _possible(name, v[keep]) for name, v in columns.items()}


def _possible(name: str, values: FloatArray) -> FloatArray:
    """Values within the limits of the schema; the codes for missing lie beyond them all."""
    limits = DAILY_VARIABLES[name]
    right = (values >= limits.low) & (values <= limits.high) & (values > -99.0)
    return np.where(right, values, np.nan)


def live_urls(day: dt.date, longitude_deg: float) -> list[str]:
    """The live files of a day of local standard time."""
    start = dt.datetime.combine(day, dt.time()) - dt.timedelta(hours=round(longitude_deg / 15))
    closes = [start + dt.timedelta(hours=hour) for hour in range(1, 26)]
    return [f"{_base()}/hourly02/updates/{at.year}/CRN60H0203-{at:%Y%m%d%H%M}.txt" for at in closes]


def _live_day(number: int, place: Place, day: dt.date, fetcher: Fetcher) -> dict[str, float] | None:
    """A day from the live files; None where too few hours are there."""
    terms = Terms.named(NAME, "archive_past", Expect.TEXT, max_bytes=1_000_000)
    answers = fetcher.get_all(live_urls(day, place.longitude_deg), lambda url: terms)
    bodies = [a.body() for a in answers if isinstance(a, Fetched) and a.found]
    return day_of_hours([hours_of(body, number) for body in bodies], day)


def hours_of(body: bytes, number: int) -> FloatArray:
    """A station's hours of an hourly or live file, ``[hour, field]``."""
    return rows_of(body, HOURLY_FIELDS, number, (1, 3))


def day_of_hours(tables: Sequence[FloatArray], day: dt.date) -> dict[str, float] | None:
    """Daily values of a local day from its hours; None where too few of them have soil."""
    table = np.concatenate([np.zeros((0, HOURLY_FIELDS)), *tables])
    # an hour is that which ends at its time: midnight belongs to the day before
    dates, _ = calendar_dates(table[:, 3].astype(np.int64))
    minutes = np.clip(np.nan_to_num(table[:, 4]), 0, 2359).astype(np.int64)
    ends = dates.astype("datetime64[m]") + (minutes // 100 * 60 + minutes % 100)
    of_day = (ends - np.timedelta64(1, "m")).astype("datetime64[D]") == np.datetime64(day)
    _, once = np.unique(ends[of_day], return_index=True)
    hours = table[of_day][once]
    found = {}
    for name, (field, reduce) in _FROM_HOURS.items():
        values = _possible(name, hours[:, field])
        known = values[np.isfinite(values)]
        enough = 24 if name == "precip_mm" else HOURS_FOR_A_DAY
        found[name] = float(reduce(known)) if len(known) >= enough else float("nan")
    return found if np.isfinite(found["soil_5cm_c"]) else None

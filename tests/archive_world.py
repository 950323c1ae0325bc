"""A small station archive in the real form: list of stations in SQLite, a packed CSV per year.

The tables are those of the archive's own builder (public repository meteostat/weather-stations,
tables.sql and database.py, with the table names its client queries); the columns of the CSV are
those of its documentation (dev.meteostat.net, "Hourly Data", "Daily Data").
"""

from __future__ import annotations

import datetime as dt
import gzip
import math
import sqlite3
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from loopback import GZIP, Answer, Loopback

SCHEMA = """
CREATE TABLE stations (id char(5) NOT NULL PRIMARY KEY, country varchar(2), region varchar(5),
  latitude float(8,4), longitude float(8,4), elevation int(4), timezone varchar(30));
CREATE TABLE names (station char(5) NOT NULL, language char(2) NOT NULL,
  name varchar(255) NOT NULL, PRIMARY KEY (station, language));
CREATE TABLE identifiers (station char(5) NOT NULL, key varchar(255) NOT NULL,
  value varchar(255) NOT NULL, PRIMARY KEY (station, key));
CREATE TABLE inventory (station char(5), provider varchar(20), parameter varchar(4),
  start date, end date, completeness int);
"""
DAILY = ("temp", "tmin", "tmax", "rhum", "prcp", "snwd", "wspd", "wpgt", "pres", "tsun", "cldc")
HOURLY = ("temp", "rhum", "prcp", "snwd", "wdir", "wspd", "wpgt", "pres", "tsun", "cldc", "coco")

# row key (date or datetime) → column → (value, source)
Rows = dict[dt.date, dict[str, tuple[float | str, str]]]


@dataclass(frozen=True)
class Where:
    id: str
    latitude: float
    longitude: float
    elevation: float | None = 100
    timezone: str = "America/Chicago"
    name: str = "Somewhere"
    language: str = "en"
    listed: bool = True


def database(stations: Iterable[Where]) -> bytes:
    """The list of stations as the archive serves it."""
    db = sqlite3.connect(":memory:")
    db.executescript(SCHEMA)
    for s in stations:
        row = (s.id, "XX", None, s.latitude, s.longitude, s.elevation, s.timezone)
        db.execute("INSERT INTO stations VALUES (?,?,?,?,?,?,?)", row)
        db.execute("INSERT INTO names VALUES (?,?,?)", (s.id, s.language, s.name))
        if s.listed:
            for parameter in ("tmin", "tmax"):
                db.execute(
                    "INSERT INTO inventory VALUES (?,'daily',?,'2000-01-01','2099-01-01',99)",
                    (s.id, parameter),
                )
    db.commit()
    return db.serialize()


def table(rows: Rows, columns: tuple[str, ...], hourly: bool) -> bytes:
    """Packed CSV in the archive's layout."""
    header = ["year", "month", "day", *(["hour"] if hourly else [])]
    for column in columns:
        header += [column, f"{column}_source"]
    lines = [",".join(header)]
    for when, cells in rows.items():
        line: list[object] = [when.year, when.month, when.day]
        if isinstance(when, dt.datetime):
            line.append(when.hour)
        for column in columns:
            line += cells.get(column, ("", ""))
        lines.append(",".join(map(str, line)))
    return gzip.compress(("\n".join(lines) + "\n").encode())


def days(year: int, last: dt.date, make: Callable[[dt.date], dict[str, object]]) -> Rows:
    """Rows of a year up to `last`, all from GHCN-Daily unless a cell is (value, source)."""
    rows: Rows = {}
    day = dt.date(year, 1, 1)
    while day.year == year and day <= last:
        cells = make(day)
        rows[day] = {k: v if isinstance(v, tuple) else (v, "ghcnd") for k, v in cells.items()}
        day += dt.timedelta(1)
    return rows


def climate(day: dt.date, offset: float = 0.0) -> dict[str, object]:
    """A plain year: warm in July."""
    mean = 16 - 10 * math.cos((day.timetuple().tm_yday - 15) / 365.25 * 2 * math.pi) + offset
    return {
        "tmax": round(mean + 6, 1), "tmin": round(mean - 6, 1), "temp": round(mean, 1),
        "prcp": 2.5 if day.day % 4 == 0 else 0.0,
    }  # fmt: skip


def hours(first: dt.datetime, count: int, make: Callable[[dt.datetime], dict[str, object]]) -> Rows:
    rows: Rows = {}
    for n in range(count):
        when = first + dt.timedelta(hours=n)
        cells = make(when)
        rows[when] = {k: v if isinstance(v, tuple) else (v, "isd_lite") for k, v in cells.items()}
    return rows


def serve_daily(
    server: Loopback,
    station: str,
    years: Iterable[int],
    last: dt.date,
    make: Callable[[dt.date], dict[str, object]] = climate,
) -> None:
    for year in years:
        body = table(days(year, last, make), DAILY, hourly=False)
        server.routes[f"/daily/{year}/{station}.csv.gz"] = Answer(body, type=GZIP)


def serve_hourly(server: Loopback, station: str, rows: Rows) -> None:
    """Hours, each in the file of its year."""
    for year in {when.year for when in rows}:
        part = {when: cells for when, cells in rows.items() if when.year == year}
        body = table(part, HOURLY, hourly=True)
        server.routes[f"/hourly/{year}/{station}.csv.gz"] = Answer(body, type=GZIP)


def serve_stations(server: Loopback, stations: Iterable[Where]) -> None:
    server.routes["/stations.db"] = Answer(database(stations), type="application/octet-stream")

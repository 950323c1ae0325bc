"""Stations of the open archive around a site, ranked.

The archive's list of stations is an SQLite database (tables `stations`, `names`, `inventory`). It
is read directly, so that stations without an English name count too and no pandas is loaded.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, replace

import numpy as np
import numpy.typing as npt

from windowcast.core.great_circle import distance_km
from windowcast.core.record import DateArray, Place
from windowcast.core.season_calendar import half_year_later, month_of
from windowcast.core.values import load
from windowcast.sources.blend import effective_km

_KM_PER_DEGREE = 111.2

Row = tuple[str, str | None, float, float, float | None, str | None, bool, str | None, str | None]


@dataclass(frozen=True, slots=True)
class ArchiveStation:
    """A station as it stands to a site.

    Attributes
    ----------
    effective_km
        Distance with the height difference counted in.
    completeness
        Share of days known in the months that matter, 0..1; NaN before it was probed.
    country, state
        The archive's codes, such as US and TX; "" where a station is not asked for them.
    """

    id: str
    name: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float | None
    timezone: str
    distance_km: float
    effective_km: float
    completeness: float = float("nan")
    country: str = ""
    state: str = ""


def stations_near(database: bytes, place: Place) -> list[ArchiveStation]:
    """Stations within the radius of ``sources.toml``, best first, at most `candidates_max`.

    Stations whose inventory names no daily temperature come last; the inventory is otherwise
    not trusted (its end dates do not match the data).

    Raises
    ------
    sqlite3.Error
        The database is damaged or of another form.
    """
    table = load("sources").table("archive")
    radius = table.number("radius_km")
    rows = _rows(database, place, radius)
    if not rows:
        return []
    latitude, longitude = (np.array([row[i] for row in rows], dtype=np.float64) for i in (2, 3))
    away = distance_km(latitude, longitude, place.latitude_deg, place.longitude_deg)
    height = np.array([np.nan if row[4] is None else row[4] for row in rows], dtype=np.float64)
    site_m = np.nan if place.elevation_m is None else place.elevation_m
    effective = effective_km(away, height - site_m)
    listed = np.array([row[6] for row in rows], dtype=bool)
    order = [i for i in np.lexsort((away, effective, ~listed)) if away[i] <= radius]
    return [
        _station(rows[i], float(away[i]), float(effective[i]))
        for i in order[: int(table.number("candidates_max"))]
    ]


def station_named(database: bytes, station: str, place: Place) -> ArchiveStation | None:
    """The station with this id, as it stands to the site; None when there is none."""
    rows = _rows(database, place, None, station)
    if not rows:
        return None
    row = rows[0]
    away = float(distance_km(row[2], row[3], place.latitude_deg, place.longitude_deg))
    unknown = row[4] is None or place.elevation_m is None
    difference = np.nan if unknown else (row[4] or 0.0) - (place.elevation_m or 0.0)
    return _station(row, away, float(effective_km(away, difference)))


def stations_in_box(
    database: bytes, box: tuple[float, float, float, float]
) -> list[ArchiveStation]:
    """Stations with daily temperature between south, west, north and east, in order of their ids.

    Raises
    ------
    sqlite3.Error
        The database is damaged or of another form.
    """
    south, west, north, east = box
    across = "OR" if west > east else "AND"
    where = (
        f"s.latitude BETWEEN :south AND :north AND (s.longitude >= :west {across}"
        " s.longitude <= :east)"
    )
    bounds = {"south": south, "west": west, "north": north, "east": east}
    return [
        replace(_station(row, 0.0, 0.0), country=str(row[7] or ""), state=str(row[8] or ""))
        for row in _matching(database, where, bounds)
        if row[6]
    ]


def _station(row: Row, away_km: float, apart_km: float) -> ArchiveStation:
    """A row of the list as it stands to a site, without its country and state."""
    return ArchiveStation(
        str(row[0]), str(row[1] or row[0]), float(row[2]), float(row[3]),
        None if row[4] is None else float(row[4]), str(row[5] or "UTC"),
        round(away_km, 3), round(apart_km, 3),
    )  # fmt: skip


def _rows(database: bytes, place: Place, radius_km: float | None, station: str = "") -> list[Row]:
    """Rows in a box around the place, or of the one station."""
    if radius_km is None:
        return _matching(database, "s.id = :id", {"id": station})
    high = radius_km / _KM_PER_DEGREE
    wide = high / max(np.cos(np.radians(min(abs(place.latitude_deg) + high, 89.0))), 0.01)
    # turned by whole circles, so that 180° is no wall
    where = (
        "s.latitude BETWEEN :lat - :high AND :lat + :high AND ("
        "s.longitude BETWEEN :lon - :wide AND :lon + :wide"
        " OR s.longitude BETWEEN :lon - :wide + 360 AND :lon + :wide + 360"
        " OR s.longitude BETWEEN :lon - :wide - 360 AND :lon + :wide - 360)"
    )
    around = {
        "lat": place.latitude_deg, "lon": place.longitude_deg, "high": high, "wide": float(wide),
    }  # fmt: skip
    return _matching(database, where, around)


def _matching(database: bytes, where: str, args: Mapping[str, str | float]) -> list[Row]:
    """Rows (id, name, latitude, longitude, height, zone, listed, country, state), by id."""
    db = sqlite3.connect(":memory:")
    try:
        db.deserialize(database)
        found = db.execute(
            "SELECT s.id, coalesce("
            " (SELECT name FROM names WHERE station = s.id AND language = 'en'),"
            " (SELECT min(name) FROM names WHERE station = s.id)),"
            " s.latitude, s.longitude, s.elevation, s.timezone,"
            " EXISTS (SELECT 1 FROM inventory i WHERE i.station = s.id AND i.parameter IN"
            " ('tmin', 'tmax', 'temp')), s.country, s.region"
            f" FROM stations s WHERE {where} AND s.latitude IS NOT NULL"
            " AND s.longitude IS NOT NULL ORDER BY s.id",
            args,
        ).fetchall()
    finally:
        db.close()
    return [row for row in found if str(row[0]).isalnum()]


def list_problem(database: bytes) -> str:
    """What keeps a list of stations from being used, as a clause; "" when it is one."""
    try:
        some = _matching(database, "s.id IN (SELECT id FROM stations LIMIT 100)", {})
    except sqlite3.Error:
        some = []
    return "" if some else "its list of stations is not as documented"


def months_that_matter(southern: bool) -> npt.NDArray[np.int64]:
    """Months 1..12 of the season of winter weeds, turned by half a year in the south."""
    months = np.array(load("sources").value("archive.months").value, dtype=np.int64)
    return np.asarray(half_year_later(months)) if southern else months


def completeness(times: DateArray, known: npt.NDArray[np.bool_], today: np.datetime64,
                 southern: bool) -> float:  # fmt: skip
    """Share of the days of the months that matter, in the two years before today, that are known.

    The days within the archive's usual lag are left out.
    """
    lag = int(load("sources").number("archive.lag_days"))
    days = np.arange(today - np.timedelta64(731, "D"), today - np.timedelta64(lag, "D"))
    wanted = days[(month_of(days)[:, None] == months_that_matter(southern)).any(axis=1)]
    if not len(wanted):
        return 0.0
    rows = (times[known] - days[0]).astype(np.int64)
    seen = np.zeros(len(days), dtype=bool)
    seen[rows[(rows >= 0) & (rows < len(days))]] = True
    return float(seen[(wanted - days[0]).astype(np.int64)].mean())


def chosen(
    stations: Iterable[ArchiveStation], completeness_of: Mapping[str, float]
) -> list[ArchiveStation]:
    """The stations to blend, best first: complete enough, weighed by distance and completeness."""
    table = load("sources").table("archive")
    probed = [replace(s, completeness=completeness_of.get(s.id, 0.0)) for s in stations]
    fit = [s for s in probed if s.completeness >= table.number("completeness_min")]
    floor = load("sources").number("blend.distance_floor")
    fit.sort(key=lambda s: max(s.effective_km, floor) / s.completeness)
    return fit[: int(table.number("blend_max"))]


def packed(stations: list[ArchiveStation]) -> bytes:
    """Stations as JSON, for the cache."""
    return json.dumps([asdict(s) for s in stations]).encode()


def unpacked(raw: bytes) -> list[ArchiveStation]:
    """Stations from JSON of `packed`."""
    return [ArchiveStation(**item) for item in json.loads(raw)]

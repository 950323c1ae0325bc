"""The forecasts of Deutscher Wetterdienst for single stations around the world (MOSMIX_L).

The nearest station within reach serves; the farther and the higher or lower it is, the more its
temperature is in doubt. The service tells how far its own figures may be off, which the odds use.
"""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass
from functools import partial
from zoneinfo import ZoneInfo

import numpy as np

from windowcast.core.great_circle import distance_km
from windowcast.core.local_days import day_starts, local_dates
from windowcast.core.phrase import Name, Phrase, Quantity, say
from windowcast.core.record import DateArray, FloatArray, Grade, Place, Provenance, Record
from windowcast.core.source_flags import remark
from windowcast.core.time_axis import record_of, steps
from windowcast.core.values import load
from windowcast.sources.blend import TEMPERATURES, effective_km, height_shift_c
from windowcast.sources.fetch import Fetched, Fetcher, Terms
from windowcast.sources.http_answer import Expect, base_url
from windowcast.sources.mosmix_kml import StationForecast, read_kmz
from windowcast.sources.origin import fetched_origin, issue_problem, issue_remarks, other_place
from windowcast.sources.source import Found, Request

NAME = "mosmix"
HOST, LIST_HOST = "https://opendata.dwd.de", "https://www.dwd.de"
LIST_PATH = (
    "/DE/leistungen/met_verfahren_mosmix/mosmix_stationskatalog.cfg?view=nasPublication&nn=16102"
)
LICENCE = "Deutscher Wetterdienst, CC BY 4.0 (https://www.dwd.de/copyright)"
FREEZING_K = 273.15
MAE_TO_SD = 1.2533  # of a normal draw: sqrt(pi / 2)
MOST_TRIED = 3  # stations, where the nearest has no file

# variable → (element, factor, offset) of what holds at the step
INSTANT: dict[str, tuple[str, float, float]] = {
    "temp_c": ("TTT", 1.0, -FREEZING_K),
    "dewpoint_c": ("Td", 1.0, -FREEZING_K),
    "wind_m_s": ("FF", 1.0, 0.0),
    "wind_from_deg": ("DD", 1.0, 0.0),
    "cloud_fraction": ("N", 0.01, 0.0),
    "pressure_hpa": ("PPPP", 0.01, 0.0),
    "temp_sd_k": ("E_TTT", MAE_TO_SD, 0.0),
    "dewpoint_sd_k": ("E_Td", MAE_TO_SD, 0.0),
    "wind_sd_m_s": ("E_FF", MAE_TO_SD, 0.0),
}
GUSTS, RAIN, SUN = ("FX1", "FX3"), "RR1c", "Rad1h"  # of the hours before the step
CHANCES = {"R602": 6, "Rh02": 12}  # chance of more than 0.2 mm in so many hours before the step
ELEMENTS = frozenset({*(e for e, _, _ in INSTANT.values()), *GUSTS, RAIN, SUN, *CHANCES})

# 01001 ENJA JAN MAYEN             70.56   -8.40    10; older lists have two numbers before the id
_ROW = re.compile(
    r"(?:\d+\s+\d+\s+)?(?P<id>\w{4,5})\s+\S{4}\s+(?P<name>\S+(?:\s+\S+)*?)\s+"
    r"(?P<lat>-?\d{1,2}\.\d\d)\s+(?P<lon>-?\d{1,3}\.\d\d)\s+(?P<height>-?\d{1,4})(?:\s.*)?"
)


@dataclass(frozen=True, slots=True)
class MosmixStation:
    """One row of the list; decimal degrees, metres, and how far it is from a place."""

    id: str
    name: str
    latitude_deg: float
    longitude_deg: float
    height_m: float
    distance_km: float = 0.0
    effective_km: float = 0.0  # with height counted in


class MosmixSource:
    """The service as a `windowcast.sources.source.Source`."""

    name = NAME

    def covers(self, place: Place) -> bool:
        """Its stations stand on all continents; the list says where."""
        return True

    def fetch(self, request: Request, fetcher: Fetcher) -> Found:
        """The forecast of the nearest station, on hours UTC, and the sun's energy by the day.

        Raises
        ------
        FetchError
            The service could not be reached and no young enough answer is kept, or what it gave is
            no use.
        """
        place = request.place
        near = _nearest(station_rows(_list(fetcher).body()), place)
        reach = load("sources").number("mosmix.reach")
        within = [station for station in near[:MOST_TRIED] if station.effective_km <= reach]
        for station in within:
            answer = fetcher.get(file_url(station.id), _terms(station))
            if not answer.found:  # an empty folder: the next station
                continue
            body = answer.body()
            now_s = fetcher.clock() + answer.skew_s
            if why := file_problem(body, station) or untimely(body, now_s):
                raise answer.unfit(why)
            records = records_of(read_kmz(body, ELEMENTS), station, place, answer)
            return Found(records, tuple(issue_remarks(answer)))
        return Found(flags=(remark("no-forecast", _none(within, near[:1], place)),))


def _none(within: list[MosmixStation], nearest: list[MosmixStation], place: Place) -> Phrase:
    """Why no station serves."""
    if within:
        return say("flag.mosmix_no_file", station=Name(within[0].name))
    if not nearest:
        return say("flag.none_there")
    (station,) = nearest
    higher = 0.0 if place.elevation_m is None else station.height_m - place.elevation_m
    return say(
        "flag.mosmix_far",
        station=Name(station.name),
        distance=Quantity(station.distance_km, "km"),
        height=Quantity(abs(higher), "m", "elevation"),
    )


def _base(host: str) -> str:
    return base_url("WINDOWCAST_MOSMIX_URL", host)


def file_url(station: str) -> str:
    """Where the latest forecast of a station is."""
    folder = f"{_base(HOST)}/weather/local_forecasts/mos/MOSMIX_L/single_stations/{station}/kml"
    return f"{folder}/MOSMIX_L_LATEST_{station}.kmz"


def _list(fetcher: Fetcher) -> Fetched:
    url = f"{_base(LIST_HOST)}{LIST_PATH}"
    terms = Terms.named(NAME, "stations", Expect.TEXT, max_bytes=5_000_000, problem=list_problem)
    answer = fetcher.get(url, terms)
    if not answer.found:
        raise answer.unfit("its list of stations is gone")
    return answer


def _terms(station: MosmixStation) -> Terms:
    return Terms.named(
        NAME, "forecast", Expect.ZIP, max_bytes=2_000_000,
        problem=partial(file_problem, station=station), untimely=untimely,
    )  # fmt: skip


def list_problem(body: bytes) -> str:
    """What keeps a list of stations from being used."""
    return "" if station_rows(body) else "its list of stations holds none"


def file_problem(body: bytes, station: MosmixStation | None = None) -> str:
    """What keeps a file from being used, as a clause; "" when it is understood.

    Parameters
    ----------
    station
        Whose it should be; None where that is not known.
    """
    try:
        file = read_kmz(body, ELEMENTS)
    except ValueError as error:
        return str(error)
    if not np.isfinite(file.get("TTT")).any():
        return "its answer holds no temperatures"
    if station is None:
        return ""
    if file.station != station.id:
        return f"its answer is for another station ({file.station[:12]})"
    asked = station.latitude_deg, station.longitude_deg
    return other_place((file.latitude_deg, file.longitude_deg), asked)


def untimely(body: bytes, now_s: float) -> str:
    """Why a forecast that can be read is not to be used now."""
    return issue_problem(read_kmz(body, ()).issued_s, now_s)


def station_rows(body: bytes) -> list[MosmixStation]:
    """The stations of the list. It writes degrees and minutes: ``52.34`` is 52° 34'."""
    rows = (_ROW.fullmatch(line.strip()) for line in body.decode("latin-1").splitlines())
    found = []
    for row in rows:
        if row is None:
            continue
        north, east = _decimal_degrees(row["lat"]), _decimal_degrees(row["lon"])
        if north is not None and east is not None and abs(north) <= 90 and abs(east) <= 180:
            name = "".join(filter(str.isprintable, row["name"]))
            found.append(MosmixStation(row["id"], name, north, east, float(row["height"])))
    return found


def _decimal_degrees(written: str) -> float | None:
    """``"-8.40"`` (8° 40' west) → -8.667; None where the minutes are none."""
    degrees, _, minutes = written.lstrip("-").partition(".")
    if int(minutes) >= 60:
        return None
    value = int(degrees) + int(minutes) / 60
    return -value if written.startswith("-") else value


def _nearest(stations: list[MosmixStation], place: Place) -> list[MosmixStation]:
    """The stations in order of distance, height counted in."""
    if not stations:
        return []
    lat, lon, height = (
        np.array([getattr(s, name) for s in stations])
        for name in ("latitude_deg", "longitude_deg", "height_m")
    )
    distance = distance_km(lat, lon, place.latitude_deg, place.longitude_deg)
    higher = np.nan if place.elevation_m is None else height - place.elevation_m
    counted = effective_km(distance, higher)
    order = np.argsort(counted)[:MOST_TRIED]
    return [
        MosmixStation(s.id, s.name, s.latitude_deg, s.longitude_deg, s.height_m,
                float(distance[n]), float(counted[n]))
        for n, s in ((n, stations[n]) for n in order)
    ]  # fmt: skip


def records_of(
    file: StationForecast, station: MosmixStation, place: Place, answer: Fetched
) -> tuple[Record, ...]:
    """Hours, and the sun's energy of whole local days.

    A step stands at the end of its hour: what falls or blows in the hour goes to its beginning.
    """
    table = load("sources").table("mosmix")
    shift = height_shift_c(station.height_m, place.elevation_m)
    hours = steps(file.times[0] - np.timedelta64(1, "h"), file.times[-1])
    values = {
        name: _moved(file.get(element) * factor + offset, 0)
        for name, (element, factor, offset) in INSTANT.items()
    }
    for name in TEMPERATURES & set(values):
        values[name] = values[name] + shift
    for name in ("temp_sd_k", "dewpoint_sd_k"):
        away = table.number("temperature_sd") * station.effective_km
        values[name] = np.hypot(values[name], away)
    away = table.number("wind_sd") * station.distance_km
    values["wind_sd_m_s"] = np.hypot(values["wind_sd_m_s"], away)
    one, three = (file.get(name) for name in GUSTS)
    strongest = _spread_back(three, 3)
    values["gust_m_s"] = _moved(np.where(np.isfinite(one), one, strongest), 1)
    values["precip_mm"] = _moved(file.get(RAIN), 1)
    chance = np.full(len(file.times), np.nan)
    for element, length in CHANCES.items():
        chance = np.where(np.isfinite(chance), chance, _spread_back(file.get(element), length))
    values["precip_prob"] = _moved(chance / 100, 1)
    values = {name: value for name, value in values.items() if np.isfinite(value).any()}
    issued = dt.datetime.fromtimestamp(file.issued_s, dt.UTC)
    provenance = fetched_origin(
        (answer,), NAME, f"MOSMIX station {station.id} {station.name}", values, hours,
        licence=LICENCE, elevation_m=station.height_m, distance_km=station.distance_km,
        issued=issued,
    )  # fmt: skip
    record = record_of(place, hours, values, grade=Grade.FORECAST, provenance=(provenance,))
    sun = _days_of_sun(hours, _moved(file.get(SUN), 1), place, provenance)
    return (record,) if sun is None else (record, sun)


def _moved(value: FloatArray, hours: int) -> FloatArray:
    """Values of the steps on the axis that begins an hour earlier, so many hours earlier."""
    return np.append(value, np.nan) if hours else np.append(np.nan, value)


def _spread_back(value: FloatArray, length: int) -> FloatArray:
    """A figure of so many hours before a step, at each of these hours, ``[step]``.

    Where periods overlap the greatest counts.
    """
    spread = value.copy()
    for back in range(1, length):
        spread[:-back] = np.fmax(spread[:-back], value[back:])
    return spread


def _days_of_sun(
    hours: DateArray, sun_kj_m2: FloatArray, place: Place, provenance: Provenance
) -> Record | None:
    """Sums of whole local days as a daily record; None where there is no whole day."""
    zone = ZoneInfo(place.timezone)
    dates = local_dates(zone, hours)
    axis = steps(dates[0], dates[-1])
    wanted = np.diff(day_starts(zone, np.append(axis, axis[-1] + np.timedelta64(1, "D")))).astype(
        np.int64
    )
    day = (dates - axis[0]).astype(np.int64)
    count = np.bincount(day[np.isfinite(sun_kj_m2)], minlength=len(axis))
    total = np.bincount(day, np.nan_to_num(sun_kj_m2), minlength=len(axis)) / 1000
    sums = np.where(count == wanted, total, np.nan)
    if not np.isfinite(sums).any():
        return None
    return record_of(
        place, axis, {"solar_mj_m2": sums}, grade=Grade.FORECAST, provenance=(provenance,)
    )

"""Recorded answers of MET Norway and MOSMIX, moved to now and to another place."""

from __future__ import annotations

import copy
import datetime as dt
import gzip
import io
import json
import math
import re
import zipfile
from email.utils import format_datetime
from functools import cache
from pathlib import Path
from typing import Any

from loopback import Answer, Loopback

from windowcast.core.record import Place
from windowcast.sources.metno import address
from windowcast.sources.mosmix import LIST_PATH

FOLDER = Path(__file__).parent / "data" / "world_forecasts"
SIX_H = dt.timedelta(hours=6)
KMZ = "application/vnd.google-earth.kmz"


@cache
def _recorded(name: str) -> str:
    packed = (FOLDER / f"{name}.gz").read_bytes()
    return gzip.decompress(packed).decode("utf-8" if "json" in name else "latin-1")


def metno_raw(
    now: dt.datetime | None = None, place: Place | None = None, name: str = "london"
) -> dict[str, Any]:
    """The recorded answer; at `now`, moved by whole quarters of a day, as if issued an hour ago."""
    raw: dict[str, Any] = json.loads(_recorded(f"metno_{name}.json"))["data"]
    steps, meta = raw["properties"]["timeseries"], raw["properties"]["meta"]
    if now is not None:
        first = dt.datetime.fromisoformat(steps[0]["time"])
        moved = (now - first) // SIX_H * SIX_H
        for step in steps:
            at = dt.datetime.fromisoformat(step["time"]) + moved
            step["time"] = f"{at:%Y-%m-%dT%H:%M:%SZ}"
        meta["updated_at"] = f"{now - dt.timedelta(hours=1):%Y-%m-%dT%H:%M:%SZ}"
    if place is not None:
        height = 0 if place.elevation_m is None else round(place.elevation_m)
        raw["geometry"]["coordinates"] = [place.longitude_deg, place.latitude_deg, height]
    return raw


def with_percentiles(raw: dict[str, Any], half_k: float, half_m_s: float) -> dict[str, Any]:
    """The answer as in the Nordic countries: 10 and 90 % values, gusts and chances of rain."""
    raw = copy.deepcopy(raw)
    raw["properties"]["meta"]["units"]["wind_speed_of_gust"] = "m/s"
    for step in raw["properties"]["timeseries"]:
        now = step["data"]["instant"]["details"]
        for name, half in (("air_temperature", half_k), ("wind_speed", half_m_s)):
            now[f"{name}_percentile_10"] = now[name] - half
            now[f"{name}_percentile_90"] = now[name] + half
        now["wind_speed_of_gust"] = now["wind_speed"] * 1.5
        for hours, chance in ((1, 5.0), (6, 20.0)):
            period = step["data"].get(f"next_{hours}_hours")
            if period:
                period["details"]["probability_of_precipitation"] = chance
    return raw


def metno_answer(raw: dict[str, Any], **more: Any) -> Answer:
    now = dt.datetime.now(dt.UTC)
    headers = {
        "Last-Modified": format_datetime(now, usegmt=True),
        "Expires": format_datetime(now + dt.timedelta(minutes=30), usegmt=True),
        "ETag": "",
    }
    body = json.dumps(raw).encode()
    return Answer(body, type="application/json", headers=headers, **more)


def metno_path(place: Place) -> str:
    """The path of the request for a place."""
    return "/" + address(place).split("://")[1].partition("/")[2]


def mosmix_kml(
    now: dt.datetime | None = None,
    place: Place | None = None,
    station: str = "10637",
) -> str:
    """The recorded file of Frankfurt, moved by whole quarters of a day and to a place."""
    text = _recorded("mosmix_l_10637_2019-02-19T03.kml")
    if now is not None:
        issued = dt.datetime(2019, 2, 19, 3, tzinfo=dt.UTC)
        moved = (now - issued) // SIX_H * SIX_H

        def later(match: re.Match[str]) -> str:
            at = dt.datetime.fromisoformat(match[0]) + moved
            return f"{at:%Y-%m-%dT%H:%M:%S.000Z}"

        text = re.sub(r"\d{4}-\d\d-\d\dT\d\d:00:00\.000Z", later, text)
    if place is not None:
        where = f"{place.longitude_deg},{place.latitude_deg},{place.elevation_m or 0}"
        text = re.sub(r"(<kml:coordinates>)[^<]*", rf"\g<1>{where}", text)
    return text.replace("<kml:name>10637<", f"<kml:name>{station}<")


def kmz(text: str | bytes, name: str = "MOSMIX_L.kml") -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr(name, text.encode("latin-1") if isinstance(text, str) else text)
    return out.getvalue()


def _written(degrees: float) -> str:
    """Degrees and minutes as the list writes them."""
    minutes = round(abs(degrees) * 60)
    return f"{'-' if degrees < 0 else ''}{minutes // 60}.{minutes % 60:02d}"


def station_list(*rows: tuple[str, str, float, float, float]) -> bytes:
    """A list of stations (id, name, latitude, longitude, height) in the service's layout."""
    lines = ["ID    ICAO NAME                 LAT    LON     ELEV",
             "----- ---- -------------------- -----  ------- -----"]  # fmt: skip
    for number, name, lat, lon, height in rows:
        lines.append(
            f"{number:5} ---- {name:20} {_written(lat):>6} {_written(lon):>7} {height:5.0f}"
        )
    return ("\n".join(lines) + "\n").encode("latin-1")


def mosmix_path(station: str) -> str:
    folder = f"/weather/local_forecasts/mos/MOSMIX_L/single_stations/{station}/kml"
    return f"{folder}/MOSMIX_L_LATEST_{station}.kmz"


def serve_mosmix(server: Loopback, now: dt.datetime, place: Place, station: str = "10637") -> None:
    """The list with one station, at the place to the minute, and its file."""
    at = Place(
        place.name,
        *(math.copysign(round(abs(x) * 60) / 60, x) for x in
          (place.latitude_deg, place.longitude_deg)),
        place.elevation_m,
        place.timezone,
    )  # fmt: skip
    row = (station, "SOMEWHERE", at.latitude_deg, at.longitude_deg, at.elevation_m or 0.0)
    server.routes[LIST_PATH] = Answer(station_list(row), type="text/plain")
    server.routes[mosmix_path(station)] = Answer(kmz(mosmix_kml(now, at, station)), type=KMZ)

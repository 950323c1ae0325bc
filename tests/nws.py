"""Recorded answers of api.weather.gov with times put where the recording has templates."""

from __future__ import annotations

import datetime as dt
import gzip
import json
import re
from pathlib import Path
from typing import Any

from loopback import JSON, Answer, Loopback

FOLDER = Path(__file__).parent / "data" / "nws"
_TEMPLATE = re.compile(r"date:now(?::hour)? ([+-]\d+) hours? / (P\w+)")


def gridpoint(name: str, now: dt.datetime) -> dict[str, Any]:
    """The recorded cell as if issued an hour before `now`."""
    hour = now.replace(minute=0, second=0, microsecond=0)

    def put(match: re.Match[str]) -> str:
        start = hour + dt.timedelta(hours=int(match[1]))
        return f"{start.isoformat()}/{match[2]}"

    text = gzip.decompress((FOLDER / f"gridpoint_{name}.json.gz").read_bytes()).decode()
    raw: dict[str, Any] = json.loads(_TEMPLATE.sub(put, text))
    raw["properties"]["updateTime"] = (now - dt.timedelta(hours=1)).isoformat(timespec="seconds")
    return raw


def points() -> dict[str, Any]:
    """The recorded point, leading to TAE 58,65."""
    raw: dict[str, Any] = json.loads(gzip.decompress((FOLDER / "points.json.gz").read_bytes()))
    return raw


def answer(raw: object) -> Answer:
    return Answer(json.dumps(raw).encode(), type=JSON)


def serve(server: Loopback, latitude: str, longitude: str, grid: dict[str, Any]) -> None:
    """Routes of a point and its cell."""
    server.routes[f"/points/{latitude},{longitude}"] = answer(points())
    server.routes["/gridpoints/TAE/58,65"] = answer(grid)

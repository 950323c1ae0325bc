"""The public forecast of the US National Weather Service (api.weather.gov), hour by hour.

A point leads to a grid cell; the cell's raw layers hold values on ISO 8601 intervals, which are
put on hours exactly (`windowcast.sources.intervals`). Units are read from each layer. What the
service does not give stays missing.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from windowcast.core.phrase import Name, Quantity, say
from windowcast.core.record import Flag, FloatArray, Grade, Place, Record
from windowcast.core.source_flags import remark
from windowcast.core.time_axis import grades_of
from windowcast.core.values import load
from windowcast.sources.blend import TEMPERATURES, height_shift_c
from windowcast.sources.columns import CONVERSIONS
from windowcast.sources.fetch import Fetched, Fetcher, Terms
from windowcast.sources.http_answer import Expect, FetchError, Kind, base_url
from windowcast.sources.intervals import Steps, amount_in, hour_axis, in_force, instant_s
from windowcast.sources.origin import (
    fetched_origin,
    issue_problem,
    issue_remarks,
    possible_height_m,
)
from windowcast.sources.source import Found, Request

NAME = "forecast"
HOST = "https://api.weather.gov"
LICENCE = "US National Weather Service, public domain"
# the two formats may come from copies of different age (goat-hill/bitclock#15)
ACCEPT = ("application/geo+json", "application/ld+json")

# variable → (layer, kind of unit as in columns.CONVERSIONS)
LAYERS: Mapping[str, tuple[str, str]] = {
    "temp_c": ("temperature", "c"),
    "dewpoint_c": ("dewpoint", "c"),
    "rh_pct": ("relativeHumidity", "pct"),
    "wind_m_s": ("windSpeed", "m_s"),
    "gust_m_s": ("windGust", "m_s"),
    "wind_from_deg": ("windDirection", "deg"),
    "cloud_fraction": ("skyCover", ""),
    "precip_prob": ("probabilityOfPrecipitation", ""),
    "precip_mm": ("quantitativePrecipitation", "mm"),
}
# unit code without its prefix → unit as in columns.CONVERSIONS
UNITS: Mapping[str, str] = {
    "degC": "c",
    "degF": "f",
    "percent": "pct",
    "km_h-1": "km_h",
    "m_s-1": "m_s",
    "mi_h-1": "mph",
    "kt": "kn",
    "degree_(angle)": "deg",
    "mm": "mm",
    "cm": "cm",
    "kg_m-2": "mm",  # 1 kg of water on 1 m² stands 1 mm high
    "in": "in",
}


class ForecastSource:
    """The service as a `windowcast.sources.source.Source`."""

    name = NAME

    def covers(self, place: Place) -> bool:
        """Whether the service may have a forecast there; it is asked for no other place."""
        return any(
            south <= place.latitude_deg <= north and west <= place.longitude_deg <= east
            for south, north, west, east in load("sources").value("forecast.areas").value
        )

    def fetch(self, request: Request, fetcher: Fetcher) -> Found:
        """The forecast for the place, on hours UTC, graded FORECAST.

        Raises
        ------
        FetchError
            The service could not be reached and no young enough forecast is kept, or it gave
            only forecasts that are too old or unreadable.
        """
        place = request.place
        grid = _grid(place, fetcher)
        if grid is None:
            return Found(flags=(remark("no-forecast", say("flag.none_there")),))
        payload = _payload(grid)
        if why := issue_problem(_issued_s(payload), fetcher.clock() + grid.skew_s):
            raise grid.unfit(why)
        return _read(payload, place, grid)


def endpoint() -> str:
    """Where the service is asked: ``WINDOWCAST_FORECAST_URL`` or api.weather.gov."""
    return base_url("WINDOWCAST_FORECAST_URL", HOST)


def _terms(age: str, accept: str = ACCEPT[0]) -> Terms:
    more: dict[str, Any] = {"problem": cell_problem}
    if age == "forecast":
        more = {"problem": grid_problem, "untimely": untimely}
    return Terms.named(NAME, age, Expect.JSON, accept=accept, max_bytes=10_000_000, **more)


def cell_problem(body: bytes) -> str:
    """What keeps the answer for a point from being used."""
    return "" if _cell_of(_properties(body)) else "its answer names no grid cell"


def grid_problem(body: bytes) -> str:
    """What keeps a forecast from being used at all: no issue time, no temperatures."""
    properties = _properties(body)
    if _issued_s(properties) is None:
        return "its answer does not say when it was issued"
    try:
        layer = properties["temperature"]
        known = Steps.of(_items(layer)).value
        _unit(layer, "c")
    except (ValueError, TypeError, AttributeError, KeyError):
        known = np.zeros(0)
    return "" if np.isfinite(known).any() else "its answer holds no temperatures"


def untimely(body: bytes, now_s: float) -> str:
    """Why a forecast that can be read is not to be used now."""
    return issue_problem(_issued_s(_properties(body)), now_s)


def _issued_s(properties: dict[str, Any]) -> float | None:
    """When a forecast was issued [POSIX s]; None where it does not say."""
    try:
        return instant_s(str(properties["updateTime"]))
    except (KeyError, ValueError):
        return None


def _properties(body: bytes) -> dict[str, Any]:
    """The properties of an answer, in GeoJSON or JSON-LD; none where it is not as documented."""
    try:
        raw = json.loads(body)
        properties = raw.get("properties", raw)
    except (ValueError, AttributeError, RecursionError):
        return {}
    return properties if isinstance(properties, dict) else {}


def _cell_of(properties: dict[str, Any]) -> tuple[str, int, int] | None:
    """Office and place of a grid cell; None where an answer names none."""
    try:
        office = str(properties["gridId"])
        x, y = int(properties["gridX"]), int(properties["gridY"])
    except (KeyError, TypeError, ValueError):
        return None
    return (office, x, y) if office.isalnum() else None


def _degrees(value: float) -> str:
    """At most three decimals (about 100 m), without trailing zeros, which would be redirected."""
    return f"{value:.3f}".rstrip("0").rstrip(".")


def _grid(place: Place, fetcher: Fetcher) -> Fetched | None:
    """The cell's answer; asks for the point anew when the kept cell is gone."""
    at = f"{_degrees(place.latitude_deg)},{_degrees(place.longitude_deg)}"
    url = f"{endpoint()}/points/{at}"
    for renewed in (False, True):
        point = fetcher.get(url, _terms("points"), refresh=renewed)
        if not point.found:
            return None
        cell = _cell_of(_payload(point))
        if cell is None:
            raise point.unfit("its answer names no grid cell")
        office, x, y = cell
        grid = _newest(f"{endpoint()}/gridpoints/{office}/{x},{y}", fetcher)
        if grid.found and (renewed or not grid.gone):
            return grid
        if fetcher.offline or point.stale:
            break
    return None


def _newest(url: str, fetcher: Fetcher) -> Fetched:
    """The cell's forecast; where it is no use it is asked for once more, in the other format."""
    try:
        grid = fetcher.get(url, _terms("forecast"))
        if not grid.rejected:
            return grid
    except FetchError as error:
        if error.kind is not Kind.WRONG_CONTENT:
            raise
        return fetcher.get(url, _terms("forecast", ACCEPT[1]), anew=True)
    try:
        return fetcher.get(url, _terms("forecast", ACCEPT[1]), anew=True)
    except FetchError:
        return grid


def _payload(answer: Fetched) -> dict[str, Any]:
    """The properties of an answer."""
    properties = _properties(answer.body())
    if not properties:
        raise answer.unfit("its answer is not as documented")
    return properties


def _read(payload: dict[str, Any], place: Place, grid: Fetched) -> Found:
    """Layers to hours; a layer that cannot be read exactly is left out and named."""
    steps: dict[str, tuple[Steps, str, str]] = {}
    flags: list[Flag] = []
    for name, (layer, kind) in LAYERS.items():
        try:
            raw = payload.get(layer) or {}
            found = Steps.of(_items(raw))
            if len(found.value):
                steps[name] = found, kind, _unit(raw, kind)
            if found.contested_s:
                contested = Quantity(found.contested_s / 3600, "h")
                text = say("flag.contested", layer=Name(layer), time=contested)
                flags.append(remark("forecast-layer", text, variable=name))
        except (ValueError, TypeError, AttributeError, KeyError) as error:
            text = say("flag.layer_left_out", layer=Name(layer), problem=Name(str(error)))
            flags.append(remark("forecast-layer", text, variable=name))
    if "temp_c" not in steps:
        raise grid.unfit("its answer holds no temperatures")
    first = min(s.start[0] for s, _, _ in steps.values())
    last = max(s.end[-1] for s, _, _ in steps.values())
    if last - first > 32 * 86400:
        raise grid.unfit("its answer reaches over more than a month")
    hours = hour_axis(first, last)
    height = _height_m(payload)
    shift = height_shift_c(height, place.elevation_m)
    values: dict[str, FloatArray] = {}
    for name, (found, kind, unit) in steps.items():
        spread = amount_in if kind == "mm" else in_force
        value = CONVERSIONS[kind][unit](spread(found, hours))
        values[name] = value + shift if name in TEMPERATURES else value
    issued = dt.datetime.fromtimestamp(instant_s(str(payload["updateTime"])), dt.UTC)
    cell = f"{payload.get('gridId', '')} {payload.get('gridX', '')},{payload.get('gridY', '')}"
    provenance = fetched_origin(
        (grid,), NAME, f"grid cell {cell}", values, hours,
        licence=LICENCE, elevation_m=height, issued=issued,
    )  # fmt: skip
    flags += issue_remarks(grid)
    grades = {name: grades_of(value, Grade.FORECAST) for name, value in values.items()}
    record = Record(place, hours, values, grades, (provenance,))
    return Found((record,), tuple(flags))


def _items(layer: dict[str, Any]) -> Iterator[tuple[str, float | None]]:
    for item in layer.get("values") or ():
        value = item["value"]
        yield str(item["validTime"]), None if value is None else float(value)


def _unit(layer: dict[str, Any], kind: str) -> str:
    code = str(layer.get("uom") or layer.get("unitCode") or "").rpartition(":")[2]
    unit = UNITS.get(code, "")
    if unit not in CONVERSIONS[kind] or not unit:
        raise ValueError(f"its unit {code!r} is not known for it" if code else "it names no unit")
    return unit


def _height_m(payload: dict[str, Any]) -> float | None:
    """Height of the cell [m]; None if it is not in metres, or impossible on Earth."""
    elevation = payload.get("elevation")
    if not isinstance(elevation, dict):
        return None
    value = elevation.get("value")
    metres = str(elevation.get("unitCode", "")).rpartition(":")[2] == "m"
    if not metres or not isinstance(value, int | float):
        return None
    return possible_height_m(float(value))

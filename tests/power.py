"""Answers of the coarse grid (NASA POWER, daily point) in the documented JSON form.

No recorded JSON answer was at hand: the form is that of the service's documentation (GeoJSON
feature, ``properties.parameter``, ``header``, ``parameters`` with units). The one recorded answer
is CSV (``data/power``); `recorded` puts its values into the same form.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from loopback import Answer, Loopback

UNITS = {
    "PRECTOTCORR": "mm/day",
    "RH2M": "%",
    "WS10M": "m/s",
    "ALLSKY_SFC_SW_DWN": "MJ/m^2/day",
    "T2M": "C",
}
FOLDER = Path(__file__).parent / "data" / "power"


def payload(values: Mapping[str, Mapping[str, float]], **units: str) -> dict[str, Any]:
    """The answer for values by parameter and date."""
    dates = sorted(date for column in values.values() for date in column)
    return {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": [-85.3, 30.5, 61.73]},
        "properties": {"parameter": {name: dict(column) for name, column in values.items()}},
        "header": {
            "title": "NASA/POWER Source Native Resolution Daily Data",
            "api": {"version": "v2.9.2", "name": "POWER Daily API"},
            "sources": ["MERRA2", "POWER"],
            "fill_value": -999.0,
            "time_standard": "LST",
            "start": dates[0] if dates else "",
            "end": dates[-1] if dates else "",
        },
        "messages": [],
        "parameters": {
            name: {"units": units.get(name, UNITS[name]), "longname": name} for name in values
        },
        "times": {"data": 0.9, "process": 0.01},
    }


def recorded() -> dict[str, Any]:
    """The recorded CSV answer of 1 January 1983 in the JSON form."""
    raw = json.loads((FOLDER / "nasa_power_daily_ag_point.cassette.json").read_text())
    text = raw["http_interactions"][0]["response"]["body"]["string"]
    names, cells = (line.split(",") for line in text.split("-END HEADER-\r\n")[1].splitlines())
    row = dict(zip(names, cells, strict=True))
    values = {name: {"19830101": float(row[name])} for name in ("RH2M", "WS10M", "T2M")}
    return payload(values)


def path(first: dt.date, last: dt.date, latitude: str = "30.5", longitude: str = "-85.2") -> str:
    """What is asked for some days at a place."""
    return (
        "/api/temporal/daily/point?parameters=PRECTOTCORR,RH2M,WS10M,ALLSKY_SFC_SW_DWN"
        f"&community=ag&longitude={longitude}&latitude={latitude}"
        f"&start={first:%Y%m%d}&end={last:%Y%m%d}&format=JSON&time-standard=LST"
    )


def days(first: dt.date, last: dt.date, late: int = 3, **values: float) -> dict[str, Any]:
    """The answer for some days, the last ones not there yet."""
    dates = np.arange(np.datetime64(first), np.datetime64(last) + np.timedelta64(1, "D")).astype(
        object
    )
    plain = {"PRECTOTCORR": 4.0, "RH2M": 80.0, "WS10M": 3.0, "ALLSKY_SFC_SW_DWN": 15.0} | values
    return payload(
        {
            name: {
                f"{day:%Y%m%d}": value if day <= last - dt.timedelta(late) else -999.0
                for day in dates
            }
            for name, value in plain.items()
        }
    )


def serve(server: Loopback, first: dt.date, last: dt.date, raw: Any = None) -> None:
    """The route of some days."""
    body = json.dumps(days(first, last) if raw is None else raw).encode()
    server.routes[path(first, last)] = Answer(body, type="application/json")

"""The soil network of the US Natural Resources Conservation Service, through its REST reports.

``/stations`` lists the stations (elevation in feet), ``/data`` gives values of elements as
``[{stationTriplet, data: [{stationElement, values: [{date, value}]}]}]``. Depths are in inches
below zero; the unit of the values is that of the element's record, °F and inches by default. Times
are those of the station's ``dataTimeZone``. Soil comes by the hour, as the daily value is that of
one moment.
"""

from __future__ import annotations

import datetime as dt
import json
import re
from collections.abc import Callable, Mapping
from functools import partial
from typing import Any

import numpy as np

from windowcast.core.record import DAILY_VARIABLES, DateArray, FloatArray, Place, Record
from windowcast.core.time_axis import on_regular_axis, record_of
from windowcast.core.units import M_PER_FOOT
from windowcast.core.values import load
from windowcast.sources.columns import CONVERSIONS
from windowcast.sources.fetch import Fetcher, Terms, all_found
from windowcast.sources.http_answer import Expect, base_url
from windowcast.sources.origin import fetched_origin, possible_height_m
from windowcast.sources.soil_network import HOURS_FOR_A_DAY, SoilNetwork, SoilStation, at_station
from windowcast.sources.source import Request

NAME = "nrcs"
HOST = "https://wcc.sc.egov.usda.gov"
SERVICE = "/awdbRestApi/services/v1"
LICENCE = "USDA Natural Resources Conservation Service, public domain"
SOIL = "STO"
DEPTH_IN = (-2.5, -1.5)  # 2 inches, which is 5 cm
# element → variable, kind of unit as in `columns.CONVERSIONS`
ELEMENTS: Mapping[str, tuple[str, str]] = {
    SOIL: ("soil_5cm_c", "c"),
    "TMAX": ("tmax_c", "c"),
    "TMIN": ("tmin_c", "c"),
    "PRCP": ("precip_mm", "mm"),
}
UNITS = {"degf": "f", "degc": "c", "in": "in", "mm": "mm", "cm": "cm"}
_ODD = (ValueError, TypeError, AttributeError, KeyError, IndexError, RecursionError, OverflowError)


def _base() -> str:
    return base_url("WINDOWCAST_NRCS_URL", HOST) + SERVICE


def stations_of(body: bytes) -> list[SoilStation]:
    """The stations of a list; what cannot be read is left out."""
    found = []
    try:
        rows = list(json.loads(body))
    except _ODD:
        return []
    for row in rows:
        try:
            triplet = str(row["stationTriplet"])
            name = "".join(filter(str.isprintable, str(row.get("name", ""))))[:60]
            latitude, longitude = float(row["latitude"]), float(row["longitude"])
            zone_h = float(row.get("dataTimeZone") or round(longitude / 15))
            height = row.get("elevation")
            height_m = None if height is None else possible_height_m(float(height) * M_PER_FOOT)
        except _ODD:
            continue
        sound = abs(latitude) <= 90 and abs(longitude) <= 180 and abs(zone_h) <= 14
        if not sound or not re.fullmatch(r"\w+:\w+:\w+", triplet, re.ASCII):
            continue
        place = Place(name or triplet, latitude, longitude, height_m)
        found.append(SoilStation(triplet, place, partial(read_station, triplet, zone_h, place)))
    return found


NETWORK = SoilNetwork(
    NAME,
    lambda: f"{_base()}/stations?stationTriplets=*:*:SCAN&activeOnly=true",
    Expect.JSON,
    10_000_000,
    stations_of,
)


def read_station(
    triplet: str, zone_h: float, place: Place, request: Request, fetcher: Fetcher
) -> Record | None:
    """The station's last days; None where it has no soil at 2 inches or no air temperature.

    Parameters
    ----------
    zone_h
        Hours from UTC of the times in its reports.

    Raises
    ------
    FetchError
        It could not be asked, or the answer is not as documented.
    """
    days = int(load("sources").number("soil_network.days"))
    # from the first of a month, so that the address stays the same for as long
    first = (request.today - dt.timedelta(days=days)).replace(day=1)
    span = f"beginDate={first}&endDate=2100-01-01"
    data = f"{_base()}/data?stationTriplets={triplet}&{span}"
    urls = {
        f"{data}&duration=HOURLY&elements={SOIL}:-2&periodRef=END": True,
        f"{data}&duration=DAILY&elements=TMAX,TMIN,PRCP&periodRef=START": False,
    }
    terms = Terms.named(
        NAME, "archive_recent", Expect.JSON, max_bytes=8_000_000, problem=data_problem
    )
    answers = fetcher.get_all(list(urls), lambda url: terms)
    read = all_found(answers)
    columns: dict[str, tuple[DateArray, FloatArray]] = {}
    for answer in read:
        hourly = urls[answer.url]
        try:
            found = values_of(json.loads(answer.body()))
        except _ODD:
            raise answer.unfit("its answer is not as documented") from None
        shift = np.timedelta64(round(60 * (round(place.longitude_deg / 15) - zone_h)), "m")
        for name, (times, values) in found.items():
            columns[name] = _days(times + shift, values) if hourly else _first_of_day(times, values)
    if not columns:
        return None
    dates = np.unique(np.concatenate([times for times, _ in columns.values()]))
    begin, today = np.datetime64(first), np.datetime64(request.today)
    dates = dates[(dates >= begin) & (dates < today)]
    if not len(dates):
        return None
    daily = {}
    for name, (times, known) in columns.items():
        inside = (times >= begin) & (times < today)
        daily[name] = np.full(len(dates), np.nan)
        daily[name][np.searchsorted(dates, times[inside])] = known[inside]
    axis, series = on_regular_axis(dates, daily)
    origin = fetched_origin(
        read, NAME, f"station {triplet} {place.name}, soil at 2 inches", series, axis,
        licence=LICENCE, elevation_m=place.elevation_m,
    )  # fmt: skip
    return at_station(record_of(place, axis, series, provenance=(origin,)), place)


def data_problem(body: bytes) -> str:
    """What keeps an answer from being used; "" when it is understood."""
    try:
        raw = json.loads(body)
        values_of(raw)
    except _ODD:
        return "its answer is not as documented"
    return "" if raw else "its answer holds nothing of the station"


def values_of(raw: Any) -> dict[str, tuple[DateArray, FloatArray]]:
    """Times of the station's clock (minutes) and values in SI, by variable of the schema.

    An element of another depth, or in a unit that is not known for it, is left out.

    Raises
    ------
    ValueError, TypeError, AttributeError, KeyError
        The answer is not as documented.
    """
    if not isinstance(raw, list):
        raise TypeError("not a list")
    found: dict[str, tuple[DateArray, FloatArray]] = {}
    for block in (block for station in raw for block in station["data"]):
        element = block["stationElement"]
        code = str(element["elementCode"])
        convert = _conversion(element)
        if code not in ELEMENTS or convert is None or (code == SOIL and not _shallow(element)):
            continue
        name = ELEMENTS[code][0]
        rows = [(row["date"], row.get("value")) for row in block["values"]]
        times = np.array([str(when).replace(" ", "T") for when, _ in rows], "datetime64[m]")
        said = np.array([np.nan if v is None else float(v) for _, v in rows], dtype=np.float64)
        limits, values = DAILY_VARIABLES[name], convert(said)
        right = (values >= limits.low) & (values <= limits.high) & (said > -99.0)
        order = np.argsort(times, kind="stable")
        found.setdefault(name, (times[order], np.where(right, values, np.nan)[order]))
    return found


def _conversion(element: Mapping[str, Any]) -> Callable[[FloatArray], FloatArray] | None:
    code = str(element.get("storedUnitCode") or element.get("unitCode") or "").lower()
    kind = ELEMENTS.get(str(element["elementCode"]), ("", ""))[1]
    return CONVERSIONS[kind].get(UNITS.get(code, "")) if kind else None


def _shallow(element: Mapping[str, Any]) -> bool:
    """Whether the probe lies at 2 inches; the depth is a number or one with a unit."""
    depth = element.get("heightDepth")
    unit = "in"
    if isinstance(depth, Mapping):
        unit, depth = str(depth.get("unitCode") or "in"), depth.get("value")
    if depth is None:
        return False
    inches = float(depth) / 2.54 if unit == "cm" else float(depth)
    return unit in ("in", "cm") and DEPTH_IN[0] <= inches <= DEPTH_IN[1]


def _days(times: DateArray, values: FloatArray) -> tuple[DateArray, FloatArray]:
    """Daily means of hours; NaN where too few are known."""
    days, row = np.unique(times.astype("datetime64[D]"), return_inverse=True)
    known = np.isfinite(values)
    count = np.bincount(row[known], minlength=len(days))
    total = np.bincount(row[known], values[known], minlength=len(days))
    return days, np.where(count >= HOURS_FOR_A_DAY, total / np.maximum(count, 1), np.nan)


def _first_of_day(times: DateArray, values: FloatArray) -> tuple[DateArray, FloatArray]:
    days, at = np.unique(times.astype("datetime64[D]"), return_index=True)
    return days, values[at]

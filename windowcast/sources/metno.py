"""The forecast of MET Norway (Locationforecast 2.0, ``complete``), for any place on Earth.

Hours at first, then every sixth hour. The hours between two of the later ones have no wind, no sky
and no chance of rain of their own: these stay missing, and only temperature and dew point follow a
line through what the service says of the six hours. The service asks callers to name themselves and
somebody to write to, to send at most four decimals, and to keep to ``Expires``.
"""

from __future__ import annotations

import datetime as dt
import json
import math
import os
import re
from decimal import ROUND_DOWN, Decimal
from functools import partial
from itertools import pairwise
from typing import Any

import numpy as np

from windowcast.core.errors import InputError
from windowcast.core.record import FloatArray, Grade, Place, Record
from windowcast.core.time_axis import grades_of
from windowcast.core.values import load
from windowcast.core.version import __version__
from windowcast.sources.blend import TEMPERATURES, height_shift_c
from windowcast.sources.fetch import Fetched, Fetcher, Terms
from windowcast.sources.http import Manners
from windowcast.sources.http_answer import Expect, FetchError, Kind, base_url, host_of
from windowcast.sources.intervals import HOUR_S, Steps, amount_in, hour_axis, in_force, instant_s
from windowcast.sources.origin import (
    fetched_origin,
    issue_problem,
    issue_remarks,
    other_place,
    possible_height_m,
)
from windowcast.sources.source import Found, Request

NAME = "metno"
HOST = "https://api.met.no"
LICENCE = "MET Norway, NLOD 2.0 and CC BY 4.0 (https://api.met.no/doc/License)"
CONTACT = "WINDOWCAST_CONTACT"
SIX_H_S = 6 * HOUR_S
P10_TO_P90 = 2.563  # standard deviations between the 10 and the 90 % value of a normal draw
MOST_DAYS = 32
_MOST = 1e6  # no figure of weather is larger

# variable → (name in the answer, unit as it states it, factor to ours)
INSTANT: dict[str, tuple[str, str, float]] = {
    "temp_c": ("air_temperature", "celsius", 1.0),
    "dewpoint_c": ("dew_point_temperature", "celsius", 1.0),
    "rh_pct": ("relative_humidity", "%", 1.0),
    "wind_m_s": ("wind_speed", "m/s", 1.0),
    "gust_m_s": ("wind_speed_of_gust", "m/s", 1.0),
    "wind_from_deg": ("wind_from_direction", "degrees", 1.0),
    "cloud_fraction": ("cloud_area_fraction", "%", 0.01),
    "pressure_hpa": ("air_pressure_at_sea_level", "hPa", 1.0),
}
# own error → (10 and 90 % values in the answer)
PERCENTILES: dict[str, tuple[str, str]] = {
    "temp_sd_k": ("air_temperature_percentile_10", "air_temperature_percentile_90"),
    "wind_sd_m_s": ("wind_speed_percentile_10", "wind_speed_percentile_90"),
}
BETWEEN = ("temp_c", "dewpoint_c", "temp_sd_k")  # known on a line between two later hours


class MetnoSource:
    """The service as a `windowcast.sources.source.Source`."""

    name = NAME

    def covers(self, place: Place) -> bool:
        """It forecasts for every place on Earth."""
        return True

    def fetch(self, request: Request, fetcher: Fetcher) -> Found:
        """The forecast for the place, on hours UTC.

        Raises
        ------
        FetchError
            Nobody is named to write to, the service could not be reached and no young enough
            forecast is kept, or its answer is no use.
        InputError
            What is named to write to is no address.
        """
        place = request.place
        url = address(place)
        contact = contact_of(request.contact)
        if not contact and not fetcher.offline:
            text = (
                f"not asked: it wants an e-mail or web address to write to, name yours in {CONTACT}"
            )
            raise FetchError(Kind.REFUSED, host_of(url), text)
        manners = Manners(
            f"windowcast/{__version__} {contact}", load("sources").number("metno.pause")
        )
        terms = Terms.named(
            NAME, "forecast", Expect.JSON, max_bytes=3_000_000, accept="application/json",
            problem=partial(answer_problem, place=place), untimely=untimely, manners=manners,
        )  # fmt: skip
        answer = fetcher.get(url, terms)
        if not answer.found:
            raise answer.unfit("it has no forecast for this place")
        body = answer.body()
        if why := answer_problem(body, place) or untimely(body, fetcher.clock() + answer.skew_s):
            raise answer.unfit(why)
        record = record_of_answer(json.loads(body), place, answer)
        return Found((record,), tuple(issue_remarks(answer)))


def contact_of(site_contact: str = "") -> str:
    """Whom the service can write to: the site's, ``WINDOWCAST_CONTACT``, the project's page; or "".

    Raises
    ------
    InputError
        Neither an e-mail address nor a web address.
    """
    named = site_contact or os.environ.get(CONTACT, "")
    if not named:
        return _project_page()
    if not re.fullmatch(r"[!-~]{3,120}", named) or not re.search(r"\w@\w|^https?://\w", named):
        raise InputError(
            "is no e-mail or web address",
            field="weather.contact" if site_contact else CONTACT,
            remedy="name one at which you read, such as greens@example.org",
        )
    return named


def _project_page() -> str:
    """The web address that the installed package names; "" where it names none."""
    from importlib.metadata import PackageNotFoundError, metadata

    try:
        named = metadata("windowcast").get_all("Project-URL") or []
    except PackageNotFoundError:
        return ""
    pages = [entry.rpartition(",")[2].strip() for entry in named]
    return next((page for page in pages if page.startswith("https://")), "")


def address(place: Place) -> str:
    """Where the forecast for a place is: at most four decimals, cut off, and height in metres."""
    base = base_url("WINDOWCAST_METNO_URL", HOST)
    lat, lon = _cut(place.latitude_deg), _cut(place.longitude_deg)
    height = "" if place.elevation_m is None else f"&altitude={round(place.elevation_m)}"
    return f"{base}/weatherapi/locationforecast/2.0/complete?lat={lat}&lon={lon}{height}"


def _cut(degrees: float) -> str:
    """Degrees with at most four decimals, the others cut off: ``-33.86885`` → ``-33.8688``."""
    cut = Decimal(repr(degrees)).quantize(Decimal("0.0001"), ROUND_DOWN)
    return f"{cut.normalize() + 0:f}"


def answer_problem(body: bytes, place: Place | None = None) -> str:
    """What keeps an answer from being used, as a clause; "" when it is understood.

    Parameters
    ----------
    place
        What it was asked for; None where that is not known.
    """
    try:
        raw = json.loads(body)
        east, north = (float(x) for x in raw["geometry"]["coordinates"][:2])
        meta, series = raw["properties"]["meta"], raw["properties"]["timeseries"]
        issued_s = instant_s(str(meta["updated_at"]))
        if place is not None:
            asked = place.latitude_deg, place.longitude_deg
            if why := other_place((north, east), asked):
                return why
        if (unit := meta["units"].get("air_temperature")) != "celsius":
            return f"its temperatures are in {str(unit)[:20]!r}"
        times = [instant_s(str(step["time"])) for step in series]
        known = [_number(step["data"]["instant"].get("details"), "air_temperature")
                 for step in series]  # fmt: skip
    except (ValueError, KeyError, TypeError, AttributeError, OverflowError, RecursionError):
        return "its answer is not as documented"
    if not times or any(t % HOUR_S for t in times) or any(b <= a for a, b in pairwise(times)):
        return "the times of its answer are not hours in order"
    if abs(times[0] - issued_s) > 2 * 86400:
        return "its hours do not belong to its time of issue"
    if not np.isfinite(known).any():
        return "its answer holds no temperatures"
    if times[-1] - times[0] > MOST_DAYS * 86400:
        return "its answer reaches over more than a month"
    return ""


def untimely(body: bytes, now_s: float) -> str:
    """Why a forecast that can be read is not to be used now."""
    return issue_problem(
        instant_s(str(json.loads(body)["properties"]["meta"]["updated_at"])), now_s
    )


def _number(details: Any, name: str) -> float:
    """A finite number of an answer; NaN where there is none."""
    value = details.get(name) if isinstance(details, dict) else None
    if not isinstance(value, int | float) or isinstance(value, bool) or abs(value) > _MOST:
        return math.nan
    return float(value)


def _details(step: dict[str, Any], hours: int) -> Any:
    """What is said of so many hours after a step."""
    period = step["data"].get(f"next_{hours}_hours")
    return period.get("details") if isinstance(period, dict) else None


def record_of_answer(raw: dict[str, Any], place: Place, answer: Fetched) -> Record:
    """The answer on hours: instants, what falls in the hours after them, and lines between."""
    meta, series = raw["properties"]["meta"], raw["properties"]["timeseries"]
    at = np.array([instant_s(str(step["time"])) for step in series])
    hours = hour_axis(at[0], at[-1] + HOUR_S)
    rows = ((at - at[0]) / HOUR_S).astype(np.int64)
    height = _height_m(raw)
    shift = height_shift_c(height, place.elevation_m)

    def of_instants(name: str) -> FloatArray:
        return np.array([_number(s["data"]["instant"].get("details"), name) for s in series])

    steps: dict[str, FloatArray] = {}
    for name, (theirs, unit, factor) in INSTANT.items():
        if meta["units"].get(theirs) == unit:
            steps[name] = of_instants(theirs) * factor
    for name, (low, high) in PERCENTILES.items():
        spread = (of_instants(high) - of_instants(low)) / P10_TO_P90
        steps[name] = np.where(spread > 0, spread, np.nan)
    values, grades = {}, {}
    for name, value in steps.items():
        whole = np.full(len(hours), np.nan)
        whole[rows] = value
        grade = np.full(len(hours), Grade.FORECAST, dtype=np.uint8)
        if name in BETWEEN:
            line = _line(at, value, series if name == "temp_c" else None, hours)
            grade[np.isnan(whole)] = Grade.ESTIMATED
            whole = np.where(np.isnan(whole), line, whole)
        values[name] = whole + shift if name in TEMPERATURES else whole
        grades[name] = grade
    values["precip_mm"] = _rain(series, at, hours, meta["units"].get("precipitation_amount"))
    values["precip_prob"] = _chance(series, at, hours)
    values = {name: value for name, value in values.items() if np.isfinite(value).any()}
    given = {n: grades_of(v, grades.get(n, Grade.FORECAST)) for n, v in values.items()}
    issued = dt.datetime.fromtimestamp(instant_s(str(meta["updated_at"])), dt.UTC)
    provenance = fetched_origin(
        (answer,), NAME, "MET Norway Locationforecast", values, hours,
        licence=LICENCE, elevation_m=height, issued=issued,
    )  # fmt: skip
    return Record(place, hours, values, given, (provenance,))


def _height_m(raw: Any) -> float | None:
    """Height for which the temperatures hold [m]; None where it is not said or impossible."""
    said = raw["geometry"]["coordinates"][2:3]
    return possible_height_m(_number({"height": said[0]} if said else None, "height"))


def _line(
    at: FloatArray, value: FloatArray, series: list[dict[str, Any]] | None, hours: Any
) -> FloatArray:
    """Straight lines through the steps, and through the extremes of six hours at their middle.

    Parameters
    ----------
    series
        The steps whose six hours' highest and lowest temperature bend the line; None for none.
    """
    nodes = {float(t): float(v) for t, v in zip(at, value, strict=True) if math.isfinite(v)}
    if series is not None:
        for (first, later), step in zip(pairwise(at), series, strict=False):
            ends = nodes.get(float(first), math.nan), nodes.get(float(later), math.nan)
            details = _details(step, 6)
            over = _number(details, "air_temperature_max") - max(ends)
            under = min(ends) - _number(details, "air_temperature_min")
            if later - first == SIX_H_S and max(over, under) > 0:
                bends = [max(ends) + over] * (over > 0) + [min(ends) - under] * (under > 0)
                for n, bent in enumerate(sorted(bends, reverse=ends[0] > ends[1]), 1):
                    nodes[float(first + n * (later - first) / (len(bends) + 1))] = bent
    if not nodes:
        return np.full(len(hours), np.nan)
    known = sorted(nodes)
    clock = hours.astype("datetime64[s]").astype(np.float64)
    line: FloatArray = np.interp(clock, known, [nodes[t] for t in known], np.nan, np.nan)
    wide = np.append(np.diff(known) > SIX_H_S, False)  # nobody knows what lies within
    return np.where(wide[np.searchsorted(known, clock, side="right") - 1], np.nan, line)


def _periods(series: list[dict[str, Any]], at: FloatArray, hours: int, name: str) -> Any:
    """Start, end [POSIX s] and value of the periods of so many hours that begin at a step."""
    for start, step in zip(at, series, strict=True):
        value = _number(_details(step, hours), name)
        if value >= 0:  # neither missing nor a code for it
            yield float(start), float(start + hours * HOUR_S), value


def _rain(series: list[dict[str, Any]], at: FloatArray, hours: Any, unit: str | None) -> FloatArray:
    """Rain of each hour [mm]: of the hour where that is said, else an even part of six hours."""
    if unit != "mm":
        return np.full(len(hours), np.nan)
    by_hour = list(_periods(series, at, 1, "precipitation_amount"))
    end = max((stop for _, stop, _ in by_hour), default=-math.inf)
    later = []
    for period in _periods(series, at, 6, "precipitation_amount"):
        if period[0] >= end:  # no two that overlap
            later.append(period)
            end = period[1]
    return amount_in(_steps(by_hour + later), hours)


def _chance(series: list[dict[str, Any]], at: FloatArray, hours: Any) -> FloatArray:
    """Chance of rain 0..1: that of the six hours of the day's quarter, else of the hour."""
    name = "probability_of_precipitation"
    by_hour = in_force(_steps(list(_periods(series, at, 1, name))), hours)
    six = list(_periods(series, at, 6, name))
    quarters = [p for p in six if not p[0] % SIX_H_S]
    if six and six[0][0] % SIX_H_S:  # the rest of the quarter that has begun
        first = six[0][0]
        quarters.insert(0, (first, first - first % SIX_H_S + SIX_H_S, six[0][2]))
    chance = in_force(_steps(quarters), hours) / 100
    return np.where(np.isfinite(chance), chance, by_hour / 100)


def _steps(periods: list[tuple[float, float, float]]) -> Steps:
    """Periods without overlap as `Steps`."""
    start, end, value = np.array(periods, dtype=np.float64).reshape(-1, 3).T
    return Steps(start, end, value, np.ones(len(value)))

"""Past days of a coarse global grid, for what no station nearby gave: NASA POWER, daily, by point.

Rain, humidity and wind come from a reanalysis on 0.5 by 0.625 degrees, the sun from satellites on
1 degree, all some days late. A day is one of local solar time. Units are read from the answer.
Every value is graded ESTIMATED: `windowcast.weather.grid_filled` takes one only where nothing
better is known.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import replace
from typing import Any

import numpy as np

from windowcast.core.phrase import Name, say
from windowcast.core.record import (
    DAILY_VARIABLES,
    DateArray,
    Grade,
    Place,
    Record,
)
from windowcast.core.source_flags import COARSE_GRID, remark
from windowcast.core.time_axis import record_of
from windowcast.core.values import load
from windowcast.sources.fetch import Fetched, Fetcher, Terms
from windowcast.sources.http_answer import Expect, FetchError, base_url
from windowcast.sources.numerals import calendar_dates
from windowcast.sources.origin import fetched_origin, possible_height_m
from windowcast.sources.source import Found, Request

NAME = COARSE_GRID
HOST = "https://power.larc.nasa.gov"
LICENCE = "NASA Langley Research Center POWER project (MERRA-2, CERES), free with acknowledgement"

# variable → name of the service's parameter
PARAMETERS: Mapping[str, str] = {
    "precip_mm": "PRECTOTCORR",
    "rh_mean_pct": "RH2M",
    "wind_mean_m_s": "WS10M",
    "solar_mj_m2": "ALLSKY_SFC_SW_DWN",
}
# unit as the service writes it, in small letters → factor to the unit of the schema
UNITS: Mapping[str, Mapping[str, float]] = {
    "precip_mm": {"mm/day": 1.0, "mm day-1": 1.0, "mm": 1.0},
    "rh_mean_pct": {"%": 1.0},
    "wind_mean_m_s": {"m/s": 1.0},
    "solar_mj_m2": {
        "mj/m^2/day": 1.0,
        "mj/m^2": 1.0,
        "kw-hr/m^2/day": 3.6,
        "kwh/m^2/day": 3.6,
        "w/m^2": 0.0864,
    },
}


class CoarseGridSource:
    """The grid as a `windowcast.sources.source.Source`."""

    name = NAME

    def covers(self, place: Place) -> bool:
        """It is global."""
        return True

    def fetch(self, request: Request, fetcher: Fetcher) -> Found:
        """Daily values at the cell of a place up to yesterday, graded ESTIMATED.

        Years that are over are asked for together and kept for long, the rest once in half a day.

        Raises
        ------
        FetchError
            The grid could not be asked and nothing young enough is kept.
        """
        closed, current = _spans(request.first, request.today)
        spans = [span for span in (closed, current) if span is not None]
        records: list[Record] = []
        failed: list[FetchError] = []
        for (first, last), answer in zip(spans, _asked(spans, request, fetcher), strict=True):
            if isinstance(answer, FetchError):
                failed.append(answer)
            elif answer.found:
                records.append(_read(answer, first, last, request.place))
        if failed and not records:
            raise failed[0]
        text = say("flag.no_coarse_grid", problem=Name(str(failed[0]))) if failed else None
        flags = () if text is None else (remark("grid-unreachable", text),)
        return Found(tuple(r for r in records if r.values), flags)


_Span = tuple[dt.date, dt.date]


def _spans(first: dt.date, today: dt.date) -> tuple[_Span | None, _Span | None]:
    """Years that are over and final, and the days since; None where there are none."""
    table = load("sources").table("coarse_grid")
    settled = today - dt.timedelta(days=int(table.number("settled_days")))
    first = max(first, dt.date(int(table.number("first_year")), 1, 1))
    turn = dt.date(settled.year, 1, 1)
    yesterday = today - dt.timedelta(days=1)
    closed = (first, turn - dt.timedelta(days=1)) if first < turn else None
    begin = max(first, turn)
    return closed, (begin, yesterday) if begin <= yesterday else None


def _asked(spans: list[_Span], request: Request, fetcher: Fetcher) -> list[Fetched | FetchError]:
    """An answer for each span, asked side by side."""
    urls = [_url(request.place, first, last) for first, last in spans]
    recent = len(spans) - 1
    counter = iter(range(1, len(urls) + 1))

    def terms(url: str) -> Terms:
        over = "coarse_grid" if url == urls[recent] else "archive_past"
        within_s = load("sources").number("coarse_grid.patience")
        return Terms.named(
            NAME, over, Expect.JSON, max_bytes=8_000_000, within_s=within_s, problem=days_problem
        )

    def done() -> None:
        request.progress("coarse grid", next(counter), len(urls))

    answers = fetcher.get_all(urls, terms, done)
    if spans and isinstance(error := answers[recent], FetchError):
        answers[recent] = _of_days_before(spans[recent], request.place, fetcher, terms, error)
    return answers


def _of_days_before(
    span: _Span,
    place: Place,
    fetcher: Fetcher,
    terms: Callable[[str], Terms],
    error: FetchError,
) -> Fetched | FetchError:
    """The answer kept from one of the days before, whose address ends earlier; else the error."""
    first, last = span
    offline = replace(fetcher, offline=True)
    for ago in range(1, int(load("sources").number("coarse_grid.kept_days")) + 1):
        earlier = last - dt.timedelta(days=ago)
        url = _url(place, first, earlier)
        if earlier >= first and fetcher.cache.entry(url) is not None:
            with suppress(FetchError):
                return replace(offline.get(url, terms(url)), stale=True, problem=str(error))
    return error


def _url(place: Place, first: dt.date, last: dt.date) -> str:
    """The address of some days at a place, told to a tenth of a degree: a cell is larger."""
    base = base_url("WINDOWCAST_COARSE_GRID_URL", HOST)
    return (
        f"{base}/api/temporal/daily/point?parameters={','.join(PARAMETERS.values())}"
        f"&community=ag&longitude={place.longitude_deg:.1f}&latitude={place.latitude_deg:.1f}"
        f"&start={first:%Y%m%d}&end={last:%Y%m%d}&format=JSON&time-standard=LST"
    )


def days_problem(body: bytes) -> str:
    """What keeps an answer from being used, as a clause; "" when it is understood."""
    try:
        columns = _columns(json.loads(body))
    except (ValueError, TypeError, AttributeError, KeyError, RecursionError, OverflowError):
        return "its answer is not as documented"
    return "" if columns else "its answer holds none of the quantities asked for"


def _columns(raw: Any) -> dict[str, dict[str, float]]:
    """Values by variable and date as written, in the units of the schema, NaN where missing.

    A quantity without a unit, or in one that is not known for it, is left out.

    Raises
    ------
    ValueError, TypeError, AttributeError, KeyError
        The answer is not as documented.
    """
    series, about = raw["properties"]["parameter"], raw["parameters"]
    missing = float(raw["header"].get("fill_value", -999.0))
    found = {}
    for variable, name in PARAMETERS.items():
        unit = str(about.get(name, {}).get("units", "")).strip().lower()
        factor = UNITS[variable].get(unit)
        if factor is None or name not in series:
            continue
        limits = DAILY_VARIABLES[variable]
        values = {}
        for date, value in series[name].items():
            number = np.nan if value is None else float(value)
            known = number not in (missing, -999.0) and (
                limits.low <= number * factor <= limits.high
            )
            values[str(date)] = number * factor if known else np.nan
        found[variable] = values
    _dates([date for values in found.values() for date in values])
    return found


def _dates(written: list[str]) -> DateArray:
    """Dates written as YYYYMMDD, ``datetime64[D]``."""
    if not all(len(text) == 8 and text.isascii() and text.isdigit() for text in written):
        raise ValueError("not a date")
    dates, right = calendar_dates(np.array([int(text) for text in written], dtype=np.int64))
    if not right.all():
        raise ValueError("not a date")
    return dates


def _read(answer: Fetched, first: dt.date, last: dt.date, place: Place) -> Record:
    """The record of the days of a span; what lies outside it is left out."""
    try:
        raw = json.loads(answer.body())
        columns = _columns(raw)
    except (ValueError, TypeError, AttributeError, KeyError, RecursionError, OverflowError):
        raise answer.unfit("its answer is not as documented") from None
    axis = np.arange(np.datetime64(first, "D"), np.datetime64(last, "D") + np.timedelta64(1, "D"))
    values = {}
    for variable, by_date in columns.items():
        at = (_dates(list(by_date)) - axis[0]).astype(np.int64)
        inside = (at >= 0) & (at < len(axis))
        values[variable] = np.full(len(axis), np.nan)
        values[variable][at[inside]] = np.array(list(by_date.values()))[inside]
    known = {name: column for name, column in values.items() if np.isfinite(column).any()}
    about = f"coarse grid (NASA POWER) at {place.latitude_deg:.1f}, {place.longitude_deg:.1f}"
    origin = fetched_origin(
        (answer,), NAME, about, known, axis, licence=LICENCE, elevation_m=_height_m(raw)
    )
    return record_of(place, axis, known, grade=Grade.ESTIMATED, provenance=(origin,))


def _height_m(raw: Mapping[str, Any]) -> float | None:
    """Mean height of the cell [m]; None where the answer does not tell a possible one."""
    try:
        height = float(raw["geometry"]["coordinates"][2])
    except (KeyError, IndexError, TypeError, ValueError):
        return None
    return possible_height_m(height)

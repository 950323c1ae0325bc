"""What the public functions take: a site and its weather, read and checked."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import replace
from os import PathLike, fspath
from typing import TYPE_CHECKING, Any

from windowcast.core import site as sites
from windowcast.core.errors import InputError
from windowcast.core.quantity import parse_date
from windowcast.core.record import Place, Record, Weather
from windowcast.core.site import Site
from windowcast.sources import files
from windowcast.weather.load import RECENT_HOURS_DAYS
from windowcast.weather.load import load_weather as weather_found

if TYPE_CHECKING:
    import pandas as pd

    from windowcast.sources.columns import FileUnits
    from windowcast.sources.source import Progress

    OneWeather = Record | pd.DataFrame | PathLike[str] | str
    WeatherLike = Weather | OneWeather | list[OneWeather] | tuple[OneWeather, ...]

Pathlike = str | PathLike[str]
SiteLike = Site | Mapping[str, Any] | Pathlike
Date = dt.date | str


def load_site(source: SiteLike) -> Site:
    """Read and check a site.

    Parameters
    ----------
    source
        The path of a site file (TOML); the same as a dict; or a `Site`, which is given back.

    Returns
    -------
    Site
        Immutable; `Site.model_copy` changes a part of it.

    Raises
    ------
    InputError
        The file is missing or not TOML, or a key is unknown or out of range; names file, line, key,
        value, what is allowed and what to do.

    Notes
    -----
    ``windowcast init`` writes a site file in which every key is explained.

    Examples
    --------
    >>> import windowcast
    >>> site = windowcast.load_site(
    ...     {"name": "Practice field", "latitude": 33.5, "longitude": -86.8, "elevation_m": 190.0}
    ... )
    >>> site.timezone, str(site.turf.species)
    ('America/Chicago', 'hybrid bermudagrass')
    """
    if isinstance(source, Site):
        return source
    if isinstance(source, Mapping):
        return sites.site_from(dict(source), today=dt.date.today())  # noqa: DTZ011 - a slip, not a clock
    return sites.load_site(source)


def read_weather(
    source: Record | pd.DataFrame | Pathlike,
    *,
    place: Place | None = None,
    units: FileUnits | None = None,
) -> Record:
    """Read weather from a file or a table, without the checks of quality.

    Parameters
    ----------
    source
        The path of a file of any known layout, plain or gzip (``docs/weather_csv.md``), if need be
        followed by ``:units=us`` and the like; or a DataFrame whose index holds dates (daily) or
        times with a zone (hourly) and whose columns are named as in such a file.
    place
        Where the record belongs: replaces what a file says. A DataFrame says nothing, and counts as
        measured there.
    units
        Unit system of the columns of a DataFrame whose name says no unit.

    Returns
    -------
    Record
        Daily or hourly, in SI units, on a complete time axis; missing values are NaN.

    Raises
    ------
    InputError
        It cannot be read without a guess; names file, row, field and remedy.

    References
    ----------
    NOAA NCEI, *GHCN-Daily* ``readme.txt``; NOAA NCEI, *USCRN daily01* ``readme.txt``.

    Examples
    --------
    >>> import pandas as pd
    >>> import windowcast
    >>> days = pd.date_range("2024-10-01", periods=3)
    >>> frame = pd.DataFrame({"tmax_f": [77.0, 86.0, None], "tmin_f": [59.0, 59.0, 50.0]}, days)
    >>> windowcast.read_weather(frame).get("tmax_c").round(1)
    array([25., 30., nan])
    """
    if isinstance(source, Record):
        return source if place is None else files.placed(source, place)
    if isinstance(source, str | PathLike):
        return files.read_weather(source, place=place)
    from windowcast.sources.frames import record_of_frame

    nowhere = Place("DataFrame", float("nan"), float("nan"))
    record = record_of_frame(source, place or nowhere, units=units)
    return record if place is None else files.measured_at(record, place)


def load_weather(
    site: SiteLike,
    weather: WeatherLike | None = None,
    *,
    date: Date | None = None,
    offline: bool = False,
    hours_days: int = RECENT_HOURS_DAYS,
    progress: Progress | None = None,
    deadline_s: float | None = None,
) -> Weather:
    """All the weather an answer rests on: checked, gaps filled, on one axis.

    Parameters
    ----------
    site
        The site; where no weather is given, the files it names are read.
    weather
        What is known, in order of preference. Where it reaches to yesterday, nothing of the past is
        fetched; a forecast is fetched for today only.
    date
        Date of the answer, ``"YYYY-MM-DD"`` or a date; by default today on the site's clock.
    offline
        Use only what is given and what is cached.
    hours_days
        Days before the date for which hours are kept.
    progress
        Called with what is fetched, how much is done and how much there is.
    deadline_s
        Seconds in which all sources must have answered; ``WINDOWCAST_DEADLINE`` or 30 by default.

    Returns
    -------
    Weather
        `daily` and, where there are any, `hourly` values, each with its grade and origin.

    Raises
    ------
    InputError
        Some weather cannot be read, there is no temperature in any of it, or the date is none.
    SourceUnreachableError
        Nothing is given, and no source could be reached.

    Examples
    --------
    >>> import windowcast
    >>> weather = windowcast.sample_weather()
    >>> str(weather.today), float(weather.daily.to_pandas()["tmax_c"].loc["2018-01-17"])
    ('2018-01-18', 1.4)
    """
    site, today = load_site(site), parse_date(date, "date") if isinstance(date, str) else date
    if isinstance(weather, Weather):
        if today not in (None, weather.today):
            raise InputError(
                f"the weather given is of {weather.today}", field="date",
                remedy="leave date out, or give the files themselves",
            )  # fmt: skip
        return weather
    given: list[OneWeather] = []
    if weather is not None:
        given = [*weather] if isinstance(weather, list | tuple) else [weather]
    return weather_found(
        site,
        files=[
            fspath(one) if isinstance(one, str | PathLike) else _at_site(one, site.place)
            for one in given
        ],
        today=today,
        offline=offline,
        hours_days=hours_days,
        progress=progress,
        deadline_s=deadline_s,
    )


def _at_site(weather: Record | pd.DataFrame, place: Place) -> Record:
    """Weather handed over as such, at the site; a DataFrame does not say where it was measured."""
    if isinstance(weather, Record):
        return files.placed(weather, place)
    nowhere = replace(place, latitude_deg=math.nan, longitude_deg=math.nan, elevation_m=None)
    return files.placed(read_weather(weather, place=nowhere), place)

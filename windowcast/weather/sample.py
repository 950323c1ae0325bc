"""The embedded sample: a real daily record up to an invented today, and forecast-like hours.

``sample_weather/ORIGIN.md`` says what is real and what is invented. The folder is found in
an installed wheel and in a source checkout alike.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from functools import cache
from pathlib import Path

from windowcast.core.errors import InputError
from windowcast.core.record import Record, Weather
from windowcast.core.site import Site, load_site
from windowcast.sources.files import read_weather
from windowcast.weather.load import assemble

SAMPLE_TODAY = dt.date(2018, 1, 18)
SAMPLE_FILES = ("daily.csv.gz", "hourly.csv.gz")


def sample_folder() -> Path:
    """Where the sample lies: inside the installed package, or beside it in a checkout.

    Examples
    --------
    >>> import windowcast
    >>> (windowcast.sample_folder() / "site.toml").is_file()
    True
    """
    package = Path(__file__).parents[1]
    for folder in (package / "sample_weather", package.parent / "sample_weather"):
        if (folder / "site.toml").is_file():
            return folder
    raise InputError("the sample is not installed", remedy="install windowcast from its wheel")


@cache
def sample_site() -> Site:
    """The invented site of the sample.

    Examples
    --------
    >>> import windowcast
    >>> windowcast.sample_site().name
    'Quarry Bend Sports Fields'
    """
    return load_site(sample_folder() / "site.toml")


def sample_weather() -> Weather:
    """The sample's weather on `SAMPLE_TODAY`: measured days before, forecast-like hours after.

    Examples
    --------
    >>> import windowcast
    >>> str(windowcast.sample_weather().today)
    '2018-01-18'
    """
    folder, place = sample_folder(), sample_site().place
    parts = [_as_sample(read_weather(folder / name, place=place)) for name in SAMPLE_FILES]
    return assemble(parts, place, SAMPLE_TODAY)


def _as_sample(record: Record) -> Record:
    """The record marked as the sample's, so that no report can pass it off as the user's."""
    marked = tuple(replace(origin, source="sample") for origin in record.provenance)
    return replace(record, provenance=marked)

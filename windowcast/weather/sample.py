"""The embedded sample: a real daily record up to an invented today, and forecast-like hours.

What is real and what is invented stands in ``sample_weather/ORIGIN.md``. The folder is found in
an installed wheel and in a source checkout alike.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from windowcast.errors import InputError
from windowcast.site import Site, load_site
from windowcast.weather.clock import day_starts
from windowcast.weather.files import read_weather
from windowcast.weather.join import as_forecast, hourly_to_daily, overlaid
from windowcast.weather.record import Weather

SAMPLE_TODAY = dt.date(2018, 1, 18)


def sample_folder() -> Path:
    """Where the sample lies: inside the installed package, or beside it in a checkout."""
    package = Path(__file__).parents[1]
    for folder in (package / "sample_weather", package.parent / "sample_weather"):
        if (folder / "site.toml").is_file():
            return folder
    raise InputError("the sample is not installed", remedy="install windowcast from its wheel")


def sample_site() -> Site:
    """The invented site of the sample."""
    return load_site(sample_folder() / "site.toml")


def sample_weather() -> Weather:
    """The sample's weather on `SAMPLE_TODAY`: measured days before, forecast-like hours after."""
    folder = sample_folder()
    place = sample_site().place
    past = read_weather(folder / "daily.csv.gz", place=place)
    hourly = read_weather(folder / "hourly.csv.gz", place=place)
    today = np.datetime64(SAMPLE_TODAY, "D")
    hourly = as_forecast(hourly, day_starts(ZoneInfo(place.timezone), today.reshape(1))[0])
    return Weather(overlaid([past, hourly_to_daily(hourly)]), hourly, SAMPLE_TODAY)

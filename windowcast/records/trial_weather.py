"""The weather in which each site of a trial was sprayed, by that site's own record."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from windowcast.core.errors import WindowcastError
from windowcast.core.record import Weather
from windowcast.core.site import Site
from windowcast.records.hour_weather import HourWeather, hour_weather
from windowcast.trials.trial_file import TrialFile

_UNKNOWN = HourWeather(None, None, None, None, "")


@dataclass(frozen=True, slots=True)
class AppliedHour:
    """One application at one site, on its clock, with the weather of its hour.

    `problem` says why there is no weather: no hour was written down (then it is None), or the
    record could not be read.
    """

    site: str
    timing: str
    at: dt.datetime | dt.date
    weather: HourWeather
    problem: WindowcastError | None = None


def applied_hours(
    trial: TrialFile, folder: Path, load: Callable[[Site, dt.date], Weather]
) -> tuple[AppliedHour, ...]:
    """Every application that was made, in the order of the file.

    Parameters
    ----------
    folder
        Of the trial file: weather files of the sites are taken relative to it.
    load
        Weather of a site with the hours before a date. One that fails costs no other.
    """
    found = []
    for site in trial.site:
        for timing in trial.timing:
            at = timing.applied.get(site.name)
            if at is None:
                continue
            if not isinstance(at, dt.datetime):
                found.append(AppliedHour(site.name, timing.code, at, _UNKNOWN))
                continue
            local = at if at.tzinfo is not None else at.replace(tzinfo=site.zone)
            try:
                weather = load(site.as_site(trial.units, folder), local.date() + dt.timedelta(1))
            except WindowcastError as error:
                found.append(AppliedHour(site.name, timing.code, local, _UNKNOWN, error))
                continue
            found.append(AppliedHour(site.name, timing.code, local, hour_weather(weather, local)))
    return tuple(found)

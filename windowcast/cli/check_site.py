"""The site file that answers would be made from, and how old its weather is."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from windowcast.cli.checked import Checked
from windowcast.cli.serve_options import own_folder
from windowcast.core.errors import InputError, SourceUnreachableError
from windowcast.core.phrase import Listing, Name, Quantity, say
from windowcast.core.record import Weather
from windowcast.core.site import Site, load_site

WHERE = Path("site.toml")  # what `windowcast init` writes
MOST = 5  # files of the own folder that are looked at


@dataclass(frozen=True)
class FoundSite:
    """A site file, with what it says or what is wrong with it."""

    path: Path
    site: Site | None
    problem: InputError | None = None


def found_sites(given: Path | None) -> list[FoundSite]:
    """The file given; else ``site.toml`` here; else those that ``windowcast serve`` would show."""
    path = given or (WHERE if WHERE.is_file() else None)
    if path is not None:
        try:
            return [FoundSite(path, load_site(path))]
        except InputError as error:
            return [FoundSite(path, None, error)]
    from windowcast.web.sites import SiteBook

    known = SiteBook(own_folder()).all()
    found = [FoundSite(one.path, one.site, one.problem) for one in known if one.path is not None]
    return found[:MOST]


def site_findings(sites: Sequence[FoundSite]) -> Iterator[Checked]:
    """Whether each site file can be read, where it is, and the age of its weather."""
    if not sites:
        yield Checked("site", "note", say("doctor.site.none"), say("doctor.site.write_one"))
    for one in sites:
        values = {"file": str(one.path)}
        if one.problem is not None:
            yield Checked("site", "wrong", one.problem, values=values)
        elif one.site is not None:
            yield _site(one.site, values)
            yield _weather(one.site, one.path)


def _site(site: Site, values: dict[str, str]) -> Checked:
    what = say(
        "doctor.site.good",
        name=Name(site.name),
        latitude=Name(f"{site.latitude:.3f}"),
        longitude=Name(f"{site.longitude:.3f}"),
        zone=Name(str(site.zone)),
    )
    place = {"name": site.name, "latitude": site.latitude, "longitude": site.longitude}
    return Checked("site", "ok", what, values={**values, **place})


def _weather(site: Site, path: Path) -> Checked:
    """What an answer would find without asking anybody."""
    from windowcast.weather.load import load_weather

    try:
        weather = load_weather(site, offline=True)
    except SourceUnreachableError:
        fix = say("doctor.weather.fetch", file=Name(str(path)))
        return Checked("weather", "note", say("doctor.weather.none"), fix)
    except InputError as error:
        return Checked("weather", "wrong", error)
    ages = _ages_s(weather)
    values = {"age_s": {source: round(age) for source, age in ages.items()}}
    if not ages:
        return Checked("weather", "ok", say("doctor.weather.own"), values=values)
    each = Listing(
        tuple(say("doctor.weather.age", source=Name(s), age=_age(age)) for s, age in ages.items()),
        "comma",
    )
    return Checked("weather", "ok", say("doctor.weather.kept", ages=each), values=values)


def _ages_s(weather: Weather) -> dict[str, float]:
    """The newest answer of each source that was asked over the network [s]."""
    now = dt.datetime.now(dt.UTC)
    records = [r for r in (weather.daily, weather.hourly) if r is not None]
    ages: dict[str, float] = {}
    for origin in (p for record in records for p in record.provenance):
        if origin.fetched is not None:
            age = (now - origin.fetched).total_seconds()
            ages[origin.source] = min(age, ages.get(origin.source, age))
    return ages


def _age(seconds: float) -> Quantity:
    minutes = max(seconds, 0.0) / 60
    if minutes < 90:
        return Quantity(minutes, "min")
    return Quantity(round(minutes / 60), "h") if minutes < 2880 else Quantity(minutes / 1440, "d")

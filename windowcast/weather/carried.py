"""What a site's answers rest on of what is kept: addresses in the cache, and whose data it is."""

from __future__ import annotations

import datetime as dt
from contextlib import suppress
from pathlib import Path

from windowcast.core.errors import InputError, SourceUnreachableError
from windowcast.core.local_days import local_today
from windowcast.core.record import Provenance, Weather
from windowcast.core.site import Site
from windowcast.sources.bundle import Credit
from windowcast.sources.cache import Cache, Entry
from windowcast.sources.fetch import Fetcher
from windowcast.weather.gather import gather
from windowcast.weather.load import load_weather


class _Noting(Cache):
    """A cache that notes which addresses were looked up."""

    def __init__(self, path: Path) -> None:
        super().__init__(path)
        self.looked_up: dict[str, None] = {}

    def entry(self, url: str) -> Entry | None:
        """As `Cache.entry`."""
        self.looked_up[url] = None
        return super().entry(url)


def rests_on(site: Site, path: Path) -> tuple[list[str], tuple[Credit, ...]]:
    """The addresses that answer for a site, and the credits of what they gave.

    Nobody is asked: the site's weather is put together as ``--offline`` does. Beside what its own
    files leave to be asked today, the whole archive record counts, which is asked once they have
    grown old.

    Parameters
    ----------
    path
        The cache's database.

    Raises
    ------
    InputError
        A file of the site, or the cache, cannot be read.
    SourceUnreachableError
        Nothing that would give the site an answer is kept.
    """
    with _Noting(path) as cache:
        fetcher = Fetcher(cache, offline=True)
        weather = load_weather(site, offline=True, fetcher=fetcher)
        with suppress(InputError, SourceUnreachableError):
            gather(site, today=local_today(site.zone), fetcher=fetcher)
        urls = [url for url in cache.looked_up if "://" in url]
        kept = [url for url in urls if cache.entry(url) is not None]
    return kept, _credits(weather)


def _credits(weather: Weather) -> tuple[Credit, ...]:
    hours = weather.hourly.provenance if weather.hourly is not None else ()
    soil = [origin for near in weather.nearby for origin in near.record.provenance]
    origins = [origin for origin in (*weather.daily.provenance, *hours, *soil) if origin.fetched]
    return tuple(dict.fromkeys(_credit(origin) for origin in origins))


def _credit(origin: Provenance) -> Credit:
    fetched = (
        origin.fetched.astimezone(dt.UTC).isoformat(timespec="seconds") if origin.fetched else ""
    )
    return Credit(source=origin.source, what=origin.detail, licence=origin.licence, fetched=fetched)

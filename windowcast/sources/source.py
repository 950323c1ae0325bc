"""Sources of weather beyond files: what one is asked for, and what it must offer.

A third party adds a source in one file: a class with the members of `Source`, offered through
the entry-point group ``windowcast.sources``; see ``docs/add_a_source.md``.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Protocol, runtime_checkable

from windowcast.core.record import Flag, Place, Record
from windowcast.sources.fetch import Fetcher

# what is fetched, how much of it is done, how much there is
Progress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class Request:
    """What a source is asked for.

    Attributes
    ----------
    first, today
        Local dates: the first day wanted, and the day from which on values lie ahead.
    past
        Whether the daily record is wanted too, or only recent hours and those ahead.
    station
        Id of the only station to use; "" for the source's own choice.
    contact
        E-mail or web address that a service may be given to write to; "" for none.
    """

    place: Place
    first: dt.date
    today: dt.date
    past: bool = True
    station: str = ""
    progress: Progress = field(default=lambda what, done, total: None)
    contact: str = ""


@dataclass(frozen=True)
class Found:
    """Records in order of preference, daily or hourly, at the place asked for; and remarks.

    `nearby` are records of stations that measure soil, each at its own place.
    """

    records: tuple[Record, ...] = ()
    flags: tuple[Flag, ...] = ()
    nearby: tuple[Record, ...] = ()


@runtime_checkable
class Source(Protocol):
    """A source of weather.

    `fetch` gets everything over the network through ``fetcher.get``, which caches, retries and
    honours ``--offline``. It returns an empty `Found` where it has nothing, and lets `FetchError`
    through where it could not be asked.
    """

    name: str

    def covers(self, place: Place) -> bool:
        """Whether it may have something there; it is not asked otherwise."""
        ...

    def fetch(self, request: Request, fetcher: Fetcher) -> Found:
        """Values at the place, each with its grade and provenance."""
        ...

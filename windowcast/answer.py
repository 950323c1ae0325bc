"""The whole way from a site and its weather to an answer: weather → state → windows.

`answer` is what the command line, the web page and the calendar all call; it does no I/O.
"""

from __future__ import annotations

from dataclasses import dataclass

from windowcast.season.model import SiteState
from windowcast.site import Site
from windowcast.weather.record import Members, Weather
from windowcast.windows.model import Ranking


@dataclass(frozen=True)
class Answer:
    """Everything a report may show."""

    site: Site
    weather: Weather
    members: Members
    past: SiteState
    ahead: SiteState
    ranking: Ranking

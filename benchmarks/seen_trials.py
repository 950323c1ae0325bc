"""Published trials by the date of their application: a CSV read and checked."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import dataclass
from os import PathLike
from typing import cast, get_args

from windowcast.core.errors import InputError
from windowcast.materials.efficacy import PLUS, Timing
from windowcast.verify.seen_rows import number_in, place_in, seen_rows

NEEDED = (
    "trial", "paper", "weed", "actives", "timing", "first", "last", "rated", "low_pct", "high_pct",
    "lat", "lon",
)  # fmt: skip
NEXT_YEAR = 7  # months before it lie in the second year of a season
MOST_SPRAYS = 12


@dataclass(frozen=True)
class SeenTrial:
    """One result: a weed, a tank, the days of its application and the day of rating.

    Attributes
    ----------
    first, last, rated
        "MM-DD".
    seasons
        Years of the 1 July before; empty where the source does not say.
    rate_kg_ha
        Active ingredient; NaN where the source does not say.
    sprays
        Two weeks apart.
    low, high
        Control seen, 0..1; infinite for the end that is not known.
    better_than, same_as
        First days of other rows of the same trial, tank and rate, where the source gives words.
    latitude_deg, longitude_deg
        NaN where the source does not say.
    """

    row: int
    trial: str
    paper: str
    weed: str
    actives: tuple[str, ...]
    timing: Timing
    first: str
    last: str
    rated: str
    seasons: tuple[int, ...]
    rate_kg_ha: float
    sprays: int
    low: float
    high: float
    better_than: frozenset[str]
    same_as: frozenset[str]
    latitude_deg: float
    longitude_deg: float
    place: str
    source: str

    @property
    def group(self) -> tuple[str, str, tuple[str, ...], str]:
        """Rows that differ in nothing but dates share it."""
        rate = "" if math.isnan(self.rate_kg_ha) else f"{self.rate_kg_ha:g}"
        return self.trial, self.weed, self.actives, rate

    @property
    def told(self) -> bool:
        """Whether the control seen is a number or a bound."""
        return math.isfinite(self.low) or math.isfinite(self.high)

    @property
    def bound_only(self) -> bool:
        """Whether it is a bound, and neither a mean nor a range."""
        return self.told and not (math.isfinite(self.low) and math.isfinite(self.high))

    def days(self, season: int) -> tuple[dt.date, dt.date]:
        """First and last day of the application in a season."""
        return in_season(self.first, season), in_season(self.last, season)

    def rated_on(self, season: int) -> dt.date:
        """The day of rating, in the year after the season's 1 July."""
        return dt.date.fromisoformat(f"{season + 1}-{self.rated}")


def in_season(month_day: str, season: int) -> dt.date:
    """A day of the year as a date of the season that begins on 1 July of a year."""
    year = season + (int(month_day[:2]) < NEXT_YEAR)
    return dt.date.fromisoformat(f"{year}-{month_day}")


def read_trials(path: str | PathLike[str]) -> list[SeenTrial]:
    """Every row of a CSV of trials by date.

    Raises
    ------
    InputError
        Not such a file, or a row that cannot be read; the first is named.
    """
    return seen_rows(path, NEEDED, _trial)


def _trial(row: int, cells: Mapping[str, str]) -> SeenTrial:
    if cells["timing"] not in get_args(Timing):
        raise InputError("is neither pre nor post", field="timing", remedy="write pre or post")
    low, high = (number_in(cells, name, 0.0, 100.0) for name in ("low_pct", "high_pct"))
    if low > high:
        raise InputError("is below low_pct", field="high_pct", remedy="give the higher one")
    first, last = _day(cells, "first"), _day(cells, "last")
    if in_season(last, 2000) < in_season(first, 2000):
        raise InputError("is before first", field="last", remedy="give the later day")
    sprays = number_in(cells, "sprays", 0.0, MOST_SPRAYS)
    lat, lon = place_in(cells)
    return SeenTrial(
        row=row,
        trial=cells["trial"],
        paper=cells["paper"],
        weed=cells["weed"],
        actives=tuple(sorted(cells["actives"].split(PLUS))),
        timing=cast(Timing, cells["timing"]),
        first=first,
        last=last,
        rated=_day(cells, "rated"),
        seasons=tuple(_year(text) for text in cells.get("seasons", "").split()),
        rate_kg_ha=number_in(cells, "rate_kg_ha", 0.0, 100.0),
        sprays=1 if math.isnan(sprays) else int(sprays),
        low=-math.inf if math.isnan(low) else low / 100,
        high=math.inf if math.isnan(high) else high / 100,
        better_than=frozenset(cells.get("better_than", "").split()),
        same_as=frozenset(cells.get("same_as", "").split()),
        latitude_deg=lat,
        longitude_deg=lon,
        place=cells.get("place", ""),
        source=cells.get("source", ""),
    )


def _day(cells: Mapping[str, str], name: str) -> str:
    try:
        return dt.date.fromisoformat(f"2001-{cells[name]}").strftime("%m-%d")
    except ValueError:
        raise InputError(
            f"{cells[name][:30]!r} is not a day of the year", field=name, remedy="write MM-DD"
        ) from None


def _year(text: str) -> int:
    if not (text.isascii() and text.isdigit() and 1800 <= int(text) <= 2200):
        raise InputError(
            f"{text[:30]!r} is not a year", field="seasons",
            remedy="give the years of the 1 July before, parted by spaces",
        )  # fmt: skip
    return int(text)

"""Dated sightings of turf: a CSV read and checked, and what each says in the model's terms."""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from os import PathLike
from typing import Literal

from windowcast.core.errors import InputError
from windowcast.core.turf import Species
from windowcast.verify.seen_rows import number_in, place_in, seen_rows

NEEDED = ("grass", "event", "date", "lat", "lon")
Kind = Literal["live leaf", "first leaf", "greened up", "browning", "dormant", "looked dormant"]
LIVE: frozenset[Kind] = frozenset({"live leaf", "first leaf", "greened up", "browning"})
DATED: frozenset[Kind] = frozenset({"first leaf", "greened up", "dormant"})
CLOSE_DAYS = 7  # precision of a well-founded date

_USUAL = re.compile(r"^normal (\d{2}-\d{2})$")
_PERCENT = re.compile(r"^(<=|>=|<|>|about |~)?\s*(\d+(?:\.\d+)?)\s*%?$")
_KILL = re.compile(r"after kill|survival|winterkill")
# the first that fits says what was seen; words of green leaf come before those of brown turf
_KINDS: tuple[tuple[str, Kind | None], ...] = (
    (r"stalled|lack of green|no green|not green", None),
    (r"treated dormant|set back to dormancy", "looked dormant"),
    (r"still green|not brown|not yet (fully )?(brown|dormant)|false start", "live leaf"),
    (r"green (leaf tissue|leaves|leaf|stems)(?!, then)|live|delayed green-?up", "live leaf"),
    (r"first green|green-?up (starts|begins)|first signs", "first leaf"),
    (r"(breaking|emerging from|coming out of) dormancy", "first leaf"),
    (r"full(y)? green|complete(ly)? green|full green-?up|green-?up complete", "greened up"),
    (r"(going|beginning to go) off colou?r|losing colou?r|off colou?r", "browning"),
    (r"brown(ing|ed)|partly (green|dormant)", "browning"),
    (r"colou?r drops|straw|dormant|dormancy", "dormant"),
    (r"green|grow|mow|recover|transition|frost on", "live leaf"),
)
_UNIVERSITY = re.compile(r"univ|ext\b|ext\.|extension|state |purdue|abstract|acta|hort|sci", re.I)
_BLOG = re.compile(r"blogspot|forum|course blog|sports-field blog|news|garden column", re.I)


@dataclass(frozen=True)
class Sighting:
    """One row.

    Attributes
    ----------
    date
        None for a usual date over years, which `usual` holds as "MM-DD".
    precision_d
        Days to either side; NaN: not said.
    unusable
        Why it cannot be held against the model, "" where it can.
    """

    row: int
    grass: str
    species: str
    overseeded: bool
    event: str
    kind: Kind | None
    date: dt.date | None
    usual: str
    site: str
    latitude_deg: float
    longitude_deg: float
    source: str
    status: str
    precision_d: float
    unusable: str

    @property
    def well_founded(self) -> bool:
        """Read in a source of a university, society or extension service, to a week or better."""
        known = bool(_UNIVERSITY.search(self.source)) and not _BLOG.search(self.source)
        return known and self.status in {"read", "abstract"} and self.precision_d <= CLOSE_DAYS


def read_sightings(path: str | PathLike[str]) -> list[Sighting]:
    """Every row of a CSV of dated sightings.

    Raises
    ------
    InputError
        Not such a file, or a row whose date, place, percent or precision cannot be read; the
        first is named.
    """
    return seen_rows(path, NEEDED, _sighting)


def _sighting(row: int, cells: Mapping[str, str]) -> Sighting:
    date, usual = _date(cells["date"])
    event = cells["event"]
    percent = _percent(cells.get("percent", ""))
    species, overseeded = _species(cells["grass"], cells.get("cultivar", ""))
    kind = _kind(event, percent)
    lat, lon = place_in(cells)
    if not species:
        unusable = "not a turf species that the program knows"
    elif kind is None:
        unusable = "says nothing certain of the state of the turf"
    elif not usual and _KILL.search(event.lower()) and kind in DATED:
        unusable = "green-up after kill, not out of dormancy"
    elif usual:
        unusable = "a usual date over years, not that of one season"
    elif math.isnan(lat) or math.isnan(lon):
        unusable = "no place"
    else:
        unusable = ""
    return Sighting(
        row, cells["grass"], species, overseeded, event, kind, date, usual, cells.get("site", ""),
        lat, lon, cells.get("source", ""), cells.get("status", ""),
        number_in(cells, "precision_d", 0.0, 400.0), unusable,
    )  # fmt: skip


def _date(text: str) -> tuple[dt.date | None, str]:
    match = _USUAL.match(text)
    try:
        if match is None:
            return dt.date.fromisoformat(text), ""
        dt.date.fromisoformat(f"2000-{match[1]}")
    except ValueError:
        raise InputError(
            f"{text[:30]!r} is not a date", field="date",
            remedy="write YYYY-MM-DD, or normal MM-DD for a usual date",
        ) from None  # fmt: skip
    return None, match[1]


def _percent(text: str) -> float:
    """Green cover 0..1, NaN where it is not said; a sign before it is passed over."""
    match = _PERCENT.match(text)
    if text and (match is None or float(match[2]) > 100):
        raise InputError(
            f"{text[:30]!r} is not a percentage", field="percent",
            remedy="give 0 to 100, or leave it empty",
        )  # fmt: skip
    return float(match[2]) / 100 if match else math.nan


def _species(grass: str, cultivar: str) -> tuple[str, bool]:
    """Species in the site file's words ("" for none), and whether it is overseeded."""
    plain = grass.lower()
    overseeded = "overseed" in plain
    if "zoysia" in plain:
        both = f"{plain} {cultivar.lower()}"
        kinds = [kind for kind in ("japonica", "matrella") if kind in both]
        return (f"{kinds[0]} zoysiagrass" if len(kinds) == 1 else "zoysiagrass"), overseeded
    for species in Species:
        if str(species) in plain:
            return str(species), overseeded
    # sources that say only bermudagrass or warm-season grass mostly mean the hybrids
    general = "bermudagrass" in plain or "warm-season" in plain
    return (str(Species.HYBRID_BERMUDAGRASS) if general else ""), overseeded


def _kind(event: str, percent: float) -> Kind | None:
    plain = event.lower()
    if plain.startswith(("green cover", "green share")) and not math.isnan(percent):
        return "live leaf" if percent > 0 else "looked dormant"
    return next((kind for words, kind in _KINDS if re.search(words, plain)), None)

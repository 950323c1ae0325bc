"""Towns by name, offline: GeoNames' towns of 5,000 people or more (``data/towns.tsv.gz``)."""

from __future__ import annotations

import gzip
import unicodedata
from dataclasses import dataclass
from functools import cache
from importlib import resources

CREDIT = "Places: GeoNames, CC BY 4.0"
SHOWN = 15


@dataclass(frozen=True, slots=True)
class Town:
    """A town of the gazetteer; the country is an ISO 3166 code, the region a state of the US."""

    name: str
    region: str
    country: str
    latitude: float
    longitude: float
    people: int

    @property
    def full_name(self) -> str:
        """``Springfield, MO, US``."""
        return ", ".join(part for part in (self.name, self.region, self.country) if part)


def search(words: str) -> list[Town]:
    """Towns whose name begins with or holds the words, the largest first.

    Country or state, by its code, narrows the search after a comma: ``Springfield, MO``.

    Examples
    --------
    >>> [town.full_name for town in search("Évora")]
    ['Évora, PT']
    """
    return _found(words)[:SHOWN]


def named(words: str) -> list[Town]:
    """Every town that is called just so, the largest first; narrowed as in `search`."""
    name = folded(words).partition(",")[0].strip()
    return [town for town in _found(words) if folded(town.name) == name]


def _found(words: str) -> list[Town]:
    name, *where = (part.strip() for part in folded(words).split(","))
    if len(name) < 2:
        return []
    asked = {part for part in where if part}
    found = [
        (not key.startswith(name), -town.people, town)
        for key, town in _towns()
        if name in key and asked <= {town.country.casefold(), town.region.casefold()}
    ]
    return [town for *_, town in sorted(found, key=lambda item: item[:2])]


def folded(text: str) -> str:
    """Lower case without accents."""
    plain = unicodedata.normalize("NFKD", text.casefold())
    return "".join(letter for letter in plain if not unicodedata.combining(letter))


@cache
def _towns() -> tuple[tuple[str, Town], ...]:
    """Every town with its folded name."""
    packed = resources.files("windowcast.data").joinpath("towns.tsv.gz").read_bytes()
    rows = (line.split("\t") for line in gzip.decompress(packed).decode().splitlines())
    return tuple(
        (folded(name), Town(name, region, country, float(lat), float(lon), int(people)))
        for name, region, country, lat, lon, people in rows
    )

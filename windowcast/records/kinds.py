"""The kinds of entries a season log holds, by the short names people use, with their titles."""

from __future__ import annotations

from collections.abc import Mapping

TITLES: Mapping[str, str] = {
    "application": "Application",
    "probe": "Soil probe reading",
    "count": "Scouting count",
    "rating": "Rating",
    "cover": "Green cover",
    "note": "Field note",
    "resistance": "Resistance test",
}
KINDS = tuple(TITLES)

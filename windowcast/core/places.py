"""Places as people note them: "greens", "greens, tees", "Field 2 and 3", or nothing."""

from __future__ import annotations

import re
from collections.abc import Collection
from typing import Literal

Reach = Literal["whole", "part", "unclear", "elsewhere"]
_APART = re.compile(r"[,;&+]| and ")


def places_in(where: str) -> frozenset[str]:
    """The places that a note names, by itself and in its parts, whatever case and blanks.

    Examples
    --------
    >>> sorted(places_in("Greens,  Tee boxes"))
    ['greens', 'greens, tee boxes', 'tee boxes']
    """
    text = _plain(where)
    return frozenset({text, *(part.strip() for part in _APART.split(text))} - {""})


def parts_of(where: str) -> tuple[str, ...]:
    """The parts of a note of places, as written and in order: ``("greens", "tees")``."""
    return tuple(part for part in map(str.strip, _APART.split(where)) if part)


def _plain(text: str) -> str:
    return " ".join(text.casefold().split())


def same_place(one: str, other: str) -> bool:
    """Whether two places as noted may be one: a name in common, or one of them not noted.

    Examples
    --------
    >>> same_place("Greens, tees", "tees"), same_place("", "tees"), same_place("tee 1", "tee 2")
    (True, True, False)
    """
    here, there = places_in(one), places_in(other)
    return not here or not there or bool(here & there)


def reach(where: str, area: str, areas: Collection[str]) -> Reach:
    """What a note of a place says of one area of a site.

    Parameters
    ----------
    where
        As noted; "" for the whole site.
    area
        Name of the area; "" where the site names none.
    areas
        Names of all its areas.

    Returns
    -------
    str
        ``"whole"``: all of the area. ``"part"``: a part of a site without areas. ``"unclear"``: it
        names something that is none of the areas, so that it may be this one. ``"elsewhere"``:
        other areas only.

    Examples
    --------
    >>> reach("greens", "greens", ["greens", "tees"]), reach("tees", "greens", ["greens", "tees"])
    ('whole', 'elsewhere')
    >>> reach("hole 3", "greens", ["greens", "tees"]), reach("hole 3", "", [])
    ('unclear', 'part')
    """
    noted = places_in(where)
    if not noted:
        return "whole"
    if not area:
        return "part"
    if _plain(area) in noted:
        return "whole"
    known, text = set(map(_plain, areas)), _plain(where)
    named = {text} if text in known else (noted - {text} or noted)
    return "elsewhere" if named <= known else "unclear"

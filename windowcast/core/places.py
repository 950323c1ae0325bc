"""Places as people note them: "greens", "greens, tees", "Field 2 and 3", or nothing."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator
from typing import Literal

Reach = Literal["whole", "part", "unclear", "elsewhere"]
_APART = re.compile(r"[,;&+/]| and ", re.IGNORECASE)
_NUMBERED = re.compile(r"(.*?)\b(\d{1,4})\s*(?:-|–|to)\s*(\d{1,4})", re.IGNORECASE)  # "fields 1-4"
_MOST = 99  # places that one such list names
_ALL = re.compile(r"(?:(?:all|the|whole|entire|of) )+")
_EVERYWHERE = frozenset(
    {"", "all", "everywhere", "area", "complex", "course", "facility", "ground", "property", "site"}
)


def places_in(where: str) -> frozenset[str]:
    """The places that a note names, by itself and in its parts, whatever case and blanks.

    A number alone belongs to the name before it.

    Examples
    --------
    >>> sorted(places_in("Greens,  Tee boxes"))
    ['greens', 'greens, tee boxes', 'tee boxes']
    >>> sorted(places_in("Field 2 and 3"))
    ['field 2', 'field 2 and 3', 'field 3']
    """
    text = plain_name(where)
    return frozenset({text, *_parts(text)} - {""})


def _parts(text: str) -> Iterator[str]:
    head = ""
    for part in map(str.strip, _APART.split(text)):
        full = f"{head} {part}".strip() if part[:1].isdigit() else part
        if not part[:1].isdigit():
            head = re.sub(r"[\d\s–-]+$", "", part)
        span = _NUMBERED.fullmatch(full)
        if span and 0 <= (last := int(span[3])) - (first := int(span[2])) < _MOST:
            yield from (f"{span[1]}{number}" for number in range(first, last + 1))
        else:
            yield full


def parts_of(where: str) -> tuple[str, ...]:
    """The parts of a note of places, as written and in order: ``("greens", "tees")``."""
    return tuple(part for part in _parts(" ".join(where.split())) if part)


def plain_name(text: str) -> str:
    """A name without what people write now one way, now another: capitals and spaces."""
    return " ".join(text.casefold().split())


def _key(place: str) -> str:
    """A place without articles and plurals: "All greens" and "green" are one."""
    words = _ALL.sub("", f"{plain_name(place)} ", count=1).split()
    return " ".join(w.removesuffix("s") if not w.endswith("ss") else w for w in words)


def same_place(one: str, other: str) -> bool:
    """Whether two places as noted may be one: a name in common, or one of them not noted.

    Examples
    --------
    >>> same_place("Greens, tees", "tees"), same_place("", "tees"), same_place("tee 1", "tee 2")
    (True, True, False)
    """
    here, there = places_in(one), places_in(other)
    return not here or not there or bool(here & there)


def reach(where: str, area: str, areas: Collection[str], site: str = "") -> Reach:
    """What a note of a place says of one area of a site.

    Parameters
    ----------
    where
        As noted; "" for the whole site.
    area
        Name of the area; "" where the site names none.
    areas
        Names of all its areas.
    site
        Name of the site: its own name is all of it.

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
    >>> reach("All greens", "greens", ["greens"]), reach("fields 1-3", "field 2", ["field 2"])
    ('whole', 'whole')
    >>> reach("whole site", "tees", ["tees"]), reach("Elm Park", "", [], "Elm Park")
    ('whole', 'whole')
    """
    keys = {_key(name) for name in areas}
    key = _key if len(keys) == len(areas) else plain_name  # "tee" and "tees" may be two areas
    known, text = {key(name) for name in areas}, key(where)
    noted = {text} if text in known else set(map(key, places_in(where)))
    if area and key(area) in noted:
        return "whole"
    if text not in known and (_key(where) in _EVERYWHERE or plain_name(where) == plain_name(site)):
        return "whole"
    if not area:
        return "part"
    named = noted if len(noted) == 1 else (noted - {text} or noted)
    return "elsewhere" if named <= known else "unclear"

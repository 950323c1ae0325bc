"""The pieces of ground that an answer is given for: areas that differ in nothing are one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from difflib import get_close_matches
from typing import TYPE_CHECKING

from windowcast.core.errors import InputError
from windowcast.core.places import parts_of, plain_name
from windowcast.core.site import Site
from windowcast.core.turf import Area

if TYPE_CHECKING:
    from windowcast.records.observations import Logged


@dataclass(frozen=True)
class Piece:
    """Ground that one answer is about.

    Attributes
    ----------
    areas
        Names of its areas; none where the site file names none.
    site
        The site as it is there.
    logged
        What the season log says of it; None without a log.
    size_m2
        All its areas together; None where one has no size.
    """

    areas: tuple[str, ...]
    site: Site
    logged: Logged | None
    size_m2: float | None = None


def pieces(site: Site, logged: Logged | None, area: str = "") -> tuple[Piece, ...]:
    """The ground of a site in as many pieces as differ in turf, surroundings or what was done.

    Parameters
    ----------
    area
        Only this one, by its name in the site file; "" for all.

    Raises
    ------
    InputError
        The site file names no such area.
    """
    if not site.area:
        if area:
            raise InputError(
                f"{area!r} is not an area of this site, which names none", field="area",
                remedy="name it in the site file under [[area]], or leave it out",
            )  # fmt: skip
        return (Piece((), site, logged and logged.of_area("", (), site.name)),)
    names = [one.name for one in site.area]
    found: list[Piece] = []
    for one in [_named(site, area, "area")] if area else site.area:
        here = None
        if logged is not None:
            like = tuple(_like(site, one))
            here = logged.of_area(one.name, names, site.name, alike=like)
        own = Piece((one.name,), site.of_area(one), here, one.size_m2)
        alike = next((n for n, piece in enumerate(found) if _alike(piece, own)), None)
        if alike is None:
            found.append(own)
            continue
        first = found[alike]
        sizes = first.size_m2, own.size_m2
        total = None if None in sizes else sum(size for size in sizes if size is not None)
        found[alike] = replace(first, areas=(*first.areas, one.name), size_m2=total)
    return tuple(found)


def _like(site: Site, area: Area) -> Iterator[str]:
    """The other areas whose green leaf tells of this one's: its species, bare of winter grass."""
    for other in site.area:
        turf = other.turf(site.turf)
        sown = turf.overseeded or (turf.overseed is not None and turf.overseed.state != "none")
        same = turf.species == area.turf(site.turf).species
        if other.name != area.name and same and not sown and not turf.covered:
            yield other.name


def areas_named(site: Site, where: str) -> tuple[Area, ...]:
    """The areas that a place such as ``"greens, tees"`` names; none where the site has none.

    Raises
    ------
    InputError
        The site has areas, and the place is missing or names something else.
    """
    if not site.area:
        return ()
    if not where.strip():
        raise InputError(
            "is missing: the site has several areas", field="where",
            remedy=f"name one or more of {', '.join(one.name for one in site.area)}",
        )  # fmt: skip
    if plain_name(where) in {one.name.casefold() for one in site.area}:
        return (_named(site, where, "where"),)
    found = (_named(site, part, "where") for part in parts_of(where))
    return tuple({one.name: one for one in found}.values())


def _named(site: Site, name: str, field: str) -> Area:
    """An area by its name, whatever capitals and blanks."""
    known = {one.name.casefold(): one for one in site.area}
    plain = plain_name(name)
    if plain not in known:
        near = get_close_matches(plain, known)
        raise InputError(
            f"{name!r} is not an area of this site" + (f" (close: {near[0]})" if near else ""),
            field=field, remedy=f"use one of {', '.join(one.name for one in site.area)}",
        )  # fmt: skip
    return known[plain]


def _alike(one: Piece, other: Piece) -> bool:
    """Whether two pieces would get the same answer."""
    mine, theirs = one.site, other.site
    return (
        mine.turf == theirs.turf
        and mine.turf.model_fields_set == theirs.turf.model_fields_set
        and mine.sensitive == theirs.sensitive
        and mine.resistance == theirs.resistance
        and one.logged == other.logged
    )

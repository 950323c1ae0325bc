"""Regions that somebody draws: boxes, polygons of GeoJSON, bands of height, or names in a list.

Which region a station belongs to is asked once it is computed, by its place. So drawing other
regions computes no station anew. A station in two regions is refused: its weather would count on
both sides of their difference. One in none stays in the tables and counts for no region.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from os import PathLike, fspath
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from windowcast.core.errors import InputError
from windowcast.core.record import FloatArray
from windowcast.core.units import M_PER_FOOT
from windowcast.region.names import Spellings, refuse_many, shown_name
from windowcast.region.stations import Box, box_of
from windowcast.sources.textfile import read_text_bytes, split_options, text_of

Mask = npt.NDArray[np.bool_]
Polygon = tuple[FloatArray, ...]
"""Outer ring and holes, each ``[position, 2]``: longitude and latitude in degrees."""

NAMED = 5  # stations named in a note; of more it says how many
_BLOCK = 1_000_000  # points times edges compared at once
_NAMED_BOX = re.compile(r"\s*(?P<name>[^=]+?)\s*=\s*(?P<box>-?[\d.]+(?:\s*,\s*-?[\d.]+){3})\s*$")
_DEGREES = "give longitude and latitude in degrees (RFC 7946)"


@dataclass(frozen=True)
class DrawnArea:
    """A region with an outline: a box of degrees or polygons."""

    name: str
    box: Box | None = None
    polygons: tuple[Polygon, ...] = ()

    def holds(self, longitude_deg: FloatArray, latitude_deg: FloatArray) -> Mask:
        """Which places lie inside, ``[place]``; none of unknown place.

        South and west edges belong to a box, north and east edges to the next one. Likewise a place
        on the common edge of two polygons lies in exactly one of them.
        """
        if self.box is not None:
            return _in_box(self.box, longitude_deg, latitude_deg)
        inside = np.zeros(longitude_deg.shape, bool)
        for turn in (-360.0, 0.0, 360.0):  # outlines may run on beyond 180°
            for polygon in self.polygons:
                inside |= in_polygon(polygon, longitude_deg + turn, latitude_deg)
        return inside

    def geometry(self) -> dict[str, Any]:
        """As a GeoJSON MultiPolygon (RFC 7946): outer rings run against the clock, holes with it.

        A box across the date line is cut there.
        """
        polygons = self.polygons
        if self.box is not None:
            south, west, north, east = self.box
            halves = [(west, east)] if west < east else [(west, 180.0), (-180.0, east)]
            polygons = tuple(
                (np.array([(a, south), (b, south), (b, north), (a, north), (a, south)]),)
                for a, b in halves
            )
        rings = [
            [(ring if _area(ring) > 0 else ring[::-1]).tolist() for ring in polygon[:1]]
            + [(ring if _area(ring) < 0 else ring[::-1]).tolist() for ring in polygon[1:]]
            for polygon in polygons
        ]
        return {"type": "MultiPolygon", "coordinates": rings}


@dataclass(frozen=True)
class Heights:
    """Heights between bands, rising, as people gave them.

    Attributes
    ----------
    edges_m
        [m].
    in_feet
        Whether they were given in feet; bands are named so.
    """

    edges_m: tuple[float, ...]
    in_feet: bool = False

    def bands(self) -> list[str]:
        """What the bands are called, the lowest first."""
        unit = "ft" if self.in_feet else "m"
        edges = [f"{h / M_PER_FOOT if self.in_feet else h:.10g}" for h in self.edges_m]
        between = [f"{low} to {high} {unit}" for low, high in pairwise(edges)]
        return [f"below {edges[0]} {unit}", *between, f"{edges[-1]} {unit} and higher"]


@dataclass(frozen=True)
class Drawing:
    """How stations are put into regions, in one of three ways; none of them: all without.

    Attributes
    ----------
    listed
        Station id → region.
    areas
        Regions with an outline.
    heights
        Heights between bands, rising; the lowest and the highest band are open.
    """

    listed: Mapping[str, str] = field(default_factory=dict)
    areas: tuple[DrawnArea, ...] = ()
    heights: Heights | None = None

    def regions(
        self,
        stations: Sequence[str],
        latitude_deg: FloatArray,
        longitude_deg: FloatArray,
        elevation_m: FloatArray,
    ) -> list[str]:
        """Region of each station, "" for none.

        Raises
        ------
        InputError
            A station lies in two areas.
        """
        if self.areas:
            return self._of_areas(stations, longitude_deg, latitude_deg)
        if self.heights is not None:
            names = self.heights.bands()
            band = np.searchsorted(self.heights.edges_m, elevation_m, side="right").tolist()
            known = np.isfinite(elevation_m).tolist()
            return [names[b] if k else "" for b, k in zip(band, known, strict=True)]
        return [self.listed.get(station, "") for station in stations]

    def _of_areas(
        self, stations: Sequence[str], longitude_deg: FloatArray, latitude_deg: FloatArray
    ) -> list[str]:
        found = np.full(len(stations), -1)
        for number, area in enumerate(self.areas):
            inside = area.holds(longitude_deg, latitude_deg)
            twice = np.flatnonzero(inside & (found >= 0))
            if len(twice):
                first = self.areas[found[twice[0]]].name
                raise InputError(
                    f"station {stations[twice[0]]} lies in both {first} and {area.name}",
                    remedy="draw regions that do not overlap",
                )
            found[inside] = number
        return [self.areas[n].name if n >= 0 else "" for n in found.tolist()]

    def notes(self, stations: Sequence[str], regions: Sequence[str]) -> tuple[str, ...]:
        """Which areas hold no station, and which stations are in no region."""
        some = set(regions)
        empty = [area.name for area in self.areas if area.name not in some]
        outside = [s for s, region in zip(stations, regions, strict=True) if not region]
        found = []
        if empty:
            found.append(f"no station lies in {', '.join(empty)}")
        if outside and (self.areas or self.heights or some - {""}):
            named = ", ".join(outside[:NAMED]) + (", …" if len(outside) > NAMED else "")
            found.append(
                f"in no region, and in the tables only: {len(outside)} of {len(stations)} "
                f"stations ({named})"
            )
        return tuple(found)


def heights_of(text: str) -> Heights:
    """``"0,300,900"`` or ``"1000,3000ft"`` as heights between bands.

    Raises
    ------
    InputError
        Not numbers, or they do not rise.
    """
    match = re.fullmatch(r"\s*(?P<numbers>[-+\d.,\s]+?)\s*(?P<unit>m|ft)?\s*", text)
    try:
        numbers = [float(part) for part in match["numbers"].split(",")] if match else []
    except ValueError:
        numbers = []
    if match is None or not numbers or any(a >= b for a, b in pairwise(numbers)):
        raise InputError(
            f"{text!r} is not a row of rising heights", field="--region-heights",
            remedy="write 300,900 for metres or 1000,3000ft",
        )  # fmt: skip
    feet = match["unit"] == "ft"
    return Heights(tuple(h * M_PER_FOOT if feet else h for h in numbers), feet)


RegionsGiven = Mapping[str, Box] | Sequence[str | PathLike[str]]
"""Boxes by name; or ``"NAME=SOUTH,WEST,NORTH,EAST"`` and GeoJSON files."""


def areas_of(given: RegionsGiven) -> tuple[DrawnArea, ...]:
    """The areas that somebody names, one for each name.

    A file may be followed by the property that names its features: ``zones.geojson:name=ZONE``.

    Raises
    ------
    InputError
        Not a box or a GeoJSON file, features without a name or a polygon, a name that cannot be
        shown or is used twice, or more regions than can be compared.
    """
    if isinstance(given, Mapping):
        given = [f"{name}={','.join(map(str, box))}" for name, box in given.items()]
    found: dict[str, DrawnArea] = {}
    spellings = Spellings()
    for text in (fspath(each) for each in given):
        named = _NAMED_BOX.match(text)
        box = box_of(named["box"]) if named else None
        if named and box:
            made = [DrawnArea(shown_name(named["name"], field="--region"), box)]
        else:
            made = _of_file(text)
        for area in made:
            spellings.check(area.name, field="--region")
            if area.name in found:
                raise InputError(f"region {area.name} is drawn twice", remedy="name each once")
            found[area.name] = area
    refuse_many(found, field="--region")
    return tuple(found.values())


def _of_file(text: str) -> list[DrawnArea]:
    """Areas of a GeoJSON file; features of one name are one area."""
    path, options = split_options(text, {"name": ()})
    if not Path(path).exists() and "=" in text:
        raise InputError(
            f"{text!r} is no region", field="--region",
            remedy='write "NAME=SOUTH,WEST,NORTH,EAST" in degrees, or name a GeoJSON file',
        )  # fmt: skip
    try:
        whole = json.loads(text_of(read_text_bytes(path), path))
    except json.JSONDecodeError as error:
        raise InputError(
            f"is not JSON ({error.msg})", path=path, row=error.lineno, remedy="give a GeoJSON file"
        ) from None
    except (ValueError, RecursionError):  # numbers of thousands of digits, lists in lists
        raise InputError(
            "has a number too long or lists too deep", path=path, remedy="give a GeoJSON file"
        ) from None
    kind = whole.get("type") if isinstance(whole, dict) else None
    features = whole.get("features") if kind == "FeatureCollection" else [whole]
    if kind not in ("FeatureCollection", "Feature") or not isinstance(features, list):
        raise InputError(
            "is no GeoJSON of features", path=path, field="type", remedy="give a FeatureCollection"
        )
    _refuse_projected(whole, path)
    areas: dict[str, list[Polygon]] = {}
    for number, feature in enumerate(features, start=1):
        name = _name_of(feature, number, path, options.get("name"))
        areas.setdefault(name, []).extend(_polygons_of(feature, f"feature {number} ({name})", path))
    if not areas:
        raise InputError("holds no feature", path=path, field="features", remedy="draw a polygon")
    return [DrawnArea(name, polygons=tuple(polygons)) for name, polygons in areas.items()]


def _refuse_projected(whole: Mapping[str, Any], path: str) -> None:
    """A file of before RFC 7946 may name another system of coordinates than degrees."""
    crs = whole.get("crs")
    if crs is not None and not re.search(r"CRS84|\b4326\b", json.dumps(crs)):
        raise InputError(
            "its coordinates are not degrees", path=path, field="crs",
            remedy="save it in WGS 84 (EPSG:4326)",
        )  # fmt: skip


def _name_of(feature: Any, number: int, path: str, wanted: str | None) -> str:
    properties = feature.get("properties") if isinstance(feature, dict) else None
    properties = properties if isinstance(properties, dict) else {}
    found = (v for k, v in properties.items() if (k == wanted if wanted else k.lower() == "name"))
    given = next((str(v) for v in found if v is not None), "")
    name = shown_name(given, field=f"feature {number}", path=path)
    if not name:
        others = ", ".join(list(properties)[:8]) or "none"
        raise InputError(
            f"feature {number} has no {wanted or 'name'} (its properties: {others})", path=path,
            field="properties", remedy="name it, or say which property does: FILE:name=PROPERTY",
        )  # fmt: skip
    return name


def _polygons_of(feature: Mapping[str, Any], said: str, path: str) -> Iterator[Polygon]:
    geometry = feature.get("geometry")
    geometry = geometry if isinstance(geometry, dict) else {}
    kind, coordinates = geometry.get("type"), geometry.get("coordinates")
    if kind not in ("Polygon", "MultiPolygon") or not isinstance(coordinates, list):
        raise InputError(
            f"{said} is a {kind or 'feature without geometry'}", path=path, field="geometry",
            remedy="draw it as Polygon or MultiPolygon",
        )  # fmt: skip
    for rings in [coordinates] if kind == "Polygon" else coordinates:
        if not isinstance(rings, list) or not rings:
            raise InputError(f"{said} has no ring", path=path, field="coordinates", remedy=_DEGREES)
        yield tuple(_ring(ring, said, path) for ring in rings)


def _ring(given: Any, said: str, path: str) -> FloatArray:
    def refused(problem: str, remedy: str = _DEGREES) -> InputError:
        return InputError(f"{said} {problem}", path=path, field="coordinates", remedy=remedy)

    try:
        ring = np.array([position[:2] for position in given], dtype=np.float64)
    except (TypeError, ValueError, KeyError, OverflowError):
        raise refused("has a position that is not two numbers") from None
    if ring.ndim != 2 or ring.shape[1] != 2 or not np.isfinite(ring).all():
        raise refused("has a position that is not two numbers")
    if len(ring) < 4 or (ring[0] != ring[-1]).any():
        raise refused("has an open ring", "end each ring with its first position")
    longitude, latitude = ring.T
    if (np.abs(latitude) > 90).any() or (np.abs(longitude) > 360).any():
        raise refused(f"has a position beyond the globe ({longitude[0]:g}, {latitude[0]:g})")
    step = np.abs(np.diff(longitude))
    if ((step > 180) & (step != 360)).any():
        raise refused("jumps across the date line", "cut it there (RFC 7946, 3.1.9)")
    return ring


def _area(ring: FloatArray) -> float:
    """In square degrees, above zero where it runs against the clock."""
    x, y = ring.T
    return float((x[:-1] * y[1:] - x[1:] * y[:-1]).sum() / 2)


def _in_box(box: Box, longitude_deg: FloatArray, latitude_deg: FloatArray) -> Mask:
    south, west, north, east = box
    wide = (east - west) % 360 or 360.0
    below = (latitude_deg < north) | (north == 90.0)
    return (latitude_deg >= south) & below & ((longitude_deg - west) % 360 < wide)


def in_polygon(polygon: Polygon, x: FloatArray, y: FloatArray) -> Mask:
    """Which points lie in a polygon, by counting edges that a ray to the east crosses, ``[point]``.

    Straight edges in longitude and latitude, holes left out (even-odd rule: Shimrat 1962,
    Communications of the ACM 5:434; from memory). A point on an edge lies in the polygon to the
    east of it, or north of a level edge: of polygons that share it in exactly one.
    """
    odd = np.zeros(x.shape, bool)
    outer = polygon[0]
    near = (y >= outer[:, 1].min()) & (y <= outer[:, 1].max())
    near &= (x >= outer[:, 0].min()) & (x <= outer[:, 0].max())
    rows = np.flatnonzero(near)
    for ring in polygon:
        for some in np.array_split(rows, math.ceil(len(rows) * len(ring) / _BLOCK) or 1):
            odd[some] ^= _crossings(ring, x[some, None], y[some, None]) % 2 == 1
    return odd


def _crossings(ring: FloatArray, x: FloatArray, y: FloatArray) -> npt.NDArray[np.int64]:
    """How many edges of a ring lie to the east of points ``[point, 1]``."""
    x0, y0 = ring[:-1].T
    x1, y1 = ring[1:].T
    # the lower end first, so that an edge gives the same in the polygons on both sides of it
    up = y0 <= y1
    lx, ly, hx, hy = (np.where(up, *ends) for ends in ((x0, x1), (y0, y1), (x1, x0), (y1, y0)))
    level = (ly <= y) & (y < hy)
    # where the edge is, times its rise: without a division it is exact for level edges too
    east = (x - lx) * (hy - ly) < (y - ly) * (hx - lx)
    return np.asarray((level & east).sum(axis=-1))

"""The stations of a comparison on a map without tiles, by region or by a date."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from html import escape
from importlib import resources
from itertools import chain

import numpy as np

from windowcast.core.record import FloatArray
from windowcast.region.compare import Compared
from windowcast.report.catalogue import Voice
from windowcast.report.chartkit import (
    WIDTH,
    Scale,
    drawing,
    el,
    label,
    line_path,
    px,
    runs,
    short,
    stacked,
    ticks,
)
from windowcast.report.region_charts import MAX_LISTED, Indices, beside, listing_note
from windowcast.report.region_words import quantities_said, quantity_named, quantity_said

CLASSES = 5
SPOT = 9.0  # of a map, in its units: about a dot's width
_MARGIN_DEG = 2.0
_LEGEND = 34.0
_GUTTER, _DEGREES, _LEGEND_ROW = 36.0, 20.0, 18.0  # left of the map, below it, a row of its legend
# marks of regions around a point, about as large as each other
_SHAPES = (
    "M{x} {y}m-4.5 0a4.5 4.5 0 1 0 9 0a4.5 4.5 0 1 0-9 0",
    "M{x} {y}m-4-4h8v8h-8Z",
    "M{x} {y}m0-5.5l5.2 9.5h-10.4Z",
    "M{x} {y}m0-5.6l5.6 5.6l-5.6 5.6l-5.6-5.6Z",
    "M{x} {y}m0 5.5l5.2-9.5h-10.4Z",
    "M{x} {y}m-1.8-5.4h3.6v3.6h3.6v3.6h-3.6v3.6h-3.6v-3.6h-3.6v-3.6h3.6Z",
)


@dataclass(frozen=True)
class Placed:
    """A region on the map: what it is called, which colour it has, its stations' numbers."""

    name: str
    number: int
    stations: Sequence[int]


@dataclass(frozen=True)
class MapChart:
    """A map of several layers, one seen at a time, with the id and the name of each."""

    title: str
    svg: str
    choices: tuple[tuple[str, str], ...]


@cache
def outlines() -> tuple[FloatArray, ...]:
    """Coastlines and borders as ``[point, 2]`` of longitude and latitude, see data/outlines.md.

    Lines are broken where they cross the date line.
    """
    text = resources.files("windowcast.data").joinpath("outlines.json").read_text("utf-8")
    lines = [line for group in json.loads(text).values() for line in group]
    points = [np.array(line, dtype=np.float64).reshape(-1, 2) for line in lines]
    jumps = [np.flatnonzero(np.abs(np.diff(line[:, 0])) > 180) + 1 for line in points]
    return tuple(chain.from_iterable(map(np.split, points, jumps)))


def map_chart(
    data: Compared,
    quantities: Sequence[str],
    links: Mapping[int, str],
    places: Sequence[Placed],
    voice: Voice,
) -> MapChart:
    """The stations on a map, in a layer for their regions and one for each quantity.

    Dots of a quantity are of five classes that differ by size and shade, those of regions differ by
    colour and shape. Where stations are too many to tell apart, those of one spot are drawn as the
    middle one of them.

    Parameters
    ----------
    links
        Where a station's own page is, by its number.
    places
        The regions, if there are several.
    """
    x, y, height = _projection(data.latitude_deg, _unwrapped(data.longitude_deg))
    dots = _Dots(data, x, y, links, voice)
    foot = height + _DEGREES
    layers, choices = [], []
    if places:
        legend = _places_legend(places, foot)
        layers.append(el("g", *_places_drawn(dots, places), *legend, class_="layer"))
        choices.append(("region", voice.say("region.region")))
    for quantity in quantities:
        layers.append(_quantity_layer(dots, quantity, foot))
        choices.append((quantity, voice.text(quantity_named(quantity))))
    tall = max(_LEGEND + beside(data), _LEGEND_ROW * math.ceil(len(places) / 2) + 6)
    title = voice.say("region.map")
    # in a drawing of its own, which cuts lines off where the map ends and the legend begins
    ground = el("path", d=_lines(x, y), class_="coast", fill="none")
    lines, degrees = _graticule(x, y)
    whole = el("svg", ground, *lines, x=_GUTTER, width=WIDTH - _GUTTER, height=height)
    parts = whole, *degrees, *layers
    svg = drawing("map", title, listing_note(data, voice), foot + tall, *parts)
    return MapChart(title, svg, tuple(choices))


@dataclass(frozen=True)
class _Dots:
    """Where stations lie on the map, and what leads to them."""

    data: Compared
    x: Scale
    y: Scale
    links: Mapping[int, str]
    voice: Voice

    @property
    def across(self) -> FloatArray:
        """``[station]``."""
        return _GUTTER + _on(self.x, _unwrapped(self.data.longitude_deg))

    @property
    def down(self) -> FloatArray:
        """``[station]``."""
        return _on(self.y, self.data.latitude_deg)

    def spots(self, known: Indices, values: FloatArray) -> Iterator[tuple[int, float, float, str]]:
        """Number, place and name of each station to draw, from north to south."""
        across, down = self.across, self.down
        drawn, around = _drawn(known, values, across, down)
        order = np.argsort(self.data.latitude_deg[drawn])[::-1]
        names = self.data.texts("name", drawn[order].tolist())
        for i, name, others in zip(drawn[order].tolist(), names, around[order], strict=True):
            who = self.voice.say("region.around", station=name, others=int(others))
            yield i, float(across[i]), float(down[i]), who if others else name

    def linked(self, i: int, dot: str) -> str:
        """A dot, which leads to its station's page where there is one."""
        return el("a", dot, href=self.links[i]) if i in self.links else dot


def _places_drawn(dots: _Dots, places: Sequence[Placed]) -> Iterator[str]:
    """A mark for each station, or for those of one region in one spot."""
    alike = np.zeros(len(dots.data))
    for place in places:
        for i, x, y, who in dots.spots(np.asarray(place.stations, dtype=np.int64), alike):
            words = dots.voice.say("region.dot", station=who, value=place.name)
            yield dots.linked(i, _mark(place.number, x, y, words))


def _mark(number: int, x: float, y: float, words: str = "") -> str:
    """A region's mark: colour and shape tell it from the others."""
    title = [el("title", escape(words))] if words else []
    shape = _SHAPES[number % len(_SHAPES)].format(x=px(x), y=px(y))
    return el("path", *title, d=shape, class_=f"place r{number}")


def _places_legend(places: Sequence[Placed], top: float) -> Iterator[str]:
    for n, place in enumerate(places):
        x, y = _GUTTER + 8 + (n % 2) * (WIDTH - _GUTTER) / 2, top + 12 + _LEGEND_ROW * (n // 2)
        yield _mark(place.number, x, y)
        yield label(x + 12, y + 4, short(place.name))


def _quantity_layer(dots: _Dots, quantity: str, foot: float) -> str:
    """Dots by the median of a quantity, with what they mean."""
    data, voice = dots.data, dots.voice
    values, south = data.normals(quantity).median, data.southern
    known = np.flatnonzero(np.isfinite(values))
    edges = _edges(values[known])
    class_of = np.clip(np.searchsorted(edges[1:-1], values, side="right"), 0, CLASSES - 1)
    told = voice.say("region.map_described", known=len(known), stations=len(data))
    parts = []
    for i, x, y, who in dots.spots(known, values):
        value = quantity_said(values[i], quantity, voice, southern=bool(south[i]))
        words = voice.say("region.dot", station=who, value=value)
        kind, radius = f"dot-{class_of[i]}", 3.0 + 0.7 * class_of[i]
        dot = el("circle", el("title", escape(words)), class_=kind, cx=x, cy=y, r=radius)
        parts.append(dots.linked(i, dot))
    if len(parts) < len(known):
        told += " " + voice.say("region.spots", dots=len(parts))
    legend = _legend(edges, quantity, foot, data.hemispheres, voice)
    return el("g", el("desc", escape(told)), *parts, *legend, class_="layer")


def _edges(values: FloatArray) -> FloatArray:
    """Bounds of the classes, each of which holds a like number of stations; none without any."""
    if not len(values):
        return values
    return np.asarray(np.quantile(values, np.linspace(0, 1, CLASSES + 1)))


def _on(scale: Scale, values: FloatArray) -> FloatArray:
    """The coordinates of values."""
    span = scale.high - scale.low
    return scale.start + (values - scale.low) / span * (scale.end - scale.start)


def _drawn(known: Indices, values: FloatArray, x: FloatArray, y: FloatArray) -> tuple[Indices, ...]:
    """Stations to draw, and for how many others each stands: many share spots of `SPOT` units."""
    if len(known) <= MAX_LISTED:
        return known, np.zeros_like(known)
    column, row = (np.floor(at[known] / SPOT).astype(np.int64) for at in (x, y))
    order = np.lexsort((values[known], column, row))
    _, first, count = np.unique(
        np.stack([row, column])[:, order], axis=1, return_index=True, return_counts=True
    )
    return known[order][first + (count - 1) // 2], count - 1


def _unwrapped(lon: FloatArray) -> FloatArray:
    """Longitudes without a jump when the stations lie on both sides of the date line."""
    if len(lon) and np.ptp(lon) > 180:
        return np.where(lon < 0, lon + 360, lon)
    return lon


def _projection(lat: FloatArray, lon: FloatArray) -> tuple[Scale, Scale, float]:
    """Equirectangular, true at the middle latitude, around the stations; its height."""
    known = np.isfinite(lat) & np.isfinite(lon)
    box = [-10.0, 10.0, -20.0, 20.0]
    if known.any():
        box = [lat[known].min(), lat[known].max(), lon[known].min(), lon[known].max()]
    south, north, west, east = (
        v + s * _MARGIN_DEG for v, s in zip(box, (-1, 1, -1, 1), strict=True)
    )
    wide = WIDTH - _GUTTER
    squeeze = float(np.cos(np.radians((south + north) / 2)))
    height = float(np.clip((north - south) / ((east - west) * squeeze) * wide, 120, wide))
    span = max(east - west, (north - south) / squeeze * wide / height)
    middle = (east + west) / 2
    x = Scale(middle - span / 2, middle + span / 2, 0.0, wide)
    tall = span * squeeze * height / wide
    centre = (north + south) / 2
    return x, Scale(centre - tall / 2, centre + tall / 2, height, 0.0), height


@lru_cache(1)
def _lines(x: Scale, y: Scale) -> str:
    """Path data of the outlines that touch the map, which end where it ends."""
    out = []
    for shift in (0.0, 360.0):
        for line in outlines():
            lon, lat = line[:, 0] + shift, line[:, 1]
            inside = (lon >= x.low) & (lon <= x.high) & (lat >= y.low) & (lat <= y.high)
            across, down = _on(x, lon), _on(y, lat)
            for part in runs(inside):
                points = np.stack([across, down])[:, part].T
                if part.start:
                    before = np.array([across[part.start - 1], down[part.start - 1]])
                    points = np.vstack([_edge(points[0], before, x, y), points])
                if part.stop < len(lon):
                    after = np.array([across[part.stop], down[part.stop]])
                    points = np.vstack([points, _edge(points[-1], after, x, y)])
                out.append(line_path(*points.T))
    return "".join(out)


def _edge(inside: FloatArray, outside: FloatArray, x: Scale, y: Scale) -> FloatArray:
    """Where the line between two points leaves the map, ``[2]``."""
    step, high = outside - inside, np.array([x.end, y.start])
    with np.errstate(divide="ignore", invalid="ignore"):
        reach = np.where(step > 0, (high - inside) / step, -inside / step)
    cut: FloatArray = inside + step * np.nanmin(np.where(step == 0, np.nan, reach))
    return cut


def _graticule(x: Scale, y: Scale) -> tuple[list[str], list[str]]:
    """Lines of the map and, outside of it, their degrees."""
    lines, degrees = [], []
    for lat in ticks(y.low, y.high, 3):
        lines.append(el("line", x1=0.0, x2=WIDTH, y1=y(lat), y2=y(lat), class_="grid"))
        if y.end + 6 < y(lat) < y.start - 6:
            degrees.append(label(_GUTTER - 4, y(lat) + 4, _degrees(lat, "NS"), anchor="end"))
    for lon in ticks(x.low, x.high, 3):
        lines.append(el("line", x1=x(lon), x2=x(lon), y1=y.end, y2=y.start, class_="grid"))
        shown = (lon + 180) % 360 - 180
        if x.start + 16 < x(lon) < x.end - 16:
            at = x(lon) + _GUTTER, y.start + 14
            degrees.append(label(*at, _degrees(shown, "EW"), anchor="middle"))
    return lines, degrees


def _degrees(value: float, sides: str) -> str:
    return f"{abs(value):g}°{sides[value < 0] if value else ''}"


def _legend(
    edges: FloatArray,
    quantity: str,
    top: float,
    hemispheres: tuple[bool, ...],
    voice: Voice,
) -> list[str]:
    """The five classes with their bounds, a little later or more from left to right."""
    parts = []
    step = WIDTH / CLASSES
    for n in range(CLASSES if len(edges) else 0):
        middle = step * (n + 0.5)
        parts.append(el("circle", cx=middle, cy=top + 11, r=3.0 + 0.7 * n, class_=f"dot-{n}"))
        words = quantities_said(edges[n + 1], quantity, voice, hemispheres)
        ends = [voice.say("region.up_to", value=each) for each in words]
        parts += stacked(middle, top + 29, ends)
    return parts

"""Charts of a comparison: maps without tiles, dates by station."""

from __future__ import annotations

import json
from functools import cache, lru_cache
from html import escape
from importlib import resources
from itertools import chain

import numpy as np
import numpy.typing as npt

from windowcast.core.record import FloatArray
from windowcast.region.compare import Compared
from windowcast.region.statistics import Normals
from windowcast.report.catalogue import Voice
from windowcast.report.chartkit import (
    LINE,
    WIDTH,
    Chart,
    Scale,
    drawing,
    el,
    label,
    line_path,
    stacked,
    ticks,
)
from windowcast.report.region_words import quantities_said, quantity_named, quantity_said

CLASSES = 5
MAX_ROWS = 40  # drawn in a chart
MAX_LISTED = 500  # stations whose numbers are listed, and dots drawn one by one
SPOT = 9.0  # of a map, in its units: about a dot's width
_NAMES = 146.0  # room for names left of the dates
_DATE = 22.0  # room right of the dates, for half of one below the last
_NAME_LETTERS = 21  # that fit in it
_MARGIN_DEG = 2.0
_LEGEND = 34.0

Indices = npt.NDArray[np.int64]


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


def map_chart(data: Compared, quantity: str, voice: Voice) -> Chart:
    """Median of a quantity at each station on a map; five classes that differ by size and shade.

    Where stations are too many to tell apart, those of one spot are drawn as the middle one of
    them.
    """
    found = data.normals(quantity)
    values, lat = found.median, data.latitude_deg
    lon = data.longitude_deg
    known = np.flatnonzero(np.isfinite(values))
    title = voice.say("region.map", quantity=quantity_named(quantity))
    x, y, height = _projection(lat, _unwrapped(lon))
    across, down = _on(x, _unwrapped(lon)), _on(y, lat)
    edges = _edges(values[known])
    class_of = np.clip(np.searchsorted(edges[1:-1], values, side="right"), 0, CLASSES - 1)
    drawn, around = _drawn(known, values, across, down)
    told = voice.say("region.map_described", known=len(known), stations=len(data))
    if len(drawn) < len(known):
        told += " " + voice.say("region.spots", dots=len(drawn))
    dots = []
    order = np.argsort(lat[drawn])[::-1]
    names = data.texts("name", drawn[order].tolist())
    for i, name, others in zip(drawn[order].tolist(), names, around[order].tolist(), strict=True):
        who = voice.say("region.around", station=name, others=others) if others else name
        value = quantity_said(values[i], quantity, voice, southern=bool(lat[i] < 0))
        words = voice.say("region.dot", station=who, value=value)
        at = {"cx": across[i], "cy": down[i], "r": 3.0 + 0.7 * class_of[i]}
        dots.append(el("circle", el("title", escape(words)), class_=f"dot-{class_of[i]}", **at))
    parts = [
        # in a drawing of its own, which cuts lines off where the map ends and the legend begins
        el("svg", el("path", d=_lines(x, y), class_="coast", fill="none"), height=height),
        *_graticule(x, y),
        *dots,
        *_legend(edges, quantity, height, data.hemispheres, voice),
    ]
    columns = _heads(voice, "station", "latitude", "longitude", "median", "spread", "years")
    listed = listed_of(data)
    rows = tuple(
        (
            name,
            f"{lat[i]:.2f}",
            f"{lon[i]:.2f}",
            quantity_said(values[i], quantity, voice, southern=bool(lat[i] < 0)),
            _spread(found, i, quantity, voice, southern=bool(lat[i] < 0)),
            str(found.years[i]),
        )
        for i, name in zip(listed, data.texts("name", listed), strict=True)
    )
    svg = drawing(f"map-{quantity}", title, told, height + _LEGEND + beside(data), *parts)
    return Chart(
        f"map-{quantity}", title, f"{told} {listing_note(data, voice)}".rstrip(), svg, columns, rows
    )


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


def dates_chart(data: Compared, quantity: str, voice: Voice) -> Chart:
    """Median and 10-90 % of a quantity, a row a station from north to south."""
    found = data.normals(quantity)
    order = np.argsort(-data.latitude_deg)
    order = order[np.isfinite(found.median[order])]
    picked = spread_evenly(order, MAX_ROWS).tolist()
    key = f"dates-{quantity}"
    title = voice.say("region.dates", quantity=quantity_named(quantity))
    desc = voice.say("region.dates_described", drawn=len(picked), stations=len(data))
    low = min(found.p10[picked].tolist(), default=0.0)
    high = max(found.p90[picked].tolist(), default=1.0)
    x = Scale(low, high if high > low else low + 1, _NAMES, WIDTH - _DATE)
    row, bottom = 15.0, 15.0 * len(picked) + 8
    south = data.southern.tolist()
    parts = []
    for tick in ticks(low, high, 4):
        parts.append(el("line", x1=x(tick), x2=x(tick), y1=0.0, y2=bottom, class_="grid"))
        words = quantities_said(tick, quantity, voice, data.hemispheres)
        parts += stacked(x(tick), bottom + 14, words)
    for n, (i, name) in enumerate(zip(picked, data.texts("name", picked), strict=True)):
        y = row * n + 10
        left, middle, right = (x(float(each[i])) for each in (found.p10, found.median, found.p90))
        parts += [
            el("g", el("title", escape(name)), label(0.0, y + 4, _short(name))),
            el("line", x1=left, x2=right, y1=y, y2=y, class_="whisker"),
            el("circle", cx=middle, cy=y, r=3.2, class_="dot"),
        ]
    listed = spread_evenly(order, MAX_LISTED).tolist()
    rows = tuple(
        (
            name,
            quantity_said(found.median[i], quantity, voice, southern=south[i]),
            _spread(found, i, quantity, voice, southern=south[i]),
            _trend(found, i, voice),
        )
        for i, name in zip(listed, data.texts("name", listed), strict=True)
    )
    columns = _heads(voice, "station", "median", "spread", "trend")
    svg = drawing(key, title, desc, bottom + 22 + beside(data), *parts)
    return Chart(key, title, f"{desc} {listing_note(data, voice)}".rstrip(), svg, columns, rows)


def beside(data: Compared) -> float:
    """Room for the dates of a second hemisphere below those of the first, 0 where there is one."""
    return LINE * (len(data.hemispheres) - 1)


def listed_of(data: Compared) -> list[int]:
    """Stations whose numbers the page lists: all, or `MAX_LISTED` evenly from north to south."""
    if len(data) <= MAX_LISTED:
        return list(range(len(data)))
    return list(spread_evenly(np.argsort(-data.latitude_deg), MAX_LISTED).tolist())


def _heads(voice: Voice, *names: str) -> tuple[str, ...]:
    return tuple(voice.say(f"region_head.{name}") for name in names)


def listing_note(data: Compared, voice: Voice) -> str:
    """What is said of a list that does not hold every station; "" where it does."""
    if len(data) <= MAX_LISTED:
        return ""
    return voice.say("region.listed", most=MAX_LISTED)


def spread_evenly(order: Indices, count: int) -> Indices:
    """All, or `count` of them at even distances."""
    if len(order) <= count:
        return order
    return order[np.linspace(0, len(order) - 1, count).round().astype(np.int64)]


def _short(name: str) -> str:
    """A name that does not run into the chart; the whole is told beside it."""
    return name if len(name) <= _NAME_LETTERS else f"{name[: _NAME_LETTERS - 1].rstrip()}…"


def _spread(found: Normals, i: int, quantity: str, voice: Voice, *, southern: bool) -> str:
    if not np.isfinite(found.median[i]):
        return ""
    low, high = (
        quantity_said(v[i], quantity, voice, southern=southern) for v in (found.p10, found.p90)
    )
    return voice.say("region.to", low=low, high=high)


def _trend(found: Normals, i: int, voice: Voice) -> str:
    years = int(found.years[i])
    if not np.isfinite(found.trend_per_decade[i]):
        return voice.say("region.trend_unknown", years=years)
    ends = (found.trend_per_decade[i], found.trend_low[i], found.trend_high[i])
    middle, low, high = (_signed(float(end), voice) for end in ends)
    p = voice.number(float(found.p_value[i]), 2, fixed=True)
    return voice.say("region.trend_of", middle=middle, low=low, high=high, p=p, years=years)


def _signed(value: float, voice: Voice) -> str:
    """A number with its sign, also where it is above zero."""
    return ("+" if value >= 0 else "") + voice.number(value, 1, fixed=True)


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
    squeeze = float(np.cos(np.radians((south + north) / 2)))
    height = float(np.clip((north - south) / ((east - west) * squeeze) * WIDTH, 120, WIDTH))
    span = max(east - west, (north - south) / squeeze * WIDTH / height)
    middle = (east + west) / 2
    x = Scale(middle - span / 2, middle + span / 2, 0.0, WIDTH)
    tall = span * squeeze * height / WIDTH
    centre = (north + south) / 2
    return x, Scale(centre - tall / 2, centre + tall / 2, height, 0.0), height


@lru_cache(1)  # every map of a page has the same ground
def _lines(x: Scale, y: Scale) -> str:
    """Path data of the outlines that touch the map."""
    out = []
    for shift in (0.0, 360.0):
        for line in outlines():
            lon, lat = line[:, 0] + shift, line[:, 1]
            inside = (lon >= x.low) & (lon <= x.high) & (lat >= y.low) & (lat <= y.high)
            if inside.any():
                near = inside.copy()  # with a point beyond the edge at either end
                near[1:] |= inside[:-1]
                near[:-1] |= inside[1:]
                out.append(line_path(_on(x, lon), np.where(near, _on(y, lat), np.nan)))
    return "".join(out)


def _graticule(x: Scale, y: Scale) -> list[str]:
    parts = []
    for lat in ticks(y.low, y.high, 3):
        parts.append(el("line", x1=0.0, x2=WIDTH, y1=y(lat), y2=y(lat), class_="grid"))
        parts.append(label(2.0, y(lat) - 2, _degrees(lat, "NS"), class_="axis-title"))
    for lon in ticks(x.low, x.high, 3):
        parts.append(el("line", x1=x(lon), x2=x(lon), y1=y.end, y2=y.start, class_="grid"))
        shown = (lon + 180) % 360 - 180
        parts.append(label(x(lon) + 2, y.start - 3, _degrees(shown, "EW"), class_="axis-title"))
    return parts


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

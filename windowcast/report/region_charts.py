"""Charts of a comparison: maps without tiles, dates by station."""

from __future__ import annotations

import json
from collections.abc import Sequence
from functools import cache
from html import escape
from importlib import resources

import numpy as np

from windowcast.region.compare import QUANTITIES, Compared, StationNormal, Summary, shown
from windowcast.report.chartkit import (
    WIDTH,
    Chart,
    Scale,
    drawing,
    el,
    label,
    line_path,
    ticks,
)
from windowcast.weather.record import FloatArray

CLASSES = 5
MAX_ROWS = 40  # drawn in a chart
MAX_LISTED = 500  # stations up to which every chart lists the numbers of each
_NAMES = 136.0  # room for names left of the dates
_NAME_LETTERS = 21  # that fit in it
_MARGIN_DEG = 2.0
_LEGEND = 34.0


@cache
def outlines() -> tuple[FloatArray, ...]:
    """Coastlines and borders as ``[point, 2]`` of longitude and latitude, see data/outlines.md."""
    text = resources.files("windowcast.data").joinpath("outlines.json").read_text("utf-8")
    lines = [line for group in json.loads(text).values() for line in group]
    return tuple(np.array(line, dtype=np.float64).reshape(-1, 2) for line in lines)


def map_chart(data: Compared, summary: Summary, quantity: str) -> Chart:
    """Median of a quantity at each station on a map; five classes that differ by size and shade."""
    found = _of(summary, quantity)
    values = np.array([found[s].normal.median for s in data.stations])
    known = np.flatnonzero(np.isfinite(values))
    title = f"{QUANTITIES[quantity]}: median by station"
    lat, lon = data.places[:, 0], _unwrapped(data.places[:, 1])
    x, y, height = _projection(lat, lon)
    edges = np.quantile(values[known], np.linspace(0, 1, CLASSES + 1)) if len(known) else []
    class_of = np.clip(np.searchsorted(edges[1:-1], values, side="right"), 0, CLASSES - 1)
    dots = []
    for i in known[np.argsort(lat[known])[::-1]]:
        words = f"{data.names[i]}: {shown(values[i], quantity, southern=lat[i] < 0)}"
        at = {"cx": x(lon[i]), "cy": y(lat[i]), "r": 3.0 + 0.7 * class_of[i]}
        dots.append(el("circle", el("title", escape(words)), class_=f"dot-{class_of[i]}", **at))
    parts = [
        el("path", d=_lines(x, y), class_="coast", fill="none"),
        *_graticule(x, y),
        *dots,
        *_legend(edges, quantity, height, southern=bool((lat < 0).all())),
    ]
    columns = ("Station", "Latitude", "Longitude", "Median", "10 to 90 %", "Years")
    rows = tuple(
        (
            data.names[i],
            f"{lat[i]:.2f}",
            f"{data.places[i, 1]:.2f}",
            shown(values[i], quantity, southern=lat[i] < 0),
            _spread(found[data.stations[i]], quantity, southern=lat[i] < 0),
            str(found[data.stations[i]].normal.years),
        )
        for i in _listed(list(range(len(values))))
    )
    told = f"{len(known)} of {len(values)} stations have enough years."
    svg = drawing(f"map-{quantity}", title, told, height + _LEGEND, *parts)
    return Chart(f"map-{quantity}", title, told, svg, columns, rows)


def dates_chart(data: Compared, summary: Summary, quantity: str) -> Chart:
    """Median and 10-90 % of a quantity, a row a station from north to south."""
    found = _of(summary, quantity)
    order = [i for i in np.argsort(-data.places[:, 0]) if _told(found[data.stations[i]])]
    picked = _spread_evenly(order, MAX_ROWS)
    key, title = f"dates-{quantity}", f"{QUANTITIES[quantity]}: median and 10 to 90 % of years"
    desc = f"{len(picked)} of {len(data.stations)} stations, from north to south."
    normals = [found[data.stations[i]].normal for i in picked]
    low = min((n.p10 for n in normals), default=0.0)
    high = max((n.p90 for n in normals), default=1.0)
    x = Scale(low, high if high > low else low + 1, _NAMES, WIDTH - 10)
    row, bottom = 15.0, 15.0 * len(picked) + 8
    south = bool(data.southern.all())
    parts = []
    for tick in ticks(low, high, 5):
        parts.append(el("line", x1=x(tick), x2=x(tick), y1=0.0, y2=bottom, class_="grid"))
        parts.append(
            label(x(tick), bottom + 14, shown(tick, quantity, southern=south), anchor="middle")
        )
    for n, (i, normal) in enumerate(zip(picked, normals, strict=True)):
        y = row * n + 10
        parts += [
            el("g", el("title", escape(data.names[i])), label(0.0, y + 4, _short(data.names[i]))),
            el("line", x1=x(normal.p10), x2=x(normal.p90), y1=y, y2=y, class_="whisker"),
            el("circle", cx=x(normal.median), cy=y, r=3.2, class_="dot"),
        ]
    rows = tuple(
        (
            data.names[i],
            shown(found[data.stations[i]].normal.median, quantity, southern=south),
            _spread(found[data.stations[i]], quantity, southern=south),
            _trend(found[data.stations[i]]),
        )
        for i in _listed(order)
    )
    columns = ("Station", "Median", "10 to 90 %", "Trend per decade (95 % interval)")
    return Chart(key, title, desc, drawing(key, title, desc, bottom + 22, *parts), columns, rows)


def _listed(order: list[int]) -> list[int]:
    """Stations whose numbers stand below a chart: all, or some where that would be too many."""
    return order if len(order) <= MAX_LISTED else _spread_evenly(order, MAX_ROWS)


def _spread_evenly(order: list[int], count: int) -> list[int]:
    if len(order) <= count:
        return order
    return [order[i] for i in np.linspace(0, len(order) - 1, count).round().astype(int)]


def _of(summary: Summary, quantity: str) -> dict[str, StationNormal]:
    return {n.station: n for n in summary.normals if n.quantity == quantity}


def _short(name: str) -> str:
    """A name that does not run into the chart; the whole is told beside it."""
    return name if len(name) <= _NAME_LETTERS else f"{name[: _NAME_LETTERS - 1].rstrip()}…"


def _told(item: StationNormal) -> bool:
    return bool(np.isfinite(item.normal.median))


def _spread(item: StationNormal, quantity: str, *, southern: bool) -> str:
    if not _told(item):
        return ""
    ends = (shown(v, quantity, southern=southern) for v in (item.normal.p10, item.normal.p90))
    return " to ".join(ends)


def _trend(item: StationNormal) -> str:
    t = item.trend
    if not np.isfinite(t.per_decade):
        return f"cannot tell ({t.years} years)"
    text = (
        f"{t.per_decade:+.1f} ({t.low:+.1f} to {t.high:+.1f}), p {t.p_value:.2f}, {t.years} years"
    )
    return text.replace("-", "−")


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


def _lines(x: Scale, y: Scale) -> str:
    """Path data of the outlines that touch the map."""
    out = []
    for shift in (0.0, 360.0):
        for line in outlines():
            lon, lat = line[:, 0] + shift, line[:, 1]
            inside = (lon >= x.low) & (lon <= x.high) & (lat >= y.low) & (lat <= y.high)
            near = inside | np.roll(inside, 1) | np.roll(inside, -1)
            if inside.any():
                px = x.start + (lon - x.low) / (x.high - x.low) * (x.end - x.start)
                py = y.start + (lat - y.low) / (y.high - y.low) * (y.end - y.start)
                out.append(line_path(px, np.where(near, py, np.nan)))
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


def _legend(edges: Sequence[float], quantity: str, top: float, *, southern: bool) -> list[str]:
    """The five classes with their bounds, a little later or more from left to right."""
    parts = []
    step = WIDTH / CLASSES
    for n in range(CLASSES if len(edges) else 0):
        middle = step * (n + 0.5)
        parts.append(el("circle", cx=middle, cy=top + 11, r=3.0 + 0.7 * n, class_=f"dot-{n}"))
        words = f"to {shown(edges[n + 1], quantity, southern=southern)}"
        parts.append(label(middle, top + 29, words, anchor="middle"))
    return parts

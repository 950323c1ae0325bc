"""The few SVG parts the charts are drawn with: elements, scales, paths, a chart and its numbers.

No style is written into the markup: classes name the parts, the style sheet colours them, so that
a strict Content-Security-Policy, dark mode and print all work from one file. Shapes differ by
more than colour (dash, hatch, marker), so that charts read in grey.
"""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from html import escape

import numpy as np

from windowcast.core.record import DateArray, FloatArray
from windowcast.core.time_axis import day_index
from windowcast.report.catalogue import Voice

LINE = 12.0  # from one line of text to the next
WIDTH = 360.0  # user units of every chart; one unit is one CSS pixel on a small phone


@dataclass(frozen=True)
class Chart:
    """A drawn chart with its text alternative and the numbers behind it."""

    key: str  # unique in a page; letters, digits and hyphens
    title: str
    desc: str  # what the chart shows, in a sentence or two
    svg: str  # safe markup
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def el(name: str, *children: str, **attributes: object) -> str:
    """One SVG element; children are markup, attribute values are escaped, `class_` is class."""
    words = []
    for key, value in attributes.items():
        if value is None:
            continue
        shown = px(value) if isinstance(value, float) else str(value)
        words.append(f' {key.rstrip("_").replace("_", "-")}="{escape(shown)}"')
    return f"<{name}{''.join(words)}>{''.join(children)}</{name}>"


def short(name: str, letters: int = 16) -> str:
    """A name that does not run into a chart; the whole is said beside it."""
    return name if len(name) <= letters else f"{name[: letters - 1].rstrip()}…"


def label(x: float, y: float, words: str, class_: str = "lab", anchor: str | None = None) -> str:
    """Text at a point; the words are escaped."""
    return el("text", escape(words), x=x, y=y, class_=class_, text_anchor=anchor)


def stacked(x: float, y: float, lines: Iterable[str]) -> list[str]:
    """Lines of text below each other, `LINE` apart, their middle at `x` and the first at `y`."""
    return [label(x, y + n * LINE, words, anchor="middle") for n, words in enumerate(lines)]


def px(value: float) -> str:
    """A coordinate with one decimal at most."""
    return f"{value:.1f}".removesuffix(".0")


def drawing(key: str, title: str, desc: str, height: float, *parts: str) -> str:
    """The whole SVG, named for screen readers by its title and description."""
    return el(
        "svg",
        el("title", escape(title), id=f"{key}-title"),
        el("desc", escape(desc), id=f"{key}-desc"),
        *parts,
        class_="chart",
        viewBox=f"0 0 {px(WIDTH)} {px(height)}",
        role="img",
        aria_labelledby=f"{key}-title {key}-desc",
    )


@dataclass(frozen=True)
class Scale:
    """A linear scale from values to user units."""

    low: float
    high: float
    start: float
    end: float

    def __call__(self, value: float) -> float:
        """The coordinate of a value."""
        span = self.high - self.low or 1.0
        return self.start + (value - self.low) / span * (self.end - self.start)


def ticks(low: float, high: float, count: int = 5) -> list[float]:
    """Round values between `low` and `high`, about `count` of them."""
    if not (math.isfinite(low) and math.isfinite(high)) or high <= low:
        return [low] if math.isfinite(low) else []
    rough = (high - low) / count
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(power * m for m in (1, 2, 5, 10) if power * m >= rough * 0.999)
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return [n * step for n in range(first, last + 1)]


def month_starts(dates: DateArray, voice: Voice) -> list[tuple[int, str]]:
    """Index and short name of each month's first day on a daily axis."""
    days = [(n, d) for n, d in enumerate(dates.astype("datetime64[D]").tolist()) if d.day == 1]
    return [(n, voice.write(d, "month")) for n, d in days]


def runs(known: np.ndarray) -> Iterator[slice]:
    """The unbroken stretches of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], known, [False]]).astype(np.int8)))
    for start, end in zip(edges[::2], edges[1::2], strict=True):
        yield slice(int(start), int(end))


def _points(x: FloatArray, y: FloatArray) -> str:
    return "L".join(f"{px(a)} {px(b)}" for a, b in zip(x.tolist(), y.tolist(), strict=True))


def line_path(x: FloatArray, y: FloatArray) -> str:
    """Path data of a line, broken where `y` is NaN."""
    return "".join(f"M{_points(x[part], y[part])}" for part in runs(np.isfinite(y)))


def band_path(x: FloatArray, low: FloatArray, high: FloatArray) -> str:
    """Path data of the area between two lines, broken where either is NaN."""
    parts = []
    for part in runs(np.isfinite(low) & np.isfinite(high)):
        upper = _points(x[part], high[part])
        lower = _points(x[part][::-1], low[part][::-1])
        parts.append(f"M{upper}L{lower}Z")
    return "".join(parts)


@dataclass(frozen=True)
class Band:
    """An area between two series, with a class of the style sheet and a legend entry."""

    low: FloatArray
    high: FloatArray
    class_: str
    legend: str


@dataclass(frozen=True)
class Line:
    """A series as a line."""

    values: FloatArray
    class_: str
    legend: str


@dataclass(frozen=True)
class Moment:
    """A vertical line on a date, named above the plot, where no line is."""

    date: dt.date
    words: str


Layer = Band | Line | Moment

_LEFT, _RIGHT, _TOP, _PLOT = 40.0, 352.0, 22.0, 160.0
_LEGEND_ROW, _NAME_ROW = 16.0, 15.0


def time_chart(
    key: str,
    title: str,
    desc: str,
    dates: DateArray,
    layers: Sequence[Layer],
    *,
    y_title: str,
    y_range: tuple[float, float],
    voice: Voice,
) -> str:
    """A chart of daily series against the months, with a legend below the plot.

    Parameters
    ----------
    dates
        ``datetime64[D]``, consecutive; every series has this length.
    y_range
        Lowest and highest value of the vertical axis, in the unit of `y_title`.
    """
    named = [layer for layer in layers if isinstance(layer, Moment)]
    top = _TOP + _NAME_ROW * len(named)
    x, y = Scale(0, max(1, len(dates) - 1), _LEFT, _RIGHT), Scale(*y_range, top + _PLOT, top)
    across = np.array([x(n) for n in range(len(dates))])
    parts = [label(4, 12, y_title, "axis-title")]
    for value in ticks(*y_range):
        parts.append(el("line", x1=_LEFT, x2=_RIGHT, y1=y(value), y2=y(value), class_="grid"))
        parts.append(label(_LEFT - 4, y(value) + 4, f"{value:g}".replace("-", "−"), "lab", "end"))
    parts += _months(dates, x, y.start, voice)
    frame = _Frame(dates, across, x, y)
    legend: list[tuple[str, str]] = []
    for layer in layers:
        if isinstance(layer, Moment):
            parts += _named(layer, frame, named.index(layer))
        else:
            parts += _draw(layer, frame, legend)
    bottom = y.start + 22
    parts += _legend(legend, bottom)
    return drawing(key, title, desc, bottom + _LEGEND_ROW * len(legend) + 4, *parts)


def _months(dates: DateArray, x: Scale, floor: float, voice: Voice) -> list[str]:
    starts = month_starts(dates, voice)
    parts = [el("line", x1=_LEFT, x2=_RIGHT, y1=floor, y2=floor, class_="axis")]
    crowded = 2 if len(starts) > 9 else 1
    if not starts or x(starts[0][0]) - _LEFT > 30:  # the axis begins within a month
        parts.append(label(_LEFT, floor + 15, voice.write(dates[0].astype(dt.date), "month")))
    for place, (index, name) in enumerate(starts):
        at = x(index)
        parts.append(el("line", x1=at, x2=at, y1=floor, y2=floor + 4, class_="axis"))
        if place % crowded == 0 and at < _RIGHT - 14:
            parts.append(label(at + 2, floor + 15, name))
    return parts


@dataclass(frozen=True)
class _Frame:
    """The axes the layers of one chart share."""

    dates: DateArray
    across: FloatArray  # coordinate of each day
    x: Scale
    y: Scale


def _named(moment: Moment, frame: _Frame, row: int) -> list[str]:
    """A date's line through the plot; its name has a row of its own above it."""
    dates, y = frame.dates, frame.y
    if not dates[0] <= np.datetime64(moment.date, "D") <= dates[-1]:
        return []
    at = frame.x(_index(dates, moment.date))
    anchor, name_y = "end" if at > (_LEFT + _RIGHT) / 2 else "start", y.end - 5 - _NAME_ROW * row
    return [
        el("line", x1=at, x2=at, y1=y.end, y2=y.start, class_="moment"),
        label(at, name_y, moment.words, anchor=anchor),
    ]


def _draw(layer: Band | Line, frame: _Frame, legend: list[tuple[str, str]]) -> list[str]:
    """The markup of one layer; adds its legend entry."""
    across, y = frame.across, frame.y
    match layer:
        case Band(low, high, class_, words):
            path = band_path(across, y_of(y, low), y_of(y, high))
            legend.append((_swatch_box(class_), words))
            return [el("path", d=path, class_=f"band {class_}", fill=_fill(class_))]
        case Line(values, class_, words):
            legend.append((_swatch_line(class_), words))
            return [el("path", d=line_path(across, y_of(y, values)), class_=f"line {class_}")]


def y_of(y: Scale, values: FloatArray) -> FloatArray:
    """Coordinates of a series, held inside the plot; NaN stays NaN."""
    inside = np.clip(values, min(y.low, y.high), max(y.low, y.high))
    return y.start + (inside - y.low) / (y.high - y.low or 1.0) * (y.end - y.start)


def _index(dates: DateArray, date: dt.date) -> float:
    """Place of a date on the axis, held inside it."""
    return float(min(max(day_index(dates, date), 0), len(dates) - 1))


def _fill(class_: str) -> str | None:
    """The hatch that tells an area apart in grey."""
    return "url(#hatch-ahead)" if class_ == "ahead" else None


def _swatch_box(class_: str) -> str:
    kind, fill = f"band {class_}", _fill(class_)
    return el("rect", x=_LEFT, y=-9.0, width=22.0, height=10.0, class_=kind, fill=fill)


def _swatch_line(class_: str) -> str:
    return el("line", x1=_LEFT, x2=_LEFT + 22, y1=-4.0, y2=-4.0, class_=f"line {class_}")


def _legend(entries: Sequence[tuple[str, str]], top: float) -> list[str]:
    return [
        el(
            "g",
            swatch,
            label(_LEFT + 28, 0.0, words),
            transform=f"translate(0 {px(top + _LEGEND_ROW * (n + 1) - 4)})",
        )
        for n, (swatch, words) in enumerate(entries)
    ]


_STYLE = """
text { fill: #1e2a2c; font-family: "Source Sans 3", "Liberation Sans", Arial, sans-serif;
  font-size: 12.5px; }
.plot-number { font-weight: 700; } .axis-title { fill: #536062; }
.plot, .check { fill: #fff; stroke: #1e2a2c; } .check { stroke-width: 2.5; stroke-dasharray: 5 3; }
.grid { stroke: #d3cdbd; stroke-width: .7; } .axis { stroke: #536062; }
.dot { fill: #fff; stroke: #1e2a2c; stroke-width: 1.6; } .whisker { stroke: #1e2a2c; }
.line { fill: none; stroke: #0b5a6b; stroke-width: 2; }
"""
_GAP = 24.0
_BOX = re.compile(r'viewBox="0 0 ([\d.]+) ([\d.]+)"')


def one_drawing(drawings: Sequence[str]) -> str:
    """Drawings one below the other as a single SVG file with its style inside."""
    sizes = [tuple(map(float, _BOX.findall(svg)[0])) for svg in drawings]
    width, y, parts = max(size[0] for size in sizes), 0.0, []
    for svg, (wide, high) in zip(drawings, sizes, strict=True):
        placed = re.sub(r'\s(?:width|height|class)="[^"]*"', "", svg.partition(">")[0])
        size = f' x="0" y="{y:g}" width="{wide:g}" height="{high:g}">'
        parts.append(placed + size + svg.partition(">")[2])
        y += high + _GAP
    height = y - _GAP
    paper = el("rect", width="100%", height="100%", fill="#fff")
    return el(
        "svg", el("style", _STYLE), paper, *parts, xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {width:g} {height:g}", width=f"{width:g}", height=f"{height:g}",
    )  # fmt: skip

"""Drawings that stretch to any width while their text keeps its size.

Across, everything is a share of the width; down, it is pixels or a share of the height. Shapes lie
in a stretched drawing of their own, text and straight lines beside it in percent, so that drawings
below each other share their days without a script. Lines keep their width. Areas are clipped and
shades masked in units of the drawing, so that hatches are not stretched.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape

import numpy as np
import numpy.typing as npt

from windowcast.core.record import FloatArray
from windowcast.report.chartkit import band_path, el, line_path, px, runs

MIDDAY = 0.5  # a day's value stands in its middle
STEP = 3  # days from one drawn point to the next


@dataclass(frozen=True)
class Plot:
    """Draws into one row.

    Attributes
    ----------
    key
        Begins the ids of the row.
    days
        Days of the season.
    fine
        Heights told apart in a path: about a pixel each.
    """

    key: str
    days: int
    fine: int = 50

    def x(self, day: float) -> str:
        """Where a day lies; its middle is half a day further."""
        return share(day / self.days)

    def uprights(self, days: Sequence[float], class_: str) -> str:
        """Lines over the whole row."""
        path = "".join(f"M{px(day - MIDDAY)} 0V{self.fine}" for day in days)
        return self._stretched(el("path", d=path, class_=class_)) if path else ""

    def level(self, height: float, class_: str, first: float = 0, last: float | None = None) -> str:
        """A line along the row, from one day to another."""
        at, end = share(1 - height), self.days if last is None else last
        return el("line", x1=self.x(first), x2=self.x(end), y1=at, y2=at, class_=class_)

    def line(self, values: FloatArray, class_: str) -> str:
        """A series 0..1 as a line, broken where it is NaN."""
        heights = self._heights(values)
        kept = _kept(heights, step=STEP - 1)  # a line shows more than an edge
        path = line_path(kept.astype(np.float64), heights[kept])
        return self._stretched(el("path", d=path, class_=f"line {class_}")) if path else ""

    def area(self, low: FloatArray, high: FloatArray, class_: str, name: str) -> str:
        """The area between two series 0..1; `name` tells it from others of the row."""
        lower, upper = self._heights(low), self._heights(high)
        kept = _kept(lower, upper)
        path = band_path(kept.astype(np.float64), lower[kept], upper[kept])
        if not path:
            return ""
        id_ = f"{self.key}-{name}"
        scale = f"scale({1 / self.days:.7f} {1 / self.fine:g}) translate({MIDDAY} 0)"
        return el(
            "clipPath",
            el("path", d=path, transform=scale),
            id=id_,
            clipPathUnits="objectBoundingBox",
        ) + el("rect", width="100%", height="100%", class_=class_, clip_path=f"url(#{id_})")

    def shade(
        self, chance: FloatArray, classes: tuple[str, ...], name: str, bar: tuple[float, float]
    ) -> str:
        """A bar as strong as a chance 0..1 by day; days on which it is NaN are hatched.

        One layer for each class, on top of each other; `bar` is its foot and top.
        """
        parts = [self.untold(chance, bar)]
        known = np.nan_to_num(chance)
        if not known.any():
            return "".join(parts)
        id_ = f"{self.key}-{name}"
        stops = "".join(
            el("stop", offset=share((n + MIDDAY) / self.days), stop_opacity=f"{known[n]:.2f}")
            for n in _kept(np.round(known, 2), step=2 * STEP)
        )
        mask = el(
            "mask",
            el("linearGradient", stops, id=f"{id_}-g", class_="chance"),
            el("rect", width="1", height="1", fill=f"url(#{id_}-g)"),
            id=id_,
            maskContentUnits="objectBoundingBox",
        )
        bars = (self.span((0, self.days), class_, bar, f"url(#{id_})") for class_ in classes)
        return "".join([mask, *bars, *parts])

    def untold(self, values: FloatArray, bar: tuple[float, float]) -> str:
        """A hatched bar on the days that cannot be told."""
        return "".join(
            self.span((part.start, part.stop), "unknown", bar) for part in runs(np.isnan(values))
        )

    def span(
        self,
        days: tuple[float, float],
        class_: str,
        bar: tuple[float, float],
        mask: str | None = None,
    ) -> str:
        """A bar from one day to another; nothing outside the season."""
        first, last = max(days[0], 0), min(days[1], self.days)
        if first >= last:
            return ""
        wide, (foot, top) = share((last - first) / self.days), bar
        return el(
            "rect",
            x=self.x(first),
            width=wide,
            y=share(1 - top),
            height=share(top - foot),
            class_=class_,
            mask=mask,
        )

    def tick(self, day: float, class_: str, bar: tuple[float, float]) -> str:
        """A thick upright mark on a day."""
        foot, top = bar
        return self._on(
            day,
            el(
                "rect",
                x=self.x(day + MIDDAY),
                width="5",
                y=share(1 - top),
                height=share(top - foot),
                transform="translate(-2.5 0)",
                class_=class_,
            ),
        )

    def dot(self, day: float, height: float, class_: str) -> str:
        """A round mark on a day."""
        at, up = self.x(day + MIDDAY), share(1 - height)
        return self._on(day, el("circle", cx=at, cy=up, r="6", class_=class_))

    def _on(self, day: float, mark: str) -> str:
        """A mark, where its day is one of the season."""
        return mark if 0 <= day < self.days else ""

    def _heights(self, values: FloatArray) -> FloatArray:
        """Coordinates of a path, rounded as they are written."""
        return np.round(self.fine * (1 - np.clip(values, 0.0, 1.0)))

    def _stretched(self, *paths: str) -> str:
        box = f"{-MIDDAY} 0 {self.days} {self.fine}"
        return el(
            "svg", *paths, viewBox=box, preserveAspectRatio="none", width="100%", height="100%"
        )

    def svg(self, title: str, desc: str, *parts: str) -> str:
        """The row, named for screen readers."""
        return el(
            "svg",
            el("title", escape(title), id=f"{self.key}-title"),
            el("desc", escape(desc), id=f"{self.key}-desc"),
            *parts,
            role="img",
            aria_labelledby=f"{self.key}-title {self.key}-desc",
        )


def share(part: float) -> str:
    """A part 0..1 of a width or height."""
    return f"{100 * part:.2f}".rstrip("0").rstrip(".") + "%"


def upon(text: str, x: str, anchor: str = "middle", class_: str | None = None) -> str:
    """Text of a row that has nothing but text, in its middle."""
    return el("text", escape(text), x=x, y="50%", dy=".35em", text_anchor=anchor, class_=class_)


def side_marks(marks: list[tuple[float, str]]) -> str:
    """Texts at heights 0..1 beside a row."""
    texts = (
        el("text", escape(words), x="100%", y=share(1 - height), dy=".35em", text_anchor="end")
        for height, words in marks
    )
    return el("svg", *texts, aria_hidden="true")


def month_middles(dates: list[dt.date]) -> list[tuple[float, dt.date]]:
    """Middle of each month on the axis, with its first day."""
    starts = [n for n, day in enumerate(dates) if day.day == 1 or not n]
    ends = [*starts[1:], len(dates)]
    return [((a + b) / 2, dates[a]) for a, b in zip(starts, ends, strict=True)]


def _kept(*lines: FloatArray, step: int = STEP) -> npt.NDArray[np.int64]:
    """Days that a line needs: every few of them, and none on which nothing changes."""
    rows = np.stack([np.nan_to_num(line, nan=-1.0) for line in lines])
    changes = (np.diff(rows, axis=1) != 0).any(axis=0)
    edges = (np.diff(rows == -1, axis=1)).any(axis=0)  # where something becomes known or unknown
    end = np.ones(1, dtype=bool)
    moved = np.concatenate([end, changes]) | np.concatenate([changes, end])
    edge = np.concatenate([end, edges]) | np.concatenate([edges, end])
    flat_ends = np.concatenate([end, changes]) ^ np.concatenate([changes, end])
    every = np.arange(rows.shape[1]) % step == 0
    return np.flatnonzero((moved & every) | edge | flat_ends)


ACROSS = 1000.0  # units of a stretched drawing from side to side


@dataclass(frozen=True)
class Pane:
    """A part of a drawing: its values from `low` at the bottom to `high` at the top.

    Attributes
    ----------
    top, bottom
        Pixels from the top of the drawing.
    """

    low: float
    high: float
    top: float
    bottom: float

    def y(self, value: float) -> float:
        """Pixels from the top of the drawing, of a value held inside the pane."""
        inside = min(max(value, self.low), self.high)
        return self.bottom - (inside - self.low) / (self.high - self.low) * (self.bottom - self.top)

    def heights(self, values: FloatArray) -> FloatArray:
        """The same of a series; NaN stays NaN."""
        inside = values.clip(self.low, self.high)
        return self.bottom - (inside - self.low) / (self.high - self.low) * (self.bottom - self.top)


def text(at: float, y: float, words: str, class_: str = "lab", anchor: str = "middle") -> str:
    """Words at a share of the width; they are escaped."""
    return el("text", escape(words), x=share(at), y=y, class_=class_, text_anchor=anchor)


def upright(at: float, top: float, bottom: float, class_: str = "grid") -> str:
    """A line from top to bottom."""
    return el("line", x1=share(at), x2=share(at), y1=top, y2=bottom, class_=class_)


def level(y: float, class_: str = "grid") -> str:
    """A line from side to side."""
    return el("line", x1="0", x2="100%", y1=y, y2=y, class_=class_)


def line(at: FloatArray, y: FloatArray, class_: str) -> str:
    """A line through points, broken where `y` is NaN; for `stretched`."""
    return el("path", d=line_path(ACROSS * at, y), class_=f"line {class_}")


def band(at: FloatArray, low: FloatArray, high: FloatArray, class_: str) -> str:
    """The area between two lines; for `stretched`."""
    return el("path", d=band_path(ACROSS * at, low, high), class_=class_)


def boxes(of: Iterable[tuple[float, float, float, float]], class_: str) -> str:
    """Boxes (left and right as shares, top and bottom) as one shape; for `stretched`."""
    path = "".join(
        f"M{ACROSS * left:.1f} {top:.4g}H{ACROSS * right:.1f}V{bottom:.4g}H{ACROSS * left:.1f}Z"
        for left, right, top, bottom in of
    )
    return el("path", d=path, class_=class_) if path else ""


def stretched(height: float, *shapes: str) -> str:
    """Shapes over the whole width."""
    box = f"0 0 {ACROSS:g} {height:g}"
    return el("svg", *shapes, viewBox=box, preserveAspectRatio="none", height=height, width="100%")


def fluid(key: str, title: str, desc: str, height: float, *parts: str, class_: str = "") -> str:
    """The whole drawing, named for screen readers by its title and description."""
    return el(
        "svg",
        el("title", escape(title), id=f"{key}-title"),
        el("desc", escape(desc), id=f"{key}-desc"),
        *parts,
        class_=f"chart fluid {class_}".rstrip(),
        width="100%",
        height=height,
        role="img",
        aria_labelledby=f"{key}-title {key}-desc",
    )


def apart(wanted: Sequence[tuple[float, bool]], room: float) -> list[int]:
    """Which of some labels have room: the pressing ones first, then from left to right.

    Parameters
    ----------
    wanted
        Share of the width of each, and whether it is pressing.
    room
        Least distance between two that are kept.
    """
    kept: list[int] = []
    for n in sorted(range(len(wanted)), key=lambda n: not wanted[n][1]):
        if all(abs(wanted[n][0] - wanted[k][0]) >= room for k in kept):
            kept.append(n)
    return sorted(kept)

"""Drawings that stretch to any width while their text keeps its size.

Across, everything is a share of the width, 0 to 1; down, it is pixels. Shapes lie in a stretched
drawing of their own, text and straight lines beside it in percent.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape

from windowcast.core.record import FloatArray
from windowcast.report.chartkit import band_path, el, line_path

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


def share(at: float) -> str:
    """A share of the width."""
    return f"{100 * at:.2f}".rstrip("0").rstrip(".") + "%"


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

"""Rows of a chart that each show a value within its range, under one axis."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from textwrap import wrap

from windowcast.report.catalogue import Voice
from windowcast.report.chartkit import LINE, Scale, el, label, short, ticks

_ROW, _FOOT = 24.0, 20.0
_TITLE_LETTERS = 56  # that fit across the chart


@dataclass(frozen=True)
class Ranged:
    """A value within its range [unit of the axis], NaN where one is not known.

    `dotted` draws the range as one that is not sure; `mark` stands right of the plot.
    """

    name: str
    value: float
    low: float
    high: float
    dotted: bool = False
    mark: str = ""


def ranged_rows(
    title: str, x: Scale, rows: Sequence[Ranged], voice: Voice
) -> tuple[list[str], float]:
    """The parts of the drawing and its height: title, axis, and a row for each value.

    What lies beyond the axis is drawn at its end.
    """
    clauses = [title] if len(title) <= _TITLE_LETTERS else title.rsplit(", ", 1)
    heads = [line for clause in clauses for line in wrap(clause, _TITLE_LETTERS)]
    top = 14 + LINE * len(heads)
    bottom = top + _ROW * len(rows)
    parts = [label(4, LINE * n, text, "axis-title") for n, text in enumerate(heads, start=1)]
    for tick in ticks(x.low, x.high):
        parts.append(el("line", x1=x(tick), x2=x(tick), y1=top, y2=bottom, class_="grid"))
        parts.append(label(x(tick), bottom + 14, voice.number(tick, 2), "lab", "middle"))
    for number, row in enumerate(rows):
        y = top + _ROW * (number + 0.5)
        low, value, high = (x(min(max(v, x.low), x.high)) for v in (row.low, row.value, row.high))
        parts.append(label(x.start - 6, y + 4, short(row.name), "lab", "end"))
        if not (math.isnan(low) or math.isnan(high)):
            parts.append(
                el("line", x1=low, x2=high, y1=y, y2=y, class_="whisker",
                   stroke_dasharray="2 3" if row.dotted else None)
            )  # fmt: skip
        if math.isfinite(row.value):
            parts.append(el("circle", cx=value, cy=y, r=4.0, class_="dot"))
        if row.mark:
            parts.append(label(x.end + 6, y + 4, row.mark, "lab"))
    return parts, bottom + _FOOT

"""Figures of a trial: means of the treatments with their ranges and letters."""

from __future__ import annotations

import math
from collections.abc import Sequence

from windowcast.report.catalogue import Voice
from windowcast.report.chartkit import Chart, Scale, drawing, el, label, ticks
from windowcast.report.trial_results import Analysed, RoundSaid
from windowcast.trials.model import AdjustedMean

_LEFT, _RIGHT, _ROW, _TOP = 112.0, 326.0, 24.0, 26.0
_NAME_LETTERS = 16  # what fits left of the plot


def means_chart(result: Analysed, said: RoundSaid, voice: Voice) -> Chart | None:
    """Means with their ranges, a row for each treatment; None where there are none."""
    found, analysis = result
    low, high = span_of(analysis.means, found.options.low, found.options.high)
    if not analysis.means:
        return None
    x = Scale(low, high, _LEFT, _RIGHT)
    bottom = _TOP + _ROW * len(analysis.means)
    parts = [label(4, 12, said.title, "axis-title")]
    for value in ticks(low, high):
        parts.append(el("line", x1=x(value), x2=x(value), y1=_TOP, y2=bottom, class_="grid"))
        parts.append(label(x(value), bottom + 14, voice.number(value, 2), "lab", "middle"))
    for number, mean in enumerate(analysis.means):
        y = _TOP + _ROW * (number + 0.5)
        parts.append(label(_LEFT - 6, y + 4, short_name(mean.treatment), "lab", "end"))
        ends = [x(min(max(end, low), high)) for end in (mean.low, mean.high) if end == end]  # noqa: PLR0124
        if len(ends) == 2:
            parts.append(
                el("line", x1=ends[0], x2=ends[1], y1=y, y2=y, class_="whisker",
                   stroke_dasharray="2 3" if mean.bound else None)
            )  # fmt: skip
        if math.isfinite(mean.mean):
            parts.append(el("circle", cx=x(mean.mean), cy=y, r=4.0, class_="dot"))
        parts.append(label(_RIGHT + 6, y + 4, mean.letters, "lab"))
    desc = voice.say("trial_result.figure")
    key = f"means-{said.key}"
    svg = drawing(key, said.title, desc, bottom + 20, *parts)
    return Chart(key, said.title, desc, svg, said.columns, said.rows)


def short_name(name: str) -> str:
    """A name that fits beside the plot."""
    return name if len(name) <= _NAME_LETTERS else f"{name[: _NAME_LETTERS - 1]}…"


def span_of(means: Sequence[AdjustedMean], least: float, most: float) -> tuple[float, float]:
    """The ends of the axis: all ranges, from zero or the scale's lowest, to round numbers."""
    known = [v for m in means for v in (m.low, m.mean, m.high) if math.isfinite(v)]
    low, high = min([*known, least]), max([*known, least])
    high = min(high * 1.02, most) if high <= most else high
    return (low, high) if high > low else (low, low + 1.0)

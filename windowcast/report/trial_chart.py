"""Charts of trials: values within their ranges, a row each, and control by what may explain it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from textwrap import wrap

from windowcast.core.phrase import Name
from windowcast.records.trials import TrialResult
from windowcast.report.catalogue import Voice
from windowcast.report.chartkit import (
    LINE,
    WIDTH,
    Chart,
    Scale,
    drawing,
    el,
    label,
    px,
    short,
    ticks,
)
from windowcast.report.trial_results import Analysed, RoundSaid, round_said
from windowcast.trials.model import AdjustedMean
from windowcast.trials.timing_and_control import Relation

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


_LEFT, _RIGHT = 112.0, 348.0
_PLOT_LEFT, _PLOT_TOP, _PLOT = 44.0, 24.0, 170.0


def control_chart(result: TrialResult, key: str, voice: Voice) -> Chart | None:
    """Percent control of each treatment with its 95 % interval; None without an untreated check."""
    if not result.controls:
        return None
    lows = [c.low for c in result.controls.values() if c.low is not None]
    x = Scale(max(-100.0, min([0.0, *lows])), 100.0, _LEFT, _RIGHT)
    ranges, rows = [], []
    for name, control in result.controls.items():
        low = x.low if control.low is None else control.low
        high = x.high if control.high is None else control.high
        known = control.low is not None and control.high is not None
        ranges.append(Ranged(name, control.percent, low, high, dotted=not known))
        shares = (control.percent, control.low, control.high)
        cells = (_cell(share, voice) for share in shares)
        rows.append((name, *cells, str(control.plots), control.method))
    parts, bottom = ranged_rows(voice.say("chart.control_axis"), x, ranges, voice)
    trial, measure = Name(result.trial), Name(result.measure)
    title = voice.say(
        "chart.trial_control", trial=trial, measure=measure, date=Name(str(result.date))
    )
    desc = voice.say("chart.trial_described")
    heads = ("treatment", "control", "low", "high", "plots", "method")
    return Chart(
        key,
        title,
        desc,
        drawing(key, title, desc, bottom, *parts),
        tuple(voice.say(f"column.{head}") for head in heads),
        tuple(rows),
    )


def relation_chart(relation: Relation, key: str, voice: Voice) -> Chart | None:
    """Control against one explanation, a point for each application; None without points."""
    if not relation.points:
        return None
    across = [a for a, _ in relation.points]
    margin = max((max(across) - min(across)) * 0.08, 0.5)
    x = Scale(min(across) - margin, max(across) + margin, _PLOT_LEFT, _RIGHT)
    floor = min(0.0, *(b for _, b in relation.points))
    y = Scale(floor, 100.0, _PLOT_TOP + _PLOT, _PLOT_TOP)
    parts = [label(4, 12, voice.say("chart.control"), "axis-title")]
    for value in ticks(y.low, y.high):
        line = el("line", x1=_PLOT_LEFT, x2=_RIGHT, y1=y(value), y2=y(value), class_="grid")
        parts += [line, label(_PLOT_LEFT - 4, y(value) + 4, f"{value:g}", "lab", "end")]
    for value in ticks(x.low, x.high):
        parts.append(label(x(value), y.start + 15, f"{value:g}", "lab", "middle"))
    explanation, said = (voice.text(p) for p in (relation.explanation, relation.text))
    parts.append(label(WIDTH / 2, y.start + 31, explanation, "axis-title", "middle"))
    if relation.slope is not None:
        parts.append(el("path", d=_line(relation, x, y), class_="line other"))
    parts += [el("circle", cx=x(a), cy=y(b), r=4.0, class_="dot") for a, b in relation.points]
    title = voice.say("chart.control_and", explanation=relation.explanation)
    return Chart(
        key,
        title,
        said,
        drawing(key, title, said, y.start + 38, *parts),
        (explanation, voice.say("column.control")),
        tuple((f"{a:.1f}", f"{b:.1f}") for a, b in relation.points),
    )


def _line(relation: Relation, x: Scale, y: Scale) -> str:
    """The fitted line through the means, cut at the plot's floor and ceiling."""
    assert relation.per_unit is not None
    n = len(relation.points)
    mean_x = sum(a for a, _ in relation.points) / n
    mean_y = sum(b for _, b in relation.points) / n
    ends = []
    for at in (min(a for a, _ in relation.points), max(a for a, _ in relation.points)):
        value = mean_y + relation.per_unit * (at - mean_x)
        ends.append(f"{px(x(at))} {px(y(min(max(value, y.low), y.high)))}")
    return f"M{ends[0]}L{ends[1]}"


def _cell(value: float | None, voice: Voice) -> str:
    return voice.say("fact.not_known") if value is None else f"{value:.1f}".replace("-", "−")


_LETTERS_FROM = 326.0  # where the letters of the means begin


def said_and_drawn(
    rounds: Sequence[Analysed], voice: Voice
) -> list[tuple[RoundSaid, Chart | None]]:
    """Every round in words and as a figure."""
    said = [round_said(found, analysis, voice) for found, analysis in rounds]
    return [(s, means_chart(r, s, voice)) for r, s in zip(rounds, said, strict=True)]


def means_chart(result: Analysed, said: RoundSaid, voice: Voice) -> Chart | None:
    """Means with their ranges, a row for each treatment; None where there are none."""
    found, analysis = result
    if not analysis.means:
        return None
    ends = span_of(analysis.means, found.options.low, found.options.high)
    x = Scale(*ends, _LEFT, _LETTERS_FROM)
    ranges = [
        Ranged(m.treatment, m.mean, m.low, m.high, dotted=m.bound, mark=m.letters)
        for m in analysis.means
    ]
    parts, height = ranged_rows(said.title, x, ranges, voice)
    desc = voice.say("trial_result.figure")
    key = f"means-{said.key}"
    svg = drawing(key, said.title, desc, height, *parts)
    return Chart(key, said.title, desc, svg, said.columns, said.rows)


def span_of(means: Sequence[AdjustedMean], least: float, most: float) -> tuple[float, float]:
    """The ends of the axis: all ranges, from zero or the scale's lowest, to round numbers."""
    known = [v for m in means for v in (m.low, m.mean, m.high) if math.isfinite(v)]
    low, high = min([*known, least]), max([*known, least])
    high = min(high * 1.02, most) if high <= most else high
    return (low, high) if high > low else (low, low + 1.0)

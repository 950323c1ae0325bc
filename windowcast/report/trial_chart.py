"""Charts of trials: percent control with its interval, and control against what may explain it."""

from __future__ import annotations

from windowcast.core.phrase import Name
from windowcast.records.trials import TrialResult
from windowcast.report.catalogue import Voice
from windowcast.report.chartkit import WIDTH, Chart, Scale, drawing, el, label, px, ticks
from windowcast.report.ranged_rows import Ranged, ranged_rows
from windowcast.trials.timing_and_control import Relation

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

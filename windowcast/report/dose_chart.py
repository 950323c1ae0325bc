"""Dose and response drawn: a mark for each value, a line for each curve."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from windowcast.core.phrase import Name, say
from windowcast.core.record import FloatArray
from windowcast.records.dose_trials import Dosed
from windowcast.report.catalogue import Voice
from windowcast.report.chartkit import (
    WIDTH,
    Chart,
    Scale,
    drawing,
    el,
    label,
    line_path,
    px,
    short,
    ticks,
)
from windowcast.report.measures import MEASURES
from windowcast.report.trial_dose import (
    SI_DOSE,
    DoseSaid,
    dose_said,
    population_phrase,
)
from windowcast.report.trial_results import round_title
from windowcast.trials.dose_populations import DoseFindings
from windowcast.trials.dose_response import DoseCurve
from windowcast.trials.dose_table import DoseTable

_LEFT, _RIGHT, _TOP, _PLOT = 44.0, 348.0, 24.0, 190.0
_LETTERS = 56  # that fit across the drawing
_ROW, _STEPS, _MARK = 17.0, 120, 3.6
_DASHES = (None, "7 3", "2 3", "8 3 2 3")
_TICKS = (1.0, 2.0, 5.0)
_MOST_TICKS = 6


def doses_drawn(dosed: Sequence[Dosed], voice: Voice) -> list[tuple[DoseSaid, Chart]]:
    """The curves of every round of a trial, in words and as a figure."""
    drawn = []
    for each, table, found in dosed:
        said = dose_said(each.key, round_title(each), table, found, voice)
        drawn.append((said, dose_chart(said, table, found, voice)))
    return drawn


def dose_axis(table: DoseTable, voice: Voice) -> tuple[float, str]:
    """From a dose of the table to the axis, and what the axis is called."""
    unit, factor = table.unit, 1.0
    if unit == SI_DOSE:
        row = MEASURES["dose"][voice.units]
        unit, factor = row.unit, row.factor
    if not unit:
        return factor, voice.say("trial_dose.axis")
    return factor, voice.write(say("trial_dose.axis_unit", unit=Name(unit)))


def dose_chart(said: DoseSaid, table: DoseTable, found: DoseFindings, voice: Voice) -> Chart:
    """The curves with their values."""
    factor, axis = dose_axis(table, voice)
    least, most = dose_ends(found)
    x = Scale(math.log(least / 1.6), math.log(most * 1.1), _LEFT + 24, _RIGHT)
    y = _response_scale(found)
    parts = [label(4, 12, short(said.response, _LETTERS), "axis-title")]
    for value in ticks(y.low, y.high):
        line = el("line", x1=_LEFT, x2=_RIGHT, y1=y(value), y2=y(value), class_="grid")
        parts += [line, label(_LEFT - 4, y(value) + 4, voice.number(value, 2), "lab", "end")]
    foot = y.start + 15
    zero = any(0.0 in one.doses for one in found.populations)
    parts += [label(_LEFT + 8, foot, "0", "lab", "middle")] if zero else []
    for dose in dose_ticks(least * factor, most * factor):
        at = x(math.log(dose / factor))
        parts.append(label(at, foot, voice.number(dose, 4), "lab", "middle"))
    parts.append(label(WIDTH / 2, y.start + 31, axis, "axis-title", "middle"))
    legend = []
    for n, one in enumerate(found.populations):
        dash = _DASHES[n % len(_DASHES)]
        if one.curve is not None:
            across = drawn_at(one.curve)
            where = np.array([x(math.log(dose)) for dose in across.tolist()])
            path = line_path(where, np.array([y(v) for v in one.curve.response(across).tolist()]))
            parts.append(el("path", d=path, class_="line now", stroke_dasharray=dash))
        for dose, response in zip(one.doses, one.responses, strict=True):
            at = x(math.log(dose)) if dose > 0 else _LEFT + 8
            parts.append(_mark(n, at, y(response)))
        level = y.start + 31 + _ROW * (n + 1)
        if one.curve is not None:
            legend.append(
                el("line", x1=_LEFT, x2=_LEFT + 28, y1=level - 4, y2=level - 4, class_="line now",
                   stroke_dasharray=dash)
            )  # fmt: skip
        legend.append(_mark(n, _LEFT + 14, level - 4))
        name = voice.write(population_phrase(one.name, table))
        legend.append(label(_LEFT + 36, level, name, "lab"))
    height = y.start + 38 + _ROW * len(found.populations)
    desc = voice.say("trial_dose.figure")
    key = f"dose-{said.key}"
    svg = drawing(key, said.title, desc, height, *parts, *legend)
    return Chart(key, said.title, desc, svg, said.columns, said.rows)


def drawn_at(curve: DoseCurve) -> FloatArray:
    """Doses at which a curve is drawn: nowhere above what was tested."""
    doses: FloatArray = np.geomspace(curve.least / 1.3, curve.most, _STEPS)
    return doses


def dose_ends(found: DoseFindings) -> tuple[float, float]:
    """The lowest dose above zero and the highest of all populations."""
    every = [dose for one in found.populations for dose in one.doses if dose > 0]
    return (min(every), max(every)) if every else (1.0, 10.0)


def _response_scale(found: DoseFindings) -> Scale:
    values = [v for one in found.populations for v in one.responses]
    ends = [e for curve in found.curves.values() for e in (curve.low, curve.high)]
    low, high = min([0.0, *values]), max(values)
    inside = [e for e in ends if low - (high - low) / 4 < e < high + (high - low) / 4]
    low, high = min([low, *inside]), max([high, *inside])
    return Scale(low, high if high > low else low + 1.0, _TOP + _PLOT, _TOP)


def dose_ticks(least: float, most: float) -> list[float]:
    """Round doses on a scale of logarithms: each power of ten, with 2 and 5 where there is room."""
    powers = range(math.floor(math.log10(least)), math.ceil(math.log10(most)) + 1)
    for steps in (_TICKS, (1.0,)):
        every = [step * 10.0**power for power in powers for step in steps]
        found = [dose for dose in every if least * 0.999 <= dose <= most * 1.001]
        if len(found) <= _MOST_TICKS:
            break
    return found


def _mark(number: int, x: float, y: float) -> str:
    """A mark whose shape tells a population."""
    r = _MARK
    corners: tuple[tuple[float, float], ...]
    match number % 4:
        case 0:
            return el("circle", cx=x, cy=y, r=r, class_="dot")
        case 1:
            return el("rect", x=x - r, y=y - r, width=2 * r, height=2 * r, class_="dot")
        case 2:
            corners = ((0.0, -1.3), (1.2, 1.0), (-1.2, 1.0))
        case _:
            corners = ((0.0, -1.4), (1.4, 0.0), (0.0, 1.4), (-1.4, 0.0))
    points = "L".join(f"{px(x + r * a)} {px(y + r * b)}" for a, b in corners)
    return el("path", d=f"M{points}Z", class_="dot")

"""Figures of a trial: means of the treatments with their ranges and letters."""

from __future__ import annotations

import math
from collections.abc import Sequence

from windowcast.report.catalogue import Voice
from windowcast.report.chartkit import Chart, Scale, drawing
from windowcast.report.ranged_rows import Ranged, ranged_rows
from windowcast.report.trial_results import Analysed, RoundSaid, round_said
from windowcast.trials.model import AdjustedMean

_LEFT, _RIGHT = 112.0, 326.0


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
    x = Scale(*span_of(analysis.means, found.options.low, found.options.high), _LEFT, _RIGHT)
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

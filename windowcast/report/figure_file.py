"""Drawings as files of their own: an SVG that carries its style and stands without a page."""

from __future__ import annotations

import re
from collections.abc import Sequence

from windowcast.report.chartkit import el

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

"""The reliability diagram of a verification, as an SVG file that stands by itself."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from typing import Protocol

from windowcast.report.catalogue import Voice
from windowcast.report.chartkit import el, label

SIDE, LEFT, TOP, HEIGHT = 280.0, 60.0, 40.0, 460.0
_STYLE = (
    "text{font:12px sans-serif;fill:#222}.grid{stroke:#ddd}.ideal{stroke:#888;stroke-dasharray:5 4}"
    ".seen{fill:none;stroke:#14532d;stroke-width:2}.dot{fill:#14532d}.bar{fill:#9aa}"
)


class ReliabilityRow(Protocol):
    """One line of a reliability table."""

    @property
    def said(self) -> float:
        """Mean odds given."""

    @property
    def came(self) -> float:
        """Share that came true."""

    @property
    def count(self) -> int:
        """How often odds in this range were given."""


def reliability_svg(table: Sequence[ReliabilityRow], title: str, voice: Voice) -> str:
    """Observed share against the odds given, with how often each was given below.

    Parameters
    ----------
    table
        Lines with mean odds, observed share and count; at least one.
    """
    parts = [label(LEFT, 20, title)]

    def x(share: float) -> float:
        return LEFT + SIDE * share

    def y(share: float) -> float:
        return TOP + SIDE * (1 - share)

    for tenth in range(0, 11, 2):
        share = tenth / 10
        words = f"{100 * share:.0f} %"
        parts += [
            el("line", x1=x(0), x2=x(1), y1=y(share), y2=y(share), class_="grid"),
            el("line", x1=x(share), x2=x(share), y1=y(0), y2=y(1), class_="grid"),
            label(x(0) - 6, y(share) + 4, words, anchor="end"),
            label(x(share), y(0) + 16, words, anchor="middle"),
        ]
    parts.append(el("line", x1=x(0), x2=x(1), y1=y(0), y2=y(1), class_="ideal"))
    points = [(x(line.said), y(line.came)) for line in table]
    path = " ".join(f"{px:.1f},{py:.1f}" for px, py in points)
    parts.append(el("polyline", points=path, class_="seen"))
    parts += [el("circle", cx=px, cy=py, r=4, class_="dot") for px, py in points]
    most, base = max(line.count for line in table), HEIGHT - 20
    for line in table:
        tall = 60 * line.count / most
        bar = {"x": x(line.said) - 8, "y": base - tall, "width": 16, "height": tall}
        parts.append(el("rect", el("title", escape(f"n = {line.count}")), **bar, class_="bar"))
    parts += [
        label(x(0.5), y(0) + 34, voice.say("reliability.given"), anchor="middle"),
        label(LEFT, base + 14, voice.say("reliability.often", most=most)),
        label(12, TOP - 6, voice.say("reliability.true")),
    ]
    width = LEFT + SIDE + 40
    return el(
        "svg",
        el("title", escape(title)),
        f"<style>{_STYLE}</style>",
        *parts,
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {width:.0f} {HEIGHT:.0f}",
        width=f"{width:.0f}",
        height=f"{HEIGHT:.0f}",
        role="img",
    )

"""Draw ``docs/soil_skill.svg`` from ``docs/soil_skill.json`` (written by ``fit_soil.py``).

python benchmarks/chart_soil.py
"""

from __future__ import annotations

import json
from pathlib import Path

from windowcast.core.atomic_files import write_atomic
from windowcast.report.chartkit import el, label

DOCS = Path(__file__).parents[1] / "docs"
LEFT, RIGHT, ROW, BAR = 178.0, 700.0, 44.0, 15.0
TOP = 74.0
STYLE = (
    "text{font:13px system-ui,sans-serif;fill:#1f2a1f}.h{font-size:16px;font-weight:600}"
    ".s{fill:#556055;font-size:12px}.a{fill:#2f6b4f}.b{fill:#c98a2b}.n{font-size:12px}"
    ".g{stroke:#d8ddd6}.t{stroke:#8a3324;stroke-dasharray:4 3}"
)


def main() -> None:
    skill = json.loads((DOCS / "soil_skill.json").read_text("utf-8"))
    names = list(skill["all"])
    widest = max(*skill["all"].values(), *skill["south_east"].values())
    scale = (RIGHT - LEFT - 40) / widest
    east = sum(s["south_east"] for s in skill["stations"].values())
    bottom = TOP + ROW * len(names)
    groups = (
        ("all", "a", f"all {len(skill['stations'])} stations"),
        ("south_east", "b", f"{east} in the south-east and transition zone"),
    )
    parts = [
        el("style", STYLE),
        el("rect", width=RIGHT + 20, height=bottom + 44, fill="#fff"),
        label(16, 26, "Error of the daily soil temperature at 5 cm, September to April", "h"),
        label(
            16,
            46,
            "Root mean square error, K, on stations left out of the fit, from daily highs, lows "
            "and rain; no probe reading given",
            "s",
        ),
    ]
    for tick in range(int(widest) + 1):
        x = LEFT + tick * scale
        parts.append(el("line", x1=x, x2=x, y1=TOP - 8, y2=bottom, class_="g"))
        parts.append(label(x, bottom + 14, str(tick), "s", "middle"))
    for i, name in enumerate(names):
        y = TOP + i * ROW
        parts.append(label(LEFT - 8, y + BAR + 4, name, "lab", "end"))
        for j, (key, style, _) in enumerate(groups):
            value = skill[key][name]
            top = y + j * (BAR + 2)
            parts.append(el("rect", x=LEFT, y=top, width=value * scale, height=BAR, class_=style))
            parts.append(label(LEFT + value * scale + 5, top + BAR - 3, f"{value:.2f}", "n"))
    for j, (_, style, words) in enumerate(groups):
        x = LEFT + j * 170
        parts.append(el("rect", x=x, y=bottom + 24, width=12.0, height=12.0, class_=style))
        parts.append(label(x + 17, bottom + 34, words, "s"))
    title = "Soil temperature: windowcast against simpler estimates"
    svg = el(
        "svg",
        el("title", title),
        *parts,
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {RIGHT + 20:.0f} {bottom + 44:.0f}",
        role="img",
    )
    write_atomic(DOCS / "soil_skill.svg", svg + "\n")


if __name__ == "__main__":
    main()

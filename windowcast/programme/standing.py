"""Where the season stands, in sentences."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from windowcast.core.values import load
from windowcast.programme.model import KeyDate, PurposePlan
from windowcast.season.model import TurfPhase
from windowcast.windows.odds import DateRange
from windowcast.windows.season_axis import SeasonAxis
from windowcast.windows.words import sentence

WORTH_SAYING = 0.005  # share of a weed up
_PHASES = {
    TurfPhase.GROWING: "growing",
    TurfPhase.HARDENING: "hardening off",
    TurfPhase.DORMANT: "dormant",
    TurfPhase.GREENING: "greening up",
}


def standing(
    axis: SeasonAxis, dates: Sequence[KeyDate], purposes: Sequence[PurposePlan]
) -> tuple[str, ...]:
    """A few sentences: soil and turf yesterday, weeds up, what is open, what comes next."""
    lines = []
    spring = load("plan").number("spring_from")
    if axis.gone:
        day = axis.gone - 1
        soil = float(axis.state.soil_5cm_c[0, day])
        phase = _PHASES.get(TurfPhase(int(axis.state.turf.phase[0, day])))
        facts = []
        if np.isfinite(soil):
            facts.append(f"the soil at 5 cm was {soil:.1f} °C")
        if phase:
            facts.append(f"the turf is {phase}")
        for weed in axis.state.emergence.values():
            share = float(weed.share[0, day])
            rest_of_last = weed.season == "spring" and axis.number[day] < spring
            if share >= WORTH_SAYING and not rest_of_last:
                facts.append(f"{100 * share:.0f} % of the season's {weed.name} is up")
        lines.append(sentence(f"yesterday {', '.join(facts)}") if facts else "")
    for words, titles in (
        ("open", [p.title.lower() for p in purposes if p.status == "open" and p.opened]),
        (
            "about to open",
            [p.title.lower() for p in purposes if p.status == "open" and not p.opened],
        ),
    ):
        lines.append(sentence(f"{words}: {', '.join(titles)}") if titles else "")
    today = axis.dates[axis.gone].astype("datetime64[D]").astype(object)
    ahead = [
        (d.ahead, d)
        for d in dates
        if d.ahead is not None and d.ahead.median is not None and d.ahead.median >= today
    ]
    coming = sorted(ahead, key=lambda pair: str(pair[0].median))[:2]
    for when, key in coming:
        lines.append(sentence(f"next: {key.label}, {dated(when)}"))
    return tuple(line for line in lines if line)


def dated(when: DateRange | None) -> str:
    """``about 5 Apr (10 to 90 %: 15 Mar to 15 Apr)``."""
    if when is None:
        return "cannot be told"
    if when.median is None:
        return f"not in {100 * when.never:.0f} % of the futures"
    text = f"about {when.median.day} {when.median:%b}"
    if when.early is None or when.early == when.late:
        return text
    late = f"{when.late.day} {when.late:%b}" if when.late else "never"
    return f"{text} (10 to 90 %: {when.early.day} {when.early:%b} to {late})"

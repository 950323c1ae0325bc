"""What to expect of an application by what is known of its actives: when to look, and how much."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from windowcast.core.values import Value
from windowcast.materials.actives import Active
from windowcast.records.facts import Fact
from windowcast.records.model import Application


def expected_of(application: Application, members: Sequence[Active]) -> tuple[Fact, ...]:
    """When the effect of each active shows, and the control it gave in trials on dormant turf.

    Nothing where no source says. Control is given for a clean-up in dormancy alone: the trials
    are of no other.
    """
    facts = []
    for active in members:
        weeks, control = active.effect_weeks, active.dormant_control_pct
        if weeks is not None:
            facts.append(_effect(application.date, active.name, weeks))
        if control is not None and application.purpose == "dormant":
            facts.append(_control(active.name, control))
    return tuple(facts)


def _effect(date: dt.date, name: str, weeks: Value) -> Fact:
    first, last = weeks.ends
    ends = (date + dt.timedelta(days=round(7 * number)) for number in (first, last))
    days = [f"{end:%a} {end.day} {end:%b}" for end in ends]
    span = f"{first:g} to {last:g} weeks" if first < last else f"{first:g} weeks"
    text = f"{' to '.join(dict.fromkeys(days))} ({span} after)"
    return Fact(
        f"effect_{name}", f"look for the effect of {name}", float(weeks), "weeks", text,
        f"{weeks.status}: {weeks.source}",
    )  # fmt: skip


def _control(name: str, control: Value) -> Fact:
    first, last = control.ends
    text = f"{first:g} to {last:g} % control" if first < last else f"{first:g} % control"
    text += f", {control.note}" if control.note else ""
    return Fact(
        f"control_{name}", f"{name} in trials on dormant turf", float(control), "%", text,
        f"{control.status}: {control.source}",
    )  # fmt: skip

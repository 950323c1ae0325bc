"""What to expect of an application by what is known of its actives: when to look, and how much."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from windowcast.core.phrase import Name, Phrase, Share, say
from windowcast.core.values import Value
from windowcast.materials.actives import Active
from windowcast.records.conditions import Fact
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
    ends = [date + dt.timedelta(days=round(7 * number)) for number in (first, last)]
    text = say("fact.effect_at", day=ends[0], weeks=first)
    if first < last:
        text = say(
            "fact.effect_between", first=ends[0], last=ends[1], from_weeks=first, to_weeks=last
        )
    label = say("fact.look_for", active=Name(name))
    return Fact(f"effect_{name}", label, float(weeks), "weeks", text, _cited(weeks))


def _control(name: str, control: Value) -> Fact:
    first, last = (Share(end / 100) for end in control.ends)
    text = say("fact.control", share=first)
    if first != last:
        text = say("fact.control_between", first=first, last=last)
    if control.note:
        text = say("fact.with_note", fact=text, note=Name(control.note))
    label = say("fact.in_trials", active=Name(name))
    return Fact(f"control_{name}", label, float(control), "%", text, _cited(control))


def _cited(value: Value) -> Phrase:
    return say("origin.cited", status=Name(value.status), source=Name(value.source))

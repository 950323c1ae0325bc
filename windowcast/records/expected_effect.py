"""What to expect of an application, when to look, and what that says of the outcome."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import replace

from windowcast.core.phrase import NOTHING, Name, Noted, Phrase, Share, names, say
from windowcast.core.phrase import Value as Said
from windowcast.core.values import Table, Value
from windowcast.materials.actives import Active
from windowcast.materials.efficacy import rate_share_of
from windowcast.records.conditions import Fact
from windowcast.records.evidence import Evidence
from windowcast.records.model import Application
from windowcast.windows.trials import Met, said_of

YOUNG_BBCH = 12.0  # of the plants that an outcome is compared with: two leaves


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
    return say("origin.cited", status=Noted(value.status), source=Noted(value.source))


def met_by(
    application: Application, evidence: Evidence, weeds: Sequence[str], efficacy: Table
) -> Met:
    """What an application met: the weeds it was aimed at, with their stage, and the air."""
    target = application.target
    aimed = [target] if target else list(weeds)
    if evidence.pre:
        return Met(dict.fromkeys(aimed, 0.0), "pre", evidence.air_c, efficacy)
    return Met(dict.fromkeys(aimed, evidence.stage), "post", evidence.air_c, efficacy)


def rate_of(application: Application, evidence: Evidence, efficacy: Table) -> float | None:
    """The lowest rate of the tank as a share of the full one, by the own label or by trials."""
    if not math.isnan(evidence.rate_share):
        return evidence.rate_share
    shares = [rate_share_of(m.active, m.rate_kg_ha, efficacy) for m in application.materials]
    known = [share for share in shares if share is not None]
    return min(known) if known and len(known) == len(shares) else None


def by_trials(
    met: Met, actives: Sequence[str], rate: float | None, *, acceptable: float, poor: bool
) -> tuple[tuple[Fact, ...], Phrase]:
    """What trials let expect of an application, and what that says of a poor outcome.

    Parameters
    ----------
    acceptable
        Share of the weeds gone from which an application worked.
    poor
        Whether it worked only in part or not at all.

    Returns
    -------
    tuple
        Facts, one for the weed that is hardest to control; and a sentence on whether timing or the
        active was the reason. Empty where no trial is at hand.
    """
    trials = met.by(actives, rate)
    if not trials:
        return (), NOTHING
    worst = min(trials, key=lambda trial: trial.middle)
    fact = Fact(
        "expected_control",
        say("fact.by_trials"),
        100 * worst.middle,
        "%",
        say("fact.expected", **said_of(worst)),
        say("origin.cited", status=Noted("our fit"), source=Noted(worst.source)),
    )
    if not poor:
        return (fact,), NOTHING
    said: dict[str, Said] = {
        "actives": names(*actives, join="plus"),
        "expected": Share(worst.middle),
    }
    if worst.middle >= acceptable:
        return (fact,), say("review.expected_more", **said)
    ideal = replace(met, stages_bbch={worst.weed: min(YOUNG_BBCH, _known(met, worst.weed))})
    (best,) = replace(ideal, air_c=math.inf).by(actives)
    if best.middle >= acceptable:
        return (fact,), say("review.expected_earlier", best=Share(best.middle), **said)
    return (fact,), say("review.expected_never", best=Share(best.middle), **said)


def _known(met: Met, weed: str) -> float:
    stage = met.stages_bbch[weed]
    return math.inf if stage is None or math.isnan(stage) else stage

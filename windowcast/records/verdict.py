"""The verdict on one application: did it work, why most likely not, and what to do next.

Causes come from `windowcast.records.causes`, which also states the rules for how likely each is.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from windowcast.core.phrase import NOTHING, Phrase, joined, say
from windowcast.core.values import PACKAGED, Tables
from windowcast.records.causes import Cause, causes_of, is_bad
from windowcast.records.evidence import Evidence
from windowcast.records.looks import Level, SeenAfter

Outcome = Literal["worked", "partly", "failed", "not known yet", "cannot tell"]


@dataclass(frozen=True, slots=True)
class Verdict:
    """What to think of an application.

    Attributes
    ----------
    sentence
        The whole verdict in a sentence or two.
    look_from, look_until
        When weeds on the ground tell what it did.
    seen
        What was looked at, in order of time.
    causes
        Most likely first.
    harm
        Injury of the turf that was rated.
    next_steps
        What to do now and next time.
    """

    outcome: Outcome
    sentence: Phrase
    look_from: dt.date
    look_until: dt.date
    seen: tuple[Phrase, ...]
    causes: tuple[Cause, ...]
    harm: tuple[Phrase, ...]
    next_steps: tuple[Phrase, ...]


def outcome_of(seen: SeenAfter, today: dt.date) -> Outcome:
    """Whether it worked, by the last look that decides."""
    deciding = seen.deciding
    if deciding is not None:
        return _OUTCOMES[deciding.level or "partly"]
    return "not known yet" if today <= seen.last else "cannot tell"


_OUTCOMES: dict[Level, Outcome] = {"worked": "worked", "partly": "partly", "failed": "failed"}


def verdict_of(
    seen: SeenAfter,
    evidence: Evidence | None,
    *,
    it: Phrase,
    today: dt.date,
    tables: Tables = PACKAGED,
    outcome_only: bool = False,
) -> Verdict:
    """The verdict.

    Parameters
    ----------
    evidence
        None where nothing is known of the actives or of the weather then.
    it
        What was applied, in words of the trade: ``fall pre-emergent of 14 Sep``.
    today
        Day on which it is asked.
    outcome_only
        Nobody asked why: then nothing is said of causes.
    """
    outcome = outcome_of(seen, today)
    causes = () if evidence is None else causes_of(evidence, seen, tables)
    bad = outcome in ("failed", "partly")
    resistance = next((c for c in causes if c.name == "resistance"), None)
    first = _sentence(outcome, seen, causes, it=it, today=today)
    if bad and outcome_only:
        first = say("verdict.bare", it=it, how=_how(outcome))
    second = _on_resistance(resistance, seen) if bad and resistance is not None else NOTHING
    return Verdict(
        outcome=outcome,
        sentence=say("verdict.whole", parts=joined(first, second, join="sentences")),
        look_from=seen.first,
        look_until=seen.last,
        seen=tuple(look.text for look in seen.looks),
        causes=causes,
        harm=seen.harm,
        next_steps=_next_steps(outcome, seen, causes, today),
    )


def _sentence(
    outcome: Outcome,
    seen: SeenAfter,
    causes: Sequence[Cause],
    *,
    it: Phrase,
    today: dt.date,
) -> Phrase:
    if outcome == "not known yet":
        if today < seen.first:
            return say("verdict.not_yet", it=it, look=seen.first)
        return say("verdict.look_now", it=it, until=seen.last)
    if outcome == "cannot tell":
        return say("verdict.not_looked", it=it)
    deciding = seen.deciding
    assert deciding is not None
    if outcome == "worked":
        return say("verdict.worked", it=it, seen=deciding.text)
    how = _how(outcome)
    likely = [c.because for c in causes if c.strength == "likely"]
    possible = [c.because for c in causes if c.strength == "possible" and c.name != "resistance"]
    if likely:
        return say("verdict.likely", it=it, how=how, causes=joined(*likely))
    if possible:
        return say("verdict.possible", it=it, how=how, causes=joined(*possible, join="or"))
    if any(c.strength == "cannot tell" for c in causes if c.name != "resistance") or not causes:
        return say("verdict.no_reason_known", it=it, how=how)
    return say("verdict.nothing_explains", it=it, how=how)


def _how(outcome: Outcome) -> Phrase:
    return say("verdict.failed" if outcome == "failed" else "verdict.partly")


def _on_resistance(cause: Cause, seen: SeenAfter) -> Phrase:
    check = NOTHING if seen.checked else say("verdict.no_check")
    if cause.strength == "possible":
        return say("verdict.resistance.possible", check=check)
    if cause.strength == "cannot tell" and seen.survivors_mixed:
        return say("verdict.resistance.open", check=check)
    return say("verdict.resistance.not_shown" if seen.checked else "verdict.resistance.no_check")


def _next_steps(
    outcome: Outcome, seen: SeenAfter, causes: Sequence[Cause], today: dt.date
) -> tuple[Phrase, ...]:
    if outcome == "not known yet":
        look = max(seen.first, today)
        return (say("verdict.next.look", day=look, until=seen.last), say("verdict.next.check"))
    if outcome == "cannot tell":
        return (say("verdict.next.log"), say("verdict.next.check"))
    if outcome == "worked":
        return () if seen.checked else (say("verdict.next.check"),)
    steps = [c.remedy for c in causes if is_bad(c.strength) and c.remedy]
    if not steps:
        asked = [u for c in causes if c.strength == "cannot tell" for u in c.unknown]
        steps = [say("verdict.next.find_out", what=joined(*asked[:2], join="clauses"))] * bool(
            asked
        )
    if not seen.checked:
        steps.append(say("verdict.next.check"))
    return tuple(dict.fromkeys(steps))

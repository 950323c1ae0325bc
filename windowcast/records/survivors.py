"""Notes of survivors, each judged against the last application before it on its ground."""

from __future__ import annotations

import datetime as dt
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, replace

from windowcast.core.phrase import joined, say
from windowcast.materials.actives import Actives
from windowcast.materials.rotation import Suspicion, Use, suspect_resistance
from windowcast.records.looks import places_of
from windowcast.records.model import FieldNote
from windowcast.records.observations import uses_in
from windowcast.records.reviewed import ReviewedApplication


@dataclass(frozen=True)
class Suspected:
    """A field note of survivors, with the application it follows."""

    date: dt.date
    where: str
    weed: str
    application: str  # id
    suspicion: Suspicion


def suspected_in(
    reviewed: Sequence[ReviewedApplication],
    uses: Sequence[Use],
    notes: Sequence[FieldNote],
    materials: Actives,
    southern: bool,
) -> list[Suspected]:
    """Judge every note of survivors against the last application before it, there."""
    done: dict[str, list[ReviewedApplication]] = {}
    for item in reviewed:
        for place in places_of(item.application.where):
            done.setdefault(place, []).append(item)
    found = []
    for note in notes:
        if not note.survivors_mixed:
            continue
        places = places_of(note.where)
        lists = [reviewed] if places == ("",) else [done.get(p, []) for p in (*places, "")]
        starts = [bisect_left(those, note.date, key=_day_of) for those in lists]
        before = [those[at - 1] for those, at in zip(lists, starts, strict=True) if at]
        if not before:
            continue
        before.sort(key=lambda item: item.application.start)
        last = before[-1]
        (use,) = uses_in([last.application], materials, southern=southern) or (
            Use(last.application.date, "", last.application.purpose, (), ()),
        )
        suspicion = suspect_resistance(
            use, note.date, survivors_mixed=note.survivors_mixed, faults=last.faults
        )
        unknown = [j.label for j in last.scored.judged if j.score is None] if last.scored else []
        if suspicion.raised and unknown:  # what cannot be told does not make it a proper one
            at_fault = joined(*unknown, join="or")
            reason = say("suspicion.unless", reason=suspicion.reason, unknown=at_fault)
            suspicion = replace(suspicion, reason=reason)
        found.append(Suspected(note.date, note.where, note.weed, last.id, suspicion))
    return found


def _day_of(item: ReviewedApplication) -> dt.date:
    return item.application.date

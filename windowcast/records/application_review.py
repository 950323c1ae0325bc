"""Hindsight over one application: what it met, what it missed, and how it came out."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from windowcast.core.errors import InputError
from windowcast.core.phrase import Name, Phrase, say
from windowcast.core.site import Site
from windowcast.materials.actives import Active, Actives
from windowcast.materials.needs import needs_of
from windowcast.records.conditions import facts_of
from windowcast.records.evidence import Evidence, evidence_of, share_up
from windowcast.records.expected_effect import by_trials, expected_of, met_by, rate_of
from windowcast.records.ledger import Ledger, is_pre
from windowcast.records.looks import SeenAfter
from windowcast.records.model import Application
from windowcast.records.observations import uses_in
from windowcast.records.past_windows import PastSeason
from windowcast.records.reviewed import BETTER_BY, ReviewedApplication, faults_of, missed_by
from windowcast.records.stored import Stored
from windowcast.records.verdict import Verdict, verdict_of
from windowcast.season.model import SiteState
from windowcast.windows.hours import HourContext
from windowcast.windows.model import PURPOSES, PurposeName
from windowcast.windows.purposes import purpose_of


def outcome_only_of(
    stored: Stored[Application], materials: Actives, state: SiteState, ledger: Ledger
) -> ReviewedApplication:
    """An application of another season: whether it worked, and how many weeds were up."""
    application = stored.entry
    members = _members(application, materials, [])
    name = _purpose(application)
    seen = ledger.seen(application, members, pre=is_pre(application, members))
    return ReviewedApplication(
        id=stored.id,
        application=application,
        purpose_noted=name is not None,
        verdict=_verdict(application, name, seen, None, ledger, outcome_only=True),
        share_up=(
            math.nan
            if name is None
            else share_up(state, application, purpose_of(name, ledger.tables).weeds)
        ),
    )


def unreviewed(stored: Stored[Application], error: Exception) -> ReviewedApplication:
    """An application that cannot be reviewed, so that the others still are."""
    problem = say("review.problem", problem=Name(str(error) or type(error).__name__))
    return ReviewedApplication(
        id=stored.id,
        application=stored.entry,
        purpose_noted=bool(stored.entry.purpose),
        notes=(problem,),
    )


def reviewed_with(
    stored: Stored[Application],
    site: Site,
    materials: Actives,
    season: PastSeason | None,
    ledger: Ledger,
) -> ReviewedApplication:
    """An application beside the weather, the state and the windows of its season."""
    application = stored.entry
    notes: list[Phrase] = []
    members = _members(application, materials, notes)
    needs = needs_of(members, str(site.turf.species)) if members else None
    facts = expected_of(application, members)
    name = _purpose(application)
    if season is not None and not _inside(season.context, application, site):
        season = None
    if season is None:
        notes.append(say("review.no_record"))
    if season is None or needs is None:
        if season is not None:
            facts = (*facts_of(season.context, application, needs, name), *facts)
        seen = ledger.seen(application, members, pre=is_pre(application, members))
        return ReviewedApplication(
            id=stored.id,
            application=application,
            facts=facts,
            purpose_noted=name is not None,
            notes=tuple(notes),
            verdict=_verdict(application, name, seen, None, ledger),
        )
    context = season.context
    purpose: PurposeName = name or season.likeliest_purpose(application, needs, PURPOSES)
    facts = (*facts_of(context, application, needs, purpose), *facts)
    if name is None:
        notes.append(say("review.judged_as", purpose=Name(purpose)))
    scored = season.score(application, needs, purpose)
    better = [w for w in scored.windows if w.score >= scored.compared_score + BETTER_BY]
    seen = ledger.seen(application, members, pre=purpose_of(purpose).barrier)
    (use,) = uses_in([application], materials, southern=site.place.southern)
    evidence = evidence_of(
        context,
        application,
        members,
        needs,
        purpose=purpose,
        facts=facts,
        seen=seen,
        counts=ledger.counts_near(application),
        label_kg_ha=ledger.label_kg_ha,
        group_seasons=ledger.group_seasons(replace(use, purpose=purpose)),
    )
    efficacy = ledger.tables["efficacy"]
    weeds = [weed.weed for weed in context.ahead.weeds_of(purpose_of(purpose).weeds)]
    expected, why = by_trials(
        met_by(application, evidence, weeds, efficacy),
        [member.name for member in members],
        rate_of(application, evidence, efficacy),
        acceptable=ledger.tables["verdict"].number("control.worked") / 100,
        poor=seen.deciding is not None and seen.deciding.level != "worked",
    )
    notes += [why] if why else []
    return ReviewedApplication(
        id=stored.id,
        application=application,
        facts=(*facts, *expected),
        scored=scored,
        purpose_noted=name is not None,
        better_days=len(better),
        missed=missed_by(scored, application),
        faults=faults_of(scored, facts),
        notes=tuple(notes),
        verdict=_verdict(application, purpose, seen, evidence, ledger),
        share_up=evidence.up,
    )


def _purpose(application: Application) -> PurposeName | None:
    """What the log says it was for; None where it says nothing."""
    return next((name for name in PURPOSES if name == application.purpose), None)


def _verdict(
    application: Application,
    purpose: PurposeName | None,
    seen: SeenAfter,
    evidence: Evidence | None,
    ledger: Ledger,
    *,
    outcome_only: bool = False,
) -> Verdict:
    what, day = say(f"verdict.what.{purpose or 'application'}"), application.date
    it = say("verdict.it", what=what, day=day)
    if application.where:
        it = say("verdict.it_on", what=what, day=day, where=Name(application.where))
    return verdict_of(
        seen,
        evidence,
        it=it,
        today=ledger.today,
        tables=ledger.tables,
        outcome_only=outcome_only,
    )


def _members(application: Application, materials: Actives, notes: list[Phrase]) -> list[Active]:
    """The actives of an application that are known; a note for each that is not."""
    members = []
    for name in application.actives:
        try:
            members.append(materials[name])
        except InputError:
            notes.append(say("review.active_unknown", active=Name(name)))
    return members


def _inside(context: HourContext, application: Application, site: Site) -> bool:
    first, last = context.local[context.lead], context.local[-1]
    local = np.datetime64(application.start.astimezone(site.zone).replace(tzinfo=None), "m")
    return bool(first <= local <= last)

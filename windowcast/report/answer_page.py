"""An answer made ready for the templates: what is said first, and the charts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from windowcast.core.phrase import Phrase, Quantity, joined, say
from windowcast.limits.model import refused
from windowcast.programme.answer import Answer
from windowcast.programme.season_today import turf_phase, weeds_up
from windowcast.report import board
from windowcast.report.catalogue import Voice
from windowcast.report.hour_checks import HourTable, hour_table
from windowcast.report.strips import HourPanels, hour_panels
from windowcast.season.model import SiteState, TurfPhase
from windowcast.windows.decision import answer_word
from windowcast.windows.hour_model import HourStrip
from windowcast.windows.model import (
    PurposeOutlook,
    Ranking,
    Verdict,
)
from windowcast.windows.reasons import SOIL_DEPTH
from windowcast.windows.score import Rule

# linked to their tank sheets; in the table and the hours
_ELSEWHERE = ("board.with", "board.sooner", "board.why_not_today")


@dataclass(frozen=True)
class PurposeView:
    """A purpose with its one-word answer and its hour strip."""

    outlook: PurposeOutlook
    word: str
    lead: str
    sure: str
    facts: tuple[tuple[str, tuple[str, ...]], ...]
    hours: HourPanels | None
    checks: HourTable | None
    id: str


@dataclass(frozen=True)
class AnswerView:
    """What the page shows of an answer."""

    ranking: Ranking
    idle: str
    state: str
    sample: bool
    urgent: tuple[Phrase, ...]
    open: tuple[PurposeView, ...]
    closed: tuple[PurposeView, ...]


def answer_views(
    answers: Sequence[Answer], voice: Voice, *, checks: bool = False
) -> tuple[AnswerView, ...]:
    """Everything a page says about the answers for a site's ground; no id stands twice in it."""
    return tuple(
        answer_view(answer, voice, f"-{n}" if n else "", checks=checks)
        for n, answer in enumerate(answers)
    )


def answer_view(
    answer: Answer, voice: Voice, ending: str = "", *, checks: bool = False
) -> AnswerView:
    """Everything the page says about an answer.

    `ending` is that of its ids; `checks`: with every criterion by the hour, which is long.
    """
    ranking = answer.ranking
    later = [outlook for outlook in ranking.purposes if not outlook.in_season]
    purposes = [
        _purpose(answer, outlook, ending, voice, checks=checks)
        for outlook in (*board.in_order(ranking.purposes), *later)
    ]
    return AnswerView(
        ranking=ranking,
        idle=voice.text(board.idle(ranking)),
        state=voice.text(state_sentence(answer.past)),
        sample=is_sample(answer),
        urgent=tuple(board.urgent(ranking)),
        open=tuple(p for p in purposes if p.outlook.in_season),
        closed=tuple(p for p in purposes if not p.outlook.in_season),
    )


def state_sentence(past: SiteState) -> Phrase:
    """Where the site stands: soil, turf, weeds up."""
    parts = []
    soil = past.soil_5cm_c[..., -1:].ravel()
    if len(soil) and np.isfinite(soil[0]):
        parts.append(say("state.soil", depth=SOIL_DEPTH, soil=Quantity(float(soil[0]), "degC")))
    if past.turf.phase.shape[-1]:
        parts.append(turf_phase(TurfPhase(int(past.turf.phase[..., -1]))))
    for curves in past.alike():
        curve = curves[0]
        share = float(curve.share[..., -1]) if curve.share.shape[-1] else float("nan")
        if 0.005 <= share < 0.995:  # not before its season, nor after it
            parts.append(weeds_up(curves, share))
    facts = joined(*parts, join="clauses") if parts else say("state.unknown")
    return say("state.yesterday", facts=facts)


def is_sample(answer: Answer) -> bool:
    """Whether the answer rests on the packaged sample."""
    return any(p.source == "sample" for p in answer.weather.daily.provenance)


def hour_levels(strip: HourStrip, rule: Rule) -> tuple[Verdict, ...]:
    """The verdict of each hour of a strip, by the same limits as for windows."""
    fit, marginal = 100 * rule.fit, 100 * rule.marginal

    def level(score: float | None) -> Verdict:
        if score is None:
            return "cannot tell"
        return "fit" if score >= fit else "marginal" if score >= marginal else "unfit"

    return tuple(level(score) for score in strip.scores)


def _purpose(
    answer: Answer, outlook: PurposeOutlook, ending: str, voice: Voice, *, checks: bool
) -> PurposeView:
    criteria, said = answer.tables["criteria"], voice.unbroken
    ranking, strip, hours, table = answer.ranking, outlook.strip, None, None
    if strip is not None and ranking.hours is not None and not refused(outlook.turf):
        ahead, levels = ranking.hours, hour_levels(strip, Rule.of(criteria))
        hours = hour_panels(outlook, ahead, strip, levels, criteria=criteria, voice=said)
        if checks:
            table = hour_table(ahead, strip, levels, outlook.turf, criteria=criteria, voice=said)
    facts = (
        (said.text(fact.name), tuple(said.text(one) for one in fact.said))
        for fact in board.facts(outlook, ranking.today)
        if fact.name.id not in _ELSEWHERE
    )
    return PurposeView(
        outlook,
        answer_word(outlook),
        said.text(board.lead(outlook)),
        said.text(board.sure(outlook)),
        tuple(facts),
        hours,
        table,
        f"purpose-{outlook.purpose}{ending}",
    )

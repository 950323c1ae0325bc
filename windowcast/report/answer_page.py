"""An answer made ready for the templates: what is said first, and the charts."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

import numpy as np

from windowcast.core.phrase import Phrase, Quantity, joined, say
from windowcast.limits.model import TurfSpan, refused
from windowcast.programme.answer import Answer
from windowcast.programme.season_today import turf_phase, weeds_up
from windowcast.report import board, wording
from windowcast.report.board import asks_for_look, plan_lines, turf_lines
from windowcast.report.catalogue import Voice
from windowcast.report.decision_table import DecisionTable, decision_table
from windowcast.report.hour_checks import HourTable, hour_table
from windowcast.report.strips import HourPanels, hour_panels
from windowcast.season.model import SiteState, TurfPhase
from windowcast.windows.decision import answer_word, decide
from windowcast.windows.hour_model import HourStrip
from windowcast.windows.model import (
    PURPOSES,
    Choice,
    Job,
    Judged,
    Odds,
    PurposeOutlook,
    Ranking,
    Verdict,
    Window,
)
from windowcast.windows.purposes import purpose_of
from windowcast.windows.reasons import SOIL_DEPTH
from windowcast.windows.score import Rule

# linked to their tank sheets; in the table and the hours
_ELSEWHERE = ("board.with", "board.sooner", "board.why_not_today")


@dataclass(frozen=True)
class Words:
    """The wording functions bound to a reader's units and language, for use in templates."""

    voice: Voice

    score = staticmethod(wording.score)

    @property
    def said(self) -> Voice:
        """The voice; no number is broken from its unit."""
        return self.voice.unbroken

    def day(self, date: dt.date) -> str:
        """``Thu 6 Nov``."""
        return self.voice.write(date, "day")

    def long_day(self, date: dt.date) -> str:
        """``Thursday 6 November 2025``."""
        return self.voice.write(date, "long")

    def hours(self, window: Window) -> str:
        """``10:00–15:00`` in the site's time."""
        return wording.hours(window, self.voice)

    def odds(self, odds: Odds | None) -> str:
        """``72 % (64–79)``."""
        return self.said.write(wording.odds(odds))

    def odds_basis(self, odds: Odds) -> str:
        """How the odds of a window were counted."""
        return self.text(wording.odds_basis(odds))

    def turf_lines(self, outlook: PurposeOutlook) -> list[str]:
        """The turf's limits on the days ranked, and the chance of harm of the best window."""
        return self.texts(turf_lines(outlook))

    def plan_lines(self, turf: Sequence[TurfSpan]) -> list[str]:
        """What the turf refuses, or leaves open, through the season of a purpose."""
        return self.texts(plan_lines(turf))

    def asks_for_look(self, turf: Sequence[TurfSpan]) -> bool:
        """Whether a page should lead to where a look at the turf is logged."""
        return asks_for_look(turf)

    def answer(self, word: str) -> str:
        """What to do about a purpose, in a word or two."""
        return self.text(wording.answer_said(word))

    def verdict(self, of: str) -> str:
        """A verdict."""
        return self.text(wording.verdict(of))

    def title(self, purpose: str) -> str:
        """A purpose's name within a sentence; what is no purpose stands as it is."""
        named = next((name for name in PURPOSES if name == purpose), None)
        if named is None:
            return purpose
        return self.text(say("purpose.within", title=purpose_of(named).title))

    def held_back(self, fault: Phrase) -> str:
        """What most spoiled an application."""
        return self.text(say("review_of.held_back", fault=fault))

    def text(self, phrase: Phrase) -> str:
        """A phrase; no number is broken from its unit."""
        return self.said.text(phrase)

    def texts(self, phrases: Iterable[Phrase]) -> list[str]:
        """Several phrases."""
        return [self.text(phrase) for phrase in phrases]

    def job(self, job: Job) -> str:
        """The state of a job, with a capital."""
        return self.voice.write(wording.answer_said(job.state), "cap")

    def job_lines(self, outlook: PurposeOutlook) -> list[str]:
        """What was done for a purpose, where its advice does not say it."""
        return self.texts(wording.job_lines(outlook))

    def covers(self, outlook: PurposeOutlook) -> list[str]:
        """What each pre-emergent controls."""
        return [self.text(cover) for cover in wording.covers(outlook)]

    def limit(self, judged: Judged | None) -> str:
        """What holds a window down."""
        return self.text(wording.limit(judged))

    def closed(self, outlook: PurposeOutlook) -> str:
        """When a closed purpose opens."""
        return self.text(board.closed(outlook))

    def out_of_season(self, outlook: PurposeOutlook) -> str:
        """When a closed purpose opens, and why it is closed."""
        return self.text(wording.out_of_season(outlook))

    def in_season(self, outlook: PurposeOutlook) -> str:
        """Why a purpose is open and when it closes."""
        return self.text(wording.in_season(outlook))

    def now_or_wait(self, outlook: PurposeOutlook, today: dt.date) -> str:
        """The decision as one sentence."""
        return self.text(decide(outlook, today).text)

    def table(self, outlook: PurposeOutlook, today: dt.date) -> DecisionTable | None:
        """What to expect of each way to decide about an open purpose."""
        return decision_table(decide(outlook, today))

    def if_missed(self, outlook: PurposeOutlook) -> str:
        """What is lost where a purpose is left out."""
        return self.text(say(f"purpose.{outlook.purpose}.if_missed"))

    def with_what(self, outlook: PurposeOutlook) -> list[str]:
        """The choices for the best window, or how each active in stock would do."""
        return [self.text(said) for said in wording.with_what(outlook)]

    def mixtures(self, outlook: PurposeOutlook) -> str:
        """The actives of the choices for the best window, in a few words."""
        return "; ".join(" + ".join(choice.actives) for choice in outlook.choices)

    def tank_query(
        self, outlook: PurposeOutlook, areas: Sequence[str], choice: Choice | None = None
    ) -> str:
        """What a link to the tank sheet of an open purpose carries: purpose, ground and hours."""
        best = outlook.windows[0]
        actives = choice.actives if choice is not None else best.actives
        asked = {
            "purpose": outlook.purpose,
            "where": ", ".join(areas),
            "start": f"{best.start:%Y-%m-%dT%H:%M}",
            "end": f"{best.end:%Y-%m-%dT%H:%M}",
            "actives": "+".join(actives),
        }
        return urlencode({name: text for name, text in asked.items() if text})

    def values_used(self, ranking: Ranking) -> list[str]:
        """The values behind what holds the best windows back."""
        return self.texts(wording.values_used(ranking))

    def quantity(self, value: float | None, unit: str) -> str:
        """One value in the reader's units."""
        return wording.quantity(value, unit, self.said)


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

"""The weather and the site's state as they were, and how an application's hours score in them.

The same criteria that rank coming windows judge past ones. Hours that were measured serve as they
are; where only days were measured, hours are estimated from them and say so. When in its day a
day's rain fell nobody knows then: what hangs on that cannot be told. What the operator entered for
the hours of the application goes before any record.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from windowcast.core.phrase import Phrase
from windowcast.core.record import FloatArray, Grade
from windowcast.materials.needs import ActiveNeeds
from windowcast.records.hour_weather import entered_by_operator
from windowcast.records.model import Application
from windowcast.windows.criteria import FALLING
from windowcast.windows.hindsight import decided
from windowcast.windows.hours import HourContext
from windowcast.windows.judge import HourScores, Judge
from windowcast.windows.model import Judged, PurposeName
from windowcast.windows.purposes import Purpose, purpose_of
from windowcast.windows.score import Block, BoolArray, Rule, best_block, combine

SURE = ("turf_safety", *FALLING)  # the season offers no hour in which one of these is not known
REACH_H = 120  # no criterion looks further than this from its hour
KNOWN_SHARE = 0.8  # a criterion is compared when it is known in this share of possible hours


@dataclass(frozen=True, slots=True)
class SeasonWindow:
    """A window of the season in hindsight; score 0..100 on the criteria compared."""

    start: dt.datetime
    end: dt.datetime
    score: float


@dataclass(frozen=True)
class Scored:
    """How an application's hours did, and what the season offered.

    Attributes
    ----------
    score
        0..100 on all criteria, None when one of them cannot be told.
    compared_score
        0..100 on the criteria that both these hours and the season know.
    left_out
        Criteria that could not be compared.
    windows
        The best window of each day of the season on which hours were workable, best first.
    """

    purpose: PurposeName
    block: tuple[dt.datetime, dt.datetime]
    score: float | None
    verdict: str
    judged: tuple[Judged, ...]
    limiting: Judged | None
    compared_score: float
    left_out: tuple[Phrase, ...]
    windows: tuple[SeasonWindow, ...]
    grade: Phrase


def with_entered(context: HourContext, application: Application, block: Block) -> HourContext:
    """The context with what the operator noted in place of the record, over a block of hours."""
    where = slice(context.lead + block.start, context.lead + block.stop)
    hourly = dict(context.hourly)
    grade = dict(context.grade)
    for name, value in entered_by_operator(application).items():
        hourly[name] = context.get(name).copy()
        hourly[name][..., where] = value
        marks = grade.get(name, np.full(len(context.times), Grade.MISSING, dtype=np.uint8)).copy()
        marks[where] = Grade.OBSERVED
        grade[name] = marks
        if name == "wind_m_s":
            # whoever stood in the wind noted no gust: a careful one stands in, for hindsight alone
            gust = context.get("gust_m_s").copy()
            usual = context.criterion("gusts").number("factor") * hourly[name]
            gust[..., where] = np.where(np.isnan(gust), usual, gust)[..., where]
            hourly["gust_m_s"] = gust
        if name == "rh_pct":
            hourly["dewpoint_c"] = context.get("dewpoint_c").copy()
            hourly["dewpoint_c"][..., where] = np.nan
    return replace(context, hourly=hourly, grade=grade)


def block_of(context: HourContext, application: Application, rule: Rule) -> Block:
    """The hours of an application; without an end the shortest useful window is taken."""
    start = np.datetime64(application.start.astimezone(dt.UTC).replace(tzinfo=None), "h")
    first = int((start - context.times[context.lead]).astype(np.int64))
    count = rule.shortest_h
    if application.end is not None:
        end = application.end.astimezone(dt.UTC).replace(tzinfo=None)
        minutes = (np.datetime64(end, "m") - start.astype("datetime64[m]")).astype(np.int64)
        count = max(1, -(-int(minutes) // 60))
    last = len(context.times) - context.lead
    return Block(min(max(first, 0), last - 1), min(first + count, last))


class PastSeason:
    """One season's hours, scored for any number of applications.

    What does not depend on the application is worked out once for each purpose and mixture. Where
    the operator entered the weather, only the hours that it may touch are judged anew.

    Parameters
    ----------
    like
        Another season of the same site and state: what the turf takes is asked once for all.
    """

    def __init__(self, context: HourContext, like: PastSeason | None = None) -> None:
        self.context = context
        self._judge = Judge(context, context.ahead, whole=True)
        if like is not None:
            self._judge = like._judge.on(context)
        self._scores: dict[Hashable, HourScores] = {}
        self._combined: dict[Hashable, FloatArray] = {}
        self._windows: dict[Hashable, dict[np.datetime64, SeasonWindow]] = {}

    def score(self, application: Application, needs: ActiveNeeds, name: PurposeName) -> Scored:
        """Score an application's hours, beside the windows of the season."""
        context, rule = self.context, self.context.rule
        purpose = purpose_of(name, context.tables)
        block = block_of(context, application, rule)
        own = with_entered(context, application, block)
        usual = self._decided(purpose, needs)
        part = None
        if entered_by_operator(application):
            part = self._touched(own, block, purpose, needs)
        scores = usual if part is None else _patched(usual, own, part)
        judged = scores.judged(block)
        by_name = {j.criterion: j for j in judged}
        total = scores.score[0, block.hours].mean()
        compared = _comparable(scores, block)
        season, windows = self._season(usual, compared, (_key(purpose, needs), *compared))
        if part is not None:
            season = season.copy()
            season[part.hours] = _combined(part.scores, compared)[: part.length]
            days = _days(context, part.hours)
            fresh = _season_windows(context, scores, season, rule, days)
            windows = {day: w for day, w in windows.items() if day not in days} | fresh
        limit = scores.limiting(block)
        return Scored(
            purpose=name,
            block=context.span(block),
            score=None if np.isnan(total) else round(100 * float(total), 1),
            verdict=rule.verdict(float(total)),
            judged=judged,
            limiting=by_name.get(limit),
            compared_score=round(100 * float(season[block.hours].mean()), 1),
            left_out=tuple(by_name[n].label for n in scores.scores if n not in compared),
            windows=tuple(sorted(windows.values(), key=lambda w: (-w.score, w.start))),
            grade=own.grade_of(own.lead + block.start, own.lead + block.stop),
        )

    def likeliest_purpose(
        self, application: Application, needs: ActiveNeeds, names: Sequence[PurposeName]
    ) -> PurposeName:
        """The purpose whose timing suited the day best, among those the actives serve."""
        block = block_of(self.context, application, self.context.rule)
        best: tuple[float, PurposeName] | None = None
        for name in names:
            purpose = purpose_of(name, self.context.tables)
            if not purpose.serves(needs):
                continue
            scores = self._decided(purpose, needs)
            parts = [float(np.nanmean(scores.scores[c][0, block.hours])) for c in purpose.timing
                     if np.isfinite(scores.scores[c][0, block.hours]).any()]  # fmt: skip
            value = float(np.prod(parts)) if parts else 0.0
            if best is None or value > best[0]:
                best = (value, name)
        return best[1] if best else names[0]

    def _decided(self, purpose: Purpose, needs: ActiveNeeds) -> HourScores:
        key = _key(purpose, needs)
        if key not in self._scores:
            self._scores[key] = decided(self._judge.scores(purpose, needs), needs)
        return self._scores[key]

    def _season(
        self, usual: HourScores, compared: Sequence[str], key: Hashable
    ) -> tuple[FloatArray, dict[np.datetime64, SeasonWindow]]:
        """The season's score on some criteria, and the best window of each of its days."""
        if key not in self._combined:
            season, context = _combined(usual, compared), self.context
            days = _days(context, slice(0, len(context.times) - context.lead))
            self._combined[key] = season
            self._windows[key] = _season_windows(context, usual, season, context.rule, days)
        return self._combined[key], self._windows[key]

    def _touched(
        self, own: HourContext, block: Block, purpose: Purpose, needs: ActiveNeeds
    ) -> _Touched:
        """The hours about a block as the entered weather has them."""
        lead, count = own.lead, len(own.times)
        first = max(lead + block.start - REACH_H, lead)
        stop = min(lead + block.stop + REACH_H, count)
        begin, end = max(first - REACH_H, 0), min(stop + REACH_H, count)
        hours = slice(begin, end)
        part = replace(
            own,
            times=own.times[hours],
            local=own.local[hours],
            day=own.day[hours],
            lead=first - begin,
            hourly={name: value[..., hours] for name, value in own.hourly.items()},
            grade={name: grade[hours] for name, grade in own.grade.items()},
        )
        scores = self._judge.on(part, slice(first - lead, end - lead)).scores(purpose, needs)
        return _Touched(slice(first - lead, stop - lead), decided(scores, needs))


@dataclass(frozen=True)
class _Touched:
    """Scores of some hours of a season; `hours` are those that are to be taken from them."""

    hours: slice
    scores: HourScores

    @property
    def length(self) -> int:
        """How many hours are taken."""
        return int(self.hours.stop - self.hours.start)


def _key(purpose: Purpose, needs: ActiveNeeds) -> tuple[Hashable, ...]:
    return (purpose.name, needs.names, needs.formulation)


def _patched(usual: HourScores, own: HourContext, part: _Touched) -> HourScores:
    """The season's scores with those of the hours that were judged anew."""

    def put(whole: Any, some: Any) -> Any:
        result = whole.copy()
        result[..., part.hours] = some[..., : part.length]
        return result

    new = part.scores
    return replace(
        usual,
        ctx=own,
        measured={n: put(v, new.measured[n]) for n, v in usual.measured.items()},
        scores={n: put(v, new.scores[n]) for n, v in usual.scores.items()},
    )


def _days(context: HourContext, hours: slice) -> dict[np.datetime64, slice]:
    """The local dates that some hours lie on, each with all its hours."""
    dates = context.ahead.dates[context.day[context.lead :]]
    wanted = np.unique(dates[hours])
    starts = np.searchsorted(dates, wanted).tolist()
    stops = np.searchsorted(dates, wanted, "right").tolist()
    return {day: slice(start, stop) for day, start, stop in zip(wanted, starts, stops, strict=True)}


def _comparable(scores: HourScores, block: Block) -> list[str]:
    """Criteria known in the block and in most of the season's hours that nothing rules out."""
    alive = _possible(scores)
    fewest = KNOWN_SHARE * np.count_nonzero(alive)
    return [
        name
        for name, value in scores.scores.items()
        if np.isfinite(value[0, block.hours]).all()
        and np.count_nonzero(np.isfinite(value[0]) & alive) >= fewest
    ]


def _possible(scores: HourScores) -> BoolArray:
    """Hours that nothing known rules out, compared or not, and of which turf and rain are known.

    What is never known is left out of the comparison like any other criterion.
    """
    possible = scores.open.copy()
    for name, value in scores.scores.items():
        score = np.broadcast_to(value[0], possible.shape)
        possible &= score != 0  # NaN stays in
        if name in SURE and np.isfinite(score).any():
            possible &= np.isfinite(score)
    return possible


def _combined(scores: HourScores, names: Sequence[str]) -> FloatArray:
    pairs = [(scores.scores[name][0], scores.weights[name]) for name in names]
    return np.broadcast_to(combine(pairs), scores.open.shape)


def _season_windows(
    context: HourContext,
    scores: HourScores,
    season: FloatArray,
    rule: Rule,
    days: Mapping[np.datetime64, slice],
) -> dict[np.datetime64, SeasonWindow]:
    """The best window of each of some days, where there is one."""
    possible = _possible(scores)
    found = {}
    for day, hours in days.items():
        usable = possible[hours] & (season[hours] >= rule.marginal)
        if not usable.any():
            continue
        block = best_block(season[hours], usable, rule, offset=hours.start)
        if block is not None:
            score = round(100 * float(season[block.hours].mean()), 1)
            found[day] = SeasonWindow(*context.span(block), score)
    return found

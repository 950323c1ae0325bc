"""All criteria of a purpose on all hours of all members, and what they say of a block of hours."""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from windowcast.core.record import FloatArray
from windowcast.limits.answer import turf_answers
from windowcast.limits.ground import ground_of
from windowcast.limits.model import Limit, TurfAnswer
from windowcast.limits.turf_days import TurfDays
from windowcast.materials.needs import ActiveNeeds
from windowcast.season.model import SiteState
from windowcast.season.sightings import CanopyLook
from windowcast.windows import reasons
from windowcast.windows.criteria import HOUR_CRITERIA, RAIN_AFTER, SCHEDULE, about
from windowcast.windows.days import DAY_CRITERIA, DayContext
from windowcast.windows.grade import ScoreCurve, needs_behind
from windowcast.windows.hours import HourContext
from windowcast.windows.model import Judged
from windowcast.windows.purposes import Purpose
from windowcast.windows.score import (
    Block,
    BoolArray,
    closeness,
    combine,
    holds,
    limiting,
    run_score,
)


@dataclass(frozen=True)
class HourScores:
    """What the criteria of one purpose say of every hour from today's midnight on.

    Attributes
    ----------
    ctx
        The hours, with those before them.
    measured, scores
        By criterion, ``[member, hour]`` or ``[1, hour]``; NaN: cannot be told.
    """

    ctx: HourContext
    grades: Mapping[str, ScoreCurve]
    weights: Mapping[str, float]
    measured: Mapping[str, FloatArray]
    scores: Mapping[str, FloatArray]

    @cached_property
    def score(self) -> FloatArray:
        """What the scores come to, ``[member, hour]``, see `windowcast.windows.score`."""
        return np.atleast_2d(combine((score, self.weights[n]) for n, score in self.scores.items()))

    @cached_property
    def near(self) -> FloatArray:
        """How near the forecast's hours come to a go-ahead, ``[hour]``."""
        issued = ((score[0], self.weights[n]) for n, score in self.scores.items())
        return closeness(issued)

    @cached_property
    def open(self) -> BoolArray:
        """Hours in daylight that the site allows, ``[hour]``."""
        return np.asarray(combine((self.scores[name][0], 1.0) for name in SCHEDULE) > 0)

    def limits(self) -> list[str]:
        """The limiting criterion of each hour of the forecast, "" where all are as good as met."""
        names = list(self.scores)
        rows = np.stack([score[0] ** self.weights[n] for n, score in self.scores.items()])
        rows = np.where(np.isnan(rows), 1e-9, rows)
        worst = rows.argmin(axis=0)
        full = rows.min(axis=0) >= self.ctx.rule.limits
        return ["" if ok else names[i] for i, ok in zip(worst, full, strict=True)]

    @cached_property
    def _issued(self) -> FloatArray:
        """The criteria's scores in the forecast, ``[criterion, hour]``."""
        return np.stack([score[0] for score in self.scores.values()])

    def means(self, block: Block) -> dict[str, float]:
        """Each criterion's mean score of a block; NaN if any is unknown."""
        return dict(
            zip(self.scores, self._issued[:, block.hours].mean(axis=-1).tolist(), strict=True)
        )

    def worst(self, block: Block) -> dict[str, int]:
        """Each criterion's worst hour of a block; the first that is unknown, if there is one."""
        worst = self._issued[:, block.hours].argmin(axis=-1) + block.start
        return dict(zip(self.scores, worst.tolist(), strict=True))

    def judged(self, block: Block) -> tuple[Judged, ...]:
        """Each criterion's judgement of a block: mean score, and the value in its worst hour."""
        means, worst = self.means(block), self.worst(block)
        return tuple(self._judge(name, means[name], worst[name]) for name in self.scores)

    def judge(self, name: str, block: Block) -> Judged:
        """One criterion's judgement of a block."""
        return self._judge(name, self.means(block)[name], self.worst(block)[name])

    def _judge(self, name: str, score: float, worst: int) -> Judged:
        """One criterion's judgement by its mean score and its worst hour."""
        value = float(self.measured[name][0, worst])
        criterion = self.ctx.criterion(name)
        unit = str(criterion["unit"])
        grade = self.grades[name]
        unknown = math.isnan(score)
        source = grade.used[0]
        return Judged(
            criterion=name,
            label=reasons.label(name, criterion),
            verdict=self.ctx.rule.verdict(score),
            score=None if unknown else round(score, 4),
            measured=None if math.isnan(value) or not unit else round(value, 4),
            unit=unit,
            reason=reasons.reason(
                name,
                criterion,
                grade,
                np.nan if unknown else value,
                about(name, self.ctx, self.ctx.lead + worst),
            ),
            source=f"{source.status}: {source.source}",
        )

    def at(self, name: str, block: Block) -> tuple[float, float]:
        """Mean score of a block and the measured value in its worst hour; NaN if any is unknown."""
        score = self.scores[name][0, block.hours]
        value = self.measured[name][0, block.start + int(np.argmin(score))]
        return float(score.mean()), float(value)

    def washed(self, block: Block) -> float | None:
        """Chance of too much rain too soon after the last hour; None where it cannot be told.

        Counted in the futures, by the criteria on rain after an application.
        """
        rows = [self.scores[name][1:, block.stop - 1] for name in RAIN_AFTER if name in self.scores]
        if not rows or min(map(len, rows)) < self.ctx.rule.members:
            return None
        lost = np.where(np.isnan(rows), np.nan, np.asarray(rows) == 0).max(axis=0)
        share = float(lost.mean())
        return None if np.isnan(share) else share

    def limiting(self, block: Block) -> str:
        """The criterion that holds a block down most, "" when all are fully met."""
        return limiting(self.means(block), self.weights, self.ctx.rule)

    def spoiler(self, block: Block) -> tuple[str, int]:
        """The criterion that most often spoils a block in the members in which it does not hold.

        Returns
        -------
        str, int
            Its name, and in how many members it is the worst; "" and 0 when it always holds.
        """
        failed = ~holds(self.score[1:, block.hours], self.ctx.rule)
        if not failed.any():
            return "", 0
        names = list(self.scores)
        shape = self.score[:, block.hours].shape
        means = np.stack(
            [
                np.broadcast_to(self.scores[n][:, block.hours] ** self.weights[n], shape)[1:][
                    failed
                ].mean(axis=-1)
                for n in names
            ]
        )
        worst = np.bincount(np.where(np.isnan(means), 1.0, means).argmin(axis=0))
        return names[int(worst.argmax())], int(worst.max())


@dataclass
class Judge:
    """Scores purposes on one set of hours; what purposes and actives share is computed once.

    `further` holds limits of single actives, by name, that stand on every day beside the turf's.
    """

    ctx: HourContext
    past: SiteState
    looks: tuple[CanopyLook, ...] = ()
    whole: bool = False
    further: Mapping[str, Limit] = field(default_factory=dict)
    _turf: dict[Hashable, tuple[TurfAnswer, ...]] = field(default_factory=dict)
    _measured: dict[Hashable, FloatArray] = field(default_factory=dict)
    _scored: dict[Hashable, FloatArray] = field(default_factory=dict)
    _issued: dict[Hashable, FloatArray] = field(default_factory=dict)  # the same of the forecast

    def scores(self, purpose: Purpose, needs: ActiveNeeds) -> HourScores:
        """Every criterion of a purpose, for the actives at hand."""
        return self._graded(purpose, needs, self._scored, slice(None))

    def at(self, purpose: Purpose, needs: ActiveNeeds, block: Block) -> tuple[float, Judged | None]:
        """Score 0..1 of a block as forecast, and what holds it back; NaN: cannot be told.

        Only the forecast is graded: much cheaper than `scores`.
        """
        issued = self._graded(purpose, needs, self._issued, slice(0, 1))
        rows = ((score[0, block.hours], issued.weights[n]) for n, score in issued.scores.items())
        limit = issued.limiting(block)
        score = run_score(combine(rows), self.ctx.rule)
        return score, issued.judge(limit, block) if limit else None

    def _graded(
        self,
        purpose: Purpose,
        needs: ActiveNeeds,
        done: dict[Hashable, FloatArray],
        members: slice,
    ) -> HourScores:
        """Every criterion in some members, each graded once for all actives that need the same."""
        grades, measured, scores = purpose.grades(needs), {}, {}
        for name, grade in grades.items():
            key, values = self._measured_as(name, purpose, needs)
            graded = (key, grade.at, grade.score)
            if graded not in done:
                done[graded] = grade(values[members])
            measured[name], scores[name] = values, done[graded]
        return HourScores(self.ctx, grades, purpose.weights, measured, scores)

    def on(self, part: HourContext, hours: slice | None = None) -> Judge:
        """A judge of other hours of the same site and days.

        What the turf takes is asked once for both.

        Parameters
        ----------
        part
            The hours, with those before them.
        hours
            Which of this judge's hours from today on these are: what depends on days alone is then
            taken over.
        """
        days: dict[Hashable, FloatArray] = {} if hours is None else {
            key: value[..., hours] for key, value in self._measured.items()
            if isinstance(key, tuple) and key[0] in DAY_CRITERIA
        }  # fmt: skip
        return replace(self, ctx=part, _turf=self._turf, _measured=days, _scored={}, _issued={})

    def turf(self, needs: ActiveNeeds) -> tuple[TurfAnswer, ...]:
        """What the turf takes, on each day that the hours reach, from today on."""
        key = (needs.names, needs.formulation, needs.turf_state, needs.pre, needs.post)
        if key not in self._turf:
            answers = turf_answers(
                needs,
                ground_of(self.ctx.site),
                TurfDays.of(self.ctx.ahead, self.looks),
                self.ctx.tables,
                count=len(self.ctx.ahead.dates) if self.whole else int(self.ctx.day[-1]) + 1,
            )
            found = tuple(self.further[name] for name in needs.names if name in self.further)
            self._turf[key] = tuple(replace(a, limits=(*a.limits, *found)) for a in answers)
        return self._turf[key]

    def _measured_as(
        self, name: str, purpose: Purpose, needs: ActiveNeeds
    ) -> tuple[Hashable, FloatArray]:
        """What a criterion measures, worked out once, and the key under which it is kept."""
        behind = needs_behind(name)
        asked = tuple([getattr(needs, need) for need in behind]) if behind else ()
        key = (name, purpose.weeds, asked) if name in DAY_CRITERIA else (name, asked)
        if key not in self._measured:
            self._measured[key] = self._measure(name, purpose, needs)
        return key, self._measured[key]

    def _measure(self, name: str, purpose: Purpose, needs: ActiveNeeds) -> FloatArray:
        """What a criterion measures on the hours from today on, ``[member, hour]``."""
        ctx = self.ctx
        if name in HOUR_CRITERIA:
            value = np.atleast_2d(HOUR_CRITERIA[name](ctx, needs))
        else:
            rain = ctx.daily.get("precip_mm")
            days = DayContext(
                ctx.site, ctx.ahead, purpose.weeds, self.past, rain_mm=rain,
                turf=self.turf(needs) if name == "turf_safety" else None,
                tables=ctx.tables,
            )  # fmt: skip
            value = ctx.on_hours(DAY_CRITERIA[name](days, needs))
        return value[..., ctx.lead :]

"""All criteria of a purpose on all hours of all members, and what they say of a block of hours."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass, field, replace

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
from windowcast.windows.purposes import Purpose, weights_of
from windowcast.windows.score import Block, BoolArray, Rule, closeness, combine, holds, limiting


@dataclass(frozen=True)
class HourScores:
    """What the criteria of one purpose say of every hour from today's midnight on.

    Attributes
    ----------
    ctx
        The hours, with those before them.
    measured, scores
        By criterion, ``[member, hour]`` or ``[1, hour]``; NaN: cannot be told.
    score
        Their combination, ``[member, hour]``, see `windowcast.windows.score`.
    near
        How near the forecast's hours come to a go-ahead, ``[hour]``.
    open
        Hours in daylight that the site allows, ``[hour]``.
    first
        Which hour from today's midnight on the first of these is.
    """

    ctx: HourContext
    grades: Mapping[str, ScoreCurve]
    weights: Mapping[str, float]
    measured: Mapping[str, FloatArray]
    scores: Mapping[str, FloatArray]
    score: FloatArray
    near: FloatArray
    open: BoolArray
    first: int = 0

    @classmethod
    def of(
        cls,
        ctx: HourContext,
        grades: Mapping[str, ScoreCurve],
        measured: Mapping[str, FloatArray],
        scores: Mapping[str, FloatArray],
        first: int = 0,
    ) -> HourScores:
        """The criteria's scores with what they come to together."""
        weights = weights_of(tuple(grades), ctx.tables["criteria"])
        pairs = [(scores[name], weights[name]) for name in grades]
        return cls(
            ctx=ctx,
            grades=grades,
            weights=weights,
            measured=measured,
            scores=scores,
            score=np.atleast_2d(combine(pairs)),
            near=closeness((score[:1], weight) for score, weight in pairs)[0],
            open=combine((scores[name], 1.0) for name in SCHEDULE)[0] > 0,
            first=first,
        )

    def limits(self) -> list[str]:
        """The limiting criterion of each hour of the forecast, "" where all are as good as met."""
        names = list(self.scores)
        rows = np.stack(
            [np.broadcast_to(self.scores[n][0] ** self.weights[n], self.near.shape) for n in names]
        )
        rows = np.where(np.isnan(rows), 1e-9, rows)
        worst = rows.argmin(axis=0)
        full = rows.min(axis=0) >= self.ctx.rule.limits
        return ["" if ok else names[i] for i, ok in zip(worst, full, strict=True)]

    def judged(self, block: Block, rule: Rule) -> tuple[Judged, ...]:
        """Each criterion's judgement of a block: mean score, and the value in its worst hour."""
        return tuple(self.judge(name, block, rule) for name in self.scores)

    def judge(self, name: str, block: Block, rule: Rule) -> Judged:
        """One criterion's judgement of a block."""
        score, value = self.at(name, block)
        criterion = self.ctx.criterion(name)
        unit = str(criterion["unit"])
        grade = self.grades[name]
        unknown = np.isnan(score)
        source = grade.used[0]
        return Judged(
            criterion=name,
            label=reasons.label(name, criterion),
            verdict=rule.verdict(score),
            score=None if unknown else round(score, 4),
            measured=None if np.isnan(value) or not unit else round(value, 4),
            unit=unit,
            reason=reasons.reason(
                name,
                criterion,
                grade,
                np.nan if unknown else value,
                about(name, self.ctx, self.ctx.lead + self.first + self._worst(name, block)),
            ),
            source=f"{source.status}: {source.source}",
        )

    def at(self, name: str, block: Block) -> tuple[float, float]:
        """Mean score of a block and the measured value in its worst hour; NaN if any is unknown."""
        worst = self._worst(name, block)
        score = self.scores[name][0, block.hours].mean()
        return float(score), float(self.measured[name][0, worst])

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

    def _worst(self, name: str, block: Block) -> int:
        """The worst hour of a block; the first that is unknown, if there is one."""
        return block.start + int(np.argmin(self.scores[name][0, block.hours]))

    def limiting(self, block: Block) -> str:
        """The criterion that holds a block down most, "" when all are fully met."""
        means = {name: self.at(name, block)[0] for name in self.scores}
        return limiting(means, self.weights, self.ctx.rule)

    def spoiler(self, block: Block, rule: Rule) -> tuple[str, int]:
        """The criterion that most often spoils a block in the members in which it does not hold.

        Returns
        -------
        str, int
            Its name, and in how many members it is the worst; "" and 0 when it always holds.
        """
        failed = ~holds(self.score[1:, block.hours], rule)
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

    def scores(self, purpose: Purpose, needs: ActiveNeeds) -> HourScores:
        """Every criterion of a purpose, for the actives at hand."""
        grades = purpose.grades(needs)
        measured, scored = {}, {}
        for name in grades:
            key, measured[name] = self._measured_as(name, purpose, needs)
            graded = (key, grades[name].at, grades[name].score)
            if graded not in self._scored:
                self._scored[graded] = grades[name](measured[name])
            scored[name] = self._scored[graded]
        return HourScores.of(self.ctx, grades, measured, scored)

    def at(self, purpose: Purpose, needs: ActiveNeeds, block: Block) -> tuple[float, Judged | None]:
        """Mean score 0..1 of a block as forecast, and what holds it back; NaN: cannot be told.

        Only those hours are graded: much cheaper than `scores`.
        """
        grades = purpose.grades(needs)
        measured, scored = {}, {}
        for name in grades:
            _, values = self._measured_as(name, purpose, needs)
            measured[name] = np.atleast_2d(values)[:1, block.hours]
            scored[name] = grades[name](measured[name])
        issued = HourScores.of(self.ctx, grades, measured, scored, first=block.start)
        own = Block(0, block.stop - block.start)
        limit = issued.limiting(own)
        mean = float(issued.score[0].mean())
        return mean, issued.judge(limit, own, self.ctx.rule) if limit else None

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
        return replace(self, ctx=part, _turf=self._turf, _measured=days, _scored={})

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
        asked = tuple(getattr(needs, need) for need in needs_behind(name))
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

"""The best hours of each day for a purpose: where they lie, their score, what holds them back."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from windowcast.core.phrase import say
from windowcast.core.record import Members
from windowcast.limits.model import TurfAnswer
from windowcast.materials.needs import ActiveNeeds
from windowcast.windows import advice
from windowcast.windows.days import watering_days
from windowcast.windows.decision import order_of
from windowcast.windows.hours import HourContext
from windowcast.windows.judge import HourScores, Judge
from windowcast.windows.model import Judged, Odds, Verdict, Window
from windowcast.windows.odds import odds
from windowcast.windows.purposes import Purpose
from windowcast.windows.score import Block, best_block, holds, nearness, run_score


class DayHours(NamedTuple):
    """The best hours of a day in figures; most days need no words.

    Attributes
    ----------
    score
        0..1; NaN: it cannot be told.
    odds
        That they hold.
    scores
        What they were found in.
    """

    block: Block
    score: float
    odds: Odds | None
    verdict: Verdict
    scores: HourScores

    @property
    def offered(self) -> bool:
        """Whether they are a spray window."""
        return self.verdict in ("fit", "marginal")

    @property
    def percent(self) -> float | None:
        """The score as a window has it."""
        return None if math.isnan(self.score) else round(100 * self.score, 1)

    def order_key(self) -> tuple[float, ...]:
        """As `windowcast.windows.decision.order_key` of the window, which no effect is known of."""
        if not self.offered:
            means = self.scores.means(self.block).values()
            worth = nearness(None if math.isnan(mean) else round(mean, 4) for mean in means)
        else:
            worth = (self.percent or 0.0) / 100 * (1.0 if self.odds is None else self.odds.share)
        return (*order_of(self.verdict, worth), self.block.start)


@dataclass(frozen=True)
class DayWindows:
    """The windows of the days that are ranked.

    Attributes
    ----------
    members
        The weather ahead; member 0 is scored, the others are counted for the odds.
    days
        Days from today that are ranked, as far as hours are known.
    """

    judge: Judge
    members: Members
    days: int

    @property
    def ctx(self) -> HourContext:
        """The hours judged."""
        return self.judge.ctx

    def ordered(self, needs: ActiveNeeds, scores: HourScores) -> list[DayHours]:
        """The best hours of each day, best day first.

        Workable ones if there are any, else what comes closest.
        """
        found = (self._best(scores, hours) for hours in self._day_slices())
        return sorted(
            (self._rated(needs, scores, block) for block in found if block is not None),
            key=DayHours.order_key,
        )

    def _day_slices(self) -> Iterator[slice]:
        """The hours of each local day that is ranked."""
        dates = self.ctx.local[self.ctx.lead :].astype("datetime64[D]")
        edges = np.flatnonzero(np.diff(dates).astype(np.int64)) + 1
        bounds = [0, *edges.tolist(), len(dates)]
        for start, stop in list(pairwise(bounds))[: self.days]:
            yield slice(start, stop)

    @property
    def last_hour(self) -> int:
        """End of the last day that is ranked, in hours from today's midnight on."""
        return max((hours.stop for hours in self._day_slices()), default=0)

    def _best(self, scores: HourScores, hours: slice) -> Block | None:
        """Workable hours first, then hours that cannot be told, then the nearest misses."""
        score, allowed = scores.score[0, hours], scores.open[hours]
        attempts = (
            (score, allowed & (score >= self.ctx.rule.marginal)),
            (scores.near[hours], allowed & (np.isnan(score) | (score >= self.ctx.rule.marginal))),
            (scores.near[hours], allowed),
        )
        for value, usable in attempts:
            block = best_block(value, usable, self.ctx.rule, offset=hours.start)
            if block is not None:
                return block
        return None

    def _rated(self, needs: ActiveNeeds, scores: HourScores, block: Block) -> DayHours:
        score = run_score(scores.score[0, block.hours], self.ctx.rule)
        futures = scores.score[1:, block.hours]
        held = np.where(np.isnan(futures).any(axis=-1), np.nan, holds(futures, self.ctx.rule))
        chance = None
        if not math.isnan(score):
            chance = odds(held, self.members, *self._reach(block, needs))
        verdict = self.ctx.rule.verdict(score)
        if verdict == "fit" and chance is not None and chance.share < self.ctx.rule.even:
            verdict = "marginal"
        return DayHours(block, score, chance, verdict, scores)

    def window(self, purpose: Purpose, needs: ActiveNeeds, rated: DayHours) -> Window:
        """The window that some hours make, with all that is said of it."""
        block, scores, verdict = rated.block, rated.scores, rated.verdict
        taken = self.taken(needs, block)
        said = say("advice.of_turf", reason=taken.deciding.reason)
        judged = tuple(
            replace(j, reason=said) if j.criterion == "turf_safety" else j
            for j in scores.judged(block)
        )
        times = self.ctx.span(block)
        by = {j.criterion: j for j in judged}
        rain = by["water_in"].measured if "water_in" in by else None
        return Window(
            purpose=purpose.name,
            start=times[0],
            end=times[1],
            score=rated.percent,
            verdict=verdict,
            odds=rated.odds,
            limiting=self._limiting(scores, block, by, rated.odds),
            judged=judged,
            follow_up=advice.follow_up(
                needs,
                times[1],
                watering_days=watering_days(self.ctx.site, needs),
                irrigated=self.ctx.site.turf.irrigated,
                rain_chance=np.nan if rain is None else rain,
            )
            if verdict in ("fit", "marginal")
            else (),
            grade=self.ctx.grade_of(self.ctx.lead + block.start, self.ctx.lead + block.stop),
            actives=needs.names,
            harm=taken.harm,
            washed=scores.washed(block),
            lost=self._lost(purpose, self.day_of(block)),
        )

    def taken(self, needs: ActiveNeeds, block: Block) -> TurfAnswer:
        """What the turf takes on the day of a block."""
        return self.judge.turf(needs)[self.day_of(block)]

    def day_of(self, block: Block) -> int:
        """The day that a block lies on, counted from today."""
        return int(self.ctx.day[self.ctx.lead + block.start])

    def _limiting(
        self, scores: HourScores, block: Block, by: Mapping[str, Judged], chance: Odds | None
    ) -> Judged | None:
        """What holds a block down most: in the forecast, or else in the futures it fails in."""
        limit = scores.limiting(block)
        if chance is None or (limit and chance.share >= self.ctx.rule.even):
            return by.get(limit)
        name, count = scores.spoiler(block)
        if count == 0 or name == limit or (limit and by[limit].verdict != "fit"):
            return by.get(limit)
        reason = say("criterion.spoiled", reason=by[name].reason, bad=count, futures=chance.members)
        return replace(by[name], reason=reason)

    def block_of(self, window: Window) -> Block:
        """The block of a window made by `window`."""
        first = int(self.ctx.times[self.ctx.lead].astype(np.int64))
        start = int(window.start.timestamp()) // 3600 - first
        stop = int(window.end.timestamp()) // 3600 - first
        return Block(start, stop)

    def _reach(self, block: Block, needs: ActiveNeeds) -> tuple[int, int]:
        """First and last day whose weather a window needs, with what must follow; 0 is today."""
        day = self.ctx.day[self.ctx.lead :]
        rain_free = np.nan_to_num(needs.rain_free_h or 0.0)
        tail = block.stop - 1 + max(24, int(rain_free))
        last = int(day[min(tail, len(day) - 1)])
        if needs.activation_mm is not None and not self.ctx.site.turf.irrigated:
            last += int(np.nan_to_num(watering_days(self.ctx.site, needs)))
        return int(day[block.start]), last

    def _lost(self, purpose: Purpose, day: int) -> float | None:
        """As `Window.lost`, of the weed that loses most by waiting."""
        if not (purpose.barrier or "young_share" in purpose.timing):
            return None
        rises = []
        for weed in self.ctx.ahead.weeds_of(purpose.weeds):
            share, young = np.atleast_2d(weed.share), np.atleast_2d(weed.youngest_share)
            gone = share if purpose.barrier else np.where(share > 0, share * (1 - young), share)
            rises.append(float((gone[:, day] - gone[:, 0]).mean()))
        most = max(rises, default=np.nan)
        return None if np.isnan([*rises, most]).any() else max(most, 0.0)

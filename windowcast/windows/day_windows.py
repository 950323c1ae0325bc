"""The best hours of each day for a purpose: where they lie, their score, what holds them back."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from windowcast.core.phrase import say
from windowcast.core.record import Members
from windowcast.limits.model import TurfAnswer
from windowcast.materials.needs import ActiveNeeds
from windowcast.windows import advice
from windowcast.windows.days import watering_days
from windowcast.windows.decision import order_key
from windowcast.windows.hours import HourContext
from windowcast.windows.judge import HourScores, Judge
from windowcast.windows.model import Judged, Odds, Window
from windowcast.windows.odds import odds
from windowcast.windows.purposes import Purpose
from windowcast.windows.score import Block, best_block, holds


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

    def ordered(self, purpose: Purpose, needs: ActiveNeeds, scores: HourScores) -> list[Window]:
        """The window of each day, best first."""
        return sorted(self.each(purpose, needs, scores), key=order_key)

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

    def each(self, purpose: Purpose, needs: ActiveNeeds, scores: HourScores) -> Iterator[Window]:
        """The best block of each day: workable if there is one, else what comes closest."""
        for hours in self._day_slices():
            block = self._best(scores, hours)
            if block is not None:
                yield self._window(purpose, needs, scores, block)

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

    def _window(
        self, purpose: Purpose, needs: ActiveNeeds, scores: HourScores, block: Block
    ) -> Window:
        score = float(scores.score[0, block.hours].mean())
        unknown = np.isnan(score)
        taken = self.taken(needs, block)
        said = say("advice.of_turf", reason=taken.deciding.reason)
        judged = tuple(
            replace(j, reason=said) if j.criterion == "turf_safety" else j
            for j in scores.judged(block, self.ctx.rule)
        )
        times = self.ctx.span(block)
        futures = scores.score[1:, block.hours]
        held = np.where(np.isnan(futures).any(axis=-1), np.nan, holds(futures, self.ctx.rule))
        chance = None if unknown else odds(held, self.members, *self._reach(block, needs))
        verdict = self.ctx.rule.verdict(score)
        if verdict == "fit" and chance is not None and chance.share < self.ctx.rule.even:
            verdict = "marginal"
        by = {j.criterion: j for j in judged}
        rain = by["water_in"].measured if "water_in" in by else None
        return Window(
            purpose=purpose.name,
            start=times[0],
            end=times[1],
            score=None if unknown else round(100 * score, 1),
            verdict=verdict,
            odds=chance,
            limiting=self._limiting(scores, block, by, chance),
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
            lost=self._lost(purpose, int(self.ctx.day[self.ctx.lead + block.start])),
        )

    def taken(self, needs: ActiveNeeds, block: Block) -> TurfAnswer:
        """What the turf takes on the day of a block."""
        return self.judge.turf(needs)[int(self.ctx.day[self.ctx.lead + block.start])]

    def _limiting(
        self, scores: HourScores, block: Block, by: Mapping[str, Judged], chance: Odds | None
    ) -> Judged | None:
        """What holds a block down most: in the forecast, or else in the futures it fails in."""
        limit = scores.limiting(block)
        if chance is None or (limit and chance.share >= self.ctx.rule.even):
            return by.get(limit)
        name, count = scores.spoiler(block, self.ctx.rule)
        if count == 0 or name == limit or (limit and by[limit].verdict != "fit"):
            return by.get(limit)
        reason = say("criterion.spoiled", reason=by[name].reason, bad=count, futures=chance.members)
        return replace(by[name], reason=reason)

    def block_of(self, window: Window) -> Block:
        """The block of a window made by `_window`."""
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

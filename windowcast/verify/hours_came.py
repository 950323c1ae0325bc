"""The hours of a season as they came, by the criteria of an answer: what spoilt an application.

The same criteria, grades and limits that an answer goes by, on the weather that came instead of a
forecast.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from windowcast.core.record import DateArray, FloatArray, Weather
from windowcast.core.site import Site
from windowcast.core.values import PACKAGED, Tables
from windowcast.limits.model import TurfAnswer
from windowcast.materials.actives import Actives
from windowcast.materials.needs import ActiveNeeds, needs_of
from windowcast.season.model import SiteState
from windowcast.windows.hindsight import season_context
from windowcast.windows.judge import HourScores, Judge
from windowcast.windows.model import PurposeName
from windowcast.windows.purposes import purpose_of, weights_of
from windowcast.windows.score import Block, best_block, combine

WIND = ("wind", "sprayer_limit")  # as whoever stands beside the sprayer measures it
RAIN = ("rain_now", "rain_after", "washing_rain")
COLD = "air_temperature"
# what hours are not chosen by in hindsight: weeds and residual are scored, the turf is asked apart
SCORED = ("plant_size", "water_in", "turf_safety", "chance_of_rain")


@dataclass
class HoursCame:
    """A season's hours for one ground, asked as often as need be.

    Attributes
    ----------
    judge
        Of the hours from the season's first local midnight on.
    """

    judge: Judge
    materials: Actives
    _scores: dict[tuple[PurposeName, tuple[str, ...]], HourScores] = field(default_factory=dict)
    _needs: dict[tuple[str, ...], ActiveNeeds] = field(default_factory=dict)

    @classmethod
    def of(
        cls,
        weather: Weather,
        site: Site,
        state: SiteState,
        materials: Actives,
        *,
        tables: Tables = PACKAGED,
    ) -> HoursCame:
        """Of the hours that came.

        Parameters
        ----------
        weather
            As it came, days and hours, up to the day before its date.
        state
            Of the season's days, from its first on.
        """
        first = state.dates[0].astype("datetime64[D]").astype(object)
        last = weather.today - dt.timedelta(days=1)
        context = season_context(site, weather, state, first, last, tables=tables)
        return cls(Judge(context, state), materials)

    @property
    def times(self) -> DateArray:
        """UTC hours that are judged, ``[hour]``."""
        return self.judge.ctx.times[self.judge.ctx.lead :]

    def needs(self, names: Sequence[str]) -> ActiveNeeds:
        """What a tank needs on this turf."""
        key = tuple(names)
        if key not in self._needs:
            members = [self.materials[name] for name in key]
            self._needs[key] = needs_of(members, str(self.judge.ctx.site.turf.species))
        return self._needs[key]

    def turf(self, names: Sequence[str]) -> tuple[TurfAnswer, ...]:
        """What the turf takes of a tank by the weather that came, on each day from the first on."""
        return self.judge.turf(self.needs(names))

    def scores(self, purpose: PurposeName, names: Sequence[str]) -> HourScores:
        """Every criterion of a purpose for a tank, on all hours."""
        key = (purpose, tuple(names))
        if key not in self._scores:
            about = purpose_of(purpose, self.judge.ctx.tables)
            self._scores[key] = self.judge.scores(about, self.needs(names))
        return self._scores[key]

    def block(self, start: dt.datetime, end: dt.datetime) -> Block:
        """The hours that lie between two moments, one at least.

        Raises
        ------
        ValueError
            They lie outside the season.
        """
        first = int(self.times[0].astype("datetime64[h]").astype(np.int64))
        begin = int(start.timestamp() // 3600) - first
        stop = max(-int(-end.timestamp() // 3600) - first, begin + 1)
        if begin < 0 or stop > len(self.times):
            raise ValueError(f"{start} to {end} is not in the season")
        return Block(begin, stop)

    def kept(self, purpose: PurposeName, names: Sequence[str], block: Block) -> float:
        """Share of an application that rain left where it was put, 0..1.

        All of a pre-emergent: of pendimethalin on a fairway 200 mm of rain in ten days took 0.8 to
        1.2 % (abstract of a study of its run-off and leaching in turf).
        """
        if purpose_of(purpose, self.judge.ctx.tables).barrier:
            return 1.0
        scores = self.scores(purpose, names).scores
        rows = [scores[name][0, block.hours] for name in ("rain_after", "washing_rain")
                if name in scores]  # fmt: skip
        least = np.nanmin(np.nan_to_num(rows, nan=1.0), axis=0) if rows else np.ones(1)
        return float(least.mean())

    def spoilt(self, purpose: PurposeName, names: Sequence[str], block: Block) -> Iterator[str]:
        """ "rain", "wind", "cold": what says no in one of the hours of an application."""
        scores = self.scores(purpose, names)

        def no(names: Sequence[str]) -> bool:
            found = [scores.scores[n][..., block.hours] for n in names if n in scores.scores]
            return any(bool((row == 0).any()) for row in found)

        if no(RAIN) and not purpose_of(purpose, self.judge.ctx.tables).barrier:
            yield "rain"
        if no(WIND):
            yield "wind"
        if COLD in scores.scores and no([COLD]):
            warm = scores.grades[COLD].good[0]
            measured = np.broadcast_to(scores.measured[COLD], scores.score.shape)
            if float(measured[0, block.hours].min()) < warm:
                yield "cold"

    def workable(self, purpose: PurposeName, names: Sequence[str]) -> dict[dt.date, Block]:
        """The best hours of each local date that has some that are fit for work, as they came."""
        scores, ctx = self.scores(purpose, names), self.judge.ctx
        about = purpose_of(purpose, ctx.tables)
        asked = [n for n in scores.scores if n not in (*about.timing, *SCORED)]
        weights = weights_of(asked, ctx.tables["criteria"])
        score: FloatArray = combine((scores.scores[n], weights[n]) for n in asked)[0]
        day = ctx.day[ctx.lead :]
        edges = np.flatnonzero(np.diff(day)) + 1
        found = {}
        for begin, end in zip([0, *edges.tolist()], [*edges.tolist(), len(day)], strict=True):
            fine = np.nan_to_num(score[begin:end]) >= ctx.rule.marginal
            block = (
                best_block(score[begin:end], fine, ctx.rule, offset=begin) if fine.any() else None
            )
            if block is not None:
                found[ctx.ahead.dates[day[begin]].astype(object)] = block
        return found

    def span(self, block: Block) -> tuple[dt.datetime, dt.datetime]:
        """Start and end of a block on the site's clock."""
        return self.judge.ctx.span(block)

"""Ranking: from the weather ahead and the state of the site to windows, best first."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

import numpy as np

from windowcast.core.phrase import NOTHING, Phrase, joined, merged, names, say
from windowcast.core.record import Members, Weather
from windowcast.core.season_calendar import season_name
from windowcast.core.site import Site
from windowcast.core.values import PACKAGED, Tables
from windowcast.core.version import __version__
from windowcast.limits.answer import ground_limits
from windowcast.limits.ground import ground_of
from windowcast.limits.model import Limit, TurfAnswer, TurfSpan, refused, spans
from windowcast.materials.needs import ActiveNeeds
from windowcast.materials.resistance import (
    NO_RESISTANCE,
    Resistances,
    ResistanceStatus,
    status_text,
)
from windowcast.materials.rotation import Use, plan_flags, spent_groups
from windowcast.materials.spectrum import reach
from windowcast.season.model import SiteState
from windowcast.season.sightings import CanopyLook
from windowcast.windows import advice, trace
from windowcast.windows.cautions import CAUTIONS
from windowcast.windows.choices import Candidate, choices, expected, weed_names
from windowcast.windows.covers import RunningSeason, axis_of, controlled_on
from windowcast.windows.days import watering_days
from windowcast.windows.decision import order_key
from windowcast.windows.decision_model import Effect, Shut
from windowcast.windows.hours import HourContext, hour_context
from windowcast.windows.hours_ahead import hours_ahead, strip_of
from windowcast.windows.judge import HourScores, Judge
from windowcast.windows.model import (
    PURPOSES,
    Choice,
    Judged,
    Odds,
    PurposeName,
    PurposeOutlook,
    Ranking,
    StockFit,
    Verdict,
    Window,
)
from windowcast.windows.odds import odds
from windowcast.windows.purposes import Purpose, purpose_of
from windowcast.windows.reasons import because
from windowcast.windows.residual import ResidualActive
from windowcast.windows.resisted import Against, against_of, aimed_at, covers_working
from windowcast.windows.score import Block, Rule, best_block, holds
from windowcast.windows.season_axis import SeasonAxis
from windowcast.windows.timing import Timing, timing_of
from windowcast.windows.trials import Met


def rank(
    site: Site,
    past: SiteState,
    ahead: SiteState,
    members: Members,
    *,
    today: dt.date,
    weather: Weather | None = None,
    running: RunningSeason | None = None,
    purposes: Sequence[PurposeName] | None = None,
    days: int = 10,
    mixture: ActiveNeeds | None = None,
    stock: Sequence[ActiveNeeds] = (),
    barriers: Sequence[ResidualActive] = (),
    uses: Sequence[Use] = (),
    looks: Sequence[CanopyLook] = (),
    resistance: Resistances = NO_RESISTANCE,
    candidates: Sequence[Candidate] = (),
    further: Mapping[str, Limit] | None = None,
    now: dt.datetime | None = None,
    tables: Tables = PACKAGED,
) -> Ranking:
    """Rank the coming windows of each purpose.

    Parameters
    ----------
    past, ahead
        State of the site up to yesterday, and from today on for each member.
    members
        The weather ahead; member 0 is scored, the others are counted for the odds.
    weather
        The record behind it, for the hours just before today and for the trace.
    running
        The season that today lies in, for the cover of pre-emergents; None: it is not told.
    purposes
        Which purposes; None for all.
    days
        Days from today that are ranked, as far as hours are known.
    mixture
        What the actives to be used need; None for what is usual for each purpose.
    stock
        Needs of the actives at hand, each judged by itself for the purposes in season.
    barriers
        Materials whose cover is told for a barrier; a usual one where there is none.
    uses
        Past applications: a group used for the purpose this season or last is marked in the stock.
    looks
        Dated looks into the canopy.
    resistance
        What the weeds resist on this ground: nothing that fails there is offered.
    candidates
        What may go into the tank: of the stock, or of all where none is stated. The best of them
        for each open window are named.
    further
        Limits of single actives, by name, beside those of the turf.
    now
        The present moment; hours before it are no windows any more.
    tables
        The science values to go by.
    """
    ctx = hour_context(site, ahead, members, weather=weather, now=now, tables=tables)
    task = _Task(
        ctx,
        Judge(ctx, past, tuple(looks), further=further or {}),
        members,
        past,
        ctx.rule,
        days,
        today,
        tuple(uses),
        running.axis if running else axis_of(site, past, ahead, members, tables),
        running,
        tuple(barriers),
        () if mixture is not None else tuple(candidates),
        bool(stock),
        resistance,
    )
    outlooks = [
        task.outlook(purpose_of(name, tables), mixture, stock) for name in (purposes or PURPOSES)
    ]
    return Ranking(
        site=site.name,
        today=today,
        timezone=site.timezone,
        units=site.units,
        purposes=tuple(outlooks),
        weather_notes=merged(
            [*trace.weather_notes(ctx, members, weather, days), *past.notes]
        ),
        provenance=trace.provenance_lines(weather.daily if weather else members.daily,
                                          weather.hourly if weather else members.hourly),
        cautions=(*CAUTIONS, *_varied(tables), *task.repeats(outlooks, mixture),
                  *task.untold(outlooks, mixture),
                  *map(status_text, task.concerning(outlooks))),
        explain=(
            *trace.explain_lines(
                [purpose_of(o.purpose, tables) for o in outlooks if o.in_season],
                mixture, ahead, tables["criteria"],
            ),
            *(trace.finding_lines(weather) if weather else ()),
        ),
        program_version=__version__,
        substitutes=past.substitutes,
        hours=hours_ahead(ctx, task.last_hour),
    )  # fmt: skip


@dataclass(frozen=True)
class _Task:
    """One ranking: what all purposes share."""

    ctx: HourContext
    judge: Judge
    members: Members
    past: SiteState
    rule: Rule
    days: int
    today: dt.date
    uses: tuple[Use, ...]
    axis: SeasonAxis
    running: RunningSeason | None
    barriers: tuple[ResidualActive, ...]
    candidates: tuple[Candidate, ...]
    stocked: bool
    resistance: Resistances

    def outlook(
        self, purpose: Purpose, mixture: ActiveNeeds | None, stock: Sequence[ActiveNeeds]
    ) -> PurposeOutlook:
        """All that can be said of a purpose."""
        needs = mixture or purpose.generic
        timing = timing_of(
            purpose,
            needs,
            axis=self.axis,
            site=self.ctx.site,
            past=self.past,
            ahead=self.ctx.ahead,
            days=self.days,
        )
        if not any(e.season == purpose.weeds for e in self.ctx.ahead.emergence.values()):
            reason = advice.no_weeds(purpose)
            return _closed(purpose, timing, reason, reason)
        failing = self._against(purpose)(needs.names)
        if failing is not None and failing.standing == "resistant":
            reason = advice.resisted(failing)
            return replace(_closed(purpose, timing, reason, reason), opens=None)
        why = advice.why(purpose, timing)
        if not purpose.serves(needs):
            reason = advice.serves_not(needs)
            return replace(_closed(purpose, timing, reason, reason), opens=None)
        if mixture is not None and self._misses_all(purpose, mixture):
            reason = advice.wrong_weeds(mixture, self._codes(purpose))
            return replace(_closed(purpose, timing, reason, reason), opens=None)
        if not timing.in_season:
            closed = _closed(purpose, timing, why, advice.out_of_season(timing, why, self.rule))
            return replace(closed, turf=self._on_opening(needs, closed.opens))
        scores = self.judge.scores(purpose, needs)
        found = sorted(self._windows(purpose, needs, scores), key=order_key)
        go = tuple(w for w in found if w.verdict in ("fit", "marginal"))
        shut = tuple(self._shut(needs, w) for w in found if w not in go)
        go, chosen = self._by_effect(purpose, mixture, go)
        closest = None if go else next(iter(found), None)
        change = NOTHING
        if closest is not None:
            change = advice.would_change(scores, self._block_of(closest), self.rule)
        blind = closest is None or closest.verdict == "cannot tell"
        blind = not go and blind and bool(np.isnan(scores.score[0, scores.open]).any())
        turf = spans(self.judge.turf(needs)[: self.days])
        if refused(turf):
            text, change, closest = advice.turf(turf), NOTHING, None
        elif go:
            text = advice.go(go, self.rule)
        elif blind:
            day = None if closest is None else (closest.date - self.today).days
            known = day is not None and day < self.members.forecast_days
            text = advice.cannot_tell(
                closest, self.days, self.ctx.tables["criteria"], forecast=known
            )
            closest = closest if known else None  # no hour is near where no forecast reaches
        else:
            text = advice.wait(closest, self.days)
        return PurposeOutlook(
            purpose=purpose.name,
            title=purpose.title,
            in_season=True,
            why=why,
            opens=timing.opening,
            closes=timing.closing,
            advice=text,
            burs=self._burs(purpose),
            windows=go,
            closest=closest,
            would_change=change,
            strip=strip_of(self.ctx, scores, self.last_hour),
            stock=tuple(self._stock_fit(purpose, member) for member in stock),
            cannot_tell=blind,
            turf=turf,
            choices=chosen,
            none_in_stock=bool(go) and self.stocked and bool(self.candidates) and not chosen,
            covers=covers_working(
                purpose, needs, self.running, self.barriers, self._against(purpose)
            )
            if self.running
            else (),
            shut=tuple(one for one in shut if one.date <= self.today + dt.timedelta(days=1)),
        )

    def _by_effect(
        self, purpose: Purpose, mixture: ActiveNeeds | None, windows: tuple[Window, ...]
    ) -> tuple[tuple[Window, ...], tuple[Choice, ...]]:
        """Windows by what the tank is expected to do in them, and the choices for the best.

        The tank is the one asked for, or the first choice for the window. Where no source tells of
        each window, the order stays that of the hours alone.
        """
        choices_of = {window.start: self._choices(purpose, window) for window in windows}
        tanks = [self._tank(mixture, choices_of[window.start]) for window in windows]
        effects = [self._expected(purpose, t, w) for t, w in zip(tanks, windows, strict=True)]
        if windows and all(effects):
            known = (replace(w, effect=e) for w, e in zip(windows, effects, strict=True))
            windows = tuple(sorted(known, key=order_key))
        return windows, choices_of[windows[0].start] if windows else ()

    def _tank(self, mixture: ActiveNeeds | None, chosen: Sequence[Choice]) -> Candidate | None:
        """What goes into the tank, as far as it is known."""
        if mixture is not None:
            return Candidate(mixture, next(iter(self.barriers), None)) if mixture.names else None
        first = chosen[0].actives if chosen else None
        return next((one for one in self.candidates if one.needs.names == first), None)

    def _expected(self, purpose: Purpose, tank: Candidate | None, window: Window) -> Effect | None:
        """What a tank is expected to do in a window; None where no source tells."""
        if tank is None:
            return None
        controlled = self._controlled(purpose, window.date, [tank])
        return expected(tank, purpose, controlled, self._met(purpose, window))

    def _controlled(
        self, purpose: Purpose, date: dt.date, tanks: Sequence[Candidate]
    ) -> dict[str, tuple[float, float, float]]:
        residuals = [tank.residual for tank in tanks if tank.residual is not None]
        return controlled_on(date, purpose, self.running, residuals) if self.running else {}

    def _shut(self, needs: ActiveNeeds, window: Window) -> Shut:
        """A day that offers nothing: what the turf says goes before the weather."""
        answer: Literal["no", "cannot tell"] = "no" if window.verdict == "unfit" else "cannot tell"
        taken = self._taken(needs, self._block_of(window))
        turf = next((j for j in window.judged if j.criterion == "turf_safety"), None)
        limit = window.limiting
        if taken.answer != "yes" and turf is not None:
            answer, limit = taken.answer, turf
        if limit is None:
            limit = min(window.judged, key=lambda j: -1.0 if j.score is None else j.score)
        return Shut(window.date, answer, limit.label, limit.reason)

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

    def _against(self, purpose: Purpose) -> Against:
        """What speaks against a tank on the weeds of a purpose, here."""
        return against_of(self.resistance, purpose)

    def concerning(self, outlooks: Sequence[PurposeOutlook]) -> tuple[ResistanceStatus, ...]:
        """What is known against a mode of action on the weeds of a purpose in season."""
        aimed: set[str] = set()
        for outlook in outlooks:
            if outlook.in_season:
                purpose = purpose_of(outlook.purpose, self.ctx.tables)
                aimed |= aimed_at(self.resistance, purpose)
        return tuple(s for s in self.resistance.statuses if s.adverse and s.weed in aimed)

    def _burs(self, purpose: Purpose) -> tuple[Phrase, ...]:
        """What a post-emergent has to come before."""
        if purpose.barrier:
            return ()
        own = self.ctx.ahead.watched(purpose.weeds)
        return advice.burs(own, self.today, southern=self.ctx.site.place.southern)

    def repeats(
        self, outlooks: Sequence[PurposeOutlook], mixture: ActiveNeeds | None
    ) -> Iterator[Phrase]:
        """What the chosen actives would repeat of past seasons, for the purposes in season."""
        if mixture is None:
            return
        season = season_name(np.datetime64(self.today, "D"), self.ctx.site.place.southern)
        for outlook in outlooks:
            if outlook.in_season:
                use = Use(self.today, season, outlook.purpose, mixture.names, mixture.groups)
                for flag in plan_flags([use], self.uses, tables=self.ctx.tables):
                    yield say("caution.rotation", reason=flag.reason)

    @property
    def last_hour(self) -> int:
        """End of the last day that is ranked, in hours from today's midnight on."""
        return max((hours.stop for hours in self._day_slices()), default=0)

    def untold(
        self, outlooks: Sequence[PurposeOutlook], mixture: ActiveNeeds | None
    ) -> Iterator[Phrase]:
        """That no source says of open purposes' weeds that the chosen actives control them."""
        if mixture is None or not mixture.actives:
            return
        found: dict[str, None] = {}
        for outlook in (o for o in outlooks if o.windows):
            purpose = purpose_of(outlook.purpose, self.ctx.tables)
            reached = reach(mixture.actives, self._codes(purpose), pre=purpose.barrier)
            found |= dict.fromkeys(reached.unknown)
        if found:
            actives = names(*mixture.names, join="plus")
            yield say("caution.reach_unknown", actives=actives, weeds=weed_names(tuple(found)))

    # --- windows -------------------------------------------------------------------------------

    def _day_slices(self) -> Iterator[slice]:
        """The hours of each local day that is ranked."""
        dates = self.ctx.local[self.ctx.lead :].astype("datetime64[D]")
        edges = np.flatnonzero(np.diff(dates).astype(np.int64)) + 1
        bounds = [0, *edges.tolist(), len(dates)]
        for start, stop in list(pairwise(bounds))[: self.days]:
            yield slice(start, stop)

    def _windows(
        self, purpose: Purpose, needs: ActiveNeeds, scores: HourScores
    ) -> Iterator[Window]:
        """The best block of each day: workable if there is one, else what comes closest."""
        for hours in self._day_slices():
            block = self._best(scores, hours)
            if block is not None:
                yield self._window(purpose, needs, scores, block)

    def _best(self, scores: HourScores, hours: slice) -> Block | None:
        """Workable hours first, then hours that cannot be told, then the nearest misses."""
        score, allowed = scores.score[0, hours], scores.open[hours]
        attempts = (
            (score, allowed & (score >= self.rule.marginal)),
            (scores.near[hours], allowed & (np.isnan(score) | (score >= self.rule.marginal))),
            (scores.near[hours], allowed),
        )
        for value, usable in attempts:
            block = best_block(value, usable, self.rule, offset=hours.start)
            if block is not None:
                return block
        return None

    def _window(
        self, purpose: Purpose, needs: ActiveNeeds, scores: HourScores, block: Block
    ) -> Window:
        score = float(scores.score[0, block.hours].mean())
        unknown = np.isnan(score)
        taken = self._taken(needs, block)
        said = say("advice.of_turf", reason=taken.deciding.reason)
        judged = tuple(
            replace(j, reason=said) if j.criterion == "turf_safety" else j
            for j in scores.judged(block, self.rule)
        )
        times = self._times(block)
        futures = scores.score[1:, block.hours]
        held = np.where(np.isnan(futures).any(axis=-1), np.nan, holds(futures, self.rule))
        chance = None if unknown else odds(held, self.members, *self._reach(block, needs))
        verdict = self.rule.verdict(score)
        if verdict == "fit" and chance is not None and chance.share < self.rule.even:
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

    def _on_opening(self, needs: ActiveNeeds, opens: dt.date | None) -> tuple[TurfSpan, ...]:
        """What ground and date say against the day on which a purpose opens; nothing: no word."""
        if opens is None:
            return ()
        against = ground_limits(needs, ground_of(self.ctx.site), opens, self.ctx.tables)
        return spans((TurfAnswer(opens, against),)) if against else ()

    def _taken(self, needs: ActiveNeeds, block: Block) -> TurfAnswer:
        """What the turf takes on the day of a block."""
        return self.judge.turf(needs)[int(self.ctx.day[self.ctx.lead + block.start])]

    def _limiting(
        self, scores: HourScores, block: Block, by: Mapping[str, Judged], chance: Odds | None
    ) -> Judged | None:
        """What holds a block down most: in the forecast, or else in the futures it fails in."""
        limit = scores.limiting(block)
        if chance is None or (limit and chance.share >= self.rule.even):
            return by.get(limit)
        name, count = scores.spoiler(block, self.rule)
        if count == 0 or name == limit or (limit and by[limit].verdict != "fit"):
            return by.get(limit)
        reason = say("criterion.spoiled", reason=by[name].reason, bad=count, futures=chance.members)
        return replace(by[name], reason=reason)

    def _times(self, block: Block) -> tuple[dt.datetime, dt.datetime]:
        """Start and end of a block on the site's clock."""
        hours = self.ctx.times[self.ctx.lead :].astype(np.int64)
        zone = self.ctx.site.zone
        start = dt.datetime.fromtimestamp(3600 * int(hours[block.start]), zone)
        end = dt.datetime.fromtimestamp(3600 * (int(hours[block.stop - 1]) + 1), zone)
        return start, end

    def _block_of(self, window: Window) -> Block:
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

    def _stock_fit(self, purpose: Purpose, needs: ActiveNeeds) -> StockFit:
        """How one active at hand would do."""
        name = " + ".join(needs.names)
        if not purpose.serves(needs):
            return StockFit(name, "unfit", None, None, None, advice.acts_only(needs))
        codes = tuple(weed.weed for weed in self.ctx.ahead.weeds_of(purpose.weeds))
        reached = reach(needs.actives, codes, pre=purpose.barrier)
        if not reached.controls:
            known = not reached.unknown
            weeds = weed_names(codes)
            said = say("stock.misses" if known else "stock.reach_unknown", weeds=weeds)
            return StockFit(name, "unfit" if known else "cannot tell", None, None, None, said)
        turf = spans(self.judge.turf(needs)[: self.days])
        if refused(turf):
            verdict: Verdict = "unfit" if turf[0].answer == "no" else "cannot tell"
            return StockFit(name, verdict, None, None, None, turf[0].reason)
        failing = self._against(purpose)(needs.names)
        if failing is not None and failing.standing == "resistant":
            return StockFit(name, "unfit", None, None, None, failing.text)
        scores = self.judge.scores(purpose, needs)
        found = sorted(self._windows(purpose, needs, scores), key=order_key)
        if not found:
            return StockFit(name, "unfit", None, None, None, say("stock.no_hours"))
        best = found[0]
        limit = best.limiting
        reason = because(limit.label, limit.reason) if limit else say("stock.nothing")
        if best.verdict == "cannot tell" and needs.unknown:
            reason = say("stock.unknown", what=joined(*needs.unknown, join="clauses"))
        verdict, spent = best.verdict, self._spent(purpose, needs)
        if spent:
            verdict = "marginal" if verdict == "fit" else verdict
            reason = say("stock.reasons", of=joined(spent, reason, join="clauses"))
            reason = reason if limit else spent
        if failing is not None:
            verdict = "marginal" if verdict == "fit" else verdict
            reason = say("stock.reasons", of=joined(failing.text, reason, join="clauses"))
        return StockFit(name, verdict, best.start, best.end, best.score, reason)

    def _choices(self, purpose: Purpose, window: Window) -> tuple[Choice, ...]:
        """With what, in a window."""
        if not self.candidates:
            return ()
        return choices(
            self.judge,
            purpose,
            self.candidates,
            self._block_of(window),
            codes=self._codes(purpose),
            timed_by=[weed.weed for weed in self.ctx.ahead.weeds_of(purpose.weeds)],
            day=(window.date - self.today).days,
            spent=self._groups_spent(purpose) if self.uses else None,
            against=self._against(purpose),
            controlled=self._controlled(purpose, window.date, self.candidates),
            met=self._met(purpose, window),
        )

    def _met(self, purpose: Purpose, window: Window) -> Met:
        """What an application in a window meets."""
        hours = self._block_of(window).hours
        air_c = float(self.ctx.temp_c[0, self.ctx.lead :][hours].mean())
        day = (window.date - self.today).days
        efficacy = self.ctx.tables["efficacy"]
        return Met.on(
            *(day, purpose, self.ctx.ahead),
            air_c=air_c,
            efficacy=efficacy,
            resistance=self.resistance,
        )

    def _codes(self, purpose: Purpose) -> tuple[str, ...]:
        """EPPO codes of the watched weeds of a purpose's season."""
        return tuple(weed.weed for weed in self.ctx.ahead.watched(purpose.weeds))

    def _misses_all(self, purpose: Purpose, needs: ActiveNeeds) -> bool:
        """Whether actives that were chosen are known to do nothing to a purpose's weeds."""
        codes = self._codes(purpose)
        found = reach(needs.actives, codes, pre=purpose.barrier)
        return bool(needs.actives) and found.misses == codes

    def _groups_spent(self, purpose: Purpose) -> dict[int, str]:
        southern = self.ctx.site.place.southern
        return spent_groups(self.uses, purpose.name, self.today, southern=southern)

    def _spent(self, purpose: Purpose, needs: ActiveNeeds) -> Phrase:
        """That all of an active's groups were used for the purpose lately; nothing when not."""
        used = self._groups_spent(purpose)
        if not needs.groups or not set(needs.groups) <= set(used):
            return NOTHING
        return say("stock.reasons", of=joined(*(_used(g, used[g]) for g in needs.groups)))


def _varied(tables: Tables) -> list[Phrase]:
    """That an answer goes by other science values than the packaged ones."""
    changed = sorted(f"{value.path} = {value.value}" for value in tables.changed())
    return [say("caution.varied", values=names(*changed))] if changed else []


def _used(group: int, when: str) -> Phrase:
    return say("stock.used_this" if when == "this season" else "stock.used_last", group=group)


def _closed(purpose: Purpose, timing: Timing, why: Phrase, text: Phrase) -> PurposeOutlook:
    """A purpose that is not open."""
    return PurposeOutlook(
        purpose=purpose.name,
        title=purpose.title,
        in_season=False,
        why=why,
        opens=timing.opening,
        closes=None,
        advice=text,
        windows=(),
        closest=None,
        would_change=NOTHING,
    )

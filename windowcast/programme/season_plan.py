"""The season plan: key dates, purposes' windows, workable days, control left, what if missed."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Literal

import numpy as np

from windowcast.core.phrase import NOTHING, Phrase, Share, joined, merged, say, sentences
from windowcast.core.record import FloatArray, Members, Weather
from windowcast.core.season_calendar import season_name
from windowcast.core.site import Site
from windowcast.core.values import Tables
from windowcast.core.version import __version__
from windowcast.limits.answer import turf_answers
from windowcast.limits.ground import ground_of
from windowcast.limits.model import TurfSpan, refused, spans
from windowcast.limits.turf_days import TurfDays
from windowcast.materials.needs import ActiveNeeds
from windowcast.materials.resistance import NO_RESISTANCE, Resistances, told
from windowcast.programme.control_ahead import (
    ControlAhead,
    later_attempt,
    tanks_of,
    with_control,
)
from windowcast.programme.key_dates import key_dates
from windowcast.programme.model import Decision, PurposePlan, SeasonPlan, Week
from windowcast.programme.now_or_wait import day_offers, decision, later_value
from windowcast.programme.season_today import season_today
from windowcast.programme.workable_days import day_scores, fewest_workable, open_days, workable
from windowcast.season.model import SiteState
from windowcast.season.sightings import CanopyLook
from windowcast.windows.advice import opening
from windowcast.windows.covers import Against, against_of, covers_working
from windowcast.windows.decision_model import Decided
from windowcast.windows.hours import HourContext, hour_context
from windowcast.windows.judge import Judge
from windowcast.windows.model import PURPOSES, Job, PurposeName
from windowcast.windows.odds import DateRange
from windowcast.windows.opening import Opening
from windowcast.windows.purposes import Purpose, purpose_of
from windowcast.windows.residual import ResidualActive
from windowcast.windows.running_season import RunningSeason
from windowcast.windows.score import BoolArray
from windowcast.windows.season_axis import SEASON_DAYS
from windowcast.windows.timing import timing_of
from windowcast.windows.trace import cited

DAYS = 10  # judged by the hour when deciding now or waiting
DELAY_DAYS = 14
MAY_BE = 0.1  # share of the futures from which a purpose may be in season on a day
NO_JOBS: Mapping[PurposeName, Job | None] = MappingProxyType({})
NOT_DECIDED: Mapping[PurposeName, Decided] = MappingProxyType({})
Status = Literal["open", "ahead", "over", "cannot tell"]


def season_plan(
    running: RunningSeason,
    weather: Weather,
    *,
    barriers: Sequence[ResidualActive] = (),
    looks: Sequence[CanopyLook] = (),
    jobs: Mapping[PurposeName, Job | None] = NO_JOBS,
    decided: Mapping[PurposeName, Decided] = NOT_DECIDED,
    areas: Sequence[str] = (),
    resistance: Resistances = NO_RESISTANCE,
    now: dt.datetime | None = None,
) -> SeasonPlan:
    """The plan from today to the end of the season.

    Parameters
    ----------
    running
        The season that today lies in. The days ahead should reach two months beyond its end, so
        that barriers of spring are seen out.
    weather
        The record behind it.
    barriers
        Materials whose cover is told for a barrier; a usual one where there is none.
    looks
        Dated looks into the canopy.
    jobs
        Where each purpose stands by the season log; what is done gets no decision.
    decided
        What the ranking of the same answer decides.
    areas
        Names of the areas that it is about.
    resistance
        What is known of resistance on that ground: of what fails there no cover is told.
    now
        The present moment; hours before it are gone.
    """
    site, past, members, tables = running.site, running.past, running.members, running.tables
    axis, southern = running.axis, site.place.southern
    ctx = hour_context(site, running.ahead, members, weather=weather, now=now, tables=tables)
    work = _Work(running, ctx, Judge(ctx, past, tuple(looks)), resistance, decided)
    dates = key_dates(axis, southern=southern)
    purposes = [
        _with_job(work.purpose(purpose_of(name, tables), barriers), jobs.get(name))
        for name in PURPOSES
    ]
    seasons = sum(1 for _ in axis.past_seasons(southern=southern))
    return SeasonPlan(
        site=site.name,
        season=season_name(axis.start, southern),
        today=weather.today,
        units=site.units,
        standing=season_today(axis, dates, purposes),
        key_dates=dates,
        purposes=tuple(purposes),
        assumptions=(
            *merged(past.notes),
            *_assumptions(site, members, seasons),
        ),
        past_seasons=seasons,
        members=len(members.daily.get("tmax_c")) - 1,
        explain=_explain(running.ahead, tables),
        program_version=__version__,
        areas=tuple(areas),
        substitutes=past.substitutes,
        resistance=told(
            replace(resistance, tables=tables), site.weeds, golf=site.turf.use == "golf"
        ),
    )


def _with_job(plan: PurposePlan, job: Job | None) -> PurposePlan:
    """The plan of ground still to do."""
    if job is None:
        return plan
    if job.open:
        return replace(plan, job=job)
    return replace(plan, job=job, decision=None, covers=(), weeks=(), fewest=None)


def _explain(ahead: SiteState, tables: Tables) -> tuple[Phrase, ...]:
    """Where the plan's own values come from; those of the ranking are traced there."""
    own = ("plan", "barrier", "ensemble")
    lines = cited(value for name in own for value in tables[name].values_below())
    return tuple(dict.fromkeys([*lines, *cited(ahead.used)]))


def _assumptions(site: Site, members: Members, seasons: int) -> tuple[Phrase, ...]:
    basis = sentences(
        say("plan.forecast", days=members.forecast_days) if members.forecast_days else NOTHING,
        say("plan.past_years", years=members.past_years)
        if members.past_years
        else say("plan.no_past_years"),
        say("plan.normals", seasons=seasons) if seasons else say("plan.no_normals"),
    )
    lines = [basis, say("plan.whole_days")]
    if not np.isfinite(members.daily.get("wind_mean_m_s")[..., -1]).any():
        lines.append(say("plan.no_wind"))
    if site.sensitive:
        lines.append(say("plan.sensitive_areas"))
    if site.turf.irrigated is None:
        lines.append(say("plan.irrigation_unknown"))
    return tuple(lines)


@dataclass(frozen=True)
class _Work:
    """What all purposes of one plan share."""

    running: RunningSeason
    ctx: HourContext
    judge: Judge
    resistance: Resistances
    decided: Mapping[PurposeName, Decided]

    def purpose(self, purpose: Purpose, barriers: Sequence[ResidualActive]) -> PurposePlan:
        """One purpose's part of the plan."""
        rule, axis, needs = purpose.rule, self.running.axis, purpose.generic
        when = self.running.opening(purpose, needs)
        coming, own = when.score[:, axis.gone :], axis.number < SEASON_DAYS
        opened, closed = when.opened, when.closed
        status = self._status(when)
        reopens = 0.0
        if status == "over":
            reopens = float(when.is_open[:, axis.gone :].any(axis=1).mean())
            closed = closed or when.last_open()
        over = closed is not None or status == "over"
        closes = None if over else when.closes
        daily = day_scores(
            self.running.members.daily,
            purpose,
            needs,
            site=self.ctx.site,
            frozen=self.ctx.ahead.soil_frozen,
        )[1:]
        timing = np.where(own[axis.gone :], coming, 0.0)
        turf = self._turf(needs, timing >= rule.season)
        return PurposePlan(
            purpose=purpose.name,
            title=purpose.title,
            status=status,
            opened=opened,
            opens=None if opened else when.opens,
            closes=closes,
            closed=closed,
            reopens=reopens,
            normal_opens=when.normal_opens(axis.start),
            normal_closes=when.normal_closes(axis.start),
            years=tuple(
                (season_name(s, self.ctx.site.place.southern), self._date(s, a), self._date(s, b))
                for s, a, b in when.past_years
            ),
            weeks=self._weeks(daily, coming >= rule.season) if status != "over" else (),
            fewest=fewest_workable(
                daily,
                (timing >= rule.season).mean(axis=0) >= 0.5,
                self.ctx.ahead.dates,
                open_days(self.ctx.ahead.dates.astype("datetime64[D]"), self.ctx.site, rule),
                rule,
            ),
            covers=covers_working(purpose, needs, self.running, barriers, self._against(purpose)),
            decision=self._decision(purpose, needs, daily, timing, closes)
            if status == "open" and not refused(turf)
            else None,
            if_missed=sentences(
                say(f"purpose.{purpose.name}.if_missed"),
                later_attempt(self._ahead_of(needs), purpose, closes.median if closes else None),
            ),
            delay_cost=self._delay_cost(purpose, status),
            turf=turf,
            paused=self._paused(purpose, needs) if status == "open" and opened else NOTHING,
        )

    def _paused(self, purpose: Purpose, needs: ActiveNeeds) -> Phrase:
        """When a purpose that is shut for the days ahead opens again, as the ranking says it."""
        timing = timing_of(purpose, needs, running=self.running, days=DAYS)
        return opening(timing) if timing.paused else NOTHING

    def _against(self, purpose: Purpose) -> Against:
        return against_of(self.resistance, purpose)

    def _turf(self, needs: ActiveNeeds, in_season: BoolArray) -> tuple[TurfSpan, ...]:
        """What the turf takes on the days ahead on which the purpose may be in season."""
        days = np.flatnonzero(in_season.mean(axis=0) >= MAY_BE)
        if not days.size:
            return ()
        answers = turf_answers(
            needs,
            ground_of(self.ctx.site),
            TurfDays.of(self.ctx.ahead, self.judge.looks),
            self.ctx.tables,
            count=int(days[-1]) + 1,
        )
        return spans(answers[int(days[0]) :])

    # --- when ----------------------------------------------------------------------------------

    def _status(self, when: Opening) -> Status:
        gone, first = self.running.axis.gone, when.first
        coming = when.is_open[:, gone:]
        may_open = (coming | when.unknown[:, gone:]).any(axis=1).mean()
        begun = when.opened is not None or (first < gone).mean() > 0.5
        if when.closed or (begun and may_open < 0.5):
            return "over"  # in most futures; how many bring it back is told beside it
        if begun and not coming.any():
            return "cannot tell"
        if begun or (first <= gone + DAYS - 1).mean() > 0.5:
            return "open"
        return "cannot tell" if np.isnan(first).mean() > 0.5 else "ahead"

    @staticmethod
    def _date(start: dt.date, number: float) -> dt.date | None:
        return start + dt.timedelta(days=int(number)) if np.isfinite(number) else None

    # --- how many days -------------------------------------------------------------------------

    def _weeks(self, daily: FloatArray, in_season: BoolArray) -> tuple[Week, ...]:
        """Workable days of each coming week in which the purpose may be open."""
        can = workable(daily, self.ctx.rule)
        dates = self.ctx.ahead.dates.astype("datetime64[D]")
        monday = dates - ((dates.astype(np.int64) + 3) % 7).astype("timedelta64[D]")
        allowed = open_days(dates, self.ctx.site, self.ctx.rule)
        own = (dates - np.datetime64(self.running.axis.start)).astype(int) < SEASON_DAYS
        weeks = []
        for start in np.unique(monday[own]):
            here = (monday == start) & own
            if in_season[:, here].any(axis=1).mean() < 0.1:
                continue
            days = can[:, here]
            known = np.isfinite(days).mean()
            week = Week(start.astype(object), None, None, None, int(allowed[here].sum()))
            if known > 0.5:
                count = np.nansum(days, axis=1)
                low, high = np.quantile(count, [0.1, 0.9], method="inverted_cdf")
                week = replace(week, days=float(count.mean()), low=float(low), high=float(high))
            weeks.append(week)
        return tuple(weeks)

    # --- now or later --------------------------------------------------------------------------

    def _decision(
        self,
        purpose: Purpose,
        needs: ActiveNeeds,
        daily: FloatArray,
        timing: FloatArray,
        closes: DateRange | None,
    ) -> Decision:
        scores = self.judge.scores(purpose, needs)
        offers = day_offers(scores, self.ctx, DAYS)
        offers = np.broadcast_to(offers, (len(daily) + 1, DAYS))
        later = later_value(daily, timing, offers[1:], DAYS, self.ctx.tables)
        made = decision(
            purpose,
            offers,
            later,
            self.running.members,
            today=self.running.today,
            closes=closes.median if closes else None,
            decided=self.decided.get(purpose.name),
        )
        return with_control(made, purpose, self._ahead_of(needs))

    def _ahead_of(self, needs: ActiveNeeds) -> ControlAhead:
        tanks = tanks_of(needs, self.ctx.site)
        efficacy = self.ctx.tables["efficacy"]
        return ControlAhead(tanks, self.ctx.ahead, self.running.members, efficacy, self.resistance)

    def _delay_cost(self, purpose: Purpose, status: Status) -> Phrase:
        """What two weeks cost from now on, from the state's distribution."""
        if status == "over":
            return say("delay.over")
        if status == "cannot tell":
            return say("delay.cannot_tell")
        if status != "open":
            return say("delay.not_open")
        days = [self.running.axis.gone, self.running.axis.gone + DELAY_DAYS]
        lines = []
        for weed in self.running.axis.state.weeds_of(purpose.weeds):
            if days[1] >= len(self.running.axis.dates) or np.isnan(weed.share[:, days]).any():
                continue
            rise = Share(float(np.mean(np.diff(weed.share[:, days]))))
            named = say(f"weed.{weed.weed}")
            if purpose.barrier:
                lines.append(say("delay.rise", rise=rise, weed=named))
                continue
            young, later = (Share(float(np.nanmean(weed.youngest_share[:, d]))) for d in days)
            lines.append(say("delay.rise_old", rise=rise, weed=named, later=later, young=young))
        if not lines:
            return say("delay.unknown")
        return say("delay.cost", rises=joined(*lines, join="clauses"))

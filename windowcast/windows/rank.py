"""Ranking: from the weather ahead and the state of the site to windows, best first."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Literal

import numpy as np

from windowcast.core.phrase import NOTHING, Phrase, merged, names, say
from windowcast.core.record import Weather
from windowcast.core.season_calendar import season_name
from windowcast.core.values import Table, Tables
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
from windowcast.materials.rotation import Use, plan_flags
from windowcast.materials.spectrum import reach
from windowcast.season.model import TurfPhase, TurfState
from windowcast.season.sightings import CanopyLook
from windowcast.season.turf_safety import Safety
from windowcast.windows import advice, trace
from windowcast.windows.choices import Candidate, weed_names
from windowcast.windows.covers import aimed_at, covers_working
from windowcast.windows.day_windows import DayWindows
from windowcast.windows.decision_model import Shut
from windowcast.windows.hours import hour_context
from windowcast.windows.hours_ahead import hours_ahead, strip_of
from windowcast.windows.judge import Judge
from windowcast.windows.model import (
    CAUTIONS,
    PURPOSES,
    PurposeName,
    PurposeOutlook,
    Ranking,
    Window,
)
from windowcast.windows.purposes import Purpose, purpose_of
from windowcast.windows.residual import ResidualActive
from windowcast.windows.running_season import RunningSeason
from windowcast.windows.tanks import Tanks
from windowcast.windows.timing import Timing, timing_of


def rank(
    running: RunningSeason,
    *,
    weather: Weather | None = None,
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
    in_full: bool = True,
) -> Ranking:
    """Rank the coming windows of each purpose.

    Parameters
    ----------
    running
        The season that today lies in, with the site and the weather ahead of which member 0 is
        scored, and the others are counted for the odds.
    weather
        The record behind it, for the hours just before today and for the trace.
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
    in_full
        False for many rankings of which only the decisions are read: without the hours, what is in
        stock, the cover of pre-emergents by day, and the trace.
    """
    site, past, members, tables = running.site, running.past, running.members, running.tables
    ctx = hour_context(site, running.ahead, members, weather=weather, now=now, tables=tables)
    days_ranked = DayWindows(Judge(ctx, past, tuple(looks), further=further or {}), members, days)
    tanks = Tanks(
        days_ranked,
        running,
        tuple(barriers),
        () if mixture is not None else tuple(candidates),
        tuple(uses),
        resistance,
        in_full,
    )
    asked = [purpose_of(name, tables) for name in purposes or PURPOSES]
    outlooks = [outlook(purpose, mixture, stock, tanks) for purpose in asked]
    in_season = [p for p, o in zip(asked, outlooks, strict=True) if o.in_season]
    with_windows = [p for p, o in zip(asked, outlooks, strict=True) if o.windows]
    return Ranking(
        site=site.name,
        today=running.today,
        timezone=site.timezone,
        units=site.units,
        purposes=tuple(outlooks),
        weather_notes=merged([*trace.weather_notes(ctx, members, weather, days), *past.notes]),
        provenance=trace.provenance_lines(
            weather.daily if weather else members.daily,
            weather.hourly if weather else members.hourly,
        ),
        cautions=(
            *CAUTIONS,
            *_varied(tables),
            *_repeats(in_season, mixture, tanks),
            *_untold(with_windows, mixture, tanks),
            *map(status_text, _concerning(in_season, resistance)),
        ),
        explain=(
            *trace.explain_lines(in_season, mixture, running.ahead, tables["criteria"]),
            *(trace.finding_lines(weather) if weather else ()),
        )
        if in_full
        else (),
        program_version=__version__,
        substitutes=past.substitutes,
        hours=hours_ahead(ctx, days_ranked.last_hour) if in_full else None,
    )


def _varied(tables: Tables) -> list[Phrase]:
    """That an answer goes by other science values than the packaged ones."""
    changed = sorted(f"{value.path} = {value.value}" for value in tables.changed())
    return [say("caution.varied", values=names(*changed))] if changed else []


def _repeats(
    in_season: Sequence[Purpose], mixture: ActiveNeeds | None, tanks: Tanks
) -> Iterator[Phrase]:
    """What the chosen actives would repeat of past seasons, for the purposes in season."""
    if mixture is None:
        return
    today, southern = tanks.running.today, tanks.running.site.place.southern
    season = season_name(np.datetime64(today, "D"), southern)
    for purpose in in_season:
        use = Use(today, season, purpose.name, mixture.names, mixture.groups)
        for flag in plan_flags([use], tanks.uses, tables=tanks.running.tables):
            yield say("caution.rotation", reason=flag.reason)


def _untold(
    purposes: Sequence[Purpose], mixture: ActiveNeeds | None, tanks: Tanks
) -> Iterator[Phrase]:
    """That no source says of open purposes' weeds that the chosen actives control them."""
    if mixture is None or not mixture.actives:
        return
    found: dict[str, None] = {}
    for purpose in purposes:
        reached = reach(mixture.actives, tanks.codes(purpose), pre=purpose.barrier)
        found |= dict.fromkeys(reached.unknown)
    if found:
        actives = names(*mixture.names, join="plus")
        yield say("caution.reach_unknown", actives=actives, weeds=weed_names(tuple(found)))


def _concerning(
    in_season: Sequence[Purpose], resistance: Resistances
) -> tuple[ResistanceStatus, ...]:
    """What is known against a mode of action on the weeds of a purpose in season."""
    aimed = {weed for purpose in in_season for weed in aimed_at(resistance, purpose)}
    return tuple(s for s in resistance.statuses if s.adverse and s.weed in aimed)


def outlook(
    purpose: Purpose, mixture: ActiveNeeds | None, stock: Sequence[ActiveNeeds], tanks: Tanks
) -> PurposeOutlook:
    """All that can be said of a purpose.

    Parameters
    ----------
    mixture
        What the actives to be used need; None for what is usual for the purpose.
    stock
        Needs of the actives at hand; none where nobody says what is.
    """
    needs = mixture or purpose.generic
    timing = timing_of(purpose, needs, running=tanks.running, days=tanks.windows.days)
    ctx = tanks.windows.ctx
    if not any(e.season == purpose.weeds for e in ctx.ahead.emergence.values()):
        reason = advice.no_weeds(purpose)
        return _closed(purpose, timing, reason, reason)
    never = _never(purpose, mixture, tanks)
    if never is not None:
        return replace(_closed(purpose, timing, never, never), opens=None)
    if not timing.in_season:
        why = advice.why(purpose, timing)
        refusal = _refusal(purpose, needs, tanks.windows)
        text = refusal or advice.out_of_season(purpose, timing, why, ctx.rule)
        closed = _closed(purpose, timing, why, text)
        turf = _on_opening(tanks.windows, needs, closed.opens)
        return replace(closed, turf=turf, over=timing.over and not refusal)
    return _open(purpose, mixture, stock, tanks, timing)


def _refusal(purpose: Purpose, needs: ActiveNeeds, days: DayWindows) -> Phrase:
    """Why dormant turf takes nothing, though the season is neither over nor still to come."""
    ctx = days.ctx
    if "dormancy" not in purpose.timing or not _stays_dormant(ctx.ahead.turf, ctx.tables["turf"]):
        return NOTHING
    taken = spans(days.judge.turf(needs)[: days.days])
    return advice.turf(taken) if refused(taken) else NOTHING


def _stays_dormant(turf: TurfState, values: Table) -> bool:
    """Whether the turf is dormant today, and in most futures beyond the margin of a spray."""
    dormant = int(np.atleast_2d(turf.phase)[0, 0]) == TurfPhase.DORMANT
    left = float(np.atleast_2d(turf.days_to_greenup)[0, 0])  # the futures' median
    return dormant and left > Safety.of(values).margin_days


def _never(purpose: Purpose, mixture: ActiveNeeds | None, tanks: Tanks) -> Phrase | None:
    """Why these actives are of no use for a purpose on this ground, whatever the day."""
    needs = mixture or purpose.generic
    failing = tanks.against(purpose)(needs.names)
    if failing is not None and failing.standing == "resistant":
        return advice.resisted(failing)
    if not purpose.serves(needs):
        return advice.serves_not(needs)
    if mixture is not None and tanks.misses_all(purpose, mixture):
        return advice.wrong_weeds(mixture, tanks.codes(purpose))
    return None


def _open(
    purpose: Purpose,
    mixture: ActiveNeeds | None,
    stock: Sequence[ActiveNeeds],
    tanks: Tanks,
    timing: Timing,
) -> PurposeOutlook:
    """A purpose in season."""
    days, today = tanks.windows, tanks.running.today
    ctx, needs = days.ctx, mixture or purpose.generic
    scores = days.judge.scores(purpose, needs)
    found = days.ordered(needs, scores)
    shut = tuple(
        _shut(days, needs, days.window(purpose, needs, rated))
        for rated in found
        if not rated.offered and days.day_of(rated.block) <= 1  # today and tomorrow
    )
    go = tuple(days.window(purpose, needs, rated) for rated in found if rated.offered)
    go, chosen = tanks.by_effect(purpose, mixture, go)
    closest, change = None, NOTHING
    if not go and found:
        closest = days.window(purpose, needs, found[0])
        change = advice.would_change(scores, found[0].block)
    blind = closest is None or closest.verdict == "cannot tell"
    blind = not go and blind and bool(np.isnan(scores.score[0, scores.open]).any())
    turf = spans(days.judge.turf(needs)[: days.days])
    if refused(turf):
        text, change, closest = advice.turf(turf), NOTHING, None
    elif go:
        text = advice.go(go, ctx.rule)
    elif blind:
        day = None if closest is None else (closest.date - today).days
        known = day is not None and day < days.members.forecast_days
        text = advice.cannot_tell(closest, days.days, ctx.tables["criteria"], forecast=known)
        closest = closest if known else None  # no hour is near where no forecast reaches
    else:
        text = advice.wait(closest, days.days)
    return PurposeOutlook(
        purpose=purpose.name,
        title=purpose.title,
        in_season=True,
        why=advice.why(purpose, timing),
        opens=timing.opening,
        closes=timing.closing,
        advice=text,
        burs=_burs(purpose, tanks),
        windows=go,
        closest=closest,
        would_change=change,
        strip=strip_of(ctx, scores, days.last_hour) if tanks.in_full else None,
        stock=tuple(tanks.stock_fit(purpose, one) for one in stock) if tanks.in_full else (),
        cannot_tell=blind,
        turf=turf,
        choices=chosen,
        none_in_stock=bool(go) and bool(stock) and bool(tanks.candidates) and not chosen,
        covers=covers_working(purpose, needs, tanks.running, tanks.barriers, tanks.against(purpose))
        if tanks.in_full
        else (),
        shut=shut,
    )


def _shut(days: DayWindows, needs: ActiveNeeds, window: Window) -> Shut:
    """A day that offers nothing: what the turf says goes before the weather."""
    answer: Literal["no", "cannot tell"] = "no" if window.verdict == "unfit" else "cannot tell"
    taken = days.taken(needs, days.block_of(window))
    turf = next((j for j in window.judged if j.criterion == "turf_safety"), None)
    limit = window.limiting
    if taken.answer != "yes" and turf is not None:
        answer, limit = taken.answer, turf
    if limit is None:
        limit = min(window.judged, key=lambda j: -1.0 if j.score is None else j.score)
    return Shut(window.date, answer, limit.label, limit.reason)


def _burs(purpose: Purpose, tanks: Tanks) -> tuple[Phrase, ...]:
    """What a post-emergent has to come before."""
    if purpose.barrier:
        return ()
    ctx = tanks.windows.ctx
    own = ctx.ahead.watched(purpose.weeds)
    return advice.burs(own, tanks.running.today, southern=ctx.site.place.southern)


def _on_opening(
    days: DayWindows, needs: ActiveNeeds, opens: dt.date | None
) -> tuple[TurfSpan, ...]:
    """What ground and date say against the day on which a purpose opens; nothing: no word."""
    if opens is None:
        return ()
    against = ground_limits(needs, ground_of(days.ctx.site), opens, days.ctx.tables)
    return spans((TurfAnswer(opens, against),)) if against else ()


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

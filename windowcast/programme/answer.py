"""The whole way from a site and its weather to an answer: weather → state → windows.

`answer` is what the command line, the web page and the calendar all call; it does no I/O.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from windowcast.core.errors import InputError
from windowcast.core.record import Members, Record, Weather
from windowcast.core.season_calendar import season_end
from windowcast.core.site import Site
from windowcast.core.values import PACKAGED, Tables
from windowcast.materials.resistance import NO_RESISTANCE, Resistances
from windowcast.physics.soil import simulate
from windowcast.physics.soil_site import SiteCorrection
from windowcast.programme.candidates import candidates_of, used_up
from windowcast.season.errors import ModelErrors, model_errors
from windowcast.season.model import SiteState
from windowcast.season.observed import Observed, soil_correction
from windowcast.season.sightings import CanopyLook, TurfSeen, holding
from windowcast.season.soil_kept import SoilModel
from windowcast.season.state import Carry, build
from windowcast.season.turf_safety import Safety, freer, over_futures, stricter
from windowcast.weather.ensemble import members as members_of
from windowcast.weather.grid_filled import without_grid
from windowcast.weather.own_misses import own_days
from windowcast.windows.decision import decide
from windowcast.windows.model import PURPOSES, Job, PurposeName, Ranking
from windowcast.windows.rank import rank
from windowcast.windows.residual import ResidualActive, material_of
from windowcast.windows.running_season import RunningSeason
from windowcast.windows.score import Rule
from windowcast.windows.season_axis import BEYOND_DAYS

if TYPE_CHECKING:
    from windowcast.materials.actives import Actives, Formulation
    from windowcast.materials.needs import ActiveNeeds
    from windowcast.materials.product import Product

DAYS = 10  # judged by the hour when nothing else is asked for


class Foreseen(NamedTuple):
    """The weather ahead, and the state of a site so far and in each future.

    Attributes
    ----------
    past, ahead
        Up to yesterday, ``[day]``; from today on, ``[1 + future, day]``.
    looks
        Looks into the canopy that still stand.
    """

    members: Members
    past: SiteState
    ahead: SiteState
    looks: tuple[CanopyLook, ...]


def foreseen(
    site: Site,
    weather: Weather,
    *,
    days: int = DAYS,
    observed: Observed | None = None,
    futures: int = 100,
    tables: Tables = PACKAGED,
    soil_model: SoilModel = simulate,
    compiled: bool = False,
) -> Foreseen:
    """State of a site up to the weather's date, and in the futures from then on.

    Parameters
    ----------
    days, observed, futures, tables, soil_model, compiled
        As in `answer`.

    Raises
    ------
    InputError
        The record has no day before today.
    """
    today = np.datetime64(weather.today, "D")
    record = weather.daily.between(weather.daily.times[0], today - np.timedelta64(1, "D"))
    if not len(record.times):
        raise InputError(
            f"the weather has no day before {weather.today}",
            field="date",
            remedy="give a record that ends the day before, or a later date",
        )
    end = season_end(weather.today, southern=site.place.southern) + dt.timedelta(BEYOND_DAYS)
    horizon = max(days, DAYS)  # asking for fewer days draws no other futures, so odds stay

    def drawn(weather: Weather) -> Members:
        return members_of(weather, until=end, horizon_days=horizon, count=futures, tables=tables)

    future = drawn(weather)
    seen = observed or Observed()
    looks, safety = holding(seen.looks, weather.today), Safety.of(tables["turf"])
    correction = soil_correction(
        record, site, seen, tables, nearby=weather.nearby, soil_model=soil_model
    )

    def state(
        days: Record,
        turf_seen: TurfSeen,
        start: Carry | None = None,
        errors: ModelErrors | None = None,
        correction: SiteCorrection | None = correction,
    ) -> tuple[SiteState, Carry]:
        return build(
            days,
            site,
            start=start,
            correction=correction,
            counts=seen.counts,
            green_cover=turf_seen.covers,
            looks=turf_seen.looks,
            tables=tables,
            soil_model=soil_model,
            errors=errors,
            compiled=compiled,
        )

    plain = replace(weather, daily=without_grid(weather.daily, tables), misses=None, nearby=())
    drawn_alike = plain.daily is weather.daily and not own_days(weather.misses, tables["ensemble"])
    as_plain = not weather.nearby and drawn_alike
    if not as_plain:
        plain_days = plain.daily.between(record.times[0], record.times[-1])
        plain_future = future if drawn_alike else drawn(plain)
        own = soil_correction(plain_days, site, seen, tables, soil_model=soil_model)

    def states(turf_seen: TurfSeen) -> tuple[SiteState, SiteState]:
        """So far, and in the futures."""
        past, carry = state(record, turf_seen)
        errors = model_errors(
            record.place, past.emergence, future.daily.times, futures, carry.soil_error
        )
        ahead = state(future.daily, turf_seen, carry, errors)[0]
        if not as_plain:
            # the turf never takes more for what a grid, soil elsewhere or the forecasts' record say
            general, before = state(plain_days, turf_seen, correction=own)
            past = replace(past, turf=stricter(past.turf, general.turf))
            general, _ = state(plain_future.daily, turf_seen, before, errors, own)
            ahead = replace(ahead, turf=stricter(ahead.turf, general.turf))
        return past, replace(ahead, turf=over_futures(ahead.turf, ahead.dates, safety))

    turf_seen = TurfSeen(looks, tuple(seen.green_cover))
    past, ahead = states(turf_seen)
    if turf_seen.up_to_leaf != turf_seen:
        # who has found no leaf of late has no fewer days than one who has not looked since
        past_unlooked, ahead_unlooked = states(turf_seen.up_to_leaf)
        past = replace(past, turf=freer(past.turf, past_unlooked.turf))
        turf = freer(ahead.turf, ahead_unlooked.turf)
        ahead = replace(ahead, turf=over_futures(turf, ahead.dates, safety))
    return Foreseen(future, past, greenup_by_futures(ahead), looks)


def greenup_by_futures(ahead: SiteState) -> SiteState:
    """The state in which member 0 takes the futures' median of the days left to green-up.

    The forecast as issued does not reach so far, and the mean weather that follows it has no warm
    spells. The season plan names the same median. NaN where most futures do not tell.
    """
    left = np.atleast_2d(ahead.turf.days_to_greenup)
    if len(left) < 2:
        return ahead
    far = np.where(np.isnan(left[1:]), np.inf, left[1:])
    middle = np.sort(far, axis=0)[(len(far) - 1) // 2]
    days = np.concatenate([np.where(np.isinf(middle), np.nan, middle)[None], left[1:]])
    return replace(ahead, turf=replace(ahead.turf, days_to_greenup=days))


@dataclass(frozen=True)
class Answer:
    """Everything a report may show, and what the season plan is made from."""

    site: Site
    weather: Weather
    members: Members
    past: SiteState
    ahead: SiteState
    ranking: Ranking
    running: RunningSeason  # what ranking, plan and jobs share
    barriers: tuple[ResidualActive, ...] = ()
    looks: tuple[CanopyLook, ...] = ()
    tables: Tables = PACKAGED
    areas: tuple[str, ...] = ()  # of the site, that the answer is about; none where it names none
    jobs: Mapping[PurposeName, Job | None] = field(default_factory=dict)  # by the season log
    resistance: Resistances = NO_RESISTANCE


def answer(
    site: Site,
    weather: Weather,
    *,
    found: Foreseen | None = None,
    purposes: Sequence[PurposeName] | None = None,
    days: int = DAYS,
    actives: str = "",
    materials: Actives | None = None,
    formulation: Formulation | None = None,
    observed: Observed | None = None,
    now: dt.datetime | None = None,
    futures: int = 100,
    tables: Tables = PACKAGED,
    soil_model: SoilModel = simulate,
    compiled: bool = False,
    areas: Sequence[str] = (),
    products: Sequence[Product] = (),
    in_full: bool = True,
) -> Answer:
    """Answer for a site on the weather's date.

    Parameters
    ----------
    found
        Of `foreseen` for the same ground, weather and sightings, where that was worked out before.
    purposes
        Which purposes; None for all.
    days
        Days from today that are ranked.
    actives
        Mixture to be used, ``NAME[+NAME]``; "" for what is usual. Needs `materials`, which also
        judge the site's stock and what was applied.
    formulation
        Of the mixture: spray or granule; None: not said.
    observed
        What the season log knows of the site.
    now
        Present moment; None for an answer about another day.
    futures
        Members counted for the odds.
    tables
        The science values to go by; `Tables.varied` gives others than the packaged ones.
    soil_model, compiled
        As in `windowcast.season.state.build`.
    products
        The user's own, whose price tells what a choice costs.
    areas
        Names of the areas that `site` and `observed` describe.
    in_full
        As in `windowcast.windows.rank.rank`.

    Raises
    ------
    InputError
        The record has no day before today, or an active is unknown.
    """
    seen = observed or Observed()
    found = found or foreseen(
        site,
        weather,
        days=days,
        observed=seen,
        futures=futures,
        tables=tables,
        soil_model=soil_model,
        compiled=compiled,
    )
    mixture, stock = _needs(site, actives, materials, formulation)
    barriers = _barriers(site, actives, materials, formulation)
    running = RunningSeason.of(
        site, found.past, found.ahead, found.members, daily=weather.daily, tables=tables
    )
    ranking = rank(
        running,
        weather=weather,
        purposes=purposes,
        days=days,
        mixture=mixture,
        stock=stock,
        barriers=barriers,
        uses=seen.uses,
        looks=found.looks,
        resistance=seen.resistance,
        candidates=()
        if materials is None
        else candidates_of(site, materials, seen.applied, weather.today, products),
        further={}
        if materials is None
        else used_up(materials.values(), seen.applied, weather.today),
        now=now,
        in_full=in_full,
    )
    ranking = replace(ranking, areas=tuple(areas))
    jobs: Mapping[PurposeName, Job | None] = {}
    if materials is not None and seen.applied:
        from windowcast.programme.jobs import jobs_of, with_jobs
        from windowcast.programme.logged_ground import JobValues, LoggedGround

        ground = LoggedGround(
            running, weather, seen, materials, max(days, DAYS), JobValues.of(tables)
        )
        jobs = jobs_of(ground, PURPOSES)
        ranking = with_jobs(
            ranking,
            jobs,
            Rule.of(tables["criteria"]),
            materials=materials,
            stocked=bool(site.stock),
        )
    outlooks = (replace(o, decision=decide(o, weather.today)) for o in ranking.purposes)
    ranking = replace(ranking, purposes=tuple(outlooks))
    return Answer(
        site, weather, found.members, found.past, found.ahead, ranking, running, barriers,
        found.looks, tables, tuple(areas), jobs, seen.resistance,
    )  # fmt: skip


def _needs(
    site: Site, actives: str, materials: Actives | None, formulation: Formulation | None
) -> tuple[ActiveNeeds | None, tuple[ActiveNeeds, ...]]:
    """What the mixture needs, or else what each active in stock needs by itself."""
    if materials is None:
        return None, ()
    from windowcast.materials.needs import needs_of

    species = str(site.turf.species)
    if actives:
        return needs_of(materials.mixture(actives), species, formulation), ()
    return None, tuple(needs_of(mixture, species) for mixture in materials.at_hand(site.stock))


def _barriers(
    site: Site, actives: str, materials: Actives | None, formulation: Formulation | None
) -> tuple[ResidualActive, ...]:
    """Pre-emergence actives whose cover can be told: of the mixture, or else those in stock."""
    if materials is None:
        return ()
    mixtures = [materials.mixture(actives)] if actives else materials.at_hand(site.stock)
    members = dict.fromkeys(active.name for mixture in mixtures for active in mixture)
    spread = formulation if actives else None
    found = (material_of(materials[name], spread) for name in members)
    return tuple(material for material in found if material is not None)

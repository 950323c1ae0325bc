"""The whole way from a site and its weather to an answer: weather → state → windows.

`answer` is what the command line, the web page and the calendar all call; it does no I/O.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from windowcast.core.record import Members, Weather
from windowcast.core.site import Site
from windowcast.core.values import PACKAGED, Tables
from windowcast.materials.resistance import NO_RESISTANCE, Resistances
from windowcast.physics.soil import simulate
from windowcast.programme.candidates import candidates_of, used_up
from windowcast.programme.foreseen import DAYS, Foreseen, foreseen
from windowcast.programme.jobs import jobs_of, with_jobs
from windowcast.programme.logged_ground import JobValues, LoggedGround
from windowcast.season.model import SiteState
from windowcast.season.observed import Observed
from windowcast.season.sightings import CanopyLook
from windowcast.season.soil_kept import SoilModel
from windowcast.windows.decision import decide
from windowcast.windows.model import PURPOSES, Job, PurposeName, Ranking
from windowcast.windows.rank import rank
from windowcast.windows.residual import ResidualActive, material_of
from windowcast.windows.running_season import RunningSeason
from windowcast.windows.score import Rule

if TYPE_CHECKING:
    from windowcast.materials.actives import Actives, Formulation
    from windowcast.materials.needs import ActiveNeeds
    from windowcast.materials.product import Product


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
    found = foreseen(
        site,
        weather,
        days=days,
        observed=observed,
        futures=futures,
        tables=tables,
        soil_model=soil_model,
        compiled=compiled,
    )
    return answer_on(
        found,
        site,
        weather,
        purposes=purposes,
        days=days,
        actives=actives,
        materials=materials,
        formulation=formulation,
        observed=observed,
        now=now,
        tables=tables,
        areas=areas,
        products=products,
        in_full=in_full,
    )


def answer_on(
    found: Foreseen,
    site: Site,
    weather: Weather,
    *,
    purposes: Sequence[PurposeName] | None = None,
    days: int = DAYS,
    actives: str = "",
    materials: Actives | None = None,
    formulation: Formulation | None = None,
    observed: Observed | None = None,
    now: dt.datetime | None = None,
    tables: Tables = PACKAGED,
    areas: Sequence[str] = (),
    products: Sequence[Product] = (),
    in_full: bool = True,
) -> Answer:
    """As `answer`, on a state so far and futures that were worked out before.

    Parameters
    ----------
    found
        Of `windowcast.programme.foreseen.foreseen` for the same ground, weather and sightings.
    """
    future, past, ahead, looks = found.members, found.past, found.ahead, found.looks
    seen = observed or Observed()
    mixture, stock = _needs(site, actives, materials, formulation)
    barriers = _barriers(site, actives, materials, formulation)
    running = RunningSeason.of(site, past, ahead, future, daily=weather.daily, tables=tables)
    ranking = rank(
        site,
        past,
        ahead,
        future,
        today=weather.today,
        weather=weather,
        running=running,
        purposes=purposes,
        days=days,
        mixture=mixture,
        stock=stock,
        barriers=barriers,
        uses=seen.uses,
        looks=looks,
        resistance=seen.resistance,
        candidates=()
        if materials is None
        else candidates_of(site, materials, seen.applied, weather.today, products),
        further={}
        if materials is None
        else used_up(materials.values(), seen.applied, weather.today),
        now=now,
        tables=tables,
        in_full=in_full,
    )
    ranking = replace(ranking, areas=tuple(areas))
    jobs: Mapping[PurposeName, Job | None] = {}
    if observed is not None and materials is not None and observed.applied:
        ground = LoggedGround(
            running, weather, observed, materials, max(days, DAYS), JobValues.of(tables)
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
        site, weather, future, past, ahead, ranking, running, barriers, looks, tables,
        tuple(areas), jobs, seen.resistance,
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

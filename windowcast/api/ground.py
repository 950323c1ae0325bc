"""One answer for each piece of a site's ground, from its files, its log and its labels."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import replace
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Any

from windowcast.api.inputs import load_site, load_weather
from windowcast.api.other_values import tables_with
from windowcast.core.errors import InputError
from windowcast.core.site import Site, file_beside, log_beside
from windowcast.core.values import Tables

if TYPE_CHECKING:
    from windowcast.api.inputs import Date, Pathlike, SiteLike, WeatherLike
    from windowcast.core.record import Weather
    from windowcast.materials.actives import Actives
    from windowcast.materials.product import Product
    from windowcast.programme.answer import Answer
    from windowcast.records.areas import Piece
    from windowcast.season.observed import Observed
    from windowcast.sources.source import Progress


def answers_by_ground(
    site: SiteLike,
    weather: WeatherLike | None,
    *,
    date: Date | None,
    log: Pathlike | None,
    materials: Pathlike | None,
    values: Mapping[str, Any] | None,
    offline: bool,
    progress: Progress | None,
    actives: str,
    area: str,
    single: bool,
    **asked: Any,
) -> Iterator[Answer]:
    """The answers for each piece of ground; with `single` there may only be one."""
    from windowcast.materials.actives import load_actives
    from windowcast.programme.answer import answer as answered
    from windowcast.records.areas import pieces
    from windowcast.records.site_trials import with_own_trials
    from windowcast.season.soil_kept import KeptSoil
    from windowcast.sources.cache import Cache

    tables = tables_with(values or {})
    site_file = Path(site) if isinstance(site, str | PathLike) else None
    site = load_site(site)
    if single and site.area and not area:
        raise InputError(
            "the site has several areas", field="area",
            remedy=f"name one ({', '.join(one.name for one in site.area)}) or ask for all answers",
        )  # fmt: skip
    log_file = Path(log) if log is not None else site_file and log_beside(site, site_file)
    found = load_weather(site, weather, date=date, offline=offline, progress=progress)
    logged = None
    if log_file is not None and log_file.is_file():
        from windowcast.records.observations import Logged

        logged = Logged.read(log_file, until=found.today, zone=site.zone)
    own = materials or file_beside(site_file, site.materials_file)
    known = load_actives(own)
    known.at_hand(site.stock, site_file)  # an error then names the site file
    tables = with_own_trials(site, tables, known)
    products: tuple[Product, ...] = ()
    if own is not None:
        from windowcast.materials.products import load_products

        products = tuple(load_products(own, known).values())
    with Cache() as cache:
        for piece in pieces(site, logged, area):
            seen = None
            if piece.logged is not None:
                from windowcast.records.observations import observed

                seen = observed(piece.logged, known, southern=site.place.southern)
            if piece.logged is not None or piece.site.resistance:
                seen = _with_resistance(seen, piece, found, known, own=own, tables=tables)
            one = answered(
                piece.site,
                found,
                actives=actives,
                materials=known,
                observed=seen,
                now=moment(site, found),
                areas=piece.areas,
                products=products,
                tables=tables,
                soil_model=KeptSoil(cache),
                **asked,
            )
            yield _beside_overseeded(one, site)


def _with_resistance(
    seen: Observed | None,
    piece: Piece,
    weather: Weather,
    materials: Actives,
    *,
    own: Pathlike | None,
    tables: Tables,
) -> Observed:
    """What is known of a piece of ground, with what is known of resistance there."""
    from windowcast.records.ledger import label_rates
    from windowcast.records.resistance import resistance_of
    from windowcast.season.observed import Observed

    known = resistance_of(
        piece.site, piece.logged, materials, today=weather.today, daily=weather.daily,
        label_kg_ha=label_rates(own, materials), tables=tables,
    )  # fmt: skip
    return replace(seen or Observed(), resistance=known)


def _beside_overseeded(answer: Answer, site: Site) -> Answer:
    """The answer with a caution where other areas of the site are overseeded."""
    from windowcast.core.phrase import names, say
    from windowcast.limits.ground import ground_of

    sown = [a.name for a in site.area if ground_of(site.of_area(a)).overseeded]
    if not sown or set(sown) & set(answer.areas):
        return answer
    caution = say("caution.overseeded_near", areas=names(*sown))
    ranking = replace(answer.ranking, cautions=(caution, *answer.ranking.cautions))
    return replace(answer, ranking=ranking)


def moment(site: Site, weather: Weather) -> dt.datetime | None:
    """The present moment, where the answer is about today."""
    now = dt.datetime.now(dt.UTC)
    return now if weather.today == now.astimezone(site.zone).date() else None

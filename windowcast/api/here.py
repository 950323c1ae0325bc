"""What stands on record of a site's forecasts and answers, held against what came there."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from windowcast.core.local_days import midnights_s
from windowcast.core.record import Grade, Weather
from windowcast.core.site import Site
from windowcast.core.time_axis import step_before
from windowcast.core.values import PACKAGED, Tables
from windowcast.core.version import __version__
from windowcast.records.areas import Piece, pieces
from windowcast.records.observations import Logged, probe_readings
from windowcast.season.observed import readings_at_5cm_c
from windowcast.sources.cache import Cache
from windowcast.sources.foretold import DAY_S, Came, Foretold
from windowcast.verify.advice_kept import AdviceHere, advice_here
from windowcast.verify.here import SPANS_DAYS, HereReport, here_spans
from windowcast.verify.remember import ground_of
from windowcast.weather.foretold_days import cases_of, measured


def here_report(
    site: Site,
    weather: Weather,
    log_file: Path | None,
    store: Foretold | None = None,
    tables: Tables = PACKAGED,
) -> HereReport:
    """How right forecasts and answers were at a site.

    Parameters
    ----------
    weather
        As loaded for today: what came.
    log_file
        The season log, whose probe readings are what came of the soil; None: there is none.
    store
        The record; by default the user's own.

    Raises
    ------
    InputError
        The record or the log cannot be read.
    """
    store = store or Foretold()
    place, zone = weather.place, site.zone
    since = store.clock() - (max(SPANS_DAYS) + 1) * DAY_S
    came = [*measured(weather, weather.today - dt.timedelta(max(SPANS_DAYS))),
            *store.came(place, since)]  # fmt: skip
    cases = cases_of(store.said(place, since), came, zone)
    logged = None
    if log_file is not None and log_file.is_file():
        logged = Logged.read(log_file, until=weather.today, zone=zone)
    for piece in pieces(site, logged):
        said = store.said(place, since, ground=ground_of(piece.site, piece.areas))
        if said:
            cases += cases_of(said, [*came, *_soil(piece, weather, tables)], zone)
    told, fates = store.announced(place, since), store.held(place, since)
    return HereReport(
        site=site.name,
        today=weather.today,
        issues=store.count(place),
        measured_by=tuple(_measured_by(weather)),
        spans=here_spans(
            cases, told, fates, today=weather.today, zone=zone, own=tables["ensemble"].table("own")
        ),
        advice=_advice(site, weather.today, store.path),
        program_version=__version__,
    )


def _advice(site: Site, today: dt.date, cache: Path) -> AdviceHere:
    with Cache(cache) as kept:
        return advice_here(kept, site, today)


def _soil(piece: Piece, weather: Weather, tables: Tables) -> list[Came]:
    """The user's own soil readings of a piece of ground, as days at 5 cm."""
    readings = () if piece.logged is None else probe_readings(piece.logged)
    past = weather.daily.between(weather.daily.times[0], step_before(np.datetime64(weather.today)))
    if not readings or not len(past.times):
        return []
    by_date = readings_at_5cm_c(past, piece.site, readings, tables)
    found = []
    for date, value in by_date.items():
        start, stop = midnights_s(piece.site.zone, np.array([date]))
        found.append(Came("soil_5cm_c", int(start), int(stop), value))
    return found


def _measured_by(weather: Weather) -> Iterator[str]:
    """Where the measured highs came from: at most three names, the first first."""
    if not (weather.daily.grade("tmax_c") == Grade.OBSERVED).any():
        return
    told = (p for p in weather.daily.provenance if p.issued is None)
    yield from list(dict.fromkeys(p.detail for p in told))[:3]

"""On which days the key dates of a season came: by a station's probe, and by the models on it.

Soil dates are the probe's own. Nobody watched turf and weeds there, so their dates are those of the
models run on the weather and the probe's soil. Where a place's thresholds lie, and how fast its
weeds' clocks run, the probe does not tell: each is drawn as evenly as the ranges told believe it
to be, so that one date has several days on which it may have come.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from statistics import NormalDist

import numpy as np

from windowcast.core.record import FloatArray, Record
from windowcast.core.site import Site
from windowcast.core.values import PACKAGED
from windowcast.programme.key_dates import events
from windowcast.season.clocks import ClockSpeed, Drivers, clocks
from windowcast.season.emergence import by_air
from windowcast.season.model import Emergence
from windowcast.season.state import build, drivers_of
from windowcast.season.weeds import weed
from windowcast.verify.growing_soil import GrowingSoil
from windowcast.verify.soil_stations import PROBES
from windowcast.weather.soil_nearby import screen

SEASON_DAYS = 365
PROBE_GAP_DAYS = 3  # bridged in a straight line
DRAWS = 20  # of a place's thresholds and clocks
SOIL_IS_KNOWN = {
    f"soil.error.{name}": 0.0
    for name in ("bias_sd", "bias_sd_many_readings", "slow_sd_humid", "slow_sd_elsewhere")
} | {"soil.error.fast_sd": 0.0}
CameOn = Callable[[int, str], tuple[int, ...]]


def what_came(record: Record, known: Record, site: Site) -> CameOn:
    """What tells by season and event's name on which days it may have come; none: not known.

    Parameters
    ----------
    record
        As the station measured it, probes included.
    known
        What a reader's station would know of it.
    """
    with_probes = probed(record, known)
    soil = {name: with_probes.get(name) for name in PROBES}
    tables, model = PACKAGED.varied(SOIL_IS_KNOWN), GrowingSoil()
    models, _ = build(with_probes, site, tables=tables, soil_model=model)
    drivers, _ = drivers_of(with_probes, site, tables=tables, soil_model=model)
    turf = replace(
        models.turf, half_green_probability=_rows(models.turf.half_green_probability)
    )  # each row a world of its own
    weeds = {code: _by_clock(drivers, one) for code, one in models.emergence.items()}
    drawn = replace(models, turf=turf, emergence=weeds, **soil)  # type: ignore[arg-type]
    by_name = {event.name: event for event in events(models, PACKAGED["plan"], southern=False)}
    holds: dict[str, FloatArray] = {}

    def days(season: int, name: str) -> tuple[int, ...]:
        start = np.datetime64(f"{season}-07-01")
        first = int((start - models.dates[0]).astype(np.int64))
        span = slice(first, first + SEASON_DAYS)
        if first < 0 or span.stop > len(models.dates):
            return ()
        event = by_name[name]
        if name not in holds:
            holds[name] = event.holds(drawn)
        index = np.atleast_1d(
            event.day(holds[name][..., span], np.arange(SEASON_DAYS, dtype=float))
        )
        return tuple(int(start.astype(np.int64) + int(i)) for i in index if np.isfinite(i))

    return days


def probed(record: Record, known: Record) -> Record:
    """What a reader's station would know, with the soil as the station's probes measured it.

    Parameters
    ----------
    record
        As the station measured it, probes included.
    known
        What a reader's station would know of it, on the same days.
    """
    raw = np.stack([record.get(name)[None] for name in PROBES])
    probes, _ = screen(raw, record.get("tmax_c")[None], record.get("tmin_c")[None])
    soil = {name: bridged(probe[0]) for name, probe in zip(PROBES, probes, strict=True)}
    return known.with_variables(soil, {name: record.grade(name) for name in PROBES})


def _rows(values: FloatArray) -> FloatArray:
    return np.broadcast_to(values, (DRAWS, len(values)))


def _by_clock(drivers: Drivers, middle: Emergence) -> Emergence:
    """A weed's curve on clocks of all speeds, ``[draw, day]``; unknown where the middle one is."""
    entry, normal = weed(middle.weed), NormalDist()
    scores = np.array([normal.inv_cdf((n + 0.5) / DRAWS) for n in range(DRAWS)])[:, None]
    totals = clocks(entry, drivers)
    shift = ClockSpeed.prior(entry.spread_at(drivers.latitude_deg)).at(scores)
    rules = {
        name: np.where(np.isnan(told), np.nan, part)
        for name, part in by_air(entry, totals, scores).items()
        if (told := getattr(middle, name)) is not None
    }
    share = np.where(np.isnan(middle.share), np.nan, entry.share(totals.mid, shift))
    return replace(middle, share=share, **rules)  # type: ignore[arg-type]


def bridged(soil_c: FloatArray) -> FloatArray:
    """A probe's days with short gaps bridged."""
    known = np.flatnonzero(np.isfinite(soil_c))
    if not len(known):
        return soil_c
    days = np.arange(len(soil_c))
    line = np.interp(days, known, soil_c[known])
    at = np.searchsorted(known, days)
    before, after = known[np.maximum(at - 1, 0)], known[np.minimum(at, len(known) - 1)]
    short = (after - before - 1 <= PROBE_GAP_DAYS) & (before < days) & (days < after)
    return np.where(np.isfinite(soil_c) | ~short, soil_c, line)

"""From a site and its weather to its state so far and in the futures ahead: the first half of an
answer.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace

import numpy as np

from windowcast.core.errors import InputError
from windowcast.core.record import Members, Record, Weather
from windowcast.core.season_calendar import season_end
from windowcast.core.site import Site
from windowcast.core.values import PACKAGED, Tables
from windowcast.physics.soil import simulate
from windowcast.physics.soil_site import SiteCorrection
from windowcast.season.errors import ModelErrors, model_errors
from windowcast.season.model import SiteState
from windowcast.season.observed import Observed, soil_correction
from windowcast.season.sightings import CanopyLook, holding
from windowcast.season.soil_kept import SoilModel
from windowcast.season.state import Carry, build
from windowcast.season.turf_safety import Safety, over_futures, stricter
from windowcast.weather.ensemble import members as members_of
from windowcast.weather.grid_filled import without_grid
from windowcast.weather.own_misses import own_days
from windowcast.windows.season_axis import BEYOND_DAYS

DAYS = 10  # judged by the hour when nothing else is asked for


@dataclass(frozen=True)
class Foreseen:
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
        As in `windowcast.programme.answer.answer`.

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
    looks = holding(seen.looks, weather.today)
    correction = soil_correction(
        record, site, seen, tables, nearby=weather.nearby, soil_model=soil_model
    )

    def state(
        days: Record,
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
            green_cover=seen.green_cover,
            looks=looks,
            tables=tables,
            soil_model=soil_model,
            errors=errors,
            compiled=compiled,
        )

    past, carry = state(record)
    errors = model_errors(
        record.place, past.emergence, future.daily.times, futures, carry.soil_error
    )
    ahead = state(future.daily, carry, errors)[0]
    plain = replace(weather, daily=without_grid(weather.daily, tables), misses=None, nearby=())
    drawn_alike = plain.daily is weather.daily and not own_days(weather.misses, tables["ensemble"])
    if weather.nearby or not drawn_alike:
        # the turf never takes more for what a grid, soil elsewhere or the forecasts' record say
        days_before = plain.daily.between(record.times[0], record.times[-1])
        own = soil_correction(days_before, site, seen, tables, soil_model=soil_model)
        general, before = state(days_before, correction=own)
        past = replace(past, turf=stricter(past.turf, general.turf))
        plain_future = future if drawn_alike else drawn(plain)
        general, _ = state(plain_future.daily, before, errors, own)
        ahead = replace(ahead, turf=stricter(ahead.turf, general.turf))
    turf = over_futures(ahead.turf, ahead.dates, Safety.of(tables["turf"]))
    return Foreseen(future, past, greenup_by_futures(replace(ahead, turf=turf)), looks)


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

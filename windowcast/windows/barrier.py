"""Cover of a pre-emergent: the share of the season's weeds that emerge while its residual holds.

A dose that was laid waits at the surface until water carries it to where seeds germinate. No two
spots of a turf need the same water for that, so the share of the ground that is watered in grows
smoothly with rain and irrigation since laying (Weibull). While it waits it is lost at the soil's
rate and faster, as it sits on leaves and lies in air and light; once in the soil it is lost
first-order, at a rate that follows soil temperature (Arrhenius), and holds until too little of the
usual dose is left. A weed counts that emerges on ground on which the residual holds. All arrays are
``[member, day]``: days of application, half-lives and futures are worked out together.

More water never gives less, less dose never more: what waits is lost at least as fast as what is in
the soil, so that water is worth most at once. Rain that is not known waters nothing in.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from windowcast.core.record import FloatArray
from windowcast.core.time_axis import first_day
from windowcast.windows.exposure import (
    Barrier,
    Exposure,
    Surroundings,
    Watered,
    fallen_before,
    where_reached,
)
from windowcast.windows.loss import spot_need_mm, watered_share

_SPOTS = 12  # of the ground, by the water they need, followed for a split


class DayCover(NamedTuple):
    """What a barrier applied on each day would do, ``[member, day]``; NaN where it cannot be told.

    Attributes
    ----------
    caught
        Share of the season's whole emergence that comes up while the residual holds.
    cover
        The same as a share of what is still to come on the day of application.
    up
        Share already up, which needs a post-emergence partner.
    lasts_days
        Days from application until too little is left where it is watered in at once; infinite if
        it outlasts the days looked at.
    """

    caught: FloatArray
    cover: FloatArray
    up: FloatArray
    lasts_days: FloatArray


def watered_in_time(rain_mm: FloatArray, barrier: Barrier) -> FloatArray:
    """Share of the ground watered in within the days asked for, by day of application.

    Rain of the day itself is left out: nobody knows whether it fell before or after.
    """
    fallen = fallen_before(rain_mm)
    days = rain_mm.shape[-1]
    until = np.minimum(np.arange(days) + 1 + barrier.activation_days, days)
    water = barrier.at_once_mm + fallen[:, until] - fallen[:, 1:]
    return watered_share(water, barrier.activation_mm, barrier.loss)


def cover(share: FloatArray, soil_c: FloatArray, rain_mm: FloatArray, barrier: Barrier) -> DayCover:
    """Cover for every day of application.

    Parameters
    ----------
    share
        Emerged share of the season's total at the end of each day, rising, ``[member, day]``; it
        should reach the end of the weed's season.
    soil_c
        Daily mean soil temperature where the material lies (top 5 cm).
    rain_mm
        Rain and irrigation of each day.
    """
    share, soil_c, rain_mm = np.broadcast_arrays(*np.atleast_2d(share, soil_c, rain_mm))
    met = Exposure.of(Surroundings.of(share, soil_c, rain_mm), barrier)
    caught, up = met.caught()
    to_come = 1 - up
    with np.errstate(invalid="ignore", divide="ignore"):
        of_rest = np.where(to_come > 0, caught / to_come, np.nan)
    lost = met.lost.x
    index = np.indices(up.shape)
    rows, days = index[0], index[1]
    days_of = np.arange(lost.shape[-1], dtype=np.float64)
    end = lost[:, :-1] + barrier.half_lives_held
    ends = where_reached(met.lost, np.broadcast_to(days_of, lost.shape), rows, end, beyond=np.inf)
    return DayCover(caught, of_rest, up, ends - days)


def caught_by_day(
    share: FloatArray,
    soil_c: FloatArray,
    rain_mm: FloatArray,
    barrier: Barrier,
    days: slice = slice(None),
) -> tuple[FloatArray, FloatArray]:
    """Only `caught` and `up` of a `DayCover`, from ``[member, day]`` as `cover`, of some days.

    A day without rain known waters nothing in. Where no day is known of those in which water is
    asked for, `caught` is NaN.
    """
    return Exposure.of(Surroundings.of(share, soil_c, rain_mm), barrier).caught(days)


def split_caught(
    share: FloatArray,
    soil_c: FloatArray,
    rain_mm: FloatArray,
    barrier: Barrier,
    *,
    first: npt.NDArray[np.int64],
    second: npt.NDArray[np.int64],
) -> FloatArray:
    """Share of the season caught by half the dose on each of two days, ``[member, pair]``.

    What both halves leave in a spot adds up. Spots are followed by the water they need, `_SPOTS` of
    them where rain waters in.

    Parameters
    ----------
    first, second
        Day indices of the halves, ``[pair]``, second after first.
    """
    share, soil_c, rain_mm = np.broadcast_arrays(*np.atleast_2d(share, soil_c, rain_mm))
    met = Exposure.of(Surroundings.of(share, soil_c, rain_mm), barrier)
    spots = (np.arange(_SPOTS) + 0.5) / _SPOTS if barrier.activation_mm > 0 else np.zeros(1)
    needs_mm = spot_need_mm(spots, barrier.activation_mm, barrier.loss)
    found = [met.split(first, second, float(need_mm)) for need_mm in needs_mm]
    result: FloatArray = np.mean(found, axis=0)
    return result


def runs_out(soil_c: FloatArray, rain_mm: FloatArray, barrier: Barrier) -> FloatArray:
    """Day from which it no longer holds on most of the ground, ``[member]``; of laying on day 0.

    The spot followed is the one that half of the ground is watered in before. 0 where that spot is
    not watered in at all, infinite where it outlasts the days given, NaN where it cannot be told.

    Parameters
    ----------
    soil_c, rain_mm
        From the day of laying on, ``[member, day]``; rain of that day itself is left out.
    """
    met = Exposure.of(Surroundings.of(np.zeros_like(soil_c), soil_c, rain_mm), barrier)
    rows = np.arange(len(soil_c))[:, None]
    half_mm = float(spot_need_mm(0.5, barrier.activation_mm, barrier.loss))
    start, left = met.active(rows, np.zeros(1, dtype=np.int64), half_mm)
    end = left + barrier.half_lives_held
    lost = met.lost.x[:, :-1]  # the last is after the days looked at
    gone = first_day(lost >= end, np.isnan(lost))
    begun: FloatArray = np.where(gone <= start[:, 0], 0.0, gone)
    return np.where(np.isinf(start[:, 0]), 0.0, begun)


def best_day(
    caught: FloatArray, allowed: npt.NDArray[np.bool_], later_worth: float
) -> npt.NDArray[np.int64]:
    """Index of the day to lay a barrier, ``[...]``; -1 where no allowed day can be told.

    The day with the highest ``caught · exp(later_worth · day)``. A lasting barrier laid in cold
    soil catches as much over weeks or months: there the small worth of waiting decides for the
    latest day that loses nothing, nearest to the emergence that it is for. As that is smooth in the
    day and in the weather, so is the day chosen; no threshold tells days that are as good apart.

    Parameters
    ----------
    caught
        What each day of application catches, ``[..., day]``, as in `DayCover`.
    allowed
        Days on which it may be laid.
    later_worth
        By what part of its share a day later may catch less and still be chosen.
    """
    worth = caught * np.exp(later_worth * np.arange(caught.shape[-1]))
    value = np.where(allowed & np.isfinite(caught), worth, -np.inf)
    known = np.isfinite(value.max(axis=-1))
    return np.where(known, np.argmax(value, axis=-1), -1).astype(np.int64)


def days_held(
    soil_c: FloatArray, rain_mm: FloatArray, barrier: Barrier, laid: npt.NDArray[np.int64]
) -> FloatArray:
    """Share of the ground on which the residual holds, ``[member, application, day]``, 0..1.

    Weighted with what emerges on each day it is `windowcast.windows.barrier.caught_by_day`.

    Parameters
    ----------
    soil_c, rain_mm
        As for `windowcast.windows.barrier.cover`, ``[member, day]``.
    laid
        Index of the day of each application, ``[application]``.

    Examples
    --------
    Half gone in 10 days, in soil at the reference temperature, and 17 % is enough:

    >>> import numpy as np
    >>> from windowcast.core.values import PACKAGED
    >>> from windowcast.windows.exposure import Barrier
    >>> from windowcast.windows.barrier import days_held
    >>> from windowcast.windows.loss import Loss
    >>> barrier = Barrier(10.0, 0.0, 7, Loss.of(PACKAGED["barrier"]))
    >>> soil_c, rain_mm = np.full((1, 40), 20.0), np.zeros((1, 40))
    >>> float(days_held(soil_c, rain_mm, barrier, np.array([5])).sum().round(1))
    25.6
    """
    soil_c, rain_mm = np.broadcast_arrays(*np.atleast_2d(soil_c, rain_mm))
    members, days = soil_c.shape
    met = Exposure.of(Surroundings.of(np.zeros(soil_c.shape), soil_c, rain_mm), barrier)
    rows, day = np.repeat(np.arange(members), len(laid)), np.tile(laid, members)
    changes = np.zeros((len(rows), days + 2))
    for new in met.watered(rows, day):
        _begin(changes, met, new)
    held: FloatArray = np.cumsum(changes, axis=-1)[:, :days].reshape(members, len(laid), days)
    return np.clip(held, 0.0, 1.0)


def _begin(changes: FloatArray, met: Exposure, new: Watered) -> None:
    """Add what shares of the ground change when their residual begins and ends, in place.

    Parameters
    ----------
    changes
        From one day to the next, ``[application, day + 2]``.
    """
    days = met.lost.x.shape[-1] - 1
    end = met.end(new.row, new.laid, new.start)
    axis = np.broadcast_to(np.arange(days + 1.0), met.lost.x.shape)
    finish = where_reached(met.lost, axis, new.row, end, beyond=float(days))
    holds = finish > new.start
    at, start, share, finish = new.at[holds], new.start[holds], new.share[holds], finish[holds]
    whole = finish.astype(np.int64)
    part = finish - whole
    changes[at, start] += share
    changes[at, whole] -= share * (1 - part)
    changes[at, whole + 1] -= share * part

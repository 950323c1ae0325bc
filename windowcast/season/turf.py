"""Dormancy and green-up of warm-season turf, with the safety of non-selective products.

One quantity is followed from day to day: the chance that live green leaf is there. Warm soil
raises it to at least the chance that the soil is past its (uncertain) green-up threshold; each
frost over cold soil takes a share away some days later. Autumn dormancy, a mild winter that never
brings full dormancy, a false green-up in a warm spell that the next frost undoes, and spring
green-up all follow from that one rule. The bands come from ``data/turf.toml``.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from windowcast.core.record import DateArray, FloatArray
from windowcast.core.season_calendar import SEASON_START, on_date
from windowcast.core.values import load
from windowcast.season.model import TurfPhase, TurfState
from windowcast.season.rolling import trailing_mean

SOIL_DAYS = 7
NIGHT_DAYS = 5
TELLABLE = 0.1  # how far apart the bounds of the chance may lie for it to be told
GREEN_FROM = 0.5


@dataclass(frozen=True)
class GreenCover:
    """What someone saw: live green turf as a share of the ground, 0..1."""

    date: dt.date
    share: float


@dataclass(frozen=True)
class TurfCarry:
    """What the next day needs, arrays ``[...]``."""

    green: FloatArray  # least and greatest chance of green leaf, [2, ...]
    was_dormant: npt.NDArray[np.bool_]  # this season, and not yet recovered
    days_dormant: FloatArray


def history_days() -> int:
    """Earlier days of soil and minimum temperature that a run needs to carry on exactly."""
    return SOIL_DAYS + int(load("turf").number("frost.colour_lag"))


def supported(species: str) -> bool:
    """Whether dormancy of this species can be told."""
    return species in load("turf").table("species")


def turf_state(
    dates: DateArray,
    soil_10cm_c: FloatArray,
    tmin_c: FloatArray,
    *,
    species: str,
    overseeded: bool | None,
    southern: bool = False,
    carry: TurfCarry | None = None,
    history: tuple[FloatArray, FloatArray] | None = None,
    green_cover: Sequence[GreenCover] = (),
) -> tuple[TurfState, TurfCarry]:
    """Phase, chance of dormancy and safety over a run of days.

    Parameters
    ----------
    dates
        ``[day]``.
    soil_10cm_c, tmin_c
        Daily mean soil and minimum air temperature [°C], ``[..., day]``.
    species, overseeded
        From the site file. ``overseeded`` None (not said) makes dormant days "cannot tell".
    carry, history
        From the run that ended the day before: its carry, and its last `history_days` days of soil
        and minimum temperature.
    green_cover
        Observations; each replaces the modelled chance of green leaf on its day.

    Returns
    -------
    TurfState, TurfCarry
        NaN and UNKNOWN where what went before leaves the state open: from the start of a record
        or a gap until frost or warmth has settled it.
    """
    values = load("turf")
    before = 0 if history is None else history[0].shape[-1]
    soil, night = (
        (soil_10cm_c, tmin_c)
        if history is None
        else (_join(history[0], soil_10cm_c), _join(history[1], tmin_c))
    )
    soil, night = np.broadcast_arrays(soil, night)
    soil_week = trailing_mean(soil, SOIL_DAYS)
    spread = values.number("green.threshold_spread")
    cold = values.number("green.no_growth_soil")
    middle = (cold + values.number("green.recovery_soil")) / 2
    warm = normal_cdf((soil_week - middle) / spread)[..., before:]
    lag = int(values.number("frost.colour_lag"))
    loss = normal_cdf((cold - soil_week) / spread) * frost_kill(night)
    loss = np.concatenate([np.full((*loss.shape[:-1], lag), np.nan), loss], axis=-1)
    loss = loss[..., before : before + len(dates)]
    if not supported(species):
        return _cannot_tell(loss.shape, species)
    bounds = _follow_green(warm, loss, _seen(dates, green_cover), carry)
    green = np.where(bounds[1] - bounds[0] > TELLABLE, np.nan, bounds[1])
    soil_week = soil_week[..., before:]
    recovered = (soil_week >= values.number("green.recovery_soil")) & (
        trailing_mean(night, NIGHT_DAYS)[..., before:] >= values.number("green.recovery_night")
    )
    start = on_date(dates, SEASON_START, southern)
    dormant = green < GREEN_FROM
    was_dormant = _since(dormant, recovered | start, None if carry is None else carry.was_dormant)
    slow = soil_week < values.number("green.growth_soil")
    phase = np.select(
        [np.isnan(green) | np.isnan(soil_week), dormant, was_dormant, slow],
        [TurfPhase.UNKNOWN, TurfPhase.DORMANT, TurfPhase.GREENING, TurfPhase.HARDENING],
        TurfPhase.GROWING,
    ).astype(np.int8)
    days_dormant = _run_length(dormant, None if carry is None else carry.days_dormant)
    probability = np.where(np.isnan(green), np.nan, 0.0 if overseeded else 1.0 - green)
    state = TurfState(
        phase=phase,
        dormant_probability=probability,
        days_since_dormant=np.where(dormant, days_dormant, np.nan),
        days_to_greenup=days_to_greenup(green),
        nonselective_safe=nonselective_safe(1.0 - green, overseeded),
        reasons=_reasons(species, overseeded),
    )
    return state, TurfCarry(bounds[..., -1], was_dormant[..., -1], days_dormant[..., -1])


def frost_kill(tmin_c: FloatArray) -> FloatArray:
    """Share of green leaf that a night ends over cold soil, ``[..., day]``."""
    table = load("turf").table("frost")
    cold, light, hard = (float(v) for v in table.value("kill_share").value)
    share = np.select(
        [
            tmin_c <= table.number("hard"),
            tmin_c < table.number("killing"),
            tmin_c < table.number("cold_night"),
        ],
        [hard, light, cold],
        0.0,
    )
    return np.where(np.isnan(tmin_c), np.nan, share)


def days_to_greenup(green: FloatArray) -> FloatArray:
    """Days until dormant turf next shows green (a false start counts), ``[..., day]``.

    NaN where it is not dormant, where no green-up lies within the days given, and where a day that
    cannot be told comes before it.
    """
    wait = _until_green(green)
    told = np.isfinite(wait) & (wait < _known_run(green))
    return np.where((green < GREEN_FROM) & told, wait, np.nan)


def dormant_run(dormant_probability: FloatArray) -> FloatArray:
    """Days from each on, itself included, for which turf is known to be dormant, ``[..., day]``."""
    green = 1.0 - dormant_probability
    return np.minimum(_until_green(green), _known_run(green))


def nonselective_safe(dormant_probability: FloatArray, overseeded: bool | None) -> FloatArray:
    """1 where a non-selective product is safe by the turf's state, 0 where not, NaN: cannot tell.

    Safe means surely dormant now and no green-up within the published margin. Where some day
    within the margin is not known and none of the others shows green, it cannot be told.
    """
    table = load("turf").table("safety")
    margin = int(table.number("margin"))
    if overseeded:
        return np.zeros(dormant_probability.shape)
    green = 1.0 - dormant_probability
    soon = _until_green(green) < margin
    clear = _known_run(green) > margin
    surely = dormant_probability >= table.number("dormant_probability")
    yes = np.nan if overseeded is None else 1.0
    return np.select(
        [np.isnan(dormant_probability), ~surely | soon, clear], [np.nan, 0.0, yes], np.nan
    )


def normal_cdf(z: FloatArray) -> FloatArray:
    """Normal distribution function, to 1e-6 (interpolated from a fine table)."""
    cdf, step = _normal_table()
    place = np.clip((z + _CDF_END) * _CDF_STEPS, 0.0, len(step) - 1.0)
    index = np.where(np.isnan(place), 0.0, place).astype(np.int32)
    place -= index  # NaN stays NaN
    place *= step[index]
    result: FloatArray = place + cdf[index]
    return result


_CDF_END, _CDF_STEPS = 6.0, 400  # the table reaches from -6 to 6 with 400 steps for each 1


@cache
def _normal_table() -> tuple[FloatArray, FloatArray]:
    """Values of the distribution function, and the step to the next of each."""
    grid = np.arange(-_CDF_END, _CDF_END + 1 / _CDF_STEPS, 1 / _CDF_STEPS)
    cdf = np.array([0.5 * math.erfc(-z / math.sqrt(2.0)) for z in grid])
    return cdf, np.append(np.diff(cdf), 0.0)


def _follow_green(
    warm: FloatArray, loss: FloatArray, seen: FloatArray, carry: TurfCarry | None
) -> FloatArray:
    """Least and greatest chance of live green leaf, ``[2, ..., day]``.

    Each day it is what frost left, or more where warmth brings it. The bounds part where
    something is not known (what went before the record, days without weather) and close again with
    frost or warmth.
    """
    leading = warm.shape[:-1]
    kept = np.stack([np.nan_to_num(1.0 - loss, nan=0.0), np.nan_to_num(1.0 - loss, nan=1.0)])
    warmth = np.stack([np.nan_to_num(warm, nan=0.0), np.nan_to_num(warm, nan=1.0)])
    kept, warmth = np.moveaxis(kept, -1, 0), np.moveaxis(warmth, -1, 0)
    bounds = np.empty((warm.shape[-1], 2, *leading))
    if carry is None:
        now = np.stack([np.zeros(leading), np.ones(leading)])
    else:
        now = np.stack([np.broadcast_to(side, leading) for side in carry.green])
    for day in range(len(bounds)):
        if np.isfinite(seen[day]):
            now = np.full((2, *leading), seen[day])
        else:
            now = np.maximum(now * kept[day], warmth[day])
        bounds[day] = now
    return np.moveaxis(bounds, 0, -1)


def _seen(dates: DateArray, observations: Sequence[GreenCover]) -> FloatArray:
    """Observed green cover as a chance of live leaf, ``[day]``; NaN where nobody looked."""
    full = load("turf").number("safety.full_green_cover")
    out = np.full(len(dates), np.nan)
    for observation in observations:
        out[dates == np.datetime64(observation.date, "D")] = min(observation.share / full, 1.0)
    return out


def _last_index(where: npt.NDArray[np.bool_], none: int) -> npt.NDArray[np.int64]:
    """Index of the latest True up to each day, `none` before the first, ``[..., day]``."""
    index = np.where(where, np.arange(where.shape[-1]), none)
    latest: npt.NDArray[np.int64] = np.maximum.accumulate(index, axis=-1)
    return latest


def _since(
    set_on: npt.NDArray[np.bool_],
    cleared_on: npt.NDArray[np.bool_],
    carried: npt.NDArray[np.bool_] | None,
) -> npt.NDArray[np.bool_]:
    """A flag that one condition sets and the other clears (setting wins), ``[..., day]``."""
    last_set = _last_index(set_on, -2)
    last_clear = _last_index(np.broadcast_to(cleared_on, set_on.shape), -2)
    begin = np.zeros((*set_on.shape[:-1], 1), bool)
    if carried is not None:
        begin = begin | np.expand_dims(carried, -1)
    untouched = (last_set == -2) & (last_clear == -2)
    flag = (last_set >= last_clear) & ~untouched
    return np.asarray(np.where(untouched, begin, flag))


def _run_length(where: npt.NDArray[np.bool_], carried: FloatArray | None) -> FloatArray:
    """Days since a condition began to hold without break: 0 on its first day, -1 where it does not.

    A carried -1 says that it did not hold on the day before.
    """
    begin = np.full(where.shape[:-1], -1.0) if carried is None else carried
    since = np.arange(where.shape[-1]) - _last_index(~where, -1) - 1.0
    unbroken = _last_index(~where, -1) < 0
    since = since + np.where(unbroken, begin[..., None] + 1.0, 0.0)
    return np.where(where, since, -1.0)


def _next(where: npt.NDArray[np.bool_]) -> FloatArray:
    """Index of the next True from each day on (itself included), infinite when there is none."""
    index = np.where(where, np.arange(where.shape[-1]), np.inf)
    following: FloatArray = np.minimum.accumulate(index[..., ::-1], axis=-1)[..., ::-1]
    return following


def _until_green(green: FloatArray) -> FloatArray:
    """Days from each day on until one that shows green, infinite when there is none."""
    return _next(green >= GREEN_FROM) - np.arange(green.shape[-1])


def _known_run(values: FloatArray) -> FloatArray:
    """Number of days from each day on (itself included) before a value is missing or ends."""
    days = values.shape[-1]
    return np.minimum(_next(np.isnan(values)), days) - np.arange(days)


def _join(history: FloatArray, values: FloatArray) -> FloatArray:
    leading = np.broadcast_shapes(history.shape[:-1], values.shape[:-1])
    parts = (np.broadcast_to(a, (*leading, a.shape[-1])) for a in (history, values))
    return np.concatenate(list(parts), axis=-1)


def _reasons(species: str, overseeded: bool | None) -> tuple[str, ...]:
    note = str(load("turf").table("species")[species])
    spoken = {
        True: "overseeded turf is not dormant: a non-selective product would kill the overseeding",
        None: "the site file does not say whether the turf is overseeded",
        False: "",
    }[overseeded]
    return tuple(filter(None, (note, spoken)))


def _cannot_tell(shape: tuple[int, ...], species: str) -> tuple[TurfState, TurfCarry]:
    unknown = np.full(shape, np.nan)
    state = TurfState(
        phase=np.full(shape, TurfPhase.UNKNOWN, np.int8),
        dormant_probability=unknown,
        days_since_dormant=unknown,
        days_to_greenup=unknown,
        nonselective_safe=unknown,
        reasons=(f"no published dormancy thresholds for {species}: its state cannot be told",),
    )
    leading = shape[:-1]
    return state, TurfCarry(
        np.full((2, *leading), np.nan), np.zeros(leading, bool), np.full(leading, -1.0)
    )

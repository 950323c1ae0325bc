"""Cover of a pre-emergence barrier: what it catches, for every date it could be applied on.

The active is lost first-order, at a rate that follows soil temperature (Arrhenius), from the day it
is applied; it works from the day it is watered in until too little is left. What emerges between
those days is caught. All arrays are ``[member, day]``: dates, half-lives and futures are worked out
together by interpolation, without a loop over dates.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from windowcast.core.first_last import last_day
from windowcast.core.record import FloatArray
from windowcast.core.values import Table

GAS_CONSTANT = 8.314462618e-3  # kJ mol-1 K-1, CODATA 2018
KELVIN = 273.15
_TINY = 1e-9  # keeps accumulated loss strictly rising in frozen soil


@dataclass(frozen=True)
class Loss:
    """How an active is lost in the soil and how long it works; see ``data/barrier.toml``.

    Attributes
    ----------
    reference_c
        Soil temperature [°C] at which half-lives are given.
    energy_kj_mol
        Activation energy of the loss.
    frozen_below_c
        Soil temperature [°C] below which nothing is lost.
    enough_left
        Share of the full dose that still works, 0..1.
    """

    reference_c: float
    energy_kj_mol: float
    frozen_below_c: float
    enough_left: float

    @classmethod
    def of(cls, barrier: Table) -> Loss:
        """From a table such as ``data/barrier.toml``."""
        return cls(
            reference_c=barrier.number("reference_temp"),
            energy_kj_mol=barrier.number("activation_energy"),
            frozen_below_c=barrier.number("frozen_below"),
            enough_left=barrier.number("enough_left"),
        )

    @property
    def half_lives_held(self) -> float:
        """Half-lives from the full dose to the least that still works."""
        return float(-np.log2(self.enough_left))


@dataclass(frozen=True)
class Barrier:
    """A material as the barrier sees it.

    Attributes
    ----------
    half_life_d
        At the reference temperature, ``[member]`` or a number.
    activation_mm, activation_days
        Water it needs within how many days; 0 mm where watering-in is sure (irrigation).
    loss
        How it is lost.
    """

    half_life_d: FloatArray | float
    activation_mm: float
    activation_days: int
    loss: Loss


@dataclass(frozen=True)
class DayCover:
    """What a barrier applied on each day would do, ``[member, day]``; NaN where it cannot be told.

    Attributes
    ----------
    caught
        Share of the season's whole emergence that comes up into enough active.
    cover
        The same as a share of what is still to come on the day of application.
    up
        Share already up, which needs a post-emergence partner.
    lasts_days
        Days from application until too little is left; infinite if it outlasts the days looked at.
    """

    caught: FloatArray
    cover: FloatArray
    up: FloatArray
    lasts_days: FloatArray


def loss_rate(soil_c: FloatArray, loss: Loss) -> FloatArray:
    """Rate of loss relative to that at the reference temperature, ``[..., day]``.

    Arrhenius: ``exp(Ea/R · (1/Tref - 1/T))``; none in frozen soil.
    """
    reference, energy = loss.reference_c + KELVIN, loss.energy_kj_mol / GAS_CONSTANT
    rate = np.exp(energy * (1 / reference - 1 / (soil_c + KELVIN)))
    result: FloatArray = np.where(soil_c < loss.frozen_below_c, 0.0, rate)
    return result


def half_lives_lost(soil_c: FloatArray, half_life_d: FloatArray | float, loss: Loss) -> FloatArray:
    """Half-lives lost from the first day to the start of each day and to the end of the last one.

    Parameters
    ----------
    soil_c
        Daily mean soil temperature, ``[member, day]``.
    half_life_d
        ``[member]`` or a number.

    Returns
    -------
    FloatArray
        ``[member, day + 1]``, strictly rising.
    """
    per_day = loss_rate(soil_c, loss) / np.reshape(half_life_d, (-1, 1)) + _TINY
    total = np.cumsum(per_day, axis=-1)
    return np.concatenate([np.zeros((*total.shape[:-1], 1)), total], axis=-1)


def watered_in(rain_mm: FloatArray, barrier: Barrier) -> FloatArray:
    """Day index from whose start a barrier applied on each day works, ``[member, day]``.

    With enough rain on the days after the one of application it works from the day after the one
    that completes it; infinite when that does not come in time, NaN where rain is missing or the
    days that would decide lie beyond the end.
    """
    days = rain_mm.shape[-1]
    own = np.broadcast_to(np.arange(days, dtype=np.float64), rain_mm.shape)
    if barrier.activation_mm <= 0:
        return own
    start = np.full(rain_mm.shape, np.nan)
    start[:, : max(days - barrier.activation_days, 0)] = np.inf
    waiting = np.ones(rain_mm.shape, dtype=bool)
    total = np.zeros(rain_mm.shape)
    for step in range(1, min(barrier.activation_days + 1, days)):
        here = slice(0, days - step)
        total[:, here] += rain_mm[:, step:]  # a missing day makes the sum missing from there on
        done = waiting[:, here] & (total[:, here] >= barrier.activation_mm)
        start[:, here][done] = own[:, here][done] + step + 1
        waiting[:, here] &= ~done
    return np.where(waiting & np.isnan(total), np.nan, start)


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
    caught, up = caught_by_day(share, soil_c, rain_mm, barrier)
    to_come = 1 - up
    with np.errstate(invalid="ignore", divide="ignore"):
        of_rest = np.where(to_come > 0, caught / to_come, np.nan)
    lost = half_lives_lost(soil_c, barrier.half_life_d, barrier.loss)
    end_lost = lost[:, :-1] + barrier.loss.half_lives_held
    ends = _at(lost, np.arange(lost.shape[-1], dtype=np.float64), end_lost, beyond=np.inf)
    return DayCover(caught, of_rest, up, ends - np.arange(up.shape[-1]))


def caught_by_day(
    share: FloatArray,
    soil_c: FloatArray,
    rain_mm: FloatArray,
    barrier: Barrier,
    days: slice = slice(None),
) -> tuple[FloatArray, FloatArray]:
    """Only `caught` and `up` of a `DayCover`, from ``[member, day]`` as `cover`, of some days."""
    first, stop, _ = days.indices(share.shape[-1])
    lost = half_lives_lost(soil_c, barrier.half_life_d, barrier.loss)
    before = _share_before(share)
    deciding = rain_mm[:, first : stop + barrier.activation_days + 1]
    start = watered_in(deciding, barrier)[:, : stop - first] + first
    caught = _caught(before, lost, start, lost[:, first:stop] + barrier.loss.half_lives_held)
    return caught, before[:, first:stop]


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

    Parameters
    ----------
    first, second
        Day indices of the halves, ``[pair]``, second after first.
    """
    share, soil_c, rain_mm = np.broadcast_arrays(*np.atleast_2d(share, soil_c, rain_mm))
    lost = half_lives_lost(soil_c, barrier.half_life_d, barrier.loss)
    before = _share_before(share)
    start = watered_in(rain_mm, barrier)
    held = barrier.loss.half_lives_held
    alone = np.minimum(lost[:, first] + held - 1, lost[:, second])
    both = np.log2((np.exp2(lost[:, first]) + np.exp2(lost[:, second])) / 2) + held
    early = _caught(before, lost, start[:, first], alone)
    # a second half that is never watered in leaves the first to run on alone
    on = start[:, second]
    lone = _caught(before, lost, start[:, first], lost[:, first] + held - 1) - early
    late = _caught(before, lost, on, both)
    return early + np.where(np.isinf(on), lone, late)


def best_day(
    caught: FloatArray, up: FloatArray, allowed: npt.NDArray[np.bool_], as_good: float
) -> npt.NDArray[np.int64]:
    """Index of the day to lay a barrier, ``[...]``; -1 where no allowed day can be told.

    A lasting barrier laid in cold soil catches as much over weeks or months. Of the days as good
    as the best (within `as_good`) and before emergence begins it is therefore the latest,
    nearest to the emergence that it is for; where there is none, the best.

    Parameters
    ----------
    caught, up
        What each day of application catches, and the share up by then, ``[..., day]``, as in
        `DayCover`.
    allowed
        Days on which it may be laid.
    as_good
        By how much less a day may catch, and be up, and count as good as the best.
    """
    value = np.where(allowed & np.isfinite(caught), caught, -np.inf)
    most = value.max(axis=-1, keepdims=True)
    good = np.isfinite(value) & (value >= most - as_good) & (up <= as_good)
    last = last_day(good)
    found = np.where(np.isinf(last), np.argmax(value, axis=-1), last)
    return np.where(np.isfinite(most[..., 0]), found, -1).astype(np.int64)


def _share_before(share: FloatArray) -> FloatArray:
    """Share up at the start of each day and at the end of the last, ``[member, day + 1]``."""
    first = np.maximum(2 * share[:, :1] - share[:, 1:2], 0.0)
    return np.concatenate([np.minimum(first, share[:, :1]), share], axis=-1)


def _caught(
    before: FloatArray, lost: FloatArray, start_day: FloatArray, end_lost: FloatArray
) -> FloatArray:
    """Emergence between a day and an amount of loss, ``[member, any]``."""
    finish = _at(lost, before, end_lost)
    last = before.shape[-1] - 1
    day = np.where(np.isnan(start_day), 0, np.minimum(start_day, last)).astype(np.int64)
    begin = np.take_along_axis(before, day, axis=-1)
    result: FloatArray = np.where(np.isnan(start_day), np.nan, np.maximum(finish - begin, 0.0))
    return result


def _at(
    x: FloatArray, y: FloatArray, wanted: FloatArray, beyond: float | None = None
) -> FloatArray:
    """`y` where `x` reaches `wanted`, member by member; `beyond` where it does not get there."""
    rows = np.broadcast_to(y, x.shape)
    result = np.empty(wanted.shape)
    for member in range(len(result)):
        result[member] = np.interp(wanted[member], x[member], rows[member], right=beyond)
    return result

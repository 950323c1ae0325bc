"""What barriers on many stations catch, compiled: `windowcast.windows.barrier.caught_by_day`.

Loss and watering-in are worked out there and in `windowcast.windows.loss`, on arrays, as the last
bit of a power differs between libraries; compiled is only the way through each day's rain. A test
holds the two to the same numbers.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from windowcast.core.compiled import compiled
from windowcast.core.record import FloatArray
from windowcast.windows.exposure import SATURATED, Barrier, Exposure, Surroundings
from windowcast.windows.loss import spot_need_mm, watered_share

_NONE = -1.0  # no water is waited for


def caught_on(
    share: FloatArray,
    soil_c: FloatArray,
    rain_mm: FloatArray,
    barrier: Barrier,
    wanted: npt.NDArray[np.bool_],
) -> FloatArray:
    """`caught` of `caught_by_day` on the days of laying that are wanted, NaN on others.

    Parameters
    ----------
    share, soil_c, rain_mm
        ``[station, day]``, as `windowcast.windows.barrier.cover` takes them.
    barrier
        One for all stations.
    wanted
        ``[station, day]``, of the first days.
    """
    ground = Surroundings.of(share, soil_c, rain_mm)
    met = Exposure.of(ground, barrier)
    need, loss = barrier.activation_mm, barrier.loss
    begun = float(watered_share(np.full(1, barrier.at_once_mm), need, loss)[0])
    asked = wanted & ~ground.rain_untold(barrier)[:, : wanted.shape[1]]
    # a little more water than wets all ground; how much of it each rain wets, the formula says
    enough_mm = float(spot_need_mm(1 - SATURATED / 2, need, loss)) if begun < 1 else _NONE
    rain = asked, ground.fallen, ground.next_rain
    last, wet_from, water_mm = _waterings(rain, barrier.at_once_mm, enough_mm)
    watered = watered_share(water_mm, need, loss)
    watered = np.where(watered < 1 - SATURATED, watered, 1.0)
    losses = met.lost.x, met.waiting, ground.before
    held = float(barrier.half_lives_held)
    caught: FloatArray = _caught(asked, losses, held, begun, (last, wet_from, watered))
    return caught


@compiled()
def _waterings(rain, at_once_mm, enough_mm):  # type: ignore[no-untyped-def]
    """The rains after each day asked for until there is enough water, one day after another.

    Where those of each day end, ``[station, day]``; from which day's start each wets the ground,
    and water since laying [mm].
    """
    asked, fallen, next_rain = rain
    days = fallen.shape[1] - 1
    last = np.zeros(asked.shape, np.int64)
    wet_from, water_mm = np.empty(0, np.int64), np.empty(0)
    for filling in (False, True):
        count = 0
        for row in range(asked.shape[0]):
            for day in range(asked.shape[1]):
                wet = next_rain[row, day + 1]
                enough = not asked[row, day] or enough_mm == _NONE
                while wet < days and not enough:
                    water = at_once_mm + (fallen[row, wet + 1] - fallen[row, day + 1])
                    if filling:
                        wet_from[count], water_mm[count] = wet + 1, water
                    count += 1
                    enough = water >= enough_mm
                    wet = next_rain[row, wet + 1]
                last[row, day] = count
        if not filling:
            wet_from, water_mm = np.empty(count, np.int64), np.empty(count)
    return last, wet_from, water_mm


@compiled()
def _caught(asked, losses, held, at_laying, waterings):  # type: ignore[no-untyped-def]
    """Sum over the waterings: ground that each is the first to wet, times what it then holds."""
    last, wet_from, watered = waterings
    out = np.full(asked.shape, np.nan)
    now = 0
    for row in range(asked.shape[0]):
        lost, waiting, before = losses[0][row], losses[1][row], losses[2][row]
        known = 0
        while known < len(lost) and np.isfinite(lost[known]):
            known += 1
        reached = 0  # lies near that of the watering before
        for day in range(asked.shape[1]):
            if asked[row, day]:
                until = lost[day] + held - (waiting[day] - waiting[day])
                finish, reached = _finish(lost, before, until, known, reached)
                begun = at_laying
                total = begun * _above(finish - before[day])
                while now < last[row, day] and begun < 1:
                    start = wet_from[now]
                    until = lost[day] + held - (waiting[start] - waiting[day])
                    finish, reached = _finish(lost, before, until, known, reached)
                    total += (watered[now] - begun) * _above(finish - before[start])
                    begun = watered[now]
                    now += 1
                out[row, day] = total
            now = last[row, day]
    return out


@compiled()
def _above(value):  # type: ignore[no-untyped-def]
    return 0.0 if value < 0.0 else value


@compiled()
def _finish(lost, before, until, known, reached):  # type: ignore[no-untyped-def]
    """Share up when so many half-lives are lost, and how many `lost` lie at or below that."""
    if np.isnan(until):
        return np.nan, reached
    while reached < known and lost[reached] <= until:
        reached += 1
    while reached > 0 and lost[reached - 1] > until:
        reached -= 1
    low = min(max(reached - 1, 0), len(lost) - 2)
    part = (until - lost[low]) / (lost[low + 1] - lost[low])
    part = 0.0 if part < 0.0 else (1.0 if part > 1.0 else part)
    return before[low] + part * (before[low + 1] - before[low]), reached

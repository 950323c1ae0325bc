"""Whether the site's own thermometer has drifted from, or stands far off, its neighbours."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from windowcast.core.phrase import Name, Phrase, Quantity, about, say
from windowcast.core.record import DateArray, Flag, FloatArray, Record
from windowcast.core.source_flags import remark
from windowcast.core.values import PACKAGED, Tables
from windowcast.weather.join import hourly_to_daily


def compared(
    own: Sequence[Record], neighbours: Sequence[Record], tables: Tables = PACKAGED
) -> list[Flag]:
    """Warnings where an own thermometer has drifted from, or stands far off, the neighbours.

    The daily mean ((highest + lowest) / 2) is compared; the last stretch with the same part of
    other years where there is enough of it, else with all before.
    """
    table = tables["sources"].table("own")
    span = int(table.number("drift_days"))
    others = [r for r in neighbours if r.daily and "tmax_c" in r and "tmin_c" in r]
    flags: list[Flag] = []
    for station in own:
        days = station if station.daily else hourly_to_daily(station, tables)
        if not others or "tmax_c" not in days or "tmin_c" not in days:
            continue
        dates, difference = _difference(days, others[0])
        if len(dates) < 2 * span:
            continue
        recent = difference[-span:]
        before = difference[:-span]
        season = before[_same_season(dates[:-span], dates[-1])]
        base = float(np.median(season if len(season) >= span else before))
        shift = float(np.median(recent)) - base
        name = station.provenance[0].detail
        if abs(shift) > table.number("drift_max"):
            moved = say("flag.own_drift", shift=Quantity(shift, "K"), days=span)
            text = about(Name(name), moved)
            flags.append(_remark("own-drift", text, dates[-span:]))
        elif abs(base) > table.number("bias_max"):
            text = about(Name(name), say("flag.own_bias", off=Quantity(base, "K")))
            flags.append(_remark("own-bias", text, dates))
    return flags


def _difference(days: Record, other: Record) -> tuple[DateArray, FloatArray]:
    """Own minus neighbours' daily mean on the days both know."""
    shared, mine, theirs = np.intersect1d(days.times, other.times, return_indices=True)
    mean_own = (days.get("tmax_c")[mine] + days.get("tmin_c")[mine]) / 2
    mean_other = (other.get("tmax_c")[theirs] + other.get("tmin_c")[theirs]) / 2
    difference = mean_own - mean_other
    known = np.isfinite(difference)
    return shared[known], difference[known]


def _same_season(dates: DateArray, last: np.datetime64) -> npt.NDArray[np.bool_]:
    """Days within 45 days of the day of year of the last 30 before `last`, in earlier years."""
    away = ((last - dates).astype(np.int64) + 182) % 365 - 182
    old = (last - dates).astype(np.int64) > 180
    return old & (np.abs(away - 15) <= 45)


def _remark(check: str, text: Phrase, dates: DateArray) -> Flag:
    return remark(
        check,
        text,
        variable="tmean_c",
        first=str(dates[0]),
        last=str(dates[-1]),
        count=len(dates),
    )

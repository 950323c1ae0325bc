"""Rain of the days ahead as far as a forecast tells its amount."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import numpy as np

from windowcast.core.local_days import local_dates
from windowcast.core.record import FloatArray, Members


def told_rain_mm(members: Members, zone: ZoneInfo) -> FloatArray:
    """Daily rain of the members, mm ``[1 + member, day]``: what may water a pre-emergent in.

    NaN on days within the forecast of which no amount is told. The soil goes on with the likeliest
    rain there. But amounts of the climate in the place of a dry forecast would water in more than
    the forecast did. Days beyond the forecast are those of past years.
    """
    rain = np.array(np.atleast_2d(members.daily.get("precip_mm")))
    hours = members.hourly
    day = (local_dates(zone, hours.times) - members.daily.times[0]).astype(np.int64)
    day = day[day < members.forecast_days]
    if not len(day):
        return rain
    starts = np.flatnonzero(np.diff(day, prepend=-1))
    fallen = np.atleast_2d(hours.get("precip_mm"))[:, : len(day)]
    told = np.isfinite(np.add.reduceat(fallen, starts, axis=1))
    near = rain[:, : len(starts)]  # a view
    near[~np.broadcast_to(told & told[:1], near.shape)] = np.nan
    return rain

"""When a weed first sets seed, burs or flowers, where only the days of the year are published."""

from __future__ import annotations

import numpy as np

from windowcast.core.season_calendar import northern_month_day, season_day
from windowcast.core.weed_codes import known


def sets_days(code: str, *, southern: bool) -> tuple[float, float] | None:
    """First and last day of the season between which a weed begins to set them; None: not known.

    Examples
    --------
    Lawn burweed has its first burs in March, 243 to 274 days after 1 July:

    >>> from windowcast.season.seeding import sets_days
    >>> sets_days("SOVSE", southern=False)
    (243.0, 274.0)
    """
    published = known()[code].facts.get("sets_from")
    if published is None:
        return None
    days = [northern_month_day(text, southern) for text in published.value]
    dates = np.array([f"2001-{day // 100:02d}-{day % 100:02d}" for day in days], "M8[D]")
    first, last = season_day(dates, southern=southern).tolist()
    return first, last

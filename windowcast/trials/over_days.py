"""Repeated ratings as one value a plot: the area under its ratings, over days."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from windowcast.core.errors import InputError
from windowcast.trials.model import PlotRow


def mean_over_days(rows: Sequence[PlotRow]) -> tuple[PlotRow, ...]:
    """One row for each plot: the area under its ratings divided by the days they span.

    It keeps the unit of the measure, so that it is analysed as one. All plots of a site are taken
    over the same days, from its first to its last rating. A date that a plot lacks between is
    bridged by a straight line; a plot without the first or the last is missing (NaN).

    Parameters
    ----------
    rows
        One measure on two dates or more, one value for each plot and date.

    Raises
    ------
    InputError
        A row has no date, a plot has two values on one, or a site has one date only.

    References
    ----------
    Shaner, G. & Finney, R.E. 1977. Phytopathology 67:1051-1056, for disease (citation from memory).
    """
    plots: dict[tuple[str, str, str, str], dict[int, PlotRow]] = {}
    days: dict[str, set[int]] = {}
    for row in rows:
        if row.date is None:
            raise InputError(f"plot {row.plot} has a rating without a date", field="date")
        if not math.isfinite(row.value):
            continue
        own = plots.setdefault((row.site, row.block, row.plot, row.treatment), {})
        day = row.date.toordinal()
        if day in own:
            raise InputError(f"plot {row.plot} has two values on {row.date}", field="date")
        own[day] = row
        days.setdefault(row.site, set()).add(day)
    for site, known in days.items():
        if len(known) < 2:
            raise InputError(
                f"ratings of {site or 'the trial'} are all of one date", field="date",
                remedy="analyse that date by itself",
            )  # fmt: skip
    found = []
    for (site, *_), own in plots.items():
        first, last = min(days[site]), max(days[site])
        inside = sorted(own)
        value = math.nan
        if inside[0] == first and inside[-1] == last:
            area = math.fsum(
                (b - a) * (own[a].value + own[b].value) / 2 for a, b in pairwise(inside)
            )
            value = area / (last - first)
        found.append(replace(own[inside[-1]], value=value))
    return tuple(found)

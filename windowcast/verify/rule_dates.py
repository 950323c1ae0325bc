"""On which day people set out to spray who go by a rule: a calendar, the soil, a warm January day.

The dates are those of extension services (``data/simple_rules.toml``), the marks of soil
temperature those of the season's plan (``data/plan.toml``).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from windowcast.core.record import DateArray, FloatArray
from windowcast.core.season_calendar import SEASON_START, month_day, northern_month_day
from windowcast.core.values import PACKAGED, Table, Tables
from windowcast.season.rolling import trailing_mean
from windowcast.windows.model import PurposeName


@dataclass(frozen=True, slots=True)
class Days:
    """Days of a season on which someone tries to spray: the first, and the last if it never fits.

    Both count from the season's first day.
    """

    first: int
    last: int


def calendar_date(purpose: PurposeName, latitude_deg: float, tables: Tables = PACKAGED) -> str:
    """The northern ``"MM-DD"`` that a published calendar has for an application at a latitude.

    Of a span the middle.

    Examples
    --------
    North Georgia's 25 August to 15 September, and 1 to 20 March:

    >>> from windowcast.verify.rule_dates import calendar_date
    >>> calendar_date("pre-fall", 34.3), calendar_date("pre-spring", 34.3)
    ('09-04', '03-10')
    """
    ends = published_dates(purpose, latitude_deg, tables)
    first, last = (np.datetime64(f"{2022 + (end < SEASON_START)}-{end}", "D") for end in ends)
    return str(first + (last - first) // 2)[5:]  # of a season without 29 February


def published_dates(
    purpose: PurposeName, latitude_deg: float, tables: Tables = PACKAGED
) -> tuple[str, str]:
    """First and last date published, as `calendar_date`; the same where there is one."""
    dates = _band(latitude_deg, tables).value(purpose).value
    return dates[0], dates[-1]


def _band(latitude_deg: float, tables: Tables) -> Table:
    bands = tables["simple_rules"].table("bands")
    reached = [n for n in bands if bands.number(f"{n}.from_deg") <= abs(latitude_deg)]
    return bands.table(max(reached, key=lambda n: bands.number(f"{n}.from_deg")))


def by_calendar(
    purpose: PurposeName,
    dates: DateArray,
    latitude_deg: float,
    tables: Tables = PACKAGED,
) -> Days | None:
    """When who goes by the calendar tries; None where the season ends before.

    Parameters
    ----------
    dates
        Of the season from its first day on, ``[day]``.
    """
    date = northern_month_day(calendar_date(purpose, latitude_deg, tables), latitude_deg < 0)
    return _from(month_day(dates) == date, tables)


def by_soil(
    purpose: PurposeName, dates: DateArray, soil_5cm_c: FloatArray, tables: Tables = PACKAGED
) -> Days | None:
    """When who reads a soil thermometer puts a pre-emergent down; None where it never says so.

    Each morning the mean of the week up to yesterday is looked at: in fall whether it has fallen
    below the mark, from midwinter on whether it has risen above the other.

    Parameters
    ----------
    dates
        Of the season from its first day on, ``[day]``.
    soil_5cm_c
        Daily mean at 5 cm, ``[day]``.
    """
    plan = tables["plan"]
    week = trailing_mean(soil_5cm_c, int(plan.number("week_days")))
    seen = np.concatenate([[np.nan], week[:-1]])
    if purpose == "pre-fall":
        said, start = seen < plan.number("soil_fall"), plan.number("autumn_from")
    else:
        said, start = seen > plan.number("soil_spring"), plan.number("spring_from")
    return _from(said & (np.arange(len(dates)) >= start), tables)


def of_january(dates: DateArray, latitude_deg: float, tables: Tables = PACKAGED) -> Days | None:
    """The days among which who waits for the first warm one looks for it."""
    rules = tables["simple_rules"]
    first = northern_month_day(rules.value("warm_day_from").value, latitude_deg < 0)
    on = np.flatnonzero(month_day(dates) == first)
    return Days(int(on[0]), int(on[0] + rules.number("warm_day_days")) - 1) if len(on) else None


def _from(said: npt.NDArray[np.bool_], tables: Tables) -> Days | None:
    """From the first day on which it is said, as long as someone keeps trying."""
    days = np.flatnonzero(said)
    if not len(days):
        return None
    within = int(tables["simple_rules"].number("within_days"))
    return Days(int(days[0]), int(days[0]) + within - 1)

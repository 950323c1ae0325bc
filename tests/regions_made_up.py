"""Findings on regions made up for tests of what is said and drawn of them."""

from __future__ import annotations

import math
from dataclasses import fields, replace

import numpy as np

from windowcast.region.columns import QUANTITIES, WHOLE_WEEKS
from windowcast.region.regional import (
    Between,
    Estimate,
    FailingSeason,
    Region,
    Regional,
    RegionQuantity,
    RegionWeeks,
    WeeksBetween,
)
from windowcast.report.region_findings import Findings

UNKNOWN = Estimate(math.nan, math.nan, math.nan)


def regional_of(*regions: Region, **told: object) -> Regional:
    """Findings on these regions, and nothing else but what is told."""
    empty = {field.name: {} if field.name == "station_q" else () for field in fields(Regional)}
    return Regional(**{**empty, "of_stations": False, "regions": regions, **told})


def quantity(typical: Estimate, trend: Estimate = UNKNOWN, q: float = math.nan) -> RegionQuantity:
    """One that always happens, over 22 seasons."""
    of = {"happens": Estimate(1.0, 1.0, 1.0), "happens_trend": None, "median": False}
    of |= {"happens_trend_p": math.nan, "happens_trend_q": math.nan}
    return RegionQuantity(
        typical=typical, trend_per_decade=trend, trend_p=q, trend_q=q,
        by_season=np.full(22, typical.middle), seasons=22, **of,
    )  # fmt: skip


def seldom(change: Estimate, q: float = 0.01) -> RegionQuantity:
    """One that does not come every season and whose chance changes; its dates seem to as well."""
    dates = quantity(Estimate(140.0, 133.0, 147.0), Estimate(9.0, 2.0, 16.0))
    return replace(
        dates, median=True, happens=Estimate(0.7, 0.5, 0.9),
        happens_trend=change, happens_trend_p=q, happens_trend_q=q,
    )  # fmt: skip


def with_quantity(found: Findings, region: int, name: str, told: RegionQuantity) -> Findings:
    """The same with another quantity of one of its regions."""
    regions = list(found.regions)
    quantities = {**regions[region].quantities, name: told}
    regions[region] = replace(regions[region], quantities=quantities)
    return replace(found, regional=replace(found.regional, regions=tuple(regions)))


def weeks(winters: int, most: float, seed: int, first: int = 20, stop: int = 36) -> RegionWeeks:
    """Spray days of the weeks from `first` to `stop`, at most `most`."""
    rng = np.random.default_rng(seed)
    at = np.arange(WHOLE_WEEKS)
    hill = most * np.sin(np.pi * np.clip((at - first) / (stop - first), 0, 1))
    days = np.clip(hill * rng.uniform(0.3, 1.4, (winters, WHOLE_WEEKS)), 0, 7)
    low, high = np.quantile(days, (0.1, 0.9), axis=0)
    return RegionWeeks(days.mean(axis=0), low, high, days)


def region(
    name: str,
    total: Estimate,
    most: float,
    *,
    trend: Estimate = UNKNOWN,
    failing: tuple[FailingSeason, ...] = (),
    winters: int = 22,
    seed: int = 1,
) -> Region:
    """A northern region of 12 stations."""
    some = quantity(Estimate(100.0, 95.0, 105.0))
    told = dict.fromkeys(QUANTITIES, some) | {
        "spray_days_total": quantity(total),
        "soil_21": quantity(Estimate(110.0, 105.0, 115.0), trend),
    }
    seasons = np.arange(2024 - winters, 2024)
    counting = np.full(winters, 12)
    weekly = weeks(winters, most, seed)
    return Region(name, 12, False, seasons, counting, told, weekly, failing, winters, False)


def between(
    first: str, second: str, quantity: str, difference: Estimate, *, at_least: bool = False
) -> Between:
    """A difference over 22 seasons; its q value says the same as its interval."""
    q = 0.001 if difference.low > 0 or difference.high < 0 else 0.5
    return Between(first, second, quantity, difference, at_least, 22, q, q)


def two_regions(first: str = "Coastal plain", second: str = "Highlands") -> Findings:
    """The first has more spray days, its window opens later and has moved; the second fails."""
    plain = region(first, Estimate(31.0, 26.0, 36.0), 3.4, trend=Estimate(5.2, 0.3, 10.1))
    wet = FailingSeason(2018, "wet", 0.7)
    cold = tuple(FailingSeason(season, "cold", 0.6) for season in (2010, 2013))
    high = region(
        second, Estimate(16.0, 12.0, 20.0), 2.1,
        trend=Estimate(1.0, -3.0, 5.0), failing=(*cold, wet), seed=2,
    )  # fmt: skip
    found = [
        between(first, second, "spray_days_total", Estimate(15.0, 9.0, 21.0)),
        between(first, second, "soil_21", Estimate(12.0, 8.0, 17.0)),
        between(first, second, "dormant", Estimate(9.0, 5.0, 13.0), at_least=True),
        between(first, second, "greenup", Estimate(-2.0, -5.0, 1.0)),
    ]
    known = {b.quantity for b in found}
    rest = [between(first, second, name, UNKNOWN) for name in QUANTITIES if name not in known]
    apart = weeks_between(plain, high)
    return Findings(
        regional_of(plain, high, between=(*found, *rest), weeks_between=(apart,)),
        {first: first, second: second},
    )


def weeks_between(one: Region, other: Region) -> WeeksBetween:
    """How the weeks of one region differ from those of another, half a day either way."""
    assert one.weekly is not None
    assert other.weekly is not None
    middle = one.weekly.mean - other.weekly.mean
    return WeeksBetween(one.name, other.name, middle, middle - 0.5, middle + 0.5, 22)


def with_difference(found: Findings, quantity: str, difference: Estimate) -> Findings:
    """The same with another difference between its first two regions."""
    first, second = (r.name for r in found.regions[:2])
    others = [b for b in found.regional.between if b.quantity != quantity]
    new = between(first, second, quantity, difference)
    return replace(found, regional=replace(found.regional, between=(new, *others)))

"""What a comparison found: regions by name, the pair that differs most, what shows of a pair."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from windowcast.core.phrase import Name, Value, say
from windowcast.region.compare import Compared
from windowcast.region.regional import Between, Estimate, Region, Regional
from windowcast.report.region_words import MOST_NAMED

SPRAY_DAYS = "spray_days_total"
FALSE_FINDS = 0.05  # expected share of false ones among the differences and trends that are said

Pair = tuple[Region, Region]


@dataclass(frozen=True)
class Findings:
    """What was found, and what each region is called by its name."""

    regional: Regional
    called: Mapping[str, str]

    @property
    def regions(self) -> tuple[Region, ...]:
        """As in `Regional`."""
        return tuple(self.regional.regions)

    @cached_property
    def between(self) -> Mapping[frozenset[str], Mapping[str, Between]]:
        """The differences of each pair by quantity, in the order of `Regional`."""
        pairs: dict[frozenset[str], dict[str, Between]] = {}
        for b in self.regional.between:
            pairs.setdefault(frozenset((b.first, b.second)), {})[b.quantity] = b
        return pairs

    def apart_by(self, *pair: str) -> float:
        """How many spray days of a winter lie between two regions by name; -1 unknown."""
        b = self.between.get(frozenset(pair), {}).get(SPRAY_DAYS)
        return abs(b.difference.middle) if b and math.isfinite(b.difference.middle) else -1.0

    @cached_property
    def main_pair(self) -> Pair | None:
        """The two whose spray days differ most, the one with more first; None with fewer."""
        if len(self.regions) < 2:
            return None
        by_name = {region.name: region for region in self.regions}
        some = [of[SPRAY_DAYS] for of in self.between.values() if SPRAY_DAYS in of]
        some = [b for b in some if math.isfinite(b.difference.middle)]
        if not some:
            return self.regions[0], self.regions[1]
        most = max(some, key=lambda b: (shows(b.difference, b.q), abs(b.difference.middle)))
        pair = by_name[most.first], by_name[most.second]
        return pair if most.difference.middle >= 0 else (pair[1], pair[0])

    def name(self, region: Region) -> Value:
        """What it is called; one that nobody named is all the stations."""
        called = self.called.get(region.name, region.name)
        return Name(called) if called else say("region_story.all")


@dataclass(frozen=True)
class Apart:
    """How one of a pair differs from the other: by so much, or nothing shows."""

    estimate: Estimate
    at_least: bool
    q: float

    @property
    def shows(self) -> bool:
        """Whether its interval leaves out 0, also beside the other tests."""
        return shows(self.estimate, self.q)


def shows(estimate: Estimate, q: float) -> bool:
    """Whether an interval leaves out 0, and its q value is small where there is one."""
    return (estimate.low > 0 or estimate.high < 0) and not q > FALSE_FINDS


def named(found: Findings, pair: Pair | None) -> tuple[Region, ...]:
    """The regions that sentences speak of, in order: of many the pair that differs most first."""
    if pair is None or len(found.regions) <= MOST_NAMED:
        return found.regions[:MOST_NAMED]
    others = [region for region in found.regions if region not in pair]
    return (*pair, *others)[:MOST_NAMED]


def gap(found: Findings, quantity: str, pair: Pair) -> Apart | None:
    """The first region of a pair minus the second; None where that is unknown."""
    b = found.between.get(frozenset(region.name for region in pair), {}).get(quantity)
    if b is None or not math.isfinite(b.difference.middle):
        return None
    return Apart(_turned_to(pair[0], b), b.at_least, b.q)


def _turned_to(first: Region, b: Between) -> Estimate:
    return b.difference if b.first == first.name else turned(b.difference)


def turned(estimate: Estimate) -> Estimate:
    """The same difference, of the second from the first."""
    return Estimate(-estimate.middle, -estimate.high, -estimate.low)


def findings_of(data: Compared, found: Regional) -> Findings:
    """What was found; regions that are stations have the stations' names, and ids where alike."""
    called = {region.name: region.name for region in found.regions}
    if found.of_stations:
        ids = data.stations["station"].to_pylist()
        names = data.texts("name", range(len(ids)))
        called |= {
            station: name if names.count(name) == 1 else f"{name} ({station})"
            for station, name in zip(ids, names, strict=True)
            if station in called
        }
    return Findings(found, called)

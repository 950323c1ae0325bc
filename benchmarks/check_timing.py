"""How often timing is said to explain control where it does not, by simulation.

    nice -n 10 python benchmarks/check_timing.py [--sets 2000]

Each case draws control of applications with no link to the window score, which is the same for all
treatments of a site on one day. Random are trials, sites of a trial, days of a site (6 points
each, or none for days) and applications (5 points). Counted are sets in which the interval of the
one declared test leaves out zero: 0.05 is claimed. `docs/trials.md` holds the figures.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product

import numpy as np

from windowcast.trials.timing_and_control import Point, relations

OF_TREATMENT, OF_TRIAL, OF_SITE, OF_POINT = 8.0, 6.0, 6.0, 5.0
LAYOUTS = ((1, 4), (2, 2), (2, 4), (3, 3), (4, 1), (6, 1))  # trials, sites of each


@dataclass(frozen=True)
class Case:
    """A layout to draw: each site is sprayed on `days` days with all treatments."""

    trials: int
    sites: int
    treatments: int
    days: int
    of_day: float
    missing: float = 0.0

    @property
    def name(self) -> str:
        """The case in words."""
        own = ", days differ" if self.of_day else ""
        gone = ", a third missing" if self.missing else ""
        return (
            f"{self.trials} x {self.sites} sites, {self.treatments} treatments, "
            f"{self.days} days{own}{gone}"
        )


def cases() -> Iterator[Case]:
    for (trials, sites), treatments, days in product(LAYOUTS, (1, 3), (1, 2)):
        yield Case(trials, sites, treatments, days, 6.0)
    for trials, sites in LAYOUTS:
        yield Case(trials, sites, 3, 2, 0.0)
    for trials, sites in ((3, 3), (6, 1)):
        yield Case(trials, sites, 3, 2, 6.0, 1 / 3)


def draw(case: Case, rng: np.random.Generator) -> list[Point]:
    """One set of applications; only differences between sites where a trial has several."""
    of_treatment = rng.normal(0, OF_TREATMENT, case.treatments)
    found = []
    for trial in range(case.trials):
        there = rng.normal(0, OF_TRIAL)
        for site in range(case.sites):
            here = there + rng.normal(0, OF_SITE)
            for day in range(case.days):
                score, then = rng.uniform(0, 100), rng.normal(0, case.of_day)
                for number, own in enumerate(of_treatment):
                    control = 70 + own + here + then + rng.normal(0, OF_POINT)
                    if rng.random() < case.missing:
                        continue
                    where = f"t{trial}", f"{number}", f"s{site}", f"{day}"
                    found.append(Point("", control, score, np.nan, np.nan, *where))
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sets", type=int, default=2000)
    sets = parser.parse_args().sets
    print("| case | said to explain | not told |\n| --- | --- | --- |")
    for case in cases():
        rng = np.random.default_rng([11, *case.name.encode()])
        found = [relations(draw(case, rng))[0] for _ in range(sets)]
        lines = [r for r in found if r.low is not None and r.high is not None]
        wrong = np.mean([r.low > 0 or r.high < 0 for r in lines]) if lines else np.nan
        print(f"| {case.name} | {wrong:.3f} | {sets - len(lines)} |", flush=True)


if __name__ == "__main__":
    main()

"""Coverage of percent control over several sites, by simulation.

    nice -n 10 python benchmarks/check_control_sites.py [--sets 300]

Counts of an untreated check and four treatments in four blocks at each site, from a negative
binomial; sites differ in their level, and each treatment does more or less at each of them. Counted
is how often the 95 % interval holds the control at places like these, as the review tells it and
as plots of all sites taken as independent would have it. `docs/trials.md` holds the figures.
"""

from __future__ import annotations

import argparse
import datetime as dt
import math

import numpy as np

from windowcast.records.model import Rating
from windowcast.records.trials import is_check, trial_results
from windowcast.trials.percent_control import control

EFFECTS = {"untreated": 0.0, "A": -1.0, "B": -2.0, "C": -2.0, "D": -0.5}
LEVEL, SIZE = 60.0, 4.0  # of the check, and of the binomial
OF_SITE, OF_BLOCK = 0.7, 0.3
DAY = dt.date(2026, 1, 10)


def draw(sites: int, interaction: float, rng: np.random.Generator) -> list[Rating]:
    """One trial in the log."""
    found = []
    for site in range(sites):
        here = rng.normal(0, OF_SITE)
        own = {name: rng.normal(0, interaction) for name in EFFECTS}
        for block in range(4):
            there = here + rng.normal(0, OF_BLOCK)
            for name, effect in EFFECTS.items():
                mean = LEVEL * math.exp(effect + there + own[name])
                count = rng.negative_binomial(SIZE, SIZE / (SIZE + mean))
                found.append(
                    Rating(
                        DAY, float(count), "count per m2", weed="POAAN", trial="t",
                        plot=f"{site}{block}{name}", treatment=name, block=str(block),
                        location=f"s{site}",
                    )
                )  # fmt: skip
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sets", type=int, default=300)
    sets = parser.parse_args().sets
    print("| sites | interaction | holds | width | plots as one | width | not told |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    for sites, interaction in ((2, 0.0), (2, 0.6), (3, 0.0), (3, 0.3), (3, 0.6), (5, 0.6)):
        rng = np.random.default_rng([17, sites, int(10 * interaction)])
        held: list[bool] = []
        before: list[bool] = []
        widths: list[float] = []
        widths_before: list[float] = []
        untold = 0
        for _ in range(sets):
            rows = draw(sites, interaction, rng)
            (result,) = trial_results(rows)
            check = [r.value for r in rows if is_check(r)]
            for name, found in result.controls.items():
                true = -100 * math.expm1(EFFECTS[name])
                if found.low is None or found.high is None:
                    untold += 1
                    continue
                held.append(found.low <= true <= found.high)
                widths.append(found.high - found.low)
                plots = control([r.value for r in rows if r.treatment == name], check, paired=True)
                if plots.low is not None and plots.high is not None:
                    before.append(plots.low <= true <= plots.high)
                    widths_before.append(plots.high - plots.low)
        print(
            f"| {sites} | {interaction} | {np.mean(held):.3f} | {np.median(widths):.0f} | "
            f"{np.mean(before):.3f} | {np.median(widths_before):.0f} | {untold} |",
            flush=True,
        )


if __name__ == "__main__":
    main()

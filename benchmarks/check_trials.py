"""Error rates and coverage of the analyses of trials, by simulation.

    nice -n 10 python benchmarks/check_trials.py [--sets 500] [--case NAME]

Each case draws trials from a stated truth, with a seed of its own, analyses them, and counts

- family-wise error: sets in which any two treatments that are truly the same are said to differ,
  by all pairs (Tukey) and against a standard, the first treatment (Dunnett), or the check where it
  is rated 0 (then none is the same: what is asked is that it can be worked out);
- coverage: how often a mean's 95 % interval holds the truth, and so the 95 % interval of a single
  difference of two treatments, on the scale that was analysed.

A bound, where all plots of a treatment gave the same, counts as the mean's interval; bounds are
shown apart too, but given that all plots gave the same they need not hold in 95 of 100.
`docs/trials.md` holds the figures.
"""

from __future__ import annotations

import argparse
import math
import time
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from scipy.stats import t as student

from windowcast.trials.analysis import analyse
from windowcast.trials.families import all_pairs_limit
from windowcast.trials.model import Kind, PlotRow, TrialAnalysis, TrialOptions

CHECK = "untreated"


@dataclass(frozen=True)
class Case:
    """A truth to draw trials from; effects and spreads on the linear scale."""

    name: str
    kind: Kind
    effects: tuple[float, ...]  # the check's first
    sites: int = 1
    blocks: int = 4
    of_site: float = 0.0
    of_block: float = 0.4
    of_treatment_site: float = 0.0
    spread: float = 1.0  # plots: standard deviation, precision of the beta, size of the binomial
    missing: float = 0.0
    even_check: bool = False
    step: float = 1.0  # to which percentages are rounded
    uneven: bool = False  # every second treatment in half the blocks only
    zero_check: bool = False  # every plot of the check is rated 0, and all are compared with it


@dataclass
class Rates:
    """What was counted over sets."""

    sets: int = 0
    problems: int = 0
    all_pairs: list[bool] = field(default_factory=list)
    check: list[bool] = field(default_factory=list)
    means: list[bool] = field(default_factory=list)
    differences: list[bool] = field(default_factory=list)
    bounds: list[bool] = field(default_factory=list)
    seconds: float = 0.0


def cases() -> Iterator[Case]:
    flat = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    some = (-2.0, 0.0, 0.0, 0.0, 1.0, 1.0)
    for sites, place in ((1, 0.0), (3, 1.0)):
        for inter in (0.0, 0.8) if sites > 1 else (0.0,):
            where = f"{sites} site{'s' * (sites > 1)}" + (", interaction" if inter else "")
            at = {"sites": sites, "of_site": place, "of_treatment_site": inter}
            yield Case(f"amount, all alike, {where}", "amount", flat, **at)
            yield Case(f"amount, {where}", "amount", some, **at)
            yield Case(
                f"amount, check without spread, {where}", "amount", some, even_check=True, **at
            )
            yield Case(
                f"amount, missing and unbalanced, {where}",
                "amount",
                some,
                missing=0.1,
                uneven=True,
                **at,
            )
            at["of_site"], at["of_treatment_site"] = place * 0.5, inter * 0.5
            yield Case(
                f"percent near 100, {where}",
                "percent",
                (-9.0, 3.0, 3.0, 3.0, 4.0, 1.5),
                spread=20,
                of_block=0.2,
                **at,
            )
            yield Case(
                f"percent near 0, {where}",
                "percent",
                (-0.5, -3.0, -3.0, -3.0, -4.0, -2.0),
                spread=20,
                of_block=0.2,
                **at,
            )
            yield Case(
                f"percent in fives, {where}",
                "percent",
                (-9.0, 2.0, 2.0, 2.0, 0.0, 0.0),
                spread=15,
                of_block=0.2,
                step=5,
                **at,
            )
            yield Case(
                f"ratings in fives, checks at 0, {where}",
                "percent",
                (-9.0, 2.0, 2.0, 2.0, 1.0, 1.0),
                spread=100,
                of_block=0.1,
                step=5,
                zero_check=True,
                **at,
            )
            yield Case(
                f"counts, many zeros, {where}",
                "count",
                (2.5, -0.5, -0.5, -0.5, 0.5, 0.5),
                spread=1.0,
                of_block=0.3,
                **at,
            )
            yield Case(
                f"counts, {where}",
                "count",
                (3.5, 2.0, 2.0, 2.0, 1.0, 1.0),
                spread=3.0,
                of_block=0.3,
                **at,
            )
            yield Case(
                f"counts, all alike, {where}",
                "count",
                tuple(1.0 for _ in flat),
                spread=2.0,
                of_block=0.3,
                **at,
            )
            yield Case(
                f"counts, missing and unbalanced, {where}",
                "count",
                (3.5, 2.0, 2.0, 2.0, 1.0, 1.0),
                spread=3.0,
                of_block=0.3,
                missing=0.1,
                uneven=True,
                **at,
            )
            yield Case(
                f"biomass, {where}",
                "biomass",
                (3.0, 1.0, 1.0, 1.0, 0.0, 0.0),
                spread=3.0,
                of_block=0.2,
                **at,
            )


def draw(case: Case, rng: np.random.Generator) -> list[PlotRow]:
    """One trial of a case."""
    rows = []
    names = (CHECK, *(f"T{n}" for n in range(1, len(case.effects))))
    for site in range(case.sites):
        here = rng.normal(0, case.of_site)
        own = rng.normal(0, case.of_treatment_site, len(names))
        for block in range(case.blocks):
            there = here + rng.normal(0, case.of_block)
            for n, name in enumerate(names):
                value = _value(case, case.effects[n] + there + own[n], rng)
                if case.even_check and not n:
                    value = case.effects[0]
                if case.zero_check and not n:
                    value = 0.0
                if case.uneven and n % 2 and block >= case.blocks / 2:
                    continue
                if rng.random() < case.missing:
                    value = math.nan
                rows.append(PlotRow(f"s{site}", f"b{block}", f"{site}.{block}.{n}", name, value))
    return rows


def _value(case: Case, eta: float, rng: np.random.Generator) -> float:
    match case.kind:
        case "amount":
            return 10 + eta + rng.normal(0, case.spread)
        case "percent" | "ordinal":
            mean = 1 / (1 + math.exp(-eta))
            value = rng.beta(case.spread * mean, case.spread * (1 - mean))
            return float(np.round(100 * value / case.step) * case.step)
        case "count":
            mean = math.exp(eta)
            return float(rng.negative_binomial(case.spread, case.spread / (case.spread + mean)))
        case "biomass":
            return float(math.exp(eta) * rng.gamma(case.spread, 1 / case.spread))


def truth(case: Case) -> list[float]:
    """Mean of each treatment over places like these, on the scale of the data."""
    at, weight = np.polynomial.hermite_e.hermegauss(60)
    weight = weight / weight.sum()
    places = math.sqrt(case.of_site**2 + case.of_block**2 + case.of_treatment_site**2)
    found = []
    for effect in case.effects:
        eta = effect + places * at
        over = {"amount": 10 + eta, "percent": 100 / (1 + np.exp(-eta))}.get(case.kind, np.exp(eta))
        found.append(float(over @ weight))
    if case.even_check:
        found[0] = case.effects[0]
    if case.zero_check:
        found[0] = 0.0
    return found


def run(case: Case, sets: int, seed: int = 20) -> Rates:
    """Draw and analyse a case; every case has a stream of its own."""
    rng = np.random.default_rng([seed, *case.name.encode()])
    names = (CHECK, *(f"T{n}" for n in range(1, len(case.effects))))
    means = dict(zip(names, truth(case), strict=True))
    found = Rates()
    start = time.perf_counter()
    for _ in range(sets):
        found.sets += 1
        rows = draw(case, rng)
        standard = CHECK if case.zero_check else "T1"
        analysis = analyse(rows, TrialOptions(case.kind, checks=(CHECK,), standard=standard))
        if analysis.problem:
            found.problems += 1
            continue
        count(analysis, case, means, found)
    found.seconds = (time.perf_counter() - start) / sets
    return found


def count(analysis: TrialAnalysis, case: Case, means: dict[str, float], found: Rates) -> None:
    """Add one analysis to the rates."""
    effects = dict(zip(means, case.effects, strict=True))
    every = analysis.of("all")
    same = [c for c in every if effects[c.first] == effects[c.second]]
    found.all_pairs.append(any(c.differs for c in same))
    same = [c for c in analysis.of("check") if effects[c.first] == effects[c.second]]
    found.check.append(any(c.differs for c in same))
    bound = {m.treatment for m in analysis.means if m.bound}
    groups = len(analysis.means) + ("check" in analysis.variances)
    for c in every:
        if bound & {c.first, c.second} or CHECK in {c.first, c.second}:
            continue
        error = (c.high - c.low) / 2 / all_pairs_limit(groups, c.df)
        half = float(student.ppf(0.975, c.df)) * error
        true = effects[c.first] - effects[c.second]
        found.differences.append(abs(c.difference - true) <= half)
    for m in analysis.means:
        held = m.low - 1e-9 <= means[m.treatment] <= m.high + 1e-9
        if m.bound:
            found.bounds.append(held)
        if m.treatment != CHECK or not case.even_check:
            found.means.append(held)


def share(of: list[bool]) -> str:
    return f"{np.mean(of):.3f}" if of else "  –  "


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sets", type=int, default=500)
    parser.add_argument("--case", default="", help="only cases with this in their name")
    parser.add_argument("--part", type=int, nargs=2, default=(0, 1), help="n m: case n of every m")
    options = parser.parse_args()
    print("| case | all pairs | check | means | differences | bounds | problems | s a set |")
    print("| --- | --- | --- | --- | --- | --- | --- | --- |")
    number, of = options.part
    for case in [c for c in cases() if options.case in c.name][number::of]:
        r = run(case, options.sets)
        print(
            f"| {case.name} | {share(r.all_pairs)} | {share(r.check)} | {share(r.means)} | "
            f"{share(r.differences)} | {share(r.bounds)} ({len(r.bounds)}) | {r.problems} | "
            f"{r.seconds:.3f} |",
            flush=True,
        )


if __name__ == "__main__":
    main()

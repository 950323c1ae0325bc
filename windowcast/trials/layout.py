"""Which plot gets which treatment: a randomised plan that follows from the trial file and its seed.

The generator is Python's Mersenne Twister, seeded with the seed and the name of the site; only its
`random()` is used, whose numbers are the same in every version of Python. So the same file always
gives the same plan, and each site has a plan of its own that other sites do not change.
"""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeVar

from windowcast.core.errors import InputError
from windowcast.trials.trial_file import CheckKind, TrialFile, TrialSite, TrialTreatment

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class TrialArm:
    """One treatment as a plot gets it: a factorial has one for each treatment at each timing.

    `number` counts from 1 in the order of the file. `factor` is the treatment's own name and
    `timing` the codes of its applications.
    """

    number: int
    name: str
    factor: str
    check: CheckKind | None
    timing: tuple[str, ...]
    materials: tuple[str, ...]
    adjuvant: str
    plots: int = 1


@dataclass(frozen=True, slots=True)
class PlannedPlot:
    """A plot of the plan: its number, block, place in the field, and what it gets.

    `row` and `column` count from 1; block 0 is that of a design without blocks. `main` names the
    main plot of a split-plot design.
    """

    site: str
    plot: str
    block: int
    row: int
    column: int
    arm: TrialArm
    main: str = ""


def arms_of(trial: TrialFile) -> tuple[TrialArm, ...]:
    """Every treatment of the trial, numbered; crossed with the timings where the design is."""
    found: list[TrialArm] = []
    for item in trial.treatment:
        each: Sequence[tuple[str, ...]] = [item.timing]
        if trial.crossed and item.check in {None, "standard"}:
            each = [(timing.code,) for timing in trial.timing]
        for codes in each:
            name = f"{item.name} {codes[0]}" if len(each) > 1 else item.name
            found.append(_arm(len(found) + 1, name, item, codes))
    return tuple(found)


def _arm(number: int, name: str, item: TrialTreatment, timing: tuple[str, ...]) -> TrialArm:
    return TrialArm(
        number, name, item.name, item.check, timing, item.materials, item.adjuvant, item.plots
    )


def plan_of(trial: TrialFile) -> tuple[PlannedPlot, ...]:
    """The plots of every site, in order of their numbers.

    Raises
    ------
    InputError
        The trial has no seed: it was not randomised here.
    """
    if trial.seed is None:
        raise InputError(
            "is missing", field="seed", remedy="add one, any whole number: seed = 2026"
        )
    return tuple(plot for site in trial.site for plot in site_plan(trial, site))


def site_plan(trial: TrialFile, site: TrialSite) -> tuple[PlannedPlot, ...]:
    """The plots of one site; see `plan_of`."""
    chance = random.Random(f"{trial.seed}/{site.name}")
    replicates = site.replicates or trial.replicates
    arms = arms_of(trial)
    each = [arm for arm in arms for _ in range(arm.plots)]
    if trial.design == "crd":
        drawn = shuffled([(arm, "") for _ in range(replicates) for arm in each], chance)
        columns = trial.columns or len(each)
        return tuple(
            PlannedPlot(site.name, _number(row, place, columns), 0, row, column, arm, main)
            for (arm, main), (row, place, column) in zip(
                drawn, _places(len(drawn), columns, 0, trial.serpentine), strict=True
            )
        )
    plots: list[PlannedPlot] = []
    for block in range(1, replicates + 1):
        if trial.design == "split-plot":
            drawn = _split(trial, arms, chance)
        else:
            drawn = [(arm, "") for arm in shuffled(each, chance)]
        columns = trial.columns or len(drawn)
        above = (block - 1) * math.ceil(len(drawn) / columns)
        places = _places(len(drawn), columns, above, trial.serpentine)
        plots += (
            PlannedPlot(site.name, _number(block, n, len(drawn)), block, row, column, arm, main)
            for n, ((arm, main), (row, _, column)) in enumerate(
                zip(drawn, places, strict=True), start=1
            )
        )
    return tuple(plots)


def _split(
    trial: TrialFile, arms: Sequence[TrialArm], chance: random.Random
) -> list[tuple[TrialArm, str]]:
    """One block of a split plot: main plots in random order, and within each its plots.

    Where timings are the main plots, every check stands in each of them; else a check is a main
    plot of its own.
    """
    timed = [arm for arm in arms if arm.check in {None, "standard"}]
    checks = [arm for arm in arms if arm.check not in {None, "standard"} for _ in range(arm.plots)]
    main: dict[str, list[TrialArm]] = {}
    for arm in timed:
        key = arm.timing[0] if trial.main_plots == "timing" else arm.factor
        main.setdefault(key, []).extend([arm] * arm.plots)
    if trial.main_plots == "timing":
        main = {code: [*inside, *checks] for code, inside in main.items()}
    else:
        main |= {check.name: [check] * len(trial.timing) for check in checks}
    return [
        (arm, name) for name in shuffled(list(main), chance) for arm in shuffled(main[name], chance)
    ]


def shuffled(items: Sequence[T], chance: random.Random) -> list[T]:
    """The items in random order (Fisher and Yates), the same in every version of Python."""
    drawn = list(items)
    for last in range(len(drawn) - 1, 0, -1):
        at = int(chance.random() * (last + 1))
        drawn[last], drawn[at] = drawn[at], drawn[last]
    return drawn


def _number(hundred: int, place: int, most: int) -> str:
    """Plot 3 of block 2 is 203; 2003 where a block has a hundred plots or more."""
    return str(hundred * (100 if most < 100 else 1000) + place)


def _places(count: int, columns: int, above: int, serpentine: bool) -> list[tuple[int, int, int]]:
    """Row, place in the row and column of each plot in the order of its number."""
    found = []
    for n in range(count):
        row, place = above + n // columns + 1, n % columns + 1
        back = serpentine and row % 2 == 0
        found.append((row, place, columns + 1 - place if back else place))
    return found

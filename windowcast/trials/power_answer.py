"""What a trial and the layouts around it can show: from a trial file, and how plots vary."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from windowcast.trials.layout import arms_of
from windowcast.trials.rated_measures import MEASURES
from windowcast.trials.showable import Showable, Wanted, compared_with_all, showable
from windowcast.trials.spread import SpreadKnown
from windowcast.trials.trial_file import TrialFile

BLOCKS, SITES = (3, 4, 6, 8), (1, 2, 3, 4)  # that are worked out besides what is asked


@dataclass(frozen=True, slots=True)
class PowerAnswer:
    """What layouts can show, and where what is known of plots comes from.

    Attributes
    ----------
    blocks, sites
        The layout that was asked about.
    past, days
        The past trial and the days its ratings were of; "" and () where typical figures stand in.
    main_plots
        Whether main plots vary besides, which is not in the figures.
    """

    measure: str
    weed: str
    spread: SpreadKnown
    wanted: Wanted
    layouts: tuple[Showable, ...]
    blocks: int
    sites: int
    past: str = ""
    days: tuple[dt.date, ...] = ()
    main_plots: bool = False

    @property
    def asked(self) -> Showable | None:
        """What the layout asked about can show; None where it leaves no error."""
        return self.at(self.blocks, self.sites)

    def at(self, blocks: int, sites: int) -> Showable | None:
        """What a layout can show, if it is one of those worked out."""
        same = (each for each in self.layouts if (each.blocks, each.sites) == (blocks, sites))
        return next(same, None)

    @property
    def unit(self) -> str:
        """In what differences are counted: "points", "steps" or "percent"."""
        if self.spread.usual.scale.link == "log":
            return "percent"
        return "steps" if MEASURES[self.measure].scale == "ordinal" else "points"


def usual_layout(trial: TrialFile | None) -> dict[str, Any]:
    """What a trial file says of its layout and of what is rated; what is usual where it does not.

    Treatments are left out where there is no file.
    """
    found: dict[str, Any] = {"blocks": 4, "sites": 1, "design": "rcbd", "measure": "control %"}
    if trial is not None:
        replicates = [site.replicates or trial.replicates for site in trial.site]
        found |= {
            "treatments": len(arms_of(trial)),
            "blocks": min(replicates),
            "sites": len(trial.site),
            "design": "crd" if trial.design == "crd" else "rcbd",
            "main_plots": trial.design == "split-plot",
        }
        found |= {"measure": trial.measure[0].what} if trial.measure else {}
    return found


def power_answer(
    layout: Mapping[str, Any],
    spread: SpreadKnown,
    *,
    mean: float | None = None,
    difference: float | None = None,
    compare: str | None = None,
) -> PowerAnswer:
    """What a layout and those around it can show.

    Parameters
    ----------
    layout
        Treatments, blocks, sites, design and measure; see `usual_layout`.
    mean, difference, compare
        What is expected, in the unit of the measure, what is to be shown, and whether "all" pairs
        or each with the "check" are compared; None for what is usual.

    Raises
    ------
    InputError
        The mean or the difference is beyond what the measure can be.
    """
    measure, blocks, sites = layout["measure"], layout["blocks"], layout["sites"]
    every = compared_with_all(measure) if compare is None else compare == "all"
    expected = spread.mean if mean is None else mean
    wanted = Wanted(layout["treatments"], layout["design"], expected, difference, every)
    found = showable(spread, wanted, sorted({*BLOCKS, blocks}), sorted({*SITES, sites}))
    main_plots = bool(layout.get("main_plots"))
    return PowerAnswer(
        measure, "", spread, wanted, found, blocks, sites, main_plots=main_plots
    )  # fmt: skip

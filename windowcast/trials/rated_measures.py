"""What is rated on a plot: a closed list of measures, each with its unit and what is possible.

The id of a measure is what the season log keeps with a value (`records.model.Rating.measure`). The
names are those that people give a column, in English and Spanish.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from windowcast.trials.model import Design, Kind, TrialOptions

Scale = Literal["percent", "count", "amount", "ordinal"]


@dataclass(frozen=True, slots=True)
class TrialMeasure:
    """One thing that is rated.

    Attributes
    ----------
    id
        How the log names it, with its unit.
    scale
        What kind of number it is: a share of 100, plants on an area, an amount, steps of a scale.
    low, high
        The lowest and highest value there can be, in the unit of the id.
    names
        Of a column, in lower case, without unit, weed and date.
    per_area
        Whether a value belongs to an area, so that a bare number needs the size of the frame.
    """

    id: str
    scale: Scale
    low: float
    high: float
    names: tuple[str, ...]

    @property
    def per_area(self) -> bool:
        """Whether a value belongs to an area: it is per m² once the frame is known."""
        return self.id.endswith("per m2")

    @property
    def unit(self) -> str:
        """``"%"``, ``"per m2"``, ``"g per m2"``; the ends of a scale, ``"1-9"``."""
        for unit in ("g per m2", "per m2", "%"):
            if self.id.endswith(unit):
                return unit
        return self.id.rpartition(" ")[2]

    def is_step(self, value: float) -> bool:
        """Whether it is a step or half step of the scale; any number where there are no steps."""
        return self.scale != "ordinal" or value % 0.5 == 0


_MOST_PLANTS, _MOST_GRAMS = 100_000.0, 20_000.0  # on a m²: above it is a slip

MEASURES: Mapping[str, TrialMeasure] = {
    measure.id: measure
    for measure in (
        TrialMeasure(
            "control %", "percent", 0.0, 100.0,
            ("control", "weed control", "percent control", "pct control", "efficacy", "cont",
             "control de maleza", "eficacia"),
        ),
        TrialMeasure(
            "cover %", "percent", 0.0, 100.0,
            ("cover", "weed cover", "percent cover", "pct cover", "coverage", "weed coverage",
             "cobertura", "cobertura de maleza"),
        ),
        TrialMeasure(
            "turf cover %", "percent", 0.0, 100.0,
            ("turf cover", "turf coverage", "green cover", "turfgrass cover",
             "cobertura de cesped"),
        ),
        TrialMeasure(
            "injury %", "percent", 0.0, 100.0,
            ("injury", "turf injury", "percent injury", "phyto", "phytotoxicity", "crop injury",
             "turfgrass injury", "dano", "dano al cesped", "fitotoxicidad"),
        ),
        TrialMeasure(
            "count per m2", "count", 0.0, _MOST_PLANTS,
            ("count", "counts", "weed count", "plants", "plant count", "density", "weeds",
             "weed density", "conteo", "plantas", "densidad"),
        ),
        TrialMeasure(
            "seedheads per m2", "count", 0.0, _MOST_PLANTS,
            ("seedheads", "seedhead count", "seed heads", "seedhead", "espigas"),
        ),
        TrialMeasure(
            "biomass g per m2", "amount", 0.0, _MOST_GRAMS,
            ("biomass", "dry weight", "dry mass", "dry biomass", "shoot biomass", "biomasa",
             "peso seco"),
        ),
        TrialMeasure(
            "quality 1-9", "ordinal", 1.0, 9.0,
            ("quality", "turf quality", "turfgrass quality", "tq", "calidad"),
        ),
        TrialMeasure(
            "color 1-9", "ordinal", 1.0, 9.0,
            ("color", "colour", "turf color", "turf colour"),
        ),
        TrialMeasure(
            "control 0-10", "ordinal", 0.0, 10.0, ("control 0-10", "control rating 0-10")
        ),
        TrialMeasure(
            "injury 0-10", "ordinal", 0.0, 10.0, ("injury 0-10", "injury rating 0-10")
        ),
    )
}  # fmt: skip


_KINDS: Mapping[Scale, Kind] = {
    "percent": "percent",
    "count": "count",
    "amount": "biomass",
    "ordinal": "ordinal",
}


def options_for(
    measure: str,
    values: Sequence[float],
    *,
    design: Design,
    checks: Iterable[str],
    standard: str = "",
    counted: bool = False,
) -> TrialOptions:
    """How values of a measure are analysed, whether a trial has a file or is known by its log.

    Parameters
    ----------
    measure
        As the log names it. One that is not of the list goes by how its name begins and ends.
    values
        At least one, in its unit. Where some are beyond what it can be, all are plain amounts.
    checks, standard
        As for `TrialOptions`.
    counted
        Whether plots have a value from before treatment; of counts and weights it is a covariate.
    """
    known = MEASURES.get(measure)
    low, high = (known.low, known.high) if known else (0.0, 100.0)
    high = high if math.isfinite(high) else 100.0
    kind: Kind = "amount"
    if known:
        kind = _KINDS[known.scale]
    elif measure.endswith("%"):
        kind = "percent"
    elif measure.startswith(("count", "seedheads")):
        kind = "count"
    elif measure.startswith("biomass"):
        kind = "biomass"
    most = high if kind in {"percent", "ordinal"} else math.inf
    if not low <= min(values) <= max(values) <= most:
        kind = "amount"
    before = counted and kind in {"count", "biomass"}
    return TrialOptions(
        kind, design, tuple(checks), standard, low, high, "covariate" if before else "none"
    )

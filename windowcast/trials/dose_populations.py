"""The curves of several populations beside each other, and how much more one needs than another."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from windowcast.core.errors import InputError
from windowcast.core.phrase import NOTHING, Phrase, say
from windowcast.core.record import FloatArray
from windowcast.trials.dose_response import (
    DoseCurve,
    Doses,
    EffectiveDose,
    ResistanceRatio,
    fit_curve,
    fit_together,
    resistance_ratio,
    too_few,
)

PERCENTS = (50.0, 90.0)
HALF = 0.5
Between = Mapping[tuple[str, str], FloatArray]


@dataclass(frozen=True, slots=True)
class PopulationCurve:
    """One population: its values, its curve, the doses that do what was asked.

    `problem` says why there is no curve, as a clause; then `curve` is None and `effective` empty.
    `less_than_half` says that even the highest dose did less than half of what it does to the
    susceptible population.
    """

    name: str
    doses: tuple[float, ...]
    responses: tuple[float, ...]
    curve: DoseCurve | None = None
    effective: tuple[EffectiveDose, ...] = ()
    problem: Phrase = NOTHING
    less_than_half: bool = False


@dataclass(frozen=True, slots=True)
class PopulationRatio:
    """How much more of a dose a population needs than the susceptible one."""

    name: str
    found: ResistanceRatio


@dataclass(frozen=True, slots=True)
class DoseFindings:
    """What doses say of populations.

    Attributes
    ----------
    susceptible
        The population the others are compared with; "" where there is none or only one.
    chosen
        Whether it is only the one that needs the least, because nobody named one.
    ends
        Whether all curves end at the same responses.
    """

    populations: tuple[PopulationCurve, ...]
    ratios: tuple[PopulationRatio, ...] = ()
    susceptible: str = ""
    chosen: bool = False
    ends: bool = False

    @property
    def curves(self) -> dict[str, DoseCurve]:
        """Those that were fitted, by population."""
        return {p.name: p.curve for p in self.populations if p.curve is not None}


def dose_findings(
    populations: Mapping[str, Doses],
    *,
    percents: Sequence[float] = PERCENTS,
    susceptible: str = "",
    low: float | None = None,
    same_ends: bool = False,
) -> DoseFindings:
    """Curves of all populations; one that has none costs no other.

    Parameters
    ----------
    populations
        Doses, zero or more, and responses of each, by name.
    percents
        What doses are looked for, above 0 and below 100.
    susceptible
        The population to compare with; "" for the one whose ED50 is the lowest.
    low
        The response at the highest doses where it is known.
    same_ends
        Whether untreated and highest doses give the same in all populations.

    Raises
    ------
    InputError
        No population is called as `susceptible`.
    """
    if susceptible and susceptible not in populations:
        raise InputError(
            f"{susceptible!r} is no population here", field="susceptible",
            remedy=f"use one of {', '.join(populations)}",
        )  # fmt: skip
    problems = {name: _too_few(*doses, low=low) for name, doses in populations.items()}
    able = {name: doses for name, doses in populations.items() if not problems[name]}
    curves, between = _curves(able, problems, low, same_ends)
    chosen = not susceptible and len(curves) > 1
    if chosen:
        susceptible = min(curves, key=lambda name: curves[name].ed50)
    against = curves.get(susceptible)
    found = []
    for name, (doses, responses) in populations.items():
        curve = curves.get(name)
        one = PopulationCurve(
            name, tuple(map(float, doses)), tuple(map(float, responses)), curve,
            tuple(curve.dose_of(p) for p in percents) if curve else (), problems[name],
        )  # fmt: skip
        found.append(replace(one, less_than_half=_less_than_half(one, against)))
    ratios = tuple(
        PopulationRatio(
            name, resistance_ratio(curve, against, percent, between.get((name, susceptible)))
        )
        for name, curve in curves.items()
        for percent in percents
        if against is not None and name != susceptible
    )
    several = susceptible if len(populations) > 1 and against is not None else ""
    return DoseFindings(tuple(found), ratios, several, chosen, same_ends and bool(between))


def _too_few(doses: Sequence[float], responses: Sequence[float], *, low: float | None) -> Phrase:
    """Why values cannot give a curve, whatever they are."""
    if not too_few(doses, responses, low):
        return NOTHING
    return say("trial_dose.too_few", doses=len(set(doses)), values=len(responses))


def _curves(
    able: Mapping[str, Doses], problems: dict[str, Phrase], low: float | None, same_ends: bool
) -> tuple[dict[str, DoseCurve], Between]:
    """Every curve that can be fitted; a note in `problems` for each other."""
    none = say("trial_dose.no_curve")
    if same_ends and len(able) > 1:
        try:
            return fit_together(able, low=low)
        except InputError:
            problems |= dict.fromkeys(able, none)
            return {}, {}
    curves = {}
    for name, (doses, responses) in able.items():
        try:
            curves[name] = fit_curve(doses, responses, low=low)
        except InputError:
            problems[name] = none
    return curves, {}


def _less_than_half(one: PopulationCurve, against: DoseCurve | None) -> bool:
    """Whether the highest dose did less than half of what a dose can do to the susceptible one."""
    doses, responses = np.array(one.doses), np.array(one.responses)
    if one.curve is not None or against is None or not (doses == 0).any():
        return False
    done = responses[doses == 0].mean() - responses[doses == doses.max()].mean()
    whole = against.high - against.low
    return bool(doses.max() > 0 and done / whole < HALF) if whole else False

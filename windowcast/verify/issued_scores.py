"""Scores of the futures drawn from forecasts as issued, by lead, beside simpler ways to tell."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from windowcast.core.crps import crps_normal
from windowcast.core.phrase import Phrase
from windowcast.core.record import FloatArray
from windowcast.verify.issued import LEADS, Issued
from windowcast.verify.issued_odds import IssuedOdds, ScoredEvent
from windowcast.verify.odds import (
    Bin,
    brier,
    calibration_by_chance,
    calibration_error,
    reliability,
    skill,
)

MIDDLE = (0.3, 0.7)  # odds by which people decide


@dataclass(frozen=True)
class EventLead:
    """One event at one lead; lead 0 is the date of issue."""

    lead: int
    count: int
    base_rate: float
    brier: float
    brier_climate: float
    skill_climate: float
    calibration_error: float
    calibration_by_chance: float


@dataclass(frozen=True)
class EventScore:
    """One event over all leads, and by lead.

    `middle_said` and `middle_came` are the mean odds and the share that came where the odds lay
    between 0.3 and 0.7; None where they never did.
    """

    event: str
    title: Phrase
    calibration_error: float
    calibration_by_chance: float
    skill_climate: float
    middle_count: int
    middle_said: float | None
    middle_came: float | None
    leads: tuple[EventLead, ...]
    reliability: tuple[Bin, ...]


@dataclass(frozen=True)
class HighLead:
    """The high at one lead, °C.

    Attributes
    ----------
    spread_over_error
        Mean spread of the futures over the root-mean-square miss of their mean.
    crps, crps_fixed_error
        Of the futures, and of the forecast as issued with one normal error, the same for all
        cities and days: the root-mean-square miss of the lead in this very folder.
    """

    lead: int
    count: int
    bias: float  # came minus forecast as issued
    rmse: float  # of the mean of the futures
    spread: float
    spread_over_error: float
    crps: float
    crps_fixed_error: float


@dataclass(frozen=True)
class IssuedReport:
    """The whole verification of a folder of forecasts as issued.

    Calibration errors are means over the events (`mean`) and the largest among them (`worst`), over
    all leads and by lead; an error of one event never makes up for that of another. The largest
    distance between odds of 0.3 to 0.7 and what came is `middle_off`; None where there are none.
    """

    folder: str
    cities: tuple[str, ...]
    first: str
    last: str
    issues: int
    members: int
    calibration_error_mean: float
    calibration_error_worst: float
    calibration_error_mean_by_lead: tuple[float, ...]
    calibration_error_worst_by_lead: tuple[float, ...]
    middle_off: float | None
    highs: tuple[HighLead, ...]
    events: tuple[EventScore, ...]
    reliability: tuple[Bin, ...]
    notes: tuple[str, ...]


NOTES = (
    """Odds of highs are held against airport readings; the forecast point is not the airport, and
    the place's lasting bias is part of what the futures do not know.""",
    """Observations are whole degrees Fahrenheit: the futures are rounded the same before a limit is
    asked.""",
    """A forecast low is that of a night, the observed low that of a calendar date: where lows
    count, part of the misses is this difference.""",
    """The climate is that of the city's other years in the folder; the half year after an issue is
    hidden from its futures.""",
    "The folder holds no rain, wind or gust: nothing is said of them here.",
)


def issued_report(
    drawn: IssuedOdds,
    events: Sequence[ScoredEvent],
    cities: Sequence[Issued],
    folder: str,
    members: int,
) -> IssuedReport:
    """Scores over all leads and by lead.

    Parameters
    ----------
    members
        Number of futures of an issue.
    """
    odds = np.concatenate([drawn.odds[event.key] for event in events])
    came = np.concatenate([drawn.came[event.key] for event in events])
    scores = tuple(_event(drawn, event) for event in events)
    by_lead = np.array([[lead.calibration_error for lead in score.leads] for score in scores])
    over_all = np.array([score.calibration_error for score in scores])
    middle = [
        abs(score.middle_said - score.middle_came)
        for score in scores
        if score.middle_said is not None and score.middle_came is not None
    ]
    return IssuedReport(
        folder,
        tuple(city.name for city in cities),
        str(min(city.dates[0] for city in cities)),
        str(max(city.dates[-1] for city in cities)),
        drawn.issues,
        members,
        float(over_all.mean()),
        float(over_all.max()),
        tuple(by_lead.mean(axis=0).tolist()),
        tuple(by_lead.max(axis=0).tolist()),
        max(middle) if middle else None,
        tuple(_high(drawn, lead) for lead in range(LEADS)),
        scores,
        reliability(odds, came),
        tuple(" ".join(note.split()) for note in NOTES),
    )


def _middle(odds: FloatArray, came: FloatArray) -> tuple[int, float | None, float | None]:
    """How often the odds lay in the middle, their mean, and the share that came."""
    inside = (odds >= MIDDLE[0]) & (odds <= MIDDLE[1]) & np.isfinite(came)
    if not inside.any():
        return 0, None, None
    return int(inside.sum()), float(odds[inside].mean()), float(came[inside].mean())


def _event(drawn: IssuedOdds, event: ScoredEvent) -> EventScore:
    odds, climate, came = (part[event.key] for part in (drawn.odds, drawn.climate, drawn.came))
    table = reliability(odds, came)
    return EventScore(
        event.key,
        event.title,
        calibration_error(table),
        calibration_by_chance(odds),
        skill(odds, climate, came),
        *_middle(odds, came),
        tuple(_event_lead(odds[:, k], climate[:, k], came[:, k], k) for k in range(LEADS)),
        table,
    )


def _event_lead(odds: FloatArray, climate: FloatArray, came: FloatArray, lead: int) -> EventLead:
    return EventLead(
        lead,
        int(np.isfinite(odds).sum()),
        float(np.nanmean(came)),
        brier(odds, came),
        brier(climate, came),
        skill(odds, climate, came),
        calibration_error(reliability(odds, came)),
        calibration_by_chance(odds),
    )


def _high(drawn: IssuedOdds, lead: int) -> HighLead:
    said, came, mean, variance, crps = (
        part[:, lead]
        for part in (drawn.said_c, drawn.came_c, drawn.mean_c, drawn.variance_k2, drawn.crps_k)
    )
    rmse = float(np.sqrt(np.nanmean((came - mean) ** 2)))
    spread = float(np.sqrt(np.nanmean(variance)))
    fixed = float(np.sqrt(np.nanmean((came - said) ** 2)))
    return HighLead(
        lead,
        int(np.isfinite(came).sum()),
        float(np.nanmean(came - said)),
        rmse,
        spread,
        spread / rmse,
        float(np.nanmean(crps)),
        float(np.nanmean(crps_normal((came - said) / fixed) * fixed)),
    )

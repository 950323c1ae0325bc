"""How good the odds are: past seasons replayed issue day by issue day.

For each issue day a forecast as it might have been issued is simulated (`windowcast.verify.
simulated`), the ensemble is drawn from it and from the years before, and the odds of a workable day
are compared with what came, with the climate's share and with the forecast taken as certain.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from windowcast.core.phrase import Phrase, say
from windowcast.core.record import FloatArray, Record, Weather
from windowcast.programme.workable_days import day_scores, workable
from windowcast.verify.simulated import Truth, forecast
from windowcast.weather.ensemble import members
from windowcast.windows.purposes import Purpose

LEADS = 10
CLIMATE_HALF_WIDTH = 15  # days either side of the date
BINS = 10
FEWEST_YEARS = 3  # of past record before a season is replayed


@dataclass(frozen=True)
class Replayed:
    """Issue days with their odds; arrays ``[issue, lead]``, NaN where it is unknown.

    Attributes
    ----------
    odds, climate, certain
        Probability by the ensemble, by the same weeks of past years, and 0 or 1 by the forecast
        taken as certain.
    came
        1 where the day was workable, 0 where not.
    group
        Station and season of each issue, for resampling, ``[issue]``.
    """

    odds: FloatArray
    climate: FloatArray
    certain: FloatArray
    came: FloatArray
    group: npt.NDArray[np.int64]

    @property
    def issues(self) -> int:
        """Number of issue days."""
        return len(self.odds)


def replay(
    record: Record,
    purpose: Purpose,
    *,
    seasons: Sequence[int],
    every_days: int = 5,
    count: int = 100,
    seed: int = 0,
    error_scale: float = 1.0,
) -> Replayed:
    """Replay seasons of one station, September to April.

    Parameters
    ----------
    record
        Daily values without gaps filled, no leading axis.
    seasons
        Years in which the seasons begin. Only years before an issue day are used for its odds.
    every_days
        Days between issues.
    error_scale
        Factor of the simulated forecasts' errors of temperature: a make better or worse than the
        usual.
    """
    truth = Truth.of(record)
    needs = purpose.generic
    came = workable(day_scores(record, purpose, needs), purpose.rule)
    rows: list[tuple[FloatArray, ...]] = []
    groups: list[int] = []
    for season in seasons:
        for issue in _issues(record, season, every_days):
            rng = np.random.default_rng([seed, season, issue])
            said = forecast(truth, issue, LEADS + 1, rng, error_scale)
            if said is None:
                continue
            weather = Weather(
                said, None, record.times[issue].astype("datetime64[D]").astype(object)
            )
            drawn = members(
                weather, until=weather.today, horizon_days=LEADS, count=count, seed=seed
            )
            event = workable(day_scores(drawn.daily, purpose, needs), purpose.rule)[:, :LEADS]
            climate = _climate(came, record, issue)
            rows.append((event[1:].mean(axis=0), climate, event[0], came[issue : issue + LEADS]))
            groups.append(season)
    if not rows:
        empty = np.zeros((0, LEADS))
        return Replayed(empty, empty, empty, empty, np.zeros(0, dtype=np.int64))
    odds, climate, certain, outcome = (np.array(part) for part in zip(*rows, strict=True))
    known = np.isfinite(odds + climate + certain + outcome)
    odds, climate, certain, outcome = (
        np.where(known, part, np.nan) for part in (odds, climate, certain, outcome)
    )
    return Replayed(odds, climate, certain, outcome, np.array(groups, dtype=np.int64))


def last_seasons(record: Record, count: int) -> tuple[int, ...]:
    """Years in which the last whole seasons of a record begin, those with enough years before."""
    first = record.times[0].astype("datetime64[Y]").astype(int) + 1970 + FEWEST_YEARS + 1
    last = (record.times[-1] - np.timedelta64(120, "D")).astype("datetime64[Y]").astype(int) + 1970
    return tuple(range(max(int(first), int(last) - count), int(last)))


def joined(parts: Sequence[Replayed]) -> Replayed:
    """Several stations as one; groups stay apart."""
    shifted = [replace(p, group=p.group + 10_000 * n) for n, p in enumerate(parts)]
    names = ("odds", "climate", "certain", "came", "group")
    return Replayed(*(np.concatenate([getattr(p, name) for p in shifted]) for name in names))


def _issues(record: Record, season: int, every_days: int) -> Iterator[int]:
    """Indices of issue days from 1 September to 20 April with enough past and future."""
    first = np.datetime64(f"{season}-09-01")
    last = np.datetime64(f"{season + 1}-04-20")
    for date in np.arange(first, last, np.timedelta64(every_days, "D")):
        index = int((date - record.times[0]).astype(int))
        if FEWEST_YEARS * 366 <= index < len(record.times) - LEADS - 1:
            yield index


def _climate(came: FloatArray, record: Record, issue: int) -> FloatArray:
    """Share of workable days in the same weeks of the years before, ``[lead]``."""
    back = np.round(np.arange(1, issue // 365 + 1) * 365.25).astype(int)
    width = np.arange(-CLIMATE_HALF_WIDTH, CLIMATE_HALF_WIDTH + 1)
    at = issue + np.arange(LEADS)[:, None, None] - back[:, None] + width
    seen = np.where((at >= 0) & (at < issue), came[np.clip(at, 0, issue - 1)], np.nan)
    return np.asarray(np.nanmean(seen, axis=(1, 2)))


# --- scores ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Bin:
    """One line of a reliability table."""

    low: float
    high: float
    count: int
    said: float  # mean odds
    came: float  # observed share


def brier(odds: FloatArray, came: FloatArray) -> float:
    """Brier score (Brier 1950, *Mon. Wea. Rev.* 78:1-3): mean squared error of probabilities."""
    return float(np.nanmean((odds - came) ** 2))


def skill(odds: FloatArray, reference: FloatArray, came: FloatArray) -> float:
    """Brier skill score against a reference; 1 is perfect, 0 no better, NaN if that is perfect."""
    other = brier(reference, came)
    return 1 - brier(odds, came) / other if other > 0 else math.nan


def reliability(odds: FloatArray, came: FloatArray, bins: int = BINS) -> tuple[Bin, ...]:
    """What came, against what was said, in bins of equal width; empty bins are left out."""
    known = np.isfinite(odds) & np.isfinite(came)
    said, seen = odds[known], came[known]
    which = _bin_of(said, bins)
    return tuple(
        Bin(
            i / bins,
            (i + 1) / bins,
            int((which == i).sum()),
            float(said[which == i].mean()),
            float(seen[which == i].mean()),
        )
        for i in range(bins)
        if (which == i).any()
    )


def _bin_of(odds: FloatArray, bins: int) -> npt.NDArray[np.int64]:
    return np.minimum((odds * bins).astype(np.int64), bins - 1)


def calibration_error(table: Sequence[Bin]) -> float:
    """Mean distance of what came from what was said, weighted by how often it was said."""
    total = sum(b.count for b in table)
    return sum(b.count * abs(b.said - b.came) for b in table) / total


def calibration_by_chance(odds: FloatArray, draws: int = 200) -> float:
    """Mean calibration error of odds that are exactly right, from the number of cases alone.

    With few cases a share of ten days is rarely the one foretold. What is above this is the odds'
    own fault; a figure below it is luck. Cases are drawn as if they were independent; days of one
    season are not independent, so chance does a little more than this.
    """
    said = odds[np.isfinite(odds)]
    if not len(said):
        return math.nan
    rng = np.random.default_rng(0)
    which = _bin_of(said, BINS)
    told = np.bincount(which, said, BINS)
    errors = [
        np.abs(told - np.bincount(which, rng.random(len(said)) < said, BINS)).sum() / len(said)
        for _ in range(draws)
    ]
    return float(np.mean(errors))


def skill_interval(
    replayed: Replayed, reference: FloatArray, lead: int, draws: int = 500
) -> tuple[float, float]:
    """10 to 90 % of the skill of a lead when stations' seasons are drawn anew."""
    rng = np.random.default_rng(lead)
    groups, which = np.unique(replayed.group, return_inverse=True)
    own = (replayed.odds[:, lead] - replayed.came[:, lead]) ** 2
    other = (reference[:, lead] - replayed.came[:, lead]) ** 2
    sums = [np.bincount(which, np.nan_to_num(x), len(groups)) for x in (own, other)]
    picks = rng.integers(0, len(groups), (draws, len(groups)))
    ours, theirs = (total[picks].sum(axis=1) for total in sums)
    skills = np.full(draws, np.nan)
    np.divide(ours, theirs, out=skills, where=theirs > 0)
    low, high = np.quantile(1 - skills, [0.1, 0.9])
    return float(low), float(high)


@dataclass(frozen=True)
class LeadScore:
    """Scores of one lead, in days (1 is the day of issue)."""

    lead: int
    count: int
    base_rate: float
    brier: float
    brier_climate: float
    brier_certain: float
    skill_climate: float
    skill_climate_10_90: tuple[float, float]
    skill_certain: float
    calibration_error: float
    calibration_by_chance: float


@dataclass(frozen=True)
class OddsReport:
    """The whole verification of one purpose."""

    purpose: str
    event: Phrase
    stations: tuple[str, ...]
    seasons: tuple[int, ...]
    issues: int
    brier: float
    skill_climate: float
    skill_certain: float
    calibration_error: float
    calibration_by_chance: float
    leads: tuple[LeadScore, ...]
    reliability: tuple[Bin, ...]
    notes: tuple[str, ...]


NOTES = (
    """Forecasts are simulated from what came: days 1 and 2 by the misses of real bulletins, later
    days by blending with another year's weather, with the skill measured on real forecasts of US
    cities; no real forecasts of these places are at hand.""",
    """Odds of a day use only years before it; the spread of errors was fitted on other places and
    years (2014-17), the fading of departures on stations of the same network.""",
    "Rain forecasts are simulated at all leads; wind is not part of the event.",
)


def report(
    replayed: Replayed, purpose: Purpose, stations: Sequence[str], seasons: Sequence[int]
) -> OddsReport:
    """Scores over all leads and by lead."""
    table = reliability(replayed.odds, replayed.came)
    leads = []
    for lead in range(LEADS):
        odds, climate, certain, came = (
            part[:, lead]
            for part in (replayed.odds, replayed.climate, replayed.certain, replayed.came)
        )
        leads.append(
            LeadScore(
                lead=lead + 1,
                count=int(np.isfinite(odds).sum()),
                base_rate=float(np.nanmean(came)),
                brier=brier(odds, came),
                brier_climate=brier(climate, came),
                brier_certain=brier(certain, came),
                skill_climate=skill(odds, climate, came),
                skill_climate_10_90=skill_interval(replayed, replayed.climate, lead),
                skill_certain=skill(odds, certain, came),
                calibration_error=calibration_error(reliability(odds, came)),
                calibration_by_chance=calibration_by_chance(odds),
            )
        )
    return OddsReport(
        purpose=purpose.name,
        event=say("odds.event", purpose=purpose.title),
        stations=tuple(stations),
        seasons=tuple(seasons),
        issues=replayed.issues,
        brier=brier(replayed.odds, replayed.came),
        skill_climate=skill(replayed.odds, replayed.climate, replayed.came),
        skill_certain=skill(replayed.odds, replayed.certain, replayed.came),
        calibration_error=calibration_error(table),
        calibration_by_chance=calibration_by_chance(replayed.odds),
        leads=tuple(leads),
        reliability=table,
        notes=tuple(" ".join(note.split()) for note in NOTES),
    )

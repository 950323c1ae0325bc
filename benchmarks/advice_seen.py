"""The scoring of replayed seasons held against what was seen in published trials.

Each result is scored by `seen_scoring` and held against the control seen. Two
dates of one trial and tank tell whether the scoring ranks dates as the trial did; that is what a
replay of seasons rests on.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from os import PathLike
from typing import Any

import numpy as np
from seen_scoring import WITHIN_KM, NearStations, ScoredTrial, Scorer, beyond
from seen_trials import SeenTrial, read_trials
from seen_turf import turf_seen

from windowcast.core.record import FloatArray, Record
from windowcast.materials.efficacy import PLUS

RESAMPLED = 4000
EVEN = 0.025  # difference below which two dates count alike, as printed means are known to so much
PARTS = {"all": ("pre", "post"), "pre": ("pre",), "post": ("post",)}
NOTES = (
    """Level: the fit of efficacy leaves the trial's paper out. Emergence, leaf stages and residual
    were not fitted on control seen in any trial. Rates that a source does not give count as full,
    as in that fit; pre-emergents as watered in.""",
    """A month stands for the whole of it, on days fit for spraying; where a source gives weeks
    after a date that it does not name, the dates are ours. Trials without years are scored in other
    seasons than their own.""",
    """A bound says only on which side of it control lies: within it nothing counts as missed.""",
)


@dataclass(frozen=True)
class Pair:
    """Two dates of one trial and tank.

    Attributes
    ----------
    seen
        1 where the first was seen to control more, -1 less, 0 not told apart by words or numbers.
    low, high
        Within which the difference seen lies; NaN where there are no numbers.
    scored
        Difference of the scoring.
    """

    one: ScoredTrial
    other: ScoredTrial
    seen: int
    low: float
    high: float
    scored: float

    @property
    def agrees(self) -> float:
        """1 where the scoring puts the dates in the order seen, -1 the other way, 0 even."""
        return 0.0 if abs(self.scored) < EVEN else float(np.sign(self.scored) * self.seen)


def seen_scores(
    path: str | PathLike[str],
    records: Sequence[Record],
    *,
    sightings: str | PathLike[str] | None = None,
    within_km: float = WITHIN_KM,
    left_out: bool = True,
    on_trial: Callable[[str], object] = lambda name: None,
) -> dict[str, Any]:
    """Trials of a file beside the scoring, as plain values for JSON.

    Parameters
    ----------
    path
        CSV of trials by date; see `seen_trials`.
    records
        Daily records of stations, with their places.
    sightings
        CSV of dated sightings of turf; see `windowcast.verify.turf_sightings`.
    within_km
        How far off a station may lie [km].
    left_out
        Whether each trial is scored by what other papers let expect.
    on_trial
        Called with the name of each trial as it is begun.

    Returns
    -------
    dict
        ``trials``, ``pairs``, ``unused`` (rows and why), ``level`` and ``timing`` (totals of all,
        pre-emergents and sprays, with 90 % intervals by resampling trials), ``turf``
        (`seen_turf`; None without sightings), ``notes``.

    Raises
    ------
    InputError
        A row cannot be read.
    """
    stations = NearStations(records, within_km)
    scorer = Scorer(stations, left_out)
    scored: list[ScoredTrial] = []
    unused: list[tuple[SeenTrial, str]] = []
    name = ""
    for trial in read_trials(path):
        if trial.trial != name:
            name = trial.trial
            on_trial(name)
        found = scorer.scored(trial)
        if isinstance(found, str):
            unused.append((trial, found))
        else:
            scored.append(found)
    pairs = list(pairs_of(scored))
    return {
        "trials": [_plain(one) for one in scored],
        "pairs": [_plain_pair(pair) for pair in pairs],
        "unused": [
            {"row": t.row, "trial": t.trial, "actives": PLUS.join(t.actives), "why": why}
            for t, why in unused
        ],
        "level": {
            name: level_totals([s for s in scored if s.trial.timing in timings])
            for name, timings in PARTS.items()
        },
        "timing": {
            name: timing_totals([p for p in pairs if p.one.trial.timing in timings])
            for name, timings in PARTS.items()
        },
        "turf": None if sightings is None else turf_seen(sightings, stations),
        "notes": [" ".join(note.split()) for note in NOTES],
    }


def pairs_of(scored: Sequence[ScoredTrial]) -> Iterator[Pair]:
    """Each two dates of one trial and tank of whose order the source says something."""
    for one, other in combinations(scored, 2):
        a, b = one.trial, other.trial
        if a.group != b.group or one.seasons != other.seasons:
            continue
        low, high = _difference(a, b)
        told = math.isfinite(low)
        if b.first in a.better_than:
            seen = 1
        elif a.first in b.better_than:
            seen = -1
        elif told:
            seen = 1 if low > 0 else -1 if high < 0 else 0
        elif b.first in a.same_as or a.first in b.same_as:
            seen = 0
        else:
            continue
        yield Pair(one, other, seen, low, high, float((one.control - other.control).mean()))


def _difference(a: SeenTrial, b: SeenTrial) -> tuple[float, float]:
    """Ends of the difference seen, NaN where one of the two has no number."""
    if not (a.told and b.told):
        return math.nan, math.nan
    (la, ha), (lb, hb) = ((max(t.low, 0.0), min(t.high, 1.0)) for t in (a, b))
    return la - hb, ha - lb


def level_totals(scored: Sequence[ScoredTrial]) -> dict[str, Any]:
    """How far the level is off, over results with numbers, in percentage points."""
    told = [one for one in scored if one.trial.told]
    parts = {"all": told, "means_and_ranges": [s for s in told if not s.trial.bound_only]}
    return {
        name: {
            "n": len(some),
            **_errors([100 * s.missed for s in some], [s.trial.trial for s in some]),
        }
        for name, some in parts.items()
    }


def timing_totals(pairs: Sequence[Pair]) -> dict[str, Any]:
    """How dates are ranked, and how far their difference is off, in percentage points.

    ``rank_correlation`` is the mean over trials of their pairs in the order seen less those the
    other way, as a share of all whose order was seen (Goodman & Kruskal's gamma within each trial;
    even pairs count as neither). ``no_difference`` is how far off one would be who takes all
    dates alike.
    """
    told = [p for p in pairs if not math.isnan(p.low)]
    ordered = [p for p in pairs if p.seen]
    off = [100 * beyond(p.scored, p.low, p.high) for p in told]
    alike = [100 * beyond(0.0, p.low, p.high) for p in told]
    where = [p.one.trial.trial for p in told]
    return {
        "ordered": len(ordered),
        "in_the_order_seen": sum(p.agrees > 0 for p in ordered),
        "other_way": sum(p.agrees < 0 for p in ordered),
        "trials": len({p.one.trial.trial for p in ordered}),
        "not_told_apart": sum(not p.seen for p in pairs),
        "rank_correlation": _by_trial(
            [p.agrees for p in ordered], [p.one.trial.trial for p in ordered], lambda rows: rows
        ),
        "differences": {"n": len(told), **_errors(off, where)},
        "no_difference": {"n": len(told), **_errors(alike, where)},
    }


def _errors(off: Sequence[float], trials: Sequence[str]) -> dict[str, Any]:
    """Mean and root mean square, each trial counting alike."""
    return {
        "trials": len(set(trials)),
        "mean": _by_trial(off, trials, lambda rows: rows),
        "rms": _by_trial([v**2 for v in off], trials, np.sqrt),
    }


def _by_trial(
    values: Sequence[float], trials: Sequence[str], then: Callable[[FloatArray], FloatArray]
) -> dict[str, float | None]:
    """Mean over trials of their means, with a 90 % interval by resampling trials."""
    if not values:
        return {"value": None, "low": None, "high": None}
    names = sorted(set(trials))
    held = np.array(values, dtype=np.float64)
    means = np.array([held[[t == name for t in trials]].mean() for name in names])
    drawn = np.random.default_rng(1).integers(len(names), size=(RESAMPLED, len(names)))
    low, high = np.quantile(then(means[drawn].mean(axis=1)), [0.05, 0.95])
    middle = float(then(np.array(means.mean())))
    return {name: round(float(v), 2) for name, v in
            (("value", middle), ("low", low), ("high", high))}  # fmt: skip


def _plain(one: ScoredTrial) -> dict[str, Any]:
    t = one.trial
    low, high = np.quantile(one.control, [0.1, 0.9])
    return {
        "row": t.row,
        "trial": t.trial,
        "weed": t.weed,
        "actives": PLUS.join(t.actives),
        "first": t.first,
        "last": t.last,
        "rated": t.rated,
        "rate_kg_ha": None if math.isnan(t.rate_kg_ha) else t.rate_kg_ha,
        "seen_low": _percent(t.low),
        "seen_high": _percent(t.high),
        "scored": _percent(one.scored),
        "scored_low": _percent(float(low)),
        "scored_high": _percent(float(high)),
        "stage_bbch": None if math.isnan(one.stage_bbch) else round(one.stage_bbch, 1),
        "station": one.station,
        "distance_km": round(one.distance_km, 1),
        "seasons": list(one.seasons),
        "own_seasons": set(one.seasons) <= set(t.seasons),
        "source": t.source,
    }


def _plain_pair(pair: Pair) -> dict[str, Any]:
    a, b = pair.one.trial, pair.other.trial
    return {
        "trial": a.trial,
        "actives": PLUS.join(a.actives),
        "one": a.first,
        "other": b.first,
        "rated": [a.rated, b.rated],
        "seen": pair.seen,
        "seen_low": _percent(pair.low),
        "seen_high": _percent(pair.high),
        "scored": _percent(pair.scored),
    }


def _percent(share: float) -> float | None:
    return round(100 * share, 1) if math.isfinite(share) else None

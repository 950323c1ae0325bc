"""How a measured value becomes a score: straight lines between knots, shifted by the actives."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from windowcast.core.record import FloatArray
from windowcast.core.values import Table, Value
from windowcast.materials.needs import ActiveNeeds


@dataclass(frozen=True)
class ScoreCurve:
    """Straight lines between knots that turn a measured value into a score 0..1.

    Attributes
    ----------
    at, score
        The knots, `at` rising; flat outside them. A score of 0 is a no.
    used
        The science values behind them.
    """

    at: tuple[float, ...]
    score: tuple[float, ...]
    used: tuple[Value, ...] = ()

    def __call__(self, measured: FloatArray) -> FloatArray:
        """Score of measured values; NaN stays NaN."""
        return np.interp(measured, self.at, self.score)

    @property
    def good(self) -> tuple[float, float]:
        """The range with the full score; an end that stays full is infinite."""
        best = max(self.score)
        full = [x for x, s in zip(self.at, self.score, strict=True) if s == best]
        low = -math.inf if self.score[0] == best else full[0]
        return low, math.inf if self.score[-1] == best else full[-1]

    def nearest(self, measured: float, score: float) -> float | None:
        """The value nearest to `measured` with at least `score`; None when no value has it."""
        knots = list(zip(self.at, self.score, strict=True))
        found = [x for x, s in knots if s >= score]
        for (x0, s0), (x1, s1) in pairwise(knots):
            if (s0 - score) * (s1 - score) < 0:
                found.append(x0 + (score - s0) / (s1 - s0) * (x1 - x0))
        return min(found, key=lambda x: abs(x - measured), default=None)


def grade_of(
    name: str, needs: ActiveNeeds, criteria: Table, own: Table | None = None
) -> ScoreCurve:
    """How a criterion is graded for a purpose and the actives at hand.

    Parameters
    ----------
    criteria
        ``data/criteria.toml``.
    own
        The purpose's own knots by criterion, from ``data/purposes.toml``.
    """
    return grade_for(name, needs, plain_grade(name, criteria, own), criteria)


def plain_grade(name: str, criteria: Table, own: Table | None = None) -> ScoreCurve:
    """How a criterion is graded whatever the actives; parameters as of `grade_of`."""
    table = own.table(name) if own is not None and name in own else criteria.table(name)
    at, score = table.value("at"), table.value("score")
    return ScoreCurve(tuple(map(float, at.value)), tuple(map(float, score.value)), (at, score))


def grade_for(name: str, needs: ActiveNeeds, plain: ScoreCurve, criteria: Table) -> ScoreCurve:
    """A `plain_grade` shifted to what the actives at hand need."""
    shift = _SHIFTS.get(name)
    shifted = shift(plain, needs, criteria.table(name)) if shift else None
    if shifted is None:
        return plain
    return replace(shifted, used=_governing(name, needs) or plain.used)


def _air_temperature(grade: ScoreCurve, needs: ActiveNeeds, rule: Table) -> ScoreCurve | None:
    low, good, high = needs.temp_low_c, needs.temp_good_c, needs.temp_high_c
    if low is None or good is None or math.isnan(low) or math.isnan(good):
        return None  # not stated: the general grade for leaf-taken actives holds
    good = max(good, low + 0.1)
    full_to, fade_to = grade.at[-2:]
    high = max(good, full_to if high is None or math.isnan(high) else high)
    at = (low - rule.number("active_margin"), low, good, high, high + fade_to - full_to)
    return ScoreCurve(at, (0.0, rule.number("active_low_score"), 1.0, 1.0, grade.score[-1]))


def _moved_to(
    need: str, *, first: bool = False, only_up: bool = False
) -> Callable[..., ScoreCurve | None]:
    """Shift all knots so that the last (or first) one lies at the active's own limit."""

    def shift(grade: ScoreCurve, needs: ActiveNeeds, rule: Table) -> ScoreCurve | None:
        limit = getattr(needs, need)
        if limit is None or math.isnan(limit):
            return None
        move = limit - grade.at[0 if first else -1]
        if only_up and move <= 0:
            return None
        return ScoreCurve(tuple(x + move for x in grade.at), grade.score)

    return shift


def _plant_size(grade: ScoreCurve, needs: ActiveNeeds, rule: Table) -> ScoreCurve | None:
    limit = needs.largest_bbch
    if limit is None or math.isnan(limit):
        return None
    lost = needs.lost_bbch
    if lost is not None and lost > limit:  # the label in hand may name a larger stage
        return ScoreCurve((limit, lost), (grade.score[0], 0.0))
    return ScoreCurve((limit, limit + rule.number("margin")), grade.score)


_SHIFTS: dict[str, Callable[[ScoreCurve, ActiveNeeds, Table], ScoreCurve | None]] = {
    "air_temperature": _air_temperature,
    "cold_after": _moved_to("night_low_c"),
    "humidity": _moved_to("humidity_low_pct"),
    "plant_size": _plant_size,
    "greenup_margin": _moved_to("before_greenup_d", first=True, only_up=True),
    "cool_soil": _moved_to("soil_temp_high_c", first=True),
}
_NEEDS = {
    "air_temperature": ("temp_low_c", "temp_good_c", "temp_high_c"),
    "cold_after": ("night_low_c",),
    "humidity": ("humidity_low_pct",),
    "plant_size": ("largest_bbch", "lost_bbch"),
    "greenup_margin": ("before_greenup_d",),
    "cool_soil": ("soil_temp_high_c",),
    "rain_after": ("rain_free_h",),
    "chance_of_rain": ("rain_free_h",),
    "water_in": ("activation_mm", "activation_days"),
    "turf_safety": ("names", "formulation", "turf_state", "post"),
    "sun_after": ("light_needed",),
}


def needs_behind(name: str) -> tuple[str, ...]:
    """The needs of an active that a criterion looks at."""
    return _NEEDS.get(name, ())


def asked_for(name: str, needs: ActiveNeeds) -> bool:
    """Whether a criterion has a question to ask, given what the actives need."""
    if name == "sun_after":
        return needs.light_needed is not False
    if name == "heat":
        return needs.rain_free_h is None  # leaf-taken actives have a band of temperature
    need = _ASKED_BY.get(name)
    return need is None or getattr(needs, need) is not None


_LEAF, _SOIL = "rain_free_h", "activation_mm"  # needs that only leaf- or soil-taken actives have
_ASKED_BY = {
    "air_temperature": _LEAF,
    "cold_after": _LEAF,
    "dry_before": _LEAF,
    "leaf_wetness": _LEAF,
    "rain_after": _LEAF,
    "chance_of_rain": _LEAF,
    "washing_rain": _SOIL,
    "water_in": _SOIL,
    "humidity": "humidity_low_pct",
    "plant_size": "largest_bbch",
    "cool_soil": "soil_temp_high_c",
}


def _governing(name: str, needs: ActiveNeeds) -> tuple[Value, ...]:
    """The actives' values that a criterion rests on."""
    wanted = needs_behind(name)
    return tuple(v for v in needs.used if _need(v) in wanted)


def _need(value: Value) -> str:
    """The need a value of the actives' table is about; ``turf.<species>`` is the turf state."""
    parts = value.path.split(".")
    return "turf_state" if parts[-2] == "turf" else parts[-1]


def sources_of(
    name: str, grade: ScoreCurve, needs: ActiveNeeds, criteria: Table
) -> tuple[Value, ...]:
    """Every science value a criterion's judgement rests on."""
    below = criteria.table(name).values_below()
    extra = (v for v in below if v.path.rsplit(".", 1)[-1] not in _OWN)
    return tuple({v.path: v for v in (*grade.used, *_governing(name, needs), *extra)}.values())


_OWN = frozenset({"at", "score"})

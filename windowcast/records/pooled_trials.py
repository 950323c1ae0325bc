"""Trials of several years and sites taken together: each contrast that two places or more have.

A place is a site of a trial, whose plots give one effect (`windowcast.records.place_effects`). What
is matched is told by `windowcast.trials.given`; what cannot be pooled is named with the reason.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from windowcast.core.errors import InputError
from windowcast.core.phrase import Name, Phrase, say
from windowcast.materials.actives import Actives
from windowcast.records.place_effects import (
    NoEffect,
    PlaceEffect,
    TrialRead,
    given_at,
    place_effects,
    untreated_arm,
)
from windowcast.records.trial_rounds import TrialRound, near, rounds_of
from windowcast.trials.contrasts import (
    PooledEffect,
    PoolScale,
    ShownEffect,
    listed,
    pooled_over,
    told,
    usual_base,
)
from windowcast.trials.given import Given, why_other
from windowcast.trials.layout import TrialArm, arms_of
from windowcast.trials.rated_measures import MEASURES
from windowcast.trials.trial_cells import arm_named
from windowcast.trials.trial_file import TrialFile

YEAR, QUARTER = 365, 91  # days


@dataclass(frozen=True, slots=True)
class PooledContrast:
    """One treatment against another over places.

    Attributes
    ----------
    given, against
        What was compared, as the first trial has it.
    scale
        See `windowcast.trials.contrasts`; `base` is the rating of the other treatment that the
        figures of "beside" are told for.
    pooled
        On that scale; `shown` as it is told, and `next_one` where one more place is to be
        expected, 95 %; None for fewer than three places.
    notes
        What to mind.
    """

    measure: str
    weed: str
    days: int
    given: Given
    against: Given
    scale: PoolScale
    base: float
    places: tuple[PlaceEffect, ...]
    pooled: PooledEffect
    shown: ShownEffect
    next_one: ShownEffect | None
    notes: tuple[Phrase, ...] = ()


@dataclass(frozen=True, slots=True)
class PooledTrials:
    """All contrasts that could be pooled, and why others could not."""

    contrasts: tuple[PooledContrast, ...]
    left_out: tuple[Phrase, ...]


@dataclass
class _Group:
    """Places that have the same contrast; the first says which."""

    measure: str
    weed: str
    against: Given
    places: list[PlaceEffect] = field(default_factory=list)

    @property
    def first(self) -> PlaceEffect:
        return self.places[0]


def pool_trials(trials: Sequence[TrialRead], materials: Actives, against: str = "") -> PooledTrials:
    """Pool every contrast with one treatment over the places that have it.

    Parameters
    ----------
    against
        The treatment with which the others are compared, by the name that a trial gives it; "" for
        the untreated check.

    Raises
    ------
    InputError
        No trial has a treatment of that name.
    """
    standard = _standard(trials, materials, against)
    groups: list[_Group] = []
    left_out: dict[tuple[str, str], list[Phrase]] = {}

    def leave(trial: str, treatment: str, why: Phrase) -> None:
        left_out.setdefault((trial, treatment), []).append(why)

    for read in trials:
        if not read.ratings:
            leave(read.trial.name, "", read.why_not_rated)
            continue
        other = (
            _same_arm(read.trial, standard, materials) if standard else untreated_arm(read.trial)
        )
        if other is None:
            why = say("pool.no_standard", standard=Name(against)) if against else None
            leave(read.trial.name, "", why or say("pool.no_check"))
            continue
        for found in rounds_of(read.trial, read.ratings):
            for place in place_effects(read.trial, found, other, materials):
                if isinstance(place, NoEffect):
                    leave(read.trial.name, place.treatment, place.why)
                else:
                    _put(groups, found, place, _given_first(read.trial, other, materials))
    pooled = [_pooled(group) for group in groups if len(group.places) > 1]
    for group in groups:
        if len(group.places) < 2:
            leave(group.first.trial, group.first.given.name, _why_alone(group, groups))
    pooled.sort(key=lambda c: (c.measure, c.weed, c.given.name, c.days))
    reasons = (_left(key, why) for key, why in left_out.items())
    return PooledTrials(tuple(pooled), tuple(reasons))


def _left(key: tuple[str, str], why: Sequence[Phrase]) -> Phrase:
    trial, treatment = key
    if treatment:
        said = {"trial": Name(trial), "treatment": Name(treatment)}
        return say("pool.left_treatment", **said, why=listed(why))
    return say("pool.left_trial", trial=Name(trial), why=listed(why))


def _given_first(trial: TrialFile, arm: TrialArm, materials: Actives) -> Given:
    return given_at(trial, arm, trial.site[0], materials)


def _standard(trials: Sequence[TrialRead], materials: Actives, name: str) -> Given | None:
    """What the treatment of a name gets, in the first trial that has one."""
    if not name:
        return None
    for read in trials:
        arm = arm_named(name, "", arms_of(read.trial))
        if arm is not None:
            return _given_first(read.trial, arm, materials)
    names = dict.fromkeys(arm.name for read in trials for arm in arms_of(read.trial))
    raise InputError(
        f"{name!r} is no treatment of the trials", field="--against",
        remedy=f"use one of {', '.join(names)}",
    )  # fmt: skip


def _same_arm(trial: TrialFile, wanted: Given, materials: Actives) -> TrialArm | None:
    for arm in arms_of(trial):
        if not why_other(wanted, _given_first(trial, arm, materials)):
            return arm
    return None


def _put(groups: list[_Group], found: TrialRound, place: PlaceEffect, against: Given) -> None:
    """Put a place with others of the same contrast, or begin a group with it."""
    for group in groups:
        if (
            (group.measure, group.weed, group.first.scale)
            == (found.measure, found.weed, place.scale)
            and near(max(place.days, group.first.days), min(place.days, group.first.days))
            and not why_other(group.first.given, place.given)
            and (place.trial, place.site) not in {(p.trial, p.site) for p in group.places}
        ):
            group.places.append(place)
            return
    groups.append(_Group(found.measure, found.weed, against, [place]))


def _pooled(group: _Group) -> PooledContrast:
    effects = [place.effect for place in group.places]
    found = pooled_over(effects)
    assert found is not None
    base = usual_base(effects)
    measure = MEASURES[group.measure]
    ends = measure.low, measure.high if math.isfinite(measure.high) else 100.0

    def shown(*of: float) -> ShownEffect:
        value, low, high = of
        return told(group.first.scale, (value, low, high), base, *ends)

    more = None
    if not math.isnan(found.next_low):
        more = shown(found.mean, found.next_low, found.next_high)
    usual = math.nan
    if group.first.scale == "beside":
        usual = told("level", (base, base, base), math.nan, *ends).middle
    days = sorted(place.days for place in group.places)
    return PooledContrast(
        group.measure, group.weed, days[len(days) // 2], group.first.given, group.against,
        group.first.scale, usual, tuple(group.places), found,
        shown(found.mean, found.low, found.high), more, tuple(_notes(group)),
    )  # fmt: skip


def _notes(group: _Group) -> Iterable[Phrase]:
    """What to mind of a contrast that was pooled."""
    if len({place.season for place in group.places}) == 1:
        yield say("pool.one_season", season=Name(group.first.season))
    if len({place.given.adjuvant.casefold() for place in group.places}) > 1:
        yield say("pool.adjuvants")
    if any(math.isnan(day) for place in group.places for day in place.given.days):
        yield say("pool.by_code")
    days = [day.timetuple().tm_yday for p in group.places for day in p.applied[:1] if day]
    if days and QUARTER < max(days) - min(days) < YEAR - QUARTER:
        yield say("pool.half_a_year")
    if not all(place.given.actives for place in group.places):
        yield say("pool.by_name")
    if any(place.effect.bound for place in group.places):
        yield say("pool.bounds")


def _why_alone(group: _Group, groups: Sequence[_Group]) -> Phrase:
    """Why a contrast of one place has no other: the nearest reason."""
    mine = group.first
    same = [
        g.first for g in groups
        if (g.measure, g.weed) == (group.measure, group.weed)
        and (g.first.trial, g.first.site) != (mine.trial, mine.site)
    ]  # fmt: skip
    for other in same:
        if not why_other(mine.given, other.given):
            if near(max(mine.days, other.days), min(mine.days, other.days)):
                return say("pool.twice")
            return say("pool.other_day", days=mine.days, other=other.days)
    actives = {name for name, _ in mine.given.actives}
    for other in same:
        theirs = {name for name, _ in other.given.actives}
        named = mine.given.name.casefold() == other.given.name.casefold()
        if (actives and actives == theirs) or named:
            return why_other(mine.given, other.given)
    return say("pool.nobody_else")

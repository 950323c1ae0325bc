"""Rotation of modes of action: what the past seasons used, and what a plan repeats.

Groups are WSSA/HRAC numbers; a mixture counts every member's. All plain functions: the season log
is turned into `Use` entries by `windowcast.records.observations`.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from windowcast.core.phrase import Name, Phrase, joined, say
from windowcast.core.places import same_place
from windowcast.core.season_calendar import season_name
from windowcast.core.values import PACKAGED, Tables
from windowcast.materials.actives import Active, groups_of
from windowcast.materials.label_values import TURF_STATES

POST_PURPOSES = ("post-early", "dormant")


@dataclass(frozen=True, slots=True)
class Use:
    """One application in the terms of rotation; `where` is "" when the place was not noted."""

    date: dt.date
    season: str
    purpose: str
    actives: tuple[str, ...]
    groups: tuple[int, ...]
    where: str = ""

    def same_ground(self, other: Use) -> bool:
        """Whether two applications may have met the same plants."""
        return same_place(self.where, other.where)


@dataclass(frozen=True, slots=True)
class RotationFlag:
    """Something in a plan that favours resistance, with what stands in stock instead."""

    level: Literal["note", "warning"]
    groups: tuple[int, ...]
    reason: Phrase
    alternatives: tuple[Phrase, ...]


@dataclass(frozen=True, slots=True)
class Suspicion:
    """Whether resistance should be suspected after an application, and what to do then."""

    raised: bool
    groups: tuple[int, ...]
    reason: Phrase
    steps: tuple[Phrase, ...]


def use_of(
    date: dt.date, purpose: str, members: Sequence[Active], *, southern: bool, where: str = ""
) -> Use:
    """An application in the terms of rotation."""
    return Use(
        date,
        season_name(np.datetime64(date, "D"), southern),
        purpose,
        tuple(m.name for m in members),
        groups_of(members),
        where,
    )


def groups_by_season(uses: Sequence[Use]) -> dict[str, dict[str, tuple[int, ...]]]:
    """Purpose → season → groups used, seasons in order of time."""
    table: dict[str, dict[str, tuple[int, ...]]] = {}
    for use in sorted(uses, key=lambda u: u.date):
        row = table.setdefault(use.purpose or "purpose not noted", {})
        row[use.season] = tuple(dict.fromkeys((*row.get(use.season, ()), *use.groups)))
    return table


def plan_flags(
    planned: Sequence[Use],
    history: Sequence[Use],
    *,
    stock: Sequence[Active] = (),
    species: str = "",
    tables: Tables = PACKAGED,
) -> tuple[RotationFlag, ...]:
    """What a plan repeats, by application in order of time.

    An application is flagged when all its groups were used for the same purpose in the seasons
    just before, when all of them were used already this season, or when post-emergence control
    rests on one group season after season. A mixture that brings a group not used lately is not
    flagged for the other. Applications to different places do not count against each other.
    """
    flags: list[RotationFlag] = []
    table = tables["rotation"].table("repeat")
    reach = int(table.number("lookback_seasons"))
    note, warning = int(table.number("seasons_note")), int(table.number("seasons_warning"))
    everything = list(history)
    for use in sorted(planned, key=lambda u: u.date):
        known = [u for u in everything if u.same_ground(use)]
        run = seasons_running(use, known, reach)
        this_season = {g for u in known if u.season == use.season for g in u.groups}
        reasons: list[tuple[Literal["note", "warning"], Phrase]] = []
        if run >= note:
            level: Literal["note", "warning"] = "warning" if run >= warning else "note"
            reasons.append((level, _repeat_reason(use, run)))
        if use.groups and set(use.groups) <= this_season:
            again = say("rotation.again", groups=named_groups(use.groups), season=Name(use.season))
            reasons.append(("note", again))
        if use.purpose in POST_PURPOSES and len(use.groups) == 1:
            post = [u for u in known if u.purpose in POST_PURPOSES]
            alone = seasons_running(use, post, reach, any_=True)
            if alone >= warning:
                only = say("rotation.alone", groups=named_groups(use.groups), seasons=alone + 1)
                reasons.append(("warning", only))
        others = alternatives(use, known, stock, species, tables=tables) if reasons else ()
        flags += [RotationFlag(level, use.groups, reason, others) for level, reason in reasons]
        everything.append(use)
    return tuple(flags)


def remark_of(flag: RotationFlag) -> Phrase:
    """A flag as a sentence, with what stands in stock instead."""
    if not flag.alternatives:
        return say("tank.rotation", reason=flag.reason)
    others = joined(*flag.alternatives, join="comma")
    return say("tank.rotation_with", reason=flag.reason, others=others)


def seasons_running(use: Use, history: Sequence[Use], reach: int, *, any_: bool = False) -> int:
    """For how many seasons just before, without a break, the purpose used only these groups.

    At most `reach` seasons are looked at. With `any_` the purpose does not matter. A season
    without such an application ends the run.
    """
    if not use.groups:
        return 0  # what acts in an unknown way repeats nothing that is known
    by_season: dict[str, set[int]] = {}
    for past in history:
        if past.season != use.season and (any_ or past.purpose == use.purpose):
            by_season.setdefault(past.season, set()).update(past.groups)
    run = 0
    for season in _seasons_before(use.season, reach):
        before = by_season.get(season)
        if not before or not set(use.groups) <= before:
            break
        if any_ and len(before) > 1:
            break
        run += 1
    return run


def spent_groups(
    history: Sequence[Use], purpose: str, today: dt.date, *, southern: bool
) -> dict[int, str]:
    """Groups used for a purpose before today → "this season" or "last season".

    Where no purpose was noted, it may have been this one.
    """
    this = season_name(np.datetime64(today, "D"), southern)
    last = _seasons_before(this, 1)[0]
    found: dict[int, str] = {}
    for season, when in ((last, "last season"), (this, "this season")):
        for use in history:
            if use.season == season and use.purpose in (purpose, "") and use.date <= today:
                found.update(dict.fromkeys(use.groups, when))
    return found


def alternatives(
    use: Use,
    history: Sequence[Use],
    stock: Sequence[Active],
    species: str = "",
    *,
    tables: Tables = PACKAGED,
) -> tuple[Phrase, ...]:
    """Members of the stock of the same kind of timing whose group was not used lately."""
    lookback = int(tables["rotation"].number("repeat.seasons_warning"))
    recent = {use.season, *_seasons_before(use.season, lookback)}
    spent = {g for u in history if u.season in recent for g in u.groups} | set(use.groups)
    post = use.purpose in POST_PURPOSES
    found = []
    for active in stock:
        fits = active.post if post else active.pre
        safe = active.safe_on(species) if species else "green"
        if fits and safe in TURF_STATES[1:]:
            found += [
                say("rotation.member", active=Name(active.name), group=group)
                for group in groups_of([active])
                if group not in spent
            ]
    return tuple(found)


def suspect_resistance(
    use: Use,
    seen: dt.date,
    *,
    survivors_mixed: bool | None,
    faults: Sequence[Phrase] | None,
    tables: Tables = PACKAGED,
) -> Suspicion:
    """Judge a field note of survivors after an application.

    Parameters
    ----------
    use, seen
        The application and the day of the note.
    survivors_mixed
        Live plants among dying ones of the same size; None when that was not noted.
    faults
        What was wrong with the application, as clauses, from the review; None when it was not
        reviewed.
    """
    table = tables["rotation"].table("suspicion")
    days = (seen - use.date).days
    first, last = table.number("first_days"), table.number("last_days")
    named = named_groups(use.groups)

    def not_raised(reason: Phrase, *steps: Phrase) -> Suspicion:
        return Suspicion(False, use.groups, reason, steps)

    if not survivors_mixed:
        return not_raised(say("suspicion.none_mixed"))
    if not first <= days <= last:
        look = say("suspicion.step.look_again")
        if days < first:
            return not_raised(say("suspicion.too_early", days=days), look)
        return not_raised(say("suspicion.look_alike", days=days), look)
    if faults is None:
        return not_raised(say("suspicion.not_reviewed", groups=named), say("suspicion.step.review"))
    if faults:
        explained = say("suspicion.explained", faults=joined(*faults, join="clauses"))
        return not_raised(explained, say("suspicion.step.repeat"))
    steps = tuple(say(f"suspicion.step.{step}") for step in table.value("steps").value)
    return Suspicion(True, use.groups, say("suspicion.raised", groups=named), steps)


def _seasons_before(season: str, reach: int) -> Sequence[str]:
    """Names of so many seasons before one, latest first: "2025-26" or "2025"."""
    year = int(season[:4])
    if len(season) == 4:
        return [str(year - n) for n in range(1, reach + 1)]
    return [f"{year - n}{season[4]}{(year - n + 1) % 100:02d}" for n in range(1, reach + 1)]


def _repeat_reason(use: Use, run: int) -> Phrase:
    """The same groups for a purpose, `run` seasons before this one."""
    purpose = say(f"purpose.{use.purpose}.title") if use.purpose else say("rotation.this_purpose")
    if run == 1:
        return say("rotation.last_season", groups=named_groups(use.groups), purpose=purpose)
    nth = say(f"ordinal.{run + 1}")
    return say("rotation.running", groups=named_groups(use.groups), purpose=purpose, nth=nth)


def named_groups(groups: Sequence[int]) -> Phrase:
    """``group 9``, ``groups 3 and 15``; an unknown mode of action has none."""
    if not groups:
        return say("rotation.no_group")
    return say("rotation.groups", groups=joined(*groups))

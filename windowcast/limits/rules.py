"""The rules on dates and ground: overseeding, new turf, winterkill, thin turf, time of year.

Each takes a treatment, the ground and a day, and says yes, no (until when) or "cannot tell", or
nothing where it has no question to ask. What is only remembered can forbid, never permit.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from windowcast.core.phrase import NOTHING, Name, Phrase, Quantity, say
from windowcast.core.season_calendar import SEASON_START
from windowcast.core.values import Table, Value
from windowcast.limits.ground import Ground, nth_of
from windowcast.limits.model import Limit, Permission
from windowcast.limits.treatment import Treatment
from windowcast.materials.label_values import NEVER, species_key

MEMORY = "from memory"
YOUR_LABEL = "label guidance"
ON_LABEL = say("limit.on_label")
SITE_FILE = "site file"


def limits_on(treatment: Treatment, ground: Ground, date: dt.date, values: Table) -> list[Limit]:
    """What every rule on dates and ground says of a treatment on a day."""
    found = (
        species(treatment, ground),
        overseeding(treatment, ground, date, values),
        new_turf(treatment, ground, date, values),
        time_of_year(treatment, ground, date),
        *damage(treatment, ground, values),
    )
    return [limit for limit in found if limit is not None]


def permits(value: Value) -> bool:
    """Whether a value rests on more than memory, so that it can permit."""
    return value.status != MEMORY


def cited(value: Value) -> str:
    """Status and source of a value."""
    return f"{value.status}: {value.source}"


@dataclass(frozen=True)
class _Said:
    """Makes the limits of one rule for one treatment."""

    rule: str
    treatment: Treatment

    def __call__(
        self,
        answer: Permission,
        reason: Phrase,
        source: str = SITE_FILE,
        *,
        until: dt.date | None = None,
        remedy: Phrase = NOTHING,
    ) -> Limit:
        return Limit(self.rule, answer, reason, source, self.treatment.name, until, remedy)


KILLS_GREEN = "derived: what kills all green leaf kills a green stand"


def species(treatment: Treatment, ground: Ground) -> Limit | None:
    """A grass that is only taken as usual permits nothing: others take less."""
    if ground.species_said:
        return None
    limit = _Said("species", treatment)
    return limit("cannot tell", say("limit.species_unsaid"), remedy=say("limit.say_species"))


def in_any_state(treatment: Treatment, ground: Ground) -> Limit | None:
    """That a grass takes it in no state, or that no source says in which it does."""
    limit, entry = _Said("species", treatment), treatment.turf
    about: dict[str, Any] = {"what": treatment.spoken, "species": Name(ground.species)}
    if entry is not None and entry.value == NEVER:
        return limit("no", say("limit.never_on_species", **about), cited(entry))
    if entry is None or not permits(entry):
        source = cited(entry) if entry else "no source"
        return limit("cannot tell", say("limit.no_source", **about), source, remedy=ON_LABEL)
    return None


# --- overseeding --------------------------------------------------------------------------------


def overseeding(treatment: Treatment, ground: Ground, date: dt.date, values: Table) -> Limit | None:
    """Seed still to be sown, and the stand that grew from it."""
    limit = _Said("overseeding", treatment)
    if ground.sowing == "none":
        return limit("yes", say("limit.not_overseeded"))
    if ground.sowing is None:
        return limit(
            "cannot tell", say("limit.overseeding_unsaid"), remedy=say("limit.say_overseeding")
        )
    if ground.sown is None:
        return _undated(limit, ground, date, values)
    if date < ground.sown:
        before = _before_sowing(limit, ground, date)
        ends = nth_of(_text(values, "overseed.stand_ends"), ground.sown, southern=ground.southern)
        if before.answer == "yes" and date < ends:
            return limit(
                "cannot tell", say("limit.sown_next_season"),
                cited(values.value("overseed.stand_ends")),
                remedy=say("limit.say_standing", day=ends),
            )  # fmt: skip
        return before
    ends = nth_of(_text(values, "overseed.stand_ends"), date, southern=ground.southern)
    if ends > ground.sown:
        return limit(
            "cannot tell", say("limit.sown_last_season"),
            cited(values.value("overseed.stand_ends")), remedy=say("limit.say_overseeding_again"),
        )  # fmt: skip
    stand = _stand(limit, ground, date, values)
    if ground.sowing == "planned" and stand.answer == "yes":
        return limit(
            "cannot tell", say("limit.planned_day_passed"), remedy=say("limit.say_seeding_done")
        )
    return stand


def _undated(limit: _Said, ground: Ground, date: dt.date, values: Table) -> Limit:
    """Overseeded, but nobody says when."""
    treatment, remedy = limit.treatment, say("limit.give_seeding")
    season = nth_of(_text(values, "overseed.stand_ends"), date, southern=ground.southern)
    sown = nth_of(_text(values, "overseed.sowing_ends"), date, southern=ground.southern)
    killed = [value for value in treatment.overseed.values() if value.value == NEVER]
    if killed and len(killed) == len(treatment.overseed):
        said = say("limit.kills_overseeding", what=treatment.spoken)
        return limit("no", said, cited(killed[0]), remedy=remedy)
    if treatment.nonselective:
        said = say("limit.kills_green", what=treatment.spoken)
        return limit("no", said, KILLS_GREEN, remedy=remedy)
    if treatment.pre and sown < season:
        interval = treatment.slit_seeding_d or treatment.seeding_d
        said = say("limit.stops_seed", what=treatment.spoken)
        return limit("no", said, cited(interval) if interval else SITE_FILE, remedy=remedy)
    return limit("cannot tell", say("limit.stand_age_unknown"), remedy=remedy)


def _before_sowing(limit: _Said, ground: Ground, date: dt.date) -> Limit:
    """Whether what is left on the day of sowing lets the seed grow."""
    assert ground.sown is not None
    treatment = limit.treatment
    broadcast, slit = treatment.seeding_d, treatment.slit_seeding_d
    asked = {"broadcast": [broadcast], "slit": [slit], None: [broadcast, slit]}[ground.sown_by]
    known = [value for value in asked if value is not None]
    left = (ground.sown - date).days
    seeding = say("limit.seeding_done", day=ground.sown)
    if ground.sowing == "planned":
        seeding = say("limit.seeding_planned", day=ground.sown)
    longest = max(known, key=float, default=None)
    if longest is not None and left < float(longest):
        after = _age_of_stand(treatment, ground)
        until = None
        if after is not None and after.value != NEVER:
            until = ground.sown + dt.timedelta(days=int(float(after)))
        said = say(
            "limit.too_close_to_seeding", what=treatment.spoken, needed=_days_of(longest),
            seeding=seeding, left=Quantity(float(left), "d"),
        )  # fmt: skip
        remedy = say("limit.leave_out_or_later")
        return limit("no", said, cited(longest), until=until, remedy=remedy)
    if longest is None or len(known) < len(asked) or not all(map(permits, known)):
        said = say("limit.interval_unknown", what=treatment.spoken, seeding=seeding)
        source = cited(longest) if longest else SITE_FILE
        return limit("cannot tell", said, source, remedy=ON_LABEL)
    said = say(
        "limit.far_from_seeding", seeding=seeding, left=Quantity(float(left), "d"),
        needed=_days_of(longest),
    )  # fmt: skip
    return limit("yes", said, cited(longest))


def _age_of_stand(treatment: Treatment, ground: Ground) -> Value | None:
    """Days from sowing on which the sown grass takes a treatment; None: not known."""
    if ground.sown_species is None:
        return None
    return treatment.overseed.get(species_key(ground.sown_species))


def _stand(limit: _Said, ground: Ground, date: dt.date, values: Table) -> Limit:
    """Whether the grass that was sown takes it at its age."""
    assert ground.sown is not None
    treatment = limit.treatment
    if ground.sown_species is None:
        return _undated(limit, ground, date, values)
    grass = Name(ground.sown_species)
    after, age = _age_of_stand(treatment, ground), (date - ground.sown).days
    aged = Quantity(float(age), "d")
    if after is None and treatment.nonselective:
        said = say("limit.kills_green", what=treatment.spoken)
        return limit("no", said, KILLS_GREEN)
    if after is None:
        said = say("limit.stand_without_source", grass=grass, what=treatment.spoken)
        return limit("cannot tell", said, remedy=ON_LABEL)
    if after.value == NEVER:
        said = say("limit.hurts_stand", grass=grass, what=treatment.spoken)
        return limit("no", said, cited(after))
    if age < float(after):
        until = ground.sown + dt.timedelta(days=int(float(after)))
        said = say(
            "limit.stand_too_young", grass=grass, what=treatment.spoken, needed=_days_of(after),
            age=aged,
        )  # fmt: skip
        return limit("no", said, cited(after), until=until)
    spring = nth_of(_text(values, "overseed.transition_starts"), date, southern=ground.southern)
    own_label = after.status == YOUR_LABEL
    if treatment.roots and spring > ground.sown and not own_label:
        conflict = values.value("overseed.transition_starts")
        return limit("cannot tell", say("limit.transition"), cited(conflict), remedy=ON_LABEL)
    if not permits(after):
        said = say("limit.stand_without_source", grass=grass, what=treatment.spoken)
        return limit("cannot tell", said, cited(after), remedy=ON_LABEL)
    said = say("limit.stand_takes", grass=grass, what=treatment.spoken, age=aged)
    return limit("yes", said, cited(after))


# --- new turf -----------------------------------------------------------------------------------


def new_turf(treatment: Treatment, ground: Ground, date: dt.date, values: Table) -> Limit | None:
    """Turf that may not have rooted yet."""
    limit = _Said("new turf", treatment)
    if ground.mature:
        return limit("yes", say("limit.mature"))
    if ground.established is None:
        return limit("cannot tell", say("limit.age_unknown"), remedy=say("limit.say_age"))
    age = (date - ground.established).days
    aged = Quantity(float(age), "d")
    if age < 0:
        return limit("cannot tell", say("limit.established_later", day=ground.established))
    full = values.value("new_turf.full_growth")
    rooted = ground.rooted is not None and ground.rooted <= date
    own, told = _own_wait(treatment, ground)
    if own is not None and own.value == NEVER:
        return limit("no", say("limit.never_on_new", what=treatment.spoken), cited(own))
    waits = [own] if own is not None else []
    if treatment.roots and not told:
        waits.append(values.value("new_turf.root_pruner"))
    wait = max(waits, key=float, default=None)
    if wait is not None and age < float(wait):
        said = say("limit.too_new", age=aged, what=treatment.spoken, needed=_days_of(wait))
        until = ground.established + dt.timedelta(days=int(float(wait)))
        return limit("no", said, cited(wait), until=until, remedy=say("limit.let_root"))
    if own is not None and told and permits(own):
        return limit("yes", say("limit.old_enough", age=aged), cited(own))
    if age >= float(full):
        return limit("yes", say("limit.old_enough", age=aged), cited(full))
    if rooted:
        return limit("yes", say("limit.rooted"), "site file, turf.rooted")
    return limit(
        "cannot tell", say("limit.rooted_unknown", age=aged), cited(full),
        until=ground.established + dt.timedelta(days=int(float(full))),
        remedy=say("limit.say_rooted"),
    )  # fmt: skip


def _own_wait(treatment: Treatment, ground: Ground) -> tuple[Value | None, bool]:
    """An active's own waiting time for the way the turf was established, and whether it permits.

    Where the way is not said the longest counts, which permits only if every way has a time.
    """
    waits = treatment.new_turf
    own = max(waits.values(), key=_days, default=None)
    every = len(waits) == len(_WAYS)
    if ground.established_by is not None:
        own = waits.get(ground.established_by)
        every = own is not None
    tried = own is not None and (treatment.tried_new or own.status == YOUR_LABEL)
    return own, every and tried


def _days(value: Value) -> float:
    return float("inf") if value.value == NEVER else float(value)


_WAYS = ("sod", "sprigs", "plugs", "seed")


# --- damage, time of year -------------------------------------------------------------------------


def damage(treatment: Treatment, ground: Ground, values: Table) -> Iterator[Limit]:
    """Winterkill and thin turf, as far as the site file says so."""
    if ground.winterkill is not None and treatment.pre:
        value = values.value(f"winterkill.pre.{ground.winterkill}")
        yield _Said("winterkill", treatment)(
            _permission(value), say("limit.winterkill", level=Name(ground.winterkill)),
            cited(value), remedy=say("limit.let_recover"),
        )  # fmt: skip
    if ground.winterkill not in (None, "none") and treatment.slows_growth:
        value = values.value("winterkill.slows_growth")
        yield _Said("winterkill", treatment)(
            _permission(value), say("limit.winterkill", level=Name(str(ground.winterkill))),
            cited(value), remedy=say("limit.let_recover"),
        )  # fmt: skip
    if ground.thin:
        asked = (
            ("nonselective", treatment.nonselective),
            ("root_pruner", treatment.roots),
            ("slows_growth", treatment.slows_growth),
        )
        for key in (key for key, applies in asked if applies):
            value = values.value(f"thin.{key}")
            yield _Said("thin turf", treatment)(
                _permission(value), say("limit.thin"), cited(value), remedy=say("limit.let_fill_in")
            )


def time_of_year(treatment: Treatment, ground: Ground, date: dt.date) -> Limit | None:
    """A last day of the year on which this turf takes it."""
    if treatment.last_day is None:
        return None
    last = nth_of(str(treatment.last_day.value), date, southern=ground.southern)
    season = nth_of(SEASON_START, date, southern=ground.southern)
    if last < season or date == last:
        return None
    until = nth_of(SEASON_START, date + dt.timedelta(days=365), southern=ground.southern)
    return _Said("time of year", treatment)(
        "no", say("limit.not_after", what=treatment.spoken, day=last),
        cited(treatment.last_day), until=until,
    )  # fmt: skip


def _permission(value: Value) -> Permission:
    answers: dict[str, Permission] = {"yes": "yes", "no": "no", "cannot tell": "cannot tell"}
    return answers[str(value.value)]


def _days_of(value: Value) -> Quantity:
    return Quantity(float(value), "d")


def _text(values: Table, key: str) -> str:
    return str(values.value(key).value)

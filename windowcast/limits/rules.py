"""The rules on dates and ground: overseeding, new turf, winterkill, thin turf, time of year.

Each takes a treatment, the ground and a day, and says yes, no (until when) or "cannot tell", or
nothing where it has no question to ask. What is only remembered can forbid, never permit.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

from windowcast.core.values import Table, Value
from windowcast.limits.ground import Ground, nth_of
from windowcast.limits.model import Limit, Permission
from windowcast.limits.treatment import Treatment
from windowcast.materials.actives import NEVER, species_key

MEMORY = "from memory"
ON_LABEL = "take it from your label and put it in your materials file"
SITE_FILE = "site file"


def limits_on(treatment: Treatment, ground: Ground, date: dt.date, values: Table) -> list[Limit]:
    """What every rule on dates and ground says of a treatment on a day."""
    found = (
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


# --- overseeding --------------------------------------------------------------------------------


def overseeding(treatment: Treatment, ground: Ground, date: dt.date, values: Table) -> Limit | None:
    """Seed still to be sown, and the stand that grew from it."""
    rule = "overseeding"
    if ground.sowing == "none":
        return Limit(rule, "yes", "the turf is not overseeded", SITE_FILE, treatment.name)
    if ground.sowing is None:
        return Limit(
            rule, "cannot tell", "the site file does not say whether the turf is overseeded",
            SITE_FILE, treatment.name,
            remedy="say it in the site file: turf.overseed.state",
        )  # fmt: skip
    if ground.sown is None:
        return _undated(treatment, ground, date, values)
    if date < ground.sown:
        return _before_sowing(treatment, ground, date)
    ends = nth_of(_text(values, "overseed.stand_ends"), date, southern=ground.southern)
    if ends > ground.sown:
        return Limit(
            rule, "cannot tell",
            "the overseeding in the site file is of the season before",
            cited(values.value("overseed.stand_ends")), treatment.name,
            remedy="say in the site file whether it is overseeded again: turf.overseed",
        )  # fmt: skip
    stand = _stand(treatment, ground, date, values)
    if ground.sowing == "planned" and stand.answer == "yes":
        return Limit(
            rule, "cannot tell", "the planned day of seeding has passed", SITE_FILE,
            treatment.name, remedy="say in the site file whether it is done: turf.overseed.state",
        )  # fmt: skip
    return stand


def _undated(treatment: Treatment, ground: Ground, date: dt.date, values: Table) -> Limit:
    """Overseeded, but nobody says when."""
    remedy = "give species and date of seeding in the site file: turf.overseed"
    season = nth_of(_text(values, "overseed.stand_ends"), date, southern=ground.southern)
    sown = nth_of(_text(values, "overseed.sowing_ends"), date, southern=ground.southern)
    killed = {grass: value for grass, value in treatment.overseed.items() if value.value == NEVER}
    if killed and len(killed) == len(treatment.overseed):
        value = next(iter(killed.values()))
        return Limit("overseeding", "no", f"{treatment.spoken} kills the overseeding",
                     cited(value), treatment.name, remedy=remedy)  # fmt: skip
    if treatment.nonselective:
        return Limit("overseeding", "no", f"{treatment.spoken} kills all green grass",
                     "derived: what kills all green leaf kills a green stand", treatment.name,
                     remedy=remedy)  # fmt: skip
    if treatment.pre and sown < season:
        interval = treatment.slit_seeding_d or treatment.seeding_d
        return Limit(
            "overseeding", "no",
            f"the turf is to be overseeded, or just was, and {treatment.spoken} stops the seed",
            cited(interval) if interval else SITE_FILE, treatment.name, remedy=remedy,
        )  # fmt: skip
    return Limit("overseeding", "cannot tell", "the age of the overseeding is not known", SITE_FILE,
                 treatment.name, remedy=remedy)  # fmt: skip


def _before_sowing(treatment: Treatment, ground: Ground, date: dt.date) -> Limit:
    """Whether what is left on the day of sowing lets the seed grow."""
    assert ground.sown is not None
    broadcast, slit = treatment.seeding_d, treatment.slit_seeding_d
    asked = {"broadcast": [broadcast], "slit": [slit], None: [broadcast, slit]}[ground.sown_by]
    known = [value for value in asked if value is not None]
    left = (ground.sown - date).days
    sowing = f"the seeding planned for {_day(ground.sown)}"
    if ground.sowing == "done":
        sowing = f"the seeding of {_day(ground.sown)}"
    longest = max(known, key=float, default=None)
    if longest is not None and left < float(longest):
        after = _age_of_stand(treatment, ground)
        until = None
        if after is not None and after.value != NEVER:
            until = ground.sown + dt.timedelta(days=int(float(after)))
        return Limit(
            "overseeding", "no",
            f"{treatment.spoken} needs {float(longest):.0f} days before seeding, "
            f"and {sowing} is {left} days away",
            cited(longest), treatment.name, until,
            remedy="leave the pre-emergent out, or seed later",
        )  # fmt: skip
    if longest is None or len(known) < len(asked) or not permits(longest):
        return Limit(
            "overseeding", "cannot tell",
            f"no source says how many days {treatment.spoken} needs before {sowing}",
            cited(longest) if longest else SITE_FILE, treatment.name, remedy=ON_LABEL,
        )  # fmt: skip
    return Limit(
        "overseeding", "yes", f"{sowing} is {left} days away, {float(longest):.0f} are enough",
        cited(longest), treatment.name,
    )  # fmt: skip


def _age_of_stand(treatment: Treatment, ground: Ground) -> Value | None:
    """Days from sowing on which the sown grass takes a treatment; None: not known."""
    if ground.sown_species is None:
        return None
    return treatment.overseed.get(species_key(ground.sown_species))


def _stand(treatment: Treatment, ground: Ground, date: dt.date, values: Table) -> Limit:
    """Whether the grass that was sown takes it at its age."""
    assert ground.sown is not None
    grass, name = ground.sown_species or "the overseeding", treatment.name
    if ground.sown_species is None:
        return _undated(treatment, ground, date, values)
    after, age = _age_of_stand(treatment, ground), (date - ground.sown).days
    if after is None and treatment.nonselective:
        return Limit("overseeding", "no", f"{treatment.spoken} kills green grass, {grass} too",
                     "derived: what kills all green leaf kills a green stand", name)  # fmt: skip
    if after is None:
        return Limit("overseeding", "cannot tell",
                     f"no source says whether {grass} takes {treatment.spoken}", SITE_FILE, name,
                     remedy=ON_LABEL)  # fmt: skip
    if after.value == NEVER:
        return Limit("overseeding", "no", f"{treatment.spoken} kills or hurts {grass}",
                     cited(after), name)  # fmt: skip
    if age < float(after):
        until = ground.sown + dt.timedelta(days=int(float(after)))
        return Limit(
            "overseeding", "no", f"{grass} takes {treatment.spoken} from {float(after):.0f} days "
            f"after seeding, and is {age} days old", cited(after), name, until,
        )  # fmt: skip
    spring = nth_of(_text(values, "overseed.transition_starts"), date, southern=ground.southern)
    own_label = after.status == "label guidance"
    if treatment.roots and spring > ground.sown and not own_label:
        return Limit(
            "overseeding", "cannot tell",
            "sources disagree whether a root pruner holds back the turf below the overseeding "
            "in spring", cited(values.value("overseed.transition_starts")), name, remedy=ON_LABEL,
        )  # fmt: skip
    if not permits(after):
        return Limit("overseeding", "cannot tell",
                     f"that {grass} takes {treatment.spoken} is not known from a source",
                     cited(after), name, remedy=ON_LABEL)  # fmt: skip
    return Limit("overseeding", "yes", f"{grass} is {age} days old and takes {treatment.spoken}",
                 cited(after), name)  # fmt: skip


# --- new turf -----------------------------------------------------------------------------------


def new_turf(treatment: Treatment, ground: Ground, date: dt.date, values: Table) -> Limit | None:
    """Turf that may not have rooted yet."""
    rule, name = "new turf", treatment.name
    if ground.mature:
        return Limit(rule, "yes", "the turf is older than two growing seasons", SITE_FILE, name)
    if ground.established is None:
        return Limit(
            rule, "cannot tell", "the age of the turf is not known", SITE_FILE, name,
            remedy="say in the site file: turf.mature = true, or turf.established with its date",
        )  # fmt: skip
    age = (date - ground.established).days
    if age < 0:
        return Limit(rule, "cannot tell", f"the turf was established later, on "
                     f"{_day(ground.established)}", SITE_FILE, name)  # fmt: skip
    full = values.value("new_turf.full_growth")
    rooted = ground.rooted is not None and ground.rooted <= date
    own = _own_wait(treatment, ground, float(full))
    if own is not None and own.value == NEVER:
        return Limit(rule, "no", f"new turf never takes {treatment.spoken}", cited(own), name)
    wait = own or (values.value("new_turf.root_pruner") if treatment.roots else None)
    if wait is not None and age < float(wait):
        return Limit(
            rule, "no", f"the turf is {age} days old, and {treatment.spoken} must wait "
            f"{float(wait):.0f} days", cited(wait), name,
            ground.established + dt.timedelta(days=int(float(wait))),
            remedy="let it root and mow it several times first",
        )  # fmt: skip
    if own is not None and permits(own):
        return Limit(rule, "yes", f"the turf is {age} days old, which is enough", cited(own), name)
    if age >= float(full):
        return Limit(rule, "yes", f"the turf is {age} days old", cited(full), name)
    if rooted:
        return Limit(rule, "yes", "the turf has been seen well rooted and mown",
                     "site file, turf.rooted", name)  # fmt: skip
    return Limit(
        rule, "cannot tell", f"the turf is {age} days old, and whether it has rooted is not known",
        cited(full), name, ground.established + dt.timedelta(days=int(float(full))),
        remedy="look, and give the day on which it was well rooted and mown: turf.rooted",
    )  # fmt: skip


def _own_wait(treatment: Treatment, ground: Ground, full_d: float) -> Value | None:
    """An active's own waiting time for the way the turf was established; the longest if unsaid.

    Where the way is not said and not every way has a time, one counts that outlasts full growth.
    """
    waits = treatment.new_turf
    if ground.established_by is not None:
        return waits.get(ground.established_by)
    longest = max(waits.values(), key=_days, default=None)
    if longest is None or (len(waits) < len(_WAYS) and _days(longest) <= full_d):
        return None
    return longest


def _days(value: Value) -> float:
    return float("inf") if value.value == NEVER else float(value)


_WAYS = ("sod", "sprigs", "plugs", "seed")


# --- damage, time of year -------------------------------------------------------------------------


def damage(treatment: Treatment, ground: Ground, values: Table) -> Iterator[Limit]:
    """Winterkill and thin turf, as far as the site file says so."""
    if ground.winterkill is not None and treatment.pre:
        value = values.value(f"winterkill.pre.{ground.winterkill}")
        yield Limit(
            "winterkill", _permission(value), f"winterkill is {ground.winterkill}",
            cited(value), treatment.name,
            remedy="let it recover, or plan the repair first; ask your extension service",
        )  # fmt: skip
    if ground.thin:
        for key, asked in (("nonselective", treatment.nonselective),
                           ("root_pruner", treatment.roots)):  # fmt: skip
            if asked:
                value = values.value(f"thin.{key}")
                yield Limit("thin turf", _permission(value), "the turf is thin", cited(value),
                            treatment.name, remedy="let it fill in first")  # fmt: skip


def time_of_year(treatment: Treatment, ground: Ground, date: dt.date) -> Limit | None:
    """A last day of the year on which this turf takes it."""
    if treatment.last_day is None:
        return None
    last = nth_of(str(treatment.last_day.value), date, southern=ground.southern)
    season = nth_of("07-01", date, southern=ground.southern)
    if last < season or date == last:
        return None
    until = nth_of("07-01", date + dt.timedelta(days=365), southern=ground.southern)
    return Limit(
        "time of year", "no", f"not after {_day(last, year=False)} on this turf",
        cited(treatment.last_day), treatment.name, until,
    )  # fmt: skip


def _permission(value: Value) -> Permission:
    answers: dict[str, Permission] = {"yes": "yes", "no": "no", "cannot tell": "cannot tell"}
    return answers[str(value.value)]


def _text(values: Table, key: str) -> str:
    return str(values.value(key).value)


def _day(date: dt.date, *, year: bool = True) -> str:
    """``5 Oct 2026``."""
    return f"{date.day} {date:%b}" + (f" {date.year}" if year else "")

"""Resistance of a weed on a piece of ground: what was tested, stated or suspected, and for what.

Three things can be known: a test (its class by the share of plants that survived), what the site
file states, and survivors beside dead plants time after time in the log. Nothing known is never
"susceptible". A group is not enough: some plants survive one active of a group and not another,
which is data (``data/resistance.toml``); where nothing is published, the rest of the group is
suspected.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from windowcast.core.phrase import NOTHING, Name, Phrase, Share, joined, say
from windowcast.core.values import PACKAGED, Table, Tables
from windowcast.core.weed_codes import weed_name

Standing = Literal["resistant", "segregating", "suspected", "susceptible", "unknown"]
ActsOn = Literal["pre", "post"]
METHODS = ("whole plants", "water culture", "agar", "DNA")
_WORST: tuple[Standing, ...] = ("resistant", "segregating", "suspected", "susceptible", "unknown")
ADVERSE = _WORST[:3]


@dataclass(frozen=True, slots=True)
class ResistanceStatus:
    """What is known of one weed and one mode of action on a piece of ground.

    Attributes
    ----------
    weed
        EPPO code; "" where nobody said which.
    group
        WSSA/HRAC group.
    basis
        Where it is known from: a test, the site file, or the pattern of survivors in the log.
    active
        Active ingredient it was seen with; "" for the group as a whole.
    timing
        Whether that active acted before or after the weeds emerged; "" where nobody said.
    date
        Of the test, or of the last survivors.
    times
        Applications in a row that left survivors, in the log.
    survivors, plants
        Share of plants that survived the test, 0..1, and how many were tested; None: not said.
    mutation
        Change of the DNA that was found, such as Trp-574-Leu.
    """

    weed: str
    group: int
    standing: Standing
    basis: Literal["tested", "declared", "log"]
    active: str = ""
    timing: str = ""
    date: dt.date | None = None
    times: int = 0
    survivors: float | None = None
    plants: int | None = None
    mutation: str = ""

    @property
    def adverse(self) -> bool:
        """Whether it speaks against the group."""
        return self.standing in ADVERSE

    @property
    def what(self) -> Phrase:
        """The active with its group, or the group."""
        if not self.active:
            return say("rotation.groups", groups=joined(self.group))
        if not self.group:
            return say("rotation.member_alone", active=Name(self.active))
        return say("rotation.member", active=Name(self.active), group=self.group)


@dataclass(frozen=True, slots=True)
class Failing:
    """That an active may fail on a weed: how sure, and by which status."""

    standing: Standing
    active: str
    status: ResistanceStatus

    @property
    def text(self) -> Phrase:
        """As a clause."""
        weed = weed_name(self.status.weed) if self.status.weed else say("resistance.any_weed")
        ids: dict[Standing, Phrase] = {
            "resistant": say("resistance.fails", weed=weed, active=Name(self.active)),
            "segregating": say("resistance.mixed", weed=weed, active=Name(self.active)),
        }
        told = ids.get(self.standing)
        return told or say("resistance.doubt", weed=weed, active=Name(self.active))


@dataclass(frozen=True)
class Resistances:
    """All that is known of resistance on a piece of ground.

    `groups` is the mode of action of each active ingredient by name, `asked` those of what is in
    stock or was used there.
    """

    statuses: tuple[ResistanceStatus, ...] = ()
    groups: Mapping[str, int] = field(default_factory=dict)
    asked: frozenset[int] = frozenset()
    tables: Tables = field(default=PACKAGED, compare=False)

    @property
    def weeds(self) -> frozenset[str]:
        """Weeds that it speaks against something of."""
        return frozenset(s.weed for s in self.statuses if s.adverse)

    def against(
        self, actives: Sequence[str], weeds: Collection[str], timing: ActsOn
    ) -> Failing | None:
        """The worst that speaks against a tank on some of the weeds; None: nothing is known.

        Parameters
        ----------
        actives
            ISO common names.
        weeds
            EPPO codes; a status without a weed counts for each.
        timing
            Whether they are to act before or after the weeds emerge.
        """
        found = [
            Failing(standing, name, status)
            for name in actives
            for status in self.statuses
            if status.adverse and (not status.weed or status.weed in weeds)
            if (standing := self._of(status, name, timing)) is not None
        ]
        return min(found, key=lambda f: _WORST.index(f.standing), default=None)

    def _of(self, status: ResistanceStatus, active: str, timing: ActsOn) -> Standing | None:
        if self.groups.get(active) != status.group:
            return None
        if not status.group and status.active != active:
            return None  # modes of action that nobody knows are no common one
        for rule in _rules(status, self.tables["resistance"]):
            if active in rule.get("loses", ()):
                return status.standing
            if active in rule.get("weakens", ()):
                return "suspected"
            kept = active in rule.get("keeps", ()) and rule.get("keeps_timing", timing) == timing
            if kept:
                return None
        same = status.active in ("", active) and status.timing in ("", timing)
        return status.standing if same else "suspected"


def _rules(status: ResistanceStatus, table: Table) -> Iterator[Table]:
    """The rules of a group that hold for the plants of a status."""
    for rule in table.table("within").values():
        if (rule["weed"], rule["group"]) != (status.weed, status.group):
            continue
        changed = "mutation" in rule and rule["mutation"].casefold() == status.mutation.casefold()
        seen = status.active in rule.get("seen_with", ())
        if changed or (seen and rule.get("seen_timing", status.timing) == status.timing):
            yield rule


NO_RESISTANCE = Resistances()  # nothing is known


def class_of(
    survivors: float, plants: int | None, method: str = "", tables: Tables = PACKAGED
) -> Standing:
    """The class of a test.

    Parameters
    ----------
    survivors
        Share of plants that survived, 0..1.
    plants
        How many were tested; None: not said.
    method
        One of `METHODS`; "" counts as whole plants.

    Returns
    -------
    str
        "resistant", "segregating" or "susceptible" by the published marks. Few survivors among few
        plants, or among nobody says how many, show nothing: "unknown".

    Examples
    --------
    >>> [class_of(share, 100) for share in (0.31, 0.30, 0.05, 0.02)]
    ['resistant', 'segregating', 'segregating', 'susceptible']
    >>> class_of(0.0, 20), class_of(0.0, None)
    ('unknown', 'unknown')
    """
    table = tables["resistance"]
    marks = table.table(f"classes.{'water_culture' if method == 'water culture' else 'plants'}")
    percent = 100 * survivors
    if percent > marks.number("resistant_above"):
        return "resistant"
    if percent >= marks.number("susceptible_below"):
        return "segregating"
    return "susceptible" if plants is not None and plants >= plants_needed(tables) else "unknown"


def sample_size(share: float, confidence: float = 0.95) -> int:
    """Plants to test so that none surviving rules out a share of resistant ones.

    Notes
    -----
    The least n for which ``(1 - share)^n <= 1 - confidence``.

    Examples
    --------
    >>> [sample_size(share) for share in (0.01, 0.05, 0.1, 0.3)]
    [299, 59, 29, 9]
    """
    return math.ceil(math.log(1 - confidence) / math.log1p(-share))


def plants_needed(tables: Tables = PACKAGED) -> int:
    """Plants to sample for a test here."""
    sample = tables["resistance"].table("sample")
    return sample_size(sample.number("share"), sample.number("confidence"))


def status_text(status: ResistanceStatus, tables: Tables = PACKAGED) -> Phrase:
    """A status as a sentence."""
    weed = weed_name(status.weed) if status.weed else say("resistance.any_weed")
    basis = NOTHING
    if status.basis == "tested" and status.date is not None:
        share = NOTHING
        if status.survivors is not None:
            share = say("resistance.survived", share=Share(status.survivors))
            if status.plants is not None:
                share = say(
                    "resistance.survived_of", share=Share(status.survivors), plants=status.plants
                )
        basis = say("resistance.by_test", day=status.date, share=share)
    elif status.basis == "declared":
        basis = say("resistance.by_site")
    if status.standing == "suspected" and status.date is not None:
        return say(
            "resistance.suspected",
            weed=weed, what=status.what, times=status.times, day=status.date,
        )  # fmt: skip
    if status.standing == "unknown":
        needed = plants_needed(tables)
        return say("resistance.unknown", what=status.what, weed=weed, basis=basis, plants=needed)
    return say(f"resistance.tested_{status.standing}", weed=weed, what=status.what, basis=basis)


def next_steps(statuses: Sequence[ResistanceStatus], tables: Tables = PACKAGED) -> list[Phrase]:
    """What to do now, once each: leave a check, take a sample, change the group."""
    standings = {status.standing for status in statuses}
    steps = []
    if standings & {"resistant", "segregating", "suspected"}:
        steps.append(say("resistance.step.change"))
        steps.append(say("resistance.step.no_seed"))
    if standings & {"suspected", "unknown"}:
        steps.append(say("resistance.step.sample", plants=plants_needed(tables)))
    if standings & {"segregating", "suspected"}:
        steps.append(say("resistance.step.check"))
    return steps


def surveyed(
    weed: str, groups: Collection[int], *, golf: bool, tables: Tables = PACKAGED
) -> list[Phrase]:
    """What surveys found of a weed and groups that nobody has tested here; empty: no survey.

    Golf courses have a survey of their own, drawn at random, group by group; other turf has the
    nationwide one, of any group.
    """
    survey = tables["resistance"].table("survey")
    table = survey.table("golf")
    if golf and weed in table:
        found = table.table(weed)
        return [
            say(
                "resistance.survey.golf",
                share=Share(found.number(str(group)) / 100),
                weed=weed_name(weed),
                group=group,
            )
            for group in sorted(groups)
            if str(group) in found
        ]
    if weed in survey.table("any") and groups:
        share = survey.number(f"any.{weed}.all") / 100
        return [say("resistance.survey.any", share=Share(share), weed=weed_name(weed))]
    return []


def already_resistant(known: Resistances, weed: str, group: int, *, golf: bool) -> float:
    """Chance that some plants of a weed resist a group here already, 0..1.

    Sure where a test, the site file or the log says so; none where a test found them susceptible;
    else the share of places in a survey, or 0 where there is none.
    """
    here = [s for s in known.statuses if s.group == group and s.weed in ("", weed)]
    if any(status.adverse for status in here):
        return 1.0
    if any(status.standing == "susceptible" for status in here):
        return 0.0
    survey = known.tables["resistance"].table("survey")
    path = f"golf.{weed}.{group}" if golf and weed in survey.table("golf") else f"any.{weed}.all"
    try:
        return survey.number(path) / 100
    except KeyError:
        return 0.0


def told(known: Resistances, weeds: Collection[str], *, golf: bool) -> tuple[Phrase, ...]:
    """All that is to say of resistance on a piece of ground, in sentences.

    Parameters
    ----------
    weeds
        Watched there, as EPPO codes.
    golf
        Whether it is a golf course.

    Notes
    -----
    Of what is in stock or was used there and nobody tested, the surveys tell.
    """
    said = [status_text(status, known.tables) for status in known.statuses]
    steps = next_steps(known.statuses, known.tables)
    if steps:
        said.append(say("resistance.next", steps=joined(*steps, join="clauses")))
    for weed in sorted(weeds):
        tested = {s.group for s in known.statuses if s.weed in ("", weed) and s.basis != "log"}
        surveys = surveyed(weed, known.asked - tested, golf=golf, tables=known.tables)
        if surveys:
            said.append(say("resistance.untested", surveys=joined(*surveys, join="sentences")))
    return tuple(said)


def settled(statuses: Sequence[ResistanceStatus]) -> tuple[ResistanceStatus, ...]:
    """The statuses that count, worst first.

    A test that found plants susceptible ends the suspicion that the log raised of the same weed and
    group before it, and nothing else: other plants may be resistant.
    """
    cleared = [s for s in statuses if s.basis == "tested" and s.standing == "susceptible"]
    kept = [
        status
        for status in statuses
        if not (
            status.basis == "log"
            and any(
                (c.weed, c.group) == (status.weed, status.group)
                and c.active in ("", status.active)
                and c.date is not None
                and status.date is not None
                and c.date >= status.date
                for c in cleared
            )
        )
    ]
    return tuple(
        sorted(dict.fromkeys(kept), key=lambda s: (_WORST.index(s.standing), s.weed, s.group))
    )

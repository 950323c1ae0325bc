"""Purposes: which criteria apply, how they are graded, what is needed when no active is named."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from windowcast.core.phrase import Phrase, say
from windowcast.core.values import PACKAGED, Table, Tables, Value
from windowcast.materials.needs import ActiveNeeds
from windowcast.windows.grade import ScoreCurve, asked_for, grade_for, plain_grade
from windowcast.windows.model import PurposeName
from windowcast.windows.score import Rule


@dataclass(frozen=True)
class Purpose:
    """One purpose, as its table in ``data/purposes.toml`` describes it.

    Attributes
    ----------
    timing
        Criteria on days that say when the purpose is in season.
    hours
        Criteria on hours and days that every purpose may ask for.
    own
        Knots of its own, by criterion.
    facts
        Criteria of which this purpose says in its own words that they are met.
    rules
        ``data/criteria.toml``: how criteria are graded where the purpose has no knots of its own.
    """

    name: PurposeName
    weeds: str
    barrier: bool
    timing: tuple[str, ...]
    hours: tuple[str, ...]
    own: Table | None
    facts: tuple[str, ...]
    generic: ActiveNeeds
    soil_mark: Value | None  # soil temperature by which a barrier should be down
    rules: Table

    @property
    def title(self) -> Phrase:
        """What it is called."""
        return say(f"purpose.{self.name}.title")

    @cached_property
    def rule(self) -> Rule:
        """How scores become verdicts."""
        return Rule.of(self.rules)

    @cached_property
    def criteria(self) -> tuple[str, ...]:
        """Every criterion that may be asked for, those that do not open the season first."""
        return (*(name for name in self.hours if name not in self.timing), *self.timing)

    def asked(self, needs: ActiveNeeds) -> tuple[str, ...]:
        """The criteria that the actives at hand ask for."""
        return tuple(name for name in self.criteria if asked_for(name, needs))

    def grades(self, needs: ActiveNeeds) -> dict[str, ScoreCurve]:
        """How each criterion that the actives at hand ask for is graded, in order."""
        return {name: self.grade(name, needs) for name in self.asked(needs)}

    def timing_grades(self, needs: ActiveNeeds) -> dict[str, ScoreCurve]:
        """The same of the timing criteria, which all actives ask for."""
        return {name: self.grade(name, needs) for name in self.timing}

    def grade(self, name: str, needs: ActiveNeeds) -> ScoreCurve:
        """How one criterion is graded for the actives at hand."""
        return grade_for(name, needs, self._plain[name], self.rules)

    @cached_property
    def _plain(self) -> dict[str, ScoreCurve]:
        return {name: plain_grade(name, self.rules, self.own) for name in self.criteria}

    @cached_property
    def weights(self) -> dict[str, float]:
        """Exponent of each criterion's score."""
        return weights_of(self.criteria, self.rules)

    def serves(self, needs: ActiveNeeds) -> bool:
        """Whether the actives act on what the purpose is about."""
        return needs.pre if self.barrier else needs.post


def weights_of(names: Sequence[str], criteria: Table) -> dict[str, float]:
    """Exponent of each criterion's score."""
    tables = {name: criteria.table(name) for name in names}
    return {n: t.number("weight") if "weight" in t else 1.0 for n, t in tables.items()}


def purpose_of(name: PurposeName, tables: Tables = PACKAGED) -> Purpose:
    """A purpose by the tables of science values."""
    table = tables["purposes"].table(name)
    barrier = bool(table["barrier"])
    return Purpose(
        name=name,
        weeds=str(table["weeds"]),
        barrier=barrier,
        timing=tuple(table["timing"]),
        hours=tuple(tables["purposes"]["every.hours"]),
        own=table.table("grade") if "grade" in table else None,
        facts=tuple(table.get("facts", ())),
        generic=_generic(table, barrier=barrier),
        soil_mark=table.value("soil_mark") if "soil_mark" in table else None,
        rules=tables["criteria"],
    )


def _generic(table: Table, *, barrier: bool) -> ActiveNeeds:
    """What a usual active for the purpose needs."""
    given: dict[str, Value] = dict(table.table("needs"))

    def number(name: str) -> float | None:
        return float(given[name]) if name in given else None

    return ActiveNeeds(
        names=(),
        groups=(),
        pre=barrier,
        post=not barrier,
        selective=None,
        contact=False,
        translocated=not barrier,
        rain_free_h=number("rain_free_h"),
        activation_mm=number("activation_mm"),
        activation_days=number("activation_days"),
        temp_low_c=None,
        temp_good_c=None,
        temp_high_c=None,
        night_low_c=None,
        soil_temp_high_c=None,
        humidity_low_pct=None,
        light_needed=False,
        largest_bbch=None,
        lost_bbch=None,
        turf_state=str(table["turf"]),
        before_greenup_d=None,
        governs={},
        unknown=(),
        used=tuple(given.values()),
    )

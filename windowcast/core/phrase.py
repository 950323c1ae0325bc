"""Meaning before words: what a result says, as an id and values that no language or unit colours.

A `Phrase` names a sentence or clause of the catalogue in ``windowcast/report/messages`` and carries
what belongs into it: quantities in SI, names as the user wrote them, dates, shares, other phrases.
Only `windowcast.report.catalogue` turns it into words. Every type here is frozen and hashable.

To say something new, write ``say("module.what", air=Quantity(9.5, "degC"))`` and add the id with
its text to the catalogue of each language; a test compares ids and values of code and catalogue.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, get_args

Language = Literal["en", "es"]
LANGUAGES: tuple[str, ...] = get_args(Language)

Unit = Literal[
    "degC",  # a temperature on the scale
    "K",  # a difference between temperatures
    "K km-1",  # of temperature with height
    "degC d",
    "m s-1",
    "mm",  # depth of rain or irrigation
    "cm",  # depth in the soil
    "m",
    "km",
    "m2",
    "m-2",
    "ha",
    "ha-1",
    "kg ha-1",
    "L ha-1",
    "L",
    "L min-1",
    "kPa",
    "degree",
    "%",
    "min",
    "h",
    "d",
    "1",
]
UNITS: frozenset[str] = frozenset(get_args(Unit))
Join = Literal["and", "or", "to", "comma", "plus", "clauses", "sentences", "lines", "none"]


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number with its SI unit; NaN or infinite where it is not known.

    Attributes
    ----------
    unit
        One of `UNITS`; temperatures are "degC", differences between temperatures "K".
    kind
        A row of `windowcast.report.measures` where the unit alone does not say how it is rounded:
        a "score" and a "factor" both have the unit "1". "" for the unit's own row.

    Raises
    ------
    ValueError
        The unit is not in the table.
    """

    value: float
    unit: Unit
    kind: str = ""

    def __post_init__(self) -> None:
        if self.unit not in UNITS:
            raise ValueError(f"{self.unit!r} is not a unit of phrases")


@dataclass(frozen=True, slots=True)
class Name:
    """A text that a user or a source gave, such as the name of a site: never altered."""

    text: str


@dataclass(frozen=True, slots=True)
class Noted:
    """English of an error or beside a science value, which `windowcast.report.translated` knows."""

    text: str


@dataclass(frozen=True, slots=True)
class Share:
    """A share or chance 0..1, written in percent."""

    value: float


@dataclass(frozen=True, slots=True)
class Span:
    """From one day to another, or from one time to another of the same zone."""

    first: dt.date  # or datetime, as `last`
    last: dt.date


@dataclass(frozen=True, slots=True)
class Listing:
    """Values written one after the other; empty phrases are left out, the same one is said once."""

    items: tuple[Value, ...]
    join: Join = "and"


@dataclass(frozen=True, slots=True)
class Phrase:
    """One thing that is said: the id of a text in the catalogue and the values it speaks of.

    A phrase with the id "" says nothing and counts as false.
    """

    id: str
    values: tuple[tuple[str, Value], ...] = ()

    def __bool__(self) -> bool:
        return bool(self.id)

    def value(self, name: str) -> Value:
        """One of its values."""
        return dict(self.values)[name]


# a whole number is a count, which may choose between singular and plural
Value = Quantity | Name | Noted | Share | Span | Listing | Phrase | dt.date | int | float

NOTHING = Phrase("")
_ABOUT = "note.about"


def say(phrase_id: str, /, **values: Value) -> Phrase:
    """The phrase of an id with its values by name."""
    return Phrase(phrase_id, tuple(values.items()))


def sentence(clause: Value) -> Phrase:
    """A clause with a capital first letter and a full stop."""
    return say("sentence.of", clause=clause)


def sentences(*items: Phrase) -> Phrase:
    """Sentences one after the other; those that say nothing are left out."""
    some = [item for item in items if item]
    if len(some) < 2:
        return some[0] if some else NOTHING
    return say("sentence.several", of=joined(*some, join="sentences"))


def about(what: Value, note: Phrase) -> Phrase:
    """A remark on something: ``annual bluegrass: ...``; see `merged`."""
    return say("note.about", what=what, note=note)


def merged(notes: Iterable[Phrase]) -> tuple[Phrase, ...]:
    """Remarks as sentences; those made by `about` that say the same of several things are one."""
    things: dict[Phrase, list[Value]] = {}
    for note in notes:
        found = things.setdefault(_said(note), [])
        if note.id == _ABOUT and note.value("what") not in found:
            found.append(note.value("what"))
    return tuple(sentence(about(joined(*of), note) if of else note) for note, of in things.items())


def _said(note: Phrase) -> Phrase:
    """What a remark says, whatever of."""
    said = note.value("note") if note.id == _ABOUT else note
    assert isinstance(said, Phrase)
    return said


def joined(*items: Value, join: Join = "and") -> Listing:
    """A `Listing` of the values given."""
    return Listing(items, join)


def of_variable(name: str, note: Phrase) -> Phrase:
    """A remark on a variable of the weather schema."""
    return about(say(f"variable.{name}"), note)


def names(*texts: str, join: Join = "and") -> Listing:
    """A `Listing` of names as given."""
    return Listing(tuple(Name(text) for text in texts), join)

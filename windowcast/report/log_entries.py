"""Log entries and what is expected of them, each in a line."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from windowcast.core.phrase import NOTHING, Name, Quantity, Value, joined, names, say
from windowcast.core.quantity import significant
from windowcast.records.model import (
    Application,
    CoverReading,
    Entry,
    FieldNote,
    Rating,
    ResistanceTest,
    ScoutingCount,
    SoilReading,
)
from windowcast.report.catalogue import Voice

if TYPE_CHECKING:
    from windowcast.records.conditions import Fact


def entry_text(entry: Entry, voice: Voice) -> str:
    """What an entry says, without its date; what the user wrote stands as it was written."""
    return voice.write(joined(*_parts(entry), join="comma"))


def _parts(entry: Entry) -> list[Value]:
    match entry:
        case Application():
            area: Value = NOTHING if entry.area_m2 is None else Quantity(entry.area_m2, "m2")
            what, place = names(*entry.actives, join="plus"), Name(entry.where)
            return [what, place, area, Name(entry.purpose), Name(entry.notes)]
        case SoilReading():
            temp, depth = (
                Quantity(entry.temp_c, "degC", "reading"),
                Quantity(entry.depth_m, "m", "depth"),
            )
            soil = say("log.soil", temp=temp, depth=depth)
            return [soil, Name(entry.where), Name(entry.notes)]
        case ScoutingCount():
            return [*_count(entry), Name(entry.where), Name(entry.notes)]
        case Rating():
            return _rating(entry)
        case CoverReading():
            return [*_green(entry), Name(entry.where), Name(entry.notes)]
        case FieldNote():
            mixed = say("log.survivors") if entry.survivors_mixed else NOTHING
            return [Name(entry.text), Name(entry.where), Name(entry.weed), mixed]
        case ResistanceTest():
            return [*_tested(entry), Name(entry.where), Name(entry.notes)]


def _tested(entry: ResistanceTest) -> list[Value]:
    group = NOTHING if entry.group is None else say("rotation.groups", groups=joined(entry.group))
    found: list[Value] = [Name(entry.weed), Name(entry.active), group]
    if entry.survivors_pct is not None:
        found.append(say("log.survived", share=_typed(entry.survivors_pct)))
    if entry.plants is not None:
        found.append(say("log.plants_tested", plants=entry.plants))
    return [*found, Name(entry.method), Name(entry.mutation)]


def _count(entry: ScoutingCount) -> list[Value]:
    found: list[Value] = [Name(entry.weed)]
    if entry.per_m2 is not None:
        found.append(Quantity(entry.per_m2, "m-2"))
    if entry.cover_pct is not None:
        found.append(say("log.cover", share=_typed(entry.cover_pct)))
    if entry.stage_bbch is not None:
        found.append(say("log.stage", stage=entry.stage_bbch))
    return found


def _rating(entry: Rating) -> list[Value]:
    value = Quantity(entry.value, "1", "typed")
    said: Value = say("log.rating_of_place", value=value)
    if entry.trial:
        said = say(
            "log.rating",
            trial=Name(entry.trial),
            plot=Name(entry.plot),
            treatment=Name(entry.treatment),
            value=value,
        )
    measure: Value = Name(entry.measure)
    if entry.before:
        measure = say("log.before", measure=measure)
    spot = [] if entry.trial else [Name(entry.treatment), Name(entry.plot)]
    block = say("log.block", block=Name(entry.block)) if entry.block else NOTHING
    where = [Name(entry.where), Name(entry.location), Name(entry.weed), Name(entry.notes)]
    return [said, measure, *spot, block, *where]


def _green(entry: CoverReading) -> list[Value]:
    found: list[Value] = []
    if entry.green_pct is not None:
        found.append(say("log.green", share=_typed(entry.green_pct)))
    if entry.live_shoots is not None:
        found.append(say("log.live_shoots" if entry.live_shoots else "log.no_live_shoot"))
    return found


def _typed(percent: float) -> Quantity:
    """A percentage with the digits that it was entered with."""
    return Quantity(percent, "%", "typed_pct")


def fact_text(fact: Fact, voice: Voice) -> str:
    """A fact with its origin: ``air temperature: 41 °F [as entered]``."""
    label, text, source = map(voice.text, (fact.label, fact.text, fact.source))
    return f"{label}: {text} [{source}]"


def fields_text(plain: Mapping[str, Any]) -> str:
    """Plain values of an entry as ``field=value`` words, for its history; numbers rounded."""
    return ", ".join(f"{name}={_value_text(value)}" for name, value in plain.items())


def _value_text(value: Any) -> str:
    match value:
        case bool():
            return "yes" if value else "no"
        case float():
            return significant(value, 4).replace(",", "")
        case Mapping():  # a material
            rest = {k: v for k, v in value.items() if k not in {"active", "rate_kg_ha"}}
            rate = value.get("rate_kg_ha")
            parts = [str(value["active"]) + ("" if rate is None else f" {_value_text(rate)} kg/ha")]
            return " ".join([*parts, *([f"({fields_text(rest)})"] if rest else [])])
        case list() | tuple():
            return " + ".join(map(_value_text, value))
        case _:
            return str(value)

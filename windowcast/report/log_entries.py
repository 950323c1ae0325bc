"""Log entries and what is expected of them, each in a line."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from windowcast.core.phrase import NOTHING, Name, Phrase, Quantity, Value, joined, names, say
from windowcast.core.quantity import significant
from windowcast.core.weed_codes import known as known_weeds
from windowcast.records.fields import LogField
from windowcast.records.kinds import KINDS
from windowcast.records.model import (
    Application,
    CoverReading,
    Entry,
    FieldNote,
    Rating,
    ResistanceTest,
    ScoutingCount,
    SoilReading,
    fields_of,
)
from windowcast.report.catalogue import Voice
from windowcast.windows.model import PURPOSES
from windowcast.windows.purposes import purpose_of

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
            return [what, place, area, job_said(entry.purpose), Name(entry.notes)]
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
            return [Name(entry.text), Name(entry.where), weed_said(entry.weed), mixed]
        case ResistanceTest():
            return [*_tested(entry), Name(entry.where), Name(entry.notes)]


def job_said(purpose: str) -> Value:
    """A job by its title; the user's own word where it is none of ours."""
    known = next((p for p in PURPOSES if p == purpose), None)
    return purpose_of(known).title if known else Name(purpose)


def weed_said(code: str) -> Value:
    """A weed by its name; the user's own word where it is no known code."""
    return say(f"weed.{code}") if code in known_weeds() else Name(code)


def _tested(entry: ResistanceTest) -> list[Value]:
    group = NOTHING if entry.group is None else say("rotation.groups", groups=joined(entry.group))
    found: list[Value] = [weed_said(entry.weed), Name(entry.active), group]
    if entry.survivors_pct is not None:
        found.append(say("log.survived", share=_typed(entry.survivors_pct)))
    if entry.plants is not None:
        found.append(say("log.plants_tested", plants=entry.plants))
    return [*found, Name(entry.method), Name(entry.mutation)]


def _count(entry: ScoutingCount) -> list[Value]:
    found: list[Value] = [weed_said(entry.weed)]
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
    where = [Name(entry.where), Name(entry.location), weed_said(entry.weed), Name(entry.notes)]
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


def change_text(action: str, entry_id: str, kind: str, body: Any, voice: Voice) -> str:
    """A change of the log without its time: ``added  1f3a…  Application: Start: …``."""
    said = fields_text(kind, body, voice) if isinstance(body, dict) else str(body or "")
    titled = voice.say(f"log_kind.{kind}") if kind in KINDS else kind
    return f"{voice.say(f'log_action.{action}')}  {entry_id[:8]}  {titled}: " + (
        said or voice.say("log_page.taken_out")
    )


def fields_text(kind: str, plain: Mapping[str, Any], voice: Voice) -> str:
    """Plain values of an entry by their titles, in the reader's units; numbers rounded."""
    rows = {row.name: row for row in (fields_of(kind) if kind in (*KINDS, "material") else ())}
    return ", ".join(
        f"{asked_in(voice, rows[name].asked.title) if name in rows else name}: "
        f"{_value_text(value, rows.get(name), voice)}"
        for name, value in plain.items()
    )


def asked_in(voice: Voice, text: str) -> str:
    """What a field of the log asks, in the reader's language; "" stays."""
    key = re.sub(r"[^a-z0-9]+", "_", text.lower()).strip("_")
    return voice.say(f"asked.{key}") if text else ""


def choice_in(voice: Voice, one: str) -> str:
    """A fixed choice of a field in the reader's language."""
    job = job_said(one)
    return voice.text(job) if isinstance(job, Phrase) else asked_in(voice, one)


def _value_text(value: Any, row: LogField | None, voice: Voice) -> str:
    match value:
        case bool():
            return voice.say("science.yes" if value else "science.no")
        case float() if row is not None and row.asked.measure:
            return voice.write(Quantity(value, "1", row.asked.measure))
        case float():
            return significant(value, 4).replace(",", "")
        case Mapping():  # a material
            rest = {k: v for k, v in value.items() if k not in {"active", "rate_kg_ha"}}
            rate = value.get("rate_kg_ha")
            said = str(value["active"])
            if isinstance(rate, float):
                said += f" {voice.write(Quantity(rate, 'kg ha-1'))}"
            return f"{said} ({fields_text('material', rest, voice)})" if rest else said
        case list() | tuple():
            return " + ".join(_value_text(one, row, voice) for one in value)
        case str() if row is not None and row.type == "moment":
            return value.replace("T", " ")[:16]
        case str() if value in known_weeds():
            return voice.say(f"weed.{value}")
        case str() if row is not None and value in row.asked.choices:
            return choice_in(voice, value)
        case _:
            return str(value)

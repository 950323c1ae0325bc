"""What is known of each weed, as people read it and as plain data."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, get_args

from windowcast.core.phrase import Name, Phrase, Quantity, Value, joined, say
from windowcast.core.values import Value as Science
from windowcast.core.weed_codes import Cycle, KnownWeed, known
from windowcast.report.catalogue import Voice
from windowcast.report.science_values import science_text
from windowcast.report.translated import translated
from windowcast.season.weeds import own_values, weed

_YEAR = 2001  # of dates whose year does not matter
_CLOCK_PARTS = frozenset({"main", "spring", "slow", "late", "sets_air", "first_air", "leaf"})
_QUANTITIES = {"degC": "degC", "d": "d", "cm": "cm", "m-2": "m-2"}


@dataclass(frozen=True)
class FactSaid:
    """One published thing of a weed in words, with where it comes from."""

    label: str
    value: str
    note: str
    source: str
    status: str


@dataclass(frozen=True)
class WeedSaid:
    """A weed as it is shown."""

    code: str
    name: str
    also: str
    latin: str
    life: str
    clock: str
    code_sure: bool
    facts: tuple[FactSaid, ...]
    clock_values: tuple[FactSaid, ...]


def weed_said(code: str, voice: Voice) -> WeedSaid:
    """Everything known of a weed in words."""
    entry = known()[code]
    facts = tuple(
        _fact(voice.say(f"weed_fact.{name}"), voice.text(value_said(fact)), fact, voice)
        for name, fact in entry.facts.items()
    )
    return WeedSaid(
        code,
        voice.say(f"weed.{code}"),
        ", ".join(entry.also),
        entry.latin,
        voice.text(life_of(entry)),
        voice.text(clock_of(entry)),
        entry.code_sure,
        facts,
        tuple(_clock_value(value, voice) for value in own_values(code)),
    )


def _clock_value(value: Science, voice: Voice) -> FactSaid:
    """One value of a clock: the part of the clock it belongs to, and what it sets there."""
    *above, field = value.path.split(".")
    part = above[-1]
    label = voice.say(f"clock_field.{field}")
    if part in _CLOCK_PARTS:
        label = f"{voice.say(f'clock_part.{part}')}, {label}"
    return _fact(label, _clock_said(value, voice), value, voice)


def _fact(label: str, said: str, value: Science, voice: Voice) -> FactSaid:
    notes = (translated(text, voice.lang) for text in (value.note, value.source, value.status))
    return FactSaid(label, said, *notes)


def _clock_said(value: Science, voice: Voice) -> str:
    if value.unit in _QUANTITIES or value.unit in ("northern month-day", "weeks"):
        return voice.text(value_said(value))
    if isinstance(value.value, str):
        return voice.say(f"clock_word.{value.value}")
    return science_text(value, voice)


def life_of(entry: KnownWeed) -> Phrase:
    """``broadleaf, winter annual``."""
    cycle = entry.cycle.replace(" ", "_")
    return say(
        "weed_life.both", kind=say(f"weed_kind.{entry.kind}"), cycle=say(f"weed_cycle.{cycle}")
    )


def clock_of(entry: KnownWeed) -> Phrase:
    """What its dates rest on, and how far they are good."""
    if not entry.clock:
        return say(f"unsupported.{entry.cycle}")
    doubt = weed(entry.code).doubt_weeks
    if not doubt:
        return say("weed_life.own_curve")
    return say(f"season_note.general.{entry.clock.removeprefix('general.')}", weeks=doubt)


def value_said(fact: Science) -> Phrase:
    """The value of a fact: a span of dates, a range of a quantity, or words."""
    ends = fact.value if isinstance(fact.value, list) else [fact.value]
    if fact.unit == "word":
        return say("weed_value.words", words=joined(*(say(f"weed_word.{w}") for w in ends)))
    said = [_one(end, fact.unit) for end in ends]
    if isinstance(said[0], dt.date):
        if said[0] == said[-1]:
            return say("weed_value.day", day=said[0])
        return say("weed_value.dates", first=said[0], last=said[-1])
    if len(said) == 1 or said[0] == said[-1]:
        return say("weed_value.one", value=said[0])
    return say("weed_value.range", low=said[0], high=said[-1])


def _one(end: Any, unit: str) -> Value:
    if unit == "northern month-day":
        return dt.date.fromisoformat(f"{_YEAR}-{end}")
    if unit == "weeks":
        return say("weed_value.weeks", weeks=int(end))
    if unit in _QUANTITIES:
        return Quantity(float(end), unit)  # type: ignore[arg-type]
    return Name(f"{end} {unit}")


def weed_list(voice: Voice) -> list[tuple[str, tuple[WeedSaid, ...]]]:
    """Every weed under the heading of its life cycle."""
    return [
        (
            voice.say(f"weed_cycle.several.{cycle.replace(' ', '_')}"),
            tuple(weed_said(c, voice) for c, entry in known().items() if entry.cycle == cycle),
        )
        for cycle in get_args(Cycle)
    ]


def list_lines(voice: Voice) -> list[str]:
    """A line a weed, under its life cycle."""
    lines: list[str] = []
    for heading, weeds in weed_list(voice):
        lines += ["", heading]
        lines += [f"  {w.code:6s} {w.name:27s} {w.latin}" for w in weeds]
    return [*lines[1:], "", voice.say("weeds_page.more")]


def weed_lines(code: str, voice: Voice) -> list[str]:
    """Everything known of a weed, line by line."""
    said = weed_said(code, voice)
    lines = [f"{said.name} ({said.latin}), {said.code}", f"  {said.life}"]
    if said.also:
        lines.append(f"  {voice.say('weeds_page.also', names=said.also)}")
    if not said.code_sure:
        lines.append(f"  {voice.say('weeds_page.code_unsure')}")
    lines.append(f"  {said.clock[:1].upper()}{said.clock[1:]}.")
    for fact in said.facts:
        lines += ["", *_lines(fact, "  ")]
    if not said.facts:
        lines += ["", f"  {voice.say('weeds_page.no_facts')}"]
    if said.clock_values:
        lines += ["", f"  {voice.say('weeds_page.clock_values')}"]
        for fact in said.clock_values:
            lines += _lines(fact, "    ")
    return lines


def _lines(fact: FactSaid, indent: str) -> list[str]:
    where = f" ({fact.note})" if fact.note else ""
    said = f"{indent}{fact.label}: {fact.value}{where}"
    return [said, f"{indent}  {fact.status}: {fact.source}"]


def weed_rows(codes: Sequence[str]) -> list[dict[str, Any]]:
    """Weeds as plain data: values in SI, dates as northern month-days."""
    return [_row(known()[code]) for code in codes]


def _row(entry: KnownWeed) -> dict[str, Any]:
    return {
        "code": entry.code,
        "code_sure": entry.code_sure,
        "name": entry.name,
        "also": list(entry.also),
        "latin": entry.latin,
        "kind": entry.kind,
        "cycle": entry.cycle,
        "clock": "none" if not entry.clock else "general" if _doubt(entry) else "own",
        "doubt_weeks": _doubt(entry),
        "sets": entry.sets,
        "facts": {name: _plain(fact) for name, fact in entry.facts.items()},
        "clock_values": {value.path: _plain(value) for value in own_values(entry.code)},
    }


def _doubt(entry: KnownWeed) -> float | None:
    return weed(entry.code).doubt_weeks if entry.clock else None


def _plain(value: Science) -> dict[str, Any]:
    kept = {"value": value.value, "unit": value.unit, "source": value.source}
    return kept | {"status": value.status} | ({"note": value.note} if value.note else {})

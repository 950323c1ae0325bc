"""What is known of each active ingredient, as people read it and as plain data."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from windowcast.core.turf import Species
from windowcast.core.values import Value as Science
from windowcast.core.weed_codes import known
from windowcast.materials.actives import Active, groups_of
from windowcast.materials.label_values import MOVEMENTS, TURF_STATES, UPTAKES, species_key
from windowcast.materials.rotation import named_groups
from windowcast.materials.spectrum import CONTROLS, action
from windowcast.report.catalogue import Voice
from windowcast.report.science_values import science_text
from windowcast.report.translated import translated

# what an answer asks of every active, of those that leaves take up, the soil, and pre-emergents
_ALL = ("before_greenup_d", "max_year_kg_ha")
_LEAF = ("rain_free_h", "temp_low_c", "temp_good_c", "light_needed", "largest_bbch")
_SOIL = ("activation_mm", "activation_days")
_PRE = ("soil_dt50_d", "prunes_roots", "seeding_d", "slit_seeding_d")
_GRASSES = dict.fromkeys(species_key(s) for s in reversed(Species))  # zoysiagrass once
_WORDED = {*MOVEMENTS, *UPTAKES, *TURF_STATES}


@dataclass(frozen=True)
class ActiveFact:
    """One value of an active in words, with where it comes from."""

    label: str
    value: str
    note: str
    source: str
    status: str
    yours: bool


@dataclass(frozen=True)
class ActiveSaid:
    """An active as it is shown."""

    name: str
    also: str
    groups: str
    works: str
    controls: str
    facts: tuple[ActiveFact, ...]
    unknown: str


def active_said(active: Active, voice: Voice) -> ActiveSaid:
    """Everything known of an active in words, and what only its label can say."""
    facts = tuple(_fact(active, key, value, voice) for key, value in active.known().items())
    missing = unknown(active)
    asked = [_label(key, voice) for key in missing if "." not in key]
    grasses = ", ".join(
        voice.say(f"site_choice.{key.partition('.')[2]}") for key in missing if "." in key
    )
    asked += [voice.say("actives_page.safety_on", grasses=grasses)] if grasses else []
    return ActiveSaid(
        active.name,
        ", ".join(active.also),
        voice.text(named_groups(groups_of([active]))),
        voice.say(f"active_word.{active.timing.value}"),
        ", ".join(voice.say(f"weed.{code}") for code in controlled(active)),
        facts,
        ", ".join(asked),
    )


def controlled(active: Active) -> tuple[str, ...]:
    """EPPO codes of the weeds that a source says it controls."""
    return tuple(code for code in known() if action(active, code) == CONTROLS)


def unknown(active: Active) -> tuple[str, ...]:
    """What an answer asks of an active and no source says, the grasses among it, by key."""
    asked = [*_ALL, *(_LEAF if active.leaf else ()), *(_SOIL if active.soil else ())]
    asked += _PRE if active.pre else ()
    grasses = [f"turf.{key}" for key in _GRASSES]
    found = active.known()
    return tuple(key for key in (*asked, *grasses) if key not in found)


def _fact(active: Active, key: str, value: Science, voice: Voice) -> ActiveFact:
    said = _said(active, key, value, voice)
    note, source, status = (
        translated(text, voice.lang) for text in (value.note, value.source, value.status)
    )
    yours = key in active.overridden
    return ActiveFact(_label(key, voice), said, note, source, status, yours)


def _label(key: str, voice: Voice) -> str:
    table, _, inner = key.partition(".")
    if not inner:
        return voice.say(f"active_field.{key}")
    if table == "spectrum":
        name = voice.say(f"weed.{inner}" if inner in known() else f"weed_kind.{inner}")
    else:
        name = voice.say(f"site_choice.{inner}")
    return f"{voice.say(f'active_field.{table}')} {name}"


def _said(active: Active, key: str, value: Science, voice: Voice) -> str:
    if key == "group":
        return voice.text(named_groups(groups_of([active])))
    if key == "timing" or key.startswith("spectrum."):
        return voice.say(f"active_word.{value.value}")
    if isinstance(value.value, str) and value.value in _WORDED:
        return voice.say(f"active_value.{value.value.replace(' ', '_').replace('-', '_')}")
    return translated(science_text(value, voice), voice.lang)


def chosen(
    actives: Iterable[Active],
    *,
    kind: str = "",
    weed: str = "",
    species: str = "",
    state: str = "",
    group: int | None = None,
) -> tuple[Active, ...]:
    """The actives that a source says are for all that is asked.

    Parameters
    ----------
    kind
        Kind of weed, "grass", "broadleaf" or "sedge": any weed of it, or part of it.
    weed
        EPPO code: those that control it.
    species, state
        Grass, and the state that it is in, "dormant", "semi-dormant" or "green"; "" for any: those
        that it takes by a source that may permit.
    group
        WSSA/HRAC group number.
    """
    return tuple(
        active
        for active in actives
        if (not kind or _for_kind(active, kind))
        and (not weed or action(active, weed) == CONTROLS)
        and (not species or active.taken_by(species, state or "dormant") == "yes")
        and (group is None or int(float(active.group)) == group)
    )


def _for_kind(active: Active, kind: str) -> bool:
    of_kind = [code for code, weed in known().items() if weed.kind == kind]
    whole = active.spectrum.get(kind)
    some = whole is not None and whole.value != "no"
    return some or any(action(active, code) == CONTROLS for code in of_kind)


def list_lines(actives: Sequence[Active], voice: Voice, species: str = "") -> list[str]:
    """A line an active; of a grass that was asked for, in which state it takes it at most."""
    lines = []
    for active in actives:
        said = active_said(active, voice)
        weeds = voice.say("actives_page.controls", weeds=said.controls) if said.controls else ""
        taken = _taken(active, species, voice) if species else ""
        lines.append(f"{said.name}: {said.groups}, {said.works}")
        lines += [f"  {more}" for more in (taken, weeds) if more]
    return [*(lines or [voice.say("actives_page.none")]), "", voice.say("actives_page.more")]


def _taken(active: Active, species: str, voice: Voice) -> str:
    """Up to which state a grass takes an active, by a source that may permit."""
    if active.taken_by(species, "semi-dormant") != "yes":
        return voice.say("actives_page.only_dormant")
    if active.taken_by(species, "green") != "yes":
        return voice.say("actives_page.only_not_green")
    return voice.say("actives_page.also_green")


def active_lines(active: Active, voice: Voice) -> list[str]:
    """Everything known of an active, line by line."""
    said = active_said(active, voice)
    lines = [f"{said.name}, {said.groups}, {said.works}"]
    if said.also:
        lines.append(f"  {voice.say('weeds_page.also', names=said.also)}")
    for fact in said.facts:
        where = f" ({fact.note})" if fact.note else ""
        yours = voice.say("cli.yours") if fact.yours else ""
        lines += ["", f"  {fact.label}: {fact.value}{where}"]
        lines.append(f"    {yours}{fact.status}: {fact.source}")
    if said.unknown:
        lines += ["", f"  {voice.say('actives_page.ask_label', what=said.unknown)}"]
    return lines


def active_rows(actives: Iterable[Active]) -> list[dict[str, Any]]:
    """Actives as plain data, values in SI."""
    return [
        {
            "name": active.name,
            "also": list(active.also),
            "groups": list(groups_of([active])),
            "timing": active.timing.value,
            "controls": list(controlled(active)),
            "values": {
                key: _plain(value) | {"yours": key in active.overridden}
                for key, value in active.known().items()
            },
            "unknown": list(unknown(active)),
        }
        for active in actives
    ]


def _plain(value: Science) -> dict[str, Any]:
    kept = {"value": value.value, "unit": value.unit, "low": value.low, "high": value.high}
    kept = {key: part for key, part in kept.items() if part is not None}
    return kept | {"source": value.source, "status": value.status, "note": value.note}

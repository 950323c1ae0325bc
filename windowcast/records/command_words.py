"""Log entries from ``field=value`` words, in the units people use.

``area="2 acre"``, ``temp="41 F"`` and ``wind="5 mph"`` carry their unit; a bare number is taken
only for a field named with its SI unit (``temp_c=5``).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any
from zoneinfo import ZoneInfo

from windowcast.core.errors import InputError
from windowcast.core.quantity import is_number
from windowcast.materials.rates import material_from, materials_from
from windowcast.records.entered_quantities import ENTERED
from windowcast.records.fields import LogField
from windowcast.records.model import fields_of
from windowcast.sources.written_dates import moment_written

# words that follow an active and belong to it
_MATERIAL = {f.name: f for f in fields_of("material") if f.name not in {"active", "rate_kg_ha"}}


def plain_from(kind: str, words: Sequence[str], zone: ZoneInfo | None) -> dict[str, Any]:
    """Plain values (see `records.entry_checks.from_plain`) of an entry from ``field=value`` words.

    For an application, ``active="NAME RATE"`` starts a material and may be repeated; the words
    ``product=``, ``registration=``, ``product_rate=``, ``product_total=`` and ``restricted=``
    that follow belong to it. Times without a zone are in `zone`.

    Raises
    ------
    InputError
        A word without ``=``, an unknown field, a value without its unit.
    """
    plain: dict[str, Any] = {}
    materials: list[dict[str, Any]] = []
    for word in words:
        name, sign, text = word.partition("=")
        name, text = name.strip().lower(), text.strip()
        if not sign:
            raise InputError(f"{word!r} is not field=value", remedy="write it like depth='2 in'")
        if kind == "application" and name == "active":
            materials.append(material_from(text))
        elif kind == "application" and name in _MATERIAL:
            if not materials:
                raise InputError(
                    "comes before any active", field=name, remedy="write active= before it"
                )
            materials[-1][name] = _value(_MATERIAL[name], name, text, zone)
        elif (field := field_named(kind, name)).type == "materials":
            materials += materials_from(text)
        else:
            plain[field.name] = _value(field, name, text, zone)
    if materials:
        plain["materials"] = materials
    return plain


def field_named(kind: str, name: str) -> LogField:
    """The field a name stands for: its own, the same without its unit, or another name of it.

    Raises
    ------
    InputError
        The kind has none of this name.
    """
    known = fields_of(kind)
    names = [{f.name: f for f in known}, {f.word: f for f in known}]
    names.append({also: f for f in known for also in f.asked.also})
    found = next((table[name] for table in names if name in table), None)
    if found is not None:
        return found
    from difflib import get_close_matches

    words = [field.word for field in known if field.type != "materials"]
    if kind == "application":
        words = ["active", *_MATERIAL, *words]
    near = get_close_matches(name, words)
    raise InputError(
        f"{'an' if kind[0] in 'aeiou' else 'a'} {kind} has no {name!r}"
        + (f" (close: {near[0]})" if near else ""),
        field=name,
        remedy=f"use one of {', '.join(words)}",
    )


def _value(field: LogField, name: str, text: str, zone: ZoneInfo | None) -> Any:
    if field.type == "moment":
        return moment_from(text, field.name, zone)
    if field.type == "yesno":
        return _flag(text, field.name)
    if not field.asked.measure or (name == field.name and is_number(text)):
        return text
    return ENTERED[field.asked.measure].read(text, name)


def moment_from(text: str, field: str, zone: ZoneInfo | None) -> str:
    """A time with its zone, ISO 8601; one that says none is in `zone`.

    Besides ISO 8601 what people type is read: ``2025-12-03 8:15``, ``Dec 3, 2025 8 am``.
    """
    moment = _iso(text) or _as_people_write(text)
    if moment is None:
        raise InputError(
            f"{text!r} is not a time", field=field, remedy="write it like 2025-12-03 10:15"
        )
    if moment.tzinfo is None:
        if len(text) <= len("2025-12-03"):
            raise InputError(
                f"{text!r} says no hour", field=field, remedy="write it like 2025-12-03 10:15"
            )
        if zone is None:
            raise InputError(
                f"{text!r} says no zone", field=field, remedy="name the site file, or add +00:00"
            )
        moment = moment.replace(tzinfo=zone)
    return moment.isoformat()


def _iso(text: str) -> dt.datetime | None:
    try:
        return dt.datetime.fromisoformat(text)
    except ValueError:
        return None


def _as_people_write(text: str) -> dt.datetime | None:
    """A date with its time of day; None where either is missing, or day and month may be mixed."""
    try:
        written = moment_written(text)
    except ValueError:
        return None
    if not isinstance(written.date, dt.date) or written.clock is None:
        return None
    return dt.datetime.combine(written.date, dt.time(), written.zone) + written.clock


def _flag(text: str, field: str) -> bool:
    known = {"yes": True, "true": True, "no": False, "false": False}
    if text.lower() not in known:
        raise InputError(f"{text!r} is neither yes nor no", field=field)
    return known[text.lower()]

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
from windowcast.materials.quantity import parse, parse_rate, parse_temperature
from windowcast.records.model import field_names

_SUFFIXES = ("_kg_ha", "_l_ha", "_m2", "_m_s", "_m", "_c", "_mm", "_kpa", "_pct", "_deg", "_bbch")
_ALSO = {("count", "count"): "per_m2", ("count", "density"): "per_m2"}
_MATERIAL = ("product", "registration", "product_rate", "product_total", "restricted")


def plain_from(kind: str, words: Sequence[str], zone: ZoneInfo | None) -> dict[str, Any]:
    """Plain values (see `records.model.from_plain`) of an entry from ``field=value`` words.

    For an application, ``active="NAME RATE"`` starts a material and may be repeated; the words
    ``product=``, ``registration=``, ``product_rate=``, ``product_total=`` and ``restricted=``
    that follow belong to it. Times without a zone are in
    `zone`.

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
            materials[-1][name] = _flag(text, name) if name == "restricted" else text
        else:
            field = _field(kind, name)
            plain[field] = _value(field, name, text, zone)
    if materials:
        plain["materials"] = materials
    return plain


def material_from(text: str) -> dict[str, Any]:
    """``"glyphosate 0.5 lb/acre"``: an active and, maybe, its rate of active ingredient."""
    name, rate = text, ""
    for place, word in enumerate(text.split()):
        if word[0].isdigit() or word[0] in ".-":
            name, rate = " ".join(text.split()[:place]), " ".join(text.split()[place:])
            break
    if not name:
        raise InputError(
            f"{text!r} names no active ingredient",
            field="active",
            remedy="write it like glyphosate 0.5 lb/acre",
        )
    if not rate:
        return {"active": name.lower()}
    parsed = parse_rate(rate, f"rate of {name}")
    if parsed.kind != "mass":
        raise InputError(
            f"{rate!r} is a volume of product, not a weight of active ingredient",
            field=f"rate of {name}",
            remedy="work it out with windowcast tank rate, or write product_rate=",
        )
    return {"active": name.lower(), "rate_kg_ha": parsed.per_ha}


def _field(kind: str, name: str) -> str:
    """The field a name stands for: itself, or the one it becomes with its unit."""
    known = field_names(kind)
    if name in known:
        return name
    if (kind, name) in _ALSO:
        return _ALSO[kind, name]
    with_unit = [name + suffix for suffix in _SUFFIXES if name + suffix in known]
    if len(with_unit) == 1:
        return with_unit[0]
    from difflib import get_close_matches

    words = [_word(field) for field in known if field != "materials"]
    if kind == "application":
        words = ["active", *_MATERIAL, *words]
    near = get_close_matches(name, words, n=1)
    raise InputError(
        f"{'an' if kind[0] in 'aeiou' else 'a'} {kind} has no {name!r}"
        + (f" (close: {near[0]})" if near else ""),
        field=name,
        remedy=f"use one of {', '.join(words)}",
    )


def _word(field: str) -> str:
    """A field without its unit, as people write it."""
    ending = next((s for s in _SUFFIXES if field.endswith(s) and field != f"per{s}"), "")
    return field.removesuffix(ending) or field


def _value(field: str, name: str, text: str, zone: ZoneInfo | None) -> Any:
    bare = field == name and _is_number(text)
    if field in {"start", "end"}:
        return moment_from(text, field, zone)
    if field in {"before", "survivors_mixed", "live_shoots"}:
        return _flag(text, field)
    if bare or field.endswith(("_pct", "_deg", "_bbch")):
        return text.removesuffix("%").strip() if field.endswith("_pct") else text
    if field.endswith("_m_s"):
        return parse(text, "speed", name)
    if field.endswith("_kpa"):
        return parse(text, "pressure", name)
    if field.endswith("_c"):
        return parse_temperature(text, name)
    if field == "per_m2":
        return _density(text, name)
    if field.endswith("_m2"):
        return parse(text, "area", name)
    if field.endswith("_l_ha"):
        return parse_rate(text, name).per_ha
    if field.endswith("_mm"):
        return parse(text, "length", name) * 1000
    if field.endswith("_m"):
        return parse(text, "length", name)
    return text


def _density(text: str, name: str) -> float:
    """``"12 per ft2"`` or ``"130/m2"`` → plants per m²."""
    number, _, area = text.replace(" per ", "/").partition("/")
    if not _is_number(number) or not area.strip():
        raise InputError(f"{text!r}: says no area", field=name, remedy="write it like 12 per ft2")
    return float(number) / parse(f"1 {area.strip()}", "area", name)


def moment_from(text: str, field: str, zone: ZoneInfo | None) -> str:
    """A time with its zone, ISO 8601; one that says none is in `zone`."""
    try:
        moment = dt.datetime.fromisoformat(text)
    except ValueError:
        raise InputError(
            f"{text!r} is not a time", field=field, remedy="write it like 2025-12-03 10:15"
        ) from None
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


def _flag(text: str, field: str) -> bool:
    known = {"yes": True, "true": True, "no": False, "false": False}
    if text.lower() not in known:
        raise InputError(f"{text!r} is neither yes nor no", field=field)
    return known[text.lower()]


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True

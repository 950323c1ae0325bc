"""Active ingredients with their rates as people write them: ``glyphosate 0.5 lb/acre``."""

from __future__ import annotations

import re
from typing import Any

from windowcast.core.errors import InputError
from windowcast.core.quantity import parse_rate, with_unit_of

_NUMBERED = re.compile(r"\d(,\d)+-[A-Za-z]")  # names such as 2,4-D begin with numbers


def materials_from(text: str, unit: str = "") -> list[dict[str, Any]]:
    """``"prodiamine 0.84 kg/ha; simazine 1 lb/acre"``: all that is in the tank.

    A bare number is in `unit`, where the column of a table says one.
    """
    return [material_from(part, unit) for part in map(str.strip, text.split(";")) if part]


def material_from(text: str, unit: str = "") -> dict[str, Any]:
    """``"glyphosate 0.5 lb/acre"``: an active and, maybe, its rate of active ingredient."""
    name, rate = text, ""
    for place, word in enumerate(text.split()):
        if (word[0].isdigit() or word[0] in ".-") and not _NUMBERED.match(word):
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
    parsed = parse_rate(with_unit_of(rate, f"1 {unit}"), f"rate of {name}")
    if parsed.kind != "mass":
        raise InputError(
            f"{rate!r} is a volume of product, not a weight of active ingredient",
            field=f"rate of {name}",
            remedy="work it out with windowcast tank rate, or write product_rate=",
        )
    return {"active": name.lower(), "rate_kg_ha": parsed.per_ha}

"""What a phrase means, whatever the language: as JSON holds it."""

from __future__ import annotations

import datetime as dt
import math
from typing import Any, cast

from windowcast.core.phrase import Listing, Name, Noted, Phrase, Quantity, Share, Span, Value


def meaning(phrase: Phrase) -> dict[str, Any]:
    """A phrase as JSON holds it: its id and each value with its SI unit, "" where it has none.

    Dates and times are written by ISO 8601, a share has the unit "1", a list holds values without
    names, and a phrase within a phrase is one again.
    """
    return {
        "id": phrase.id,
        "values": [{"name": name, **_plain(value)} for name, value in phrase.values],
    }


def _plain(value: Value) -> dict[str, Any]:
    unit, bare = "", cast("Any", value)
    if isinstance(value, Quantity | Share):
        unit = value.unit if isinstance(value, Quantity) else "1"
        bare = value.value if math.isfinite(value.value) else None
    elif isinstance(value, Name | Noted):
        bare = value.text
    elif isinstance(value, Phrase):
        bare = meaning(value)
    elif isinstance(value, Listing):
        bare = [_plain(item) for item in value.items]
    elif isinstance(value, Span):
        bare = [value.first.isoformat(), value.last.isoformat()]
    elif isinstance(value, dt.date):
        bare = value.isoformat()
    return {"value": bare, "unit": unit}

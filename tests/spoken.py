"""What results say, in the voices that most tests use."""

from __future__ import annotations

from dataclasses import fields, is_dataclass, replace
from operator import itemgetter
from typing import Any

from windowcast.core.phrase import Listing, Phrase, Value
from windowcast.core.units import System
from windowcast.report.catalogue import Voice

METRIC, US = Voice("metric", "en"), Voice("us", "en")


def render(phrase: Phrase, units: System = "metric") -> str:
    """A phrase in English."""
    return Voice(units, "en").text(phrase)


def written(value: Value, units: System = "metric", form: str = "") -> str:
    """One value in English."""
    return Voice(units, "en").write(value, form)


def voice_of(*results: Any) -> Voice:
    """The voice of a ranking, an answer or a plan: in its own units."""
    first = results[0]
    return Voice(getattr(first, "ranking", first).units, "en")


def ordered(value: Any) -> Any:
    """A phrase, or what holds phrases, to compare: in which order its values stand says nothing.

    Numbers are rounded to six digits.
    """
    if isinstance(value, Phrase):
        return Phrase(
            value.id,
            tuple(sorted(((name, ordered(v)) for name, v in value.values), key=itemgetter(0))),
        )
    if isinstance(value, tuple | list):
        return tuple(ordered(item) for item in value)
    if isinstance(value, Listing):
        return Listing(ordered(value.items), value.join)
    if isinstance(value, float):
        return round(value, 6)
    if is_dataclass(value) and not isinstance(value, type):
        return replace(value, **{f.name: ordered(getattr(value, f.name)) for f in fields(value)})
    return value

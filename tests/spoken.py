"""What results say, in the voices that most tests use."""

from __future__ import annotations

from typing import Any

from windowcast.core.phrase import Phrase, Value
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

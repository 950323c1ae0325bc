"""Science values in words: with range and unit, in both systems where a label has them so."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping

from windowcast.core.phrase import Name, Quantity, Unit, Value, joined, say
from windowcast.core.quantity import significant
from windowcast.core.values import Value as Science
from windowcast.report.catalogue import Voice

# units that are written in both systems, and those that the catalogue has words for
_BOTH: Mapping[str, Unit] = {"degC": "degC", "mm": "mm", "L/ha": "L ha-1", "kg/ha": "kg ha-1",
                             "kg ha-1": "kg ha-1"}  # fmt: skip
_BARE = ("", "1", "share")  # numbers without a unit
_MONTH_DAY = re.compile(r"\d\d-\d\d")
_YEAR = 2001  # of dates whose year does not matter


def science_text(value: Science, voice: Voice) -> str:
    """A science value in words."""
    return voice.write(science_said(value))


def science_said(value: Science) -> Value:
    """What a science value says: a number with its unit and range, or the text it is."""
    if isinstance(value.value, bool):
        return say("science.yes" if value.value else "science.no")
    if isinstance(value.value, list):  # each number with its own unit
        units = value.unit.split(", ")
        return joined(*map(_number, value.value, units), join="clauses")
    if isinstance(value.value, str):
        return _text(value.value)
    if value.low is None or value.high is None:
        return _number(float(value), value.unit)
    usual, low, high = float(value), value.low, value.high
    said = _number(usual, value.unit)
    if value.unit in _BOTH:
        return say("science.ranged_both", usual=said, low=_number(low, value.unit),
                   high=_number(high, value.unit))  # fmt: skip
    return say("science.ranged", usual=said, low=Name(f"{low:g}"), high=Name(f"{high:g}"))


def _text(text: str) -> Value:
    if _MONTH_DAY.fullmatch(text):
        return say("weed_value.day", day=dt.date.fromisoformat(f"{_YEAR}-{text}"))
    return Name(text)


def _number(number: float, unit: str) -> Value:
    if unit in _BOTH:
        return say("science.both", value=Quantity(float(number), _BOTH[unit]))
    text = Name(significant(float(number), 4))
    if unit in _BARE:
        return text
    name = re.sub(r"[^a-z0-9]+", "_", unit.replace("%", "percent").lower()).strip("_")
    return say(f"science_unit.{name}", number=text, count=float(number))

"""Answers as what JSON can hold, and the JSON Schema of that.

A phrase becomes two fields: its words in the reader's units under the field's own name, and its
meaning in SI, whatever the language, under the name with ``_phrase`` (``_phrases`` for several).
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import math
from collections.abc import Callable
from typing import Any, cast

from windowcast.core.phrase import Listing, Name, Noted, Phrase, Quantity, Share, Span, Value
from windowcast.report.catalogue import Voice


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


_WORDS = ("Phrase", "Quantity", "Name", "Noted", "Share", "Span", "Listing")  # not in JSON


def plain(value: Any, voice: Voice, *, date: Callable[[dt.date], str] = dt.date.isoformat) -> Any:
    """Dataclasses, phrases, dates and non-finite numbers as what JSON can hold.

    Parameters
    ----------
    voice
        Of the words.
    date
        How a date or time is written.

    Raises
    ------
    TypeError
        Something JSON has no form for: an answer holds plain values only.
    """
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        value = {f.name: getattr(value, f.name) for f in dataclasses.fields(value)}
    if isinstance(value, dict):
        found: dict[str, Any] = {}
        for key, item in value.items():
            found |= _field(str(key), item, voice, date)
        return found
    if isinstance(value, dt.date):  # datetime is a date
        return date(value) if not isinstance(value, dt.datetime) else _time(value, date)
    if isinstance(value, tuple | list):
        return [plain(item, voice, date=date) for item in value]
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if value is None or isinstance(value, str | int):
        return value
    raise TypeError(f"{type(value).__name__} has no form in JSON")


def _time(time: dt.datetime, date: Callable[[dt.date], str]) -> str:
    return time.isoformat() if date is dt.date.isoformat else date(time)


def _field(name: str, value: Any, voice: Voice, date: Callable[[dt.date], str]) -> dict[str, Any]:
    """A field, with the meaning beside it where it holds phrases."""
    if isinstance(value, Phrase):
        return {name: voice.text(value), f"{name}_phrase": meaning(value)}
    if isinstance(value, tuple | list) and value and all(isinstance(v, Phrase) for v in value):
        words = [voice.text(item) for item in value]
        return {name: words, f"{name}_phrases": [meaning(item) for item in value]}
    return {name: plain(value, voice, date=date)}


def schema_of(answer: type, title: str) -> dict[str, Any]:
    """The JSON Schema (2020-12) of `plain` for a dataclass."""
    from pydantic import TypeAdapter

    schema = TypeAdapter(answer).json_schema(mode="serialization")
    kinds = schema.pop("$defs")
    for kind in (schema, *kinds.values()):
        if "properties" in kind:
            _with_meaning(kind)
    for name in _WORDS:
        kinds.pop(name, None)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": title,
        "$defs": dict(sorted((kinds | _MEANING).items())),
        **{key: item for key, item in schema.items() if key != "title"},
    }


def _with_meaning(kind: dict[str, Any]) -> None:
    """Replace the phrases of an object's schema by their words, with their meaning beside."""
    fields: dict[str, Any] = {}
    for name, item in kind["properties"].items():
        fields[name] = item
        one, several = item.get("$ref") == _PHRASE["$ref"], item.get("items") == _PHRASE
        if one:
            fields[name] = {"title": name.replace("_", " ").title(), "type": "string"}
            fields[f"{name}_phrase"] = {"$ref": "#/$defs/Meaning"}
        if several:
            fields[name] = item | {"items": {"type": "string"}}
            fields[f"{name}_phrases"] = {"type": "array", "items": {"$ref": "#/$defs/Meaning"}}
        if one and name in kind.get("required", ()):
            kind["required"].append(f"{name}_phrase")
    kind["properties"] = fields


_PHRASE = {"$ref": "#/$defs/Phrase"}
_SAID: dict[str, Any] = {
    "description": "An SI quantity with its unit, a share (unit 1), a text or name as given, a "
    "count, an ISO 8601 date or time, two of these, another meaning, or a list of values.",
    "type": "object",
    "properties": {
        "value": {
            "anyOf": [
                {"type": ["number", "string", "null"]},
                {"type": "array", "items": {"type": "string"}},
                {"type": "array", "items": {"$ref": "#/$defs/MeaningValue"}},
                {"$ref": "#/$defs/Meaning"},
            ]
        },
        "unit": {"type": "string", "description": "SI unit; empty where there is none"},
    },
    "required": ["value", "unit"],
}
_MEANING: dict[str, Any] = {
    "Meaning": {
        "description": "What the words of the field beside it say: the id of the text and its "
        "values. The id is empty where nothing is said.",
        "type": "object",
        "properties": {
            "id": {"type": "string"},
            "values": {
                "type": "array",
                "items": {
                    "allOf": [{"$ref": "#/$defs/MeaningValue"}],
                    "properties": {"name": {"type": "string"}},
                    "required": ["name"],
                },
            },
        },
        "required": ["id", "values"],
    },
    "MeaningValue": _SAID,
}

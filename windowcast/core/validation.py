"""What is wrong with user data, in one line: key, value found, what is allowed, what to do."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from difflib import get_close_matches
from enum import Enum
from os import PathLike
from typing import Any, Literal, get_args, get_origin

from annotated_types import Ge, Le, MaxLen, MinLen
from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from windowcast.core.errors import InputError

Location = Sequence[int | str]
_HEADER = re.compile(r"^\s*(\[\[?)\s*([^\]]+?)\s*\]\]?")
_KEY = re.compile(r"""^\s*["']?([A-Za-z0-9_.-]+)["']?\s*=""")
UNSHOWN = "unshown"  # kind of a problem whose value may be a secret
_WRONG_TYPE = ("_parsing", "_type", "_from_float")


def first_problem(
    error: ValidationError,
    path: str | PathLike[str] | None = None,
    row: int | None = None,
    *,
    model: type[BaseModel] | None = None,
    text: str = "",
) -> InputError:
    """The first problem of a validation in words, with the number of further ones.

    Parameters
    ----------
    error
        What the validation found.
    path, row
        Where the data came from.
    model
        The model it was held against, to say what is allowed; without it pydantic's words do.
    text
        Contents of a TOML file, to find the row in.
    """
    problems = error.errors(include_url=False)
    first = problems[0]
    kind, found = first["type"], first["input"]
    location = [part for part in first["loc"][:-1] if _is_key(part)]
    # a key we do not know may be written in any way; all others are ours
    location += [k for k in first["loc"][-1:] if kind == "extra_forbidden" or _is_key(k)]
    expected = allowed(model, location) if model else ""
    if kind == "missing":
        problem, remedy = "is missing", "add it" + (f" ({expected})" if expected else "")
    elif kind == "extra_forbidden":
        known = _keys(model, location[:-1]) if model else []
        near = get_close_matches(str(location[-1]), known, n=1)
        problem = "is not a known key"
        remedy = f"write {near[0]}" if near else "check its spelling or remove it"
    elif kind == UNSHOWN:
        problem, remedy = first["msg"], "correct it"
    elif kind == "value_error":  # a validator of ours: its text says it all
        problem, remedy = str(first["ctx"]["error"]), "correct it"
        listed = isinstance(found, Mapping | list | tuple)
        if repr(found) not in problem and not listed:
            problem = f"{found!r} {problem}"
    elif expected:
        wrong_kind = kind.endswith(_WRONG_TYPE)
        problem = f"{found!r} is {'not of the right kind' if wrong_kind else 'not allowed'}"
        remedy = f"give {expected}"
    else:
        problem = f"{found!r}: {first['msg'][0].lower()}{first['msg'][1:]}"
        remedy = "correct it"
    if len(problems) > 1:
        remedy += f" ({len(problems) - 1} more after this)"
    if text and row is None:
        row = line_of(text, location if kind != "missing" else location[:-1])
    return InputError(problem, path=path, row=row, field=dotted(location), remedy=remedy)


def _is_key(part: int | str) -> bool:
    """Whether a part of pydantic's location is in the file, not a branch of a union."""
    return isinstance(part, int) or re.fullmatch(r"[A-Za-z0-9_]+", part) is not None


def dotted(location: Location) -> str | None:
    """``turf.species``, ``calendar.blackout[2].first`` (counted from 1)."""
    text = ""
    for part in location:
        text += f"[{part + 1}]" if isinstance(part, int) else f"{'.' if text else ''}{part}"
    return text or None


# ------------------------------------------------------------------------------ what is allowed


def _field(model: type[BaseModel], location: Location) -> FieldInfo | None:
    """The field a location leads to; None when it leads nowhere."""
    field: FieldInfo | None = None
    here: type[BaseModel] | None = model
    for part in location:
        if isinstance(part, int):
            continue
        field = here.model_fields.get(part) if here else None
        if field is None:
            return None
        here = _model_in(field.annotation)
    return field


def _model_in(annotation: Any) -> type[BaseModel] | None:
    """The model a type holds, directly or as the item of a tuple or union."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((m for a in get_args(annotation) if (m := _model_in(a))), None)


def _keys(model: type[BaseModel], location: Location) -> list[str]:
    """The keys known in a table."""
    if not location:
        return list(model.model_fields)
    field = _field(model, location)
    inner = _model_in(field.annotation) if field else None
    return list(inner.model_fields) if inner else []


def allowed(model: type[BaseModel], location: Location) -> str:
    """What a key may hold: "a number from -66 to 66", "one of golf, sports, ..."; "" if open."""
    field = _field(model, location)
    if field is None:
        return ""
    return _described(field.annotation, field.metadata)


def _described(annotation: Any, metadata: Sequence[Any] = ()) -> str:
    if hasattr(annotation, "__metadata__"):  # Annotated[...]
        return _described(annotation.__origin__, annotation.__metadata__)
    if get_origin(annotation) is Literal:
        return "one of " + ", ".join(str(choice) for choice in get_args(annotation) if choice != "")
    if isinstance(annotation, type) and issubclass(annotation, Enum):
        return "one of " + ", ".join(str(choice.value) for choice in annotation)
    limits = _limits(metadata)
    words = {bool: "true or false", int: "a whole number", float: "a number", str: "text"}
    if annotation in words:
        return words[annotation] + limits
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return "a table of keys"
    if get_origin(annotation) is tuple:
        inner = _described(get_args(annotation)[0])
        return f"a list, each {inner}" if inner else "a list"
    options = [_described(a, metadata) for a in get_args(annotation) if a is not type(None)]
    if options:
        return next((option for option in options if option), "")
    return "a date such as 2025-01-31" if getattr(annotation, "__name__", "") == "date" else ""


def _limits(metadata: Sequence[Any]) -> str:
    flat = [m for item in metadata for m in getattr(item, "metadata", [item])]
    low = next((m.ge for m in flat if isinstance(m, Ge)), None)
    high = next((m.le for m in flat if isinstance(m, Le)), None)
    shortest = next((m.min_length for m in flat if isinstance(m, MinLen)), None)
    longest = next((m.max_length for m in flat if isinstance(m, MaxLen)), None)
    if low is not None and high is not None:
        return f" from {low:g} to {high:g}"
    return f" of {shortest} to {longest} characters" if shortest and longest else ""


# -------------------------------------------------------------------------------- which line


def line_of(text: str, location: Location) -> int | None:
    """1-based line of a TOML file that has a key; None when it is unknown."""
    path = [part for part in location if not isinstance(part, int)]
    item = next((part for part in location if isinstance(part, int)), 0)
    table: list[str] = []
    seen: dict[str, int] = {}
    best: int | None = None
    for number, line in enumerate(text.splitlines(), start=1):
        header = _HEADER.match(line)
        if header:
            table = [part.strip(" \"'") for part in header[2].split(".")]
            seen[header[2]] = seen.get(header[2], -1) + 1
            in_item = header[1] == "[" or seen[header[2]] == item
            if table == path[: len(table)] and in_item:
                best = number
            elif not in_item:
                table = ["\0"]  # another item of the same array
            continue
        key = _KEY.match(line)
        if key and table + key[1].split(".") == path:
            return number
        if key and path and table + key[1].split(".") == path[: len(table) + 1]:
            best = number
    return best

"""Form fields: how a value is asked for in the site's units, read into SI, and shown again.

A form is a list of `Field`; `read` turns what was typed into plain values for the checks of the
layer below, whose `InputError` names the field its words then stand beside.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal
from zoneinfo import ZoneInfo

from windowcast.core.errors import InputError
from windowcast.core.units import System
from windowcast.records.entered_quantities import ENTERED
from windowcast.report.catalogue import Voice
from windowcast.report.measures import MEASURES
from windowcast.report.problems import sentence_of

Kind = Literal[
    "text", "long", "number", "whole", "date", "time", "moment", "choice", "yesno", "lines"
]


@dataclass(frozen=True)
class Field:
    """One field of a form.

    Attributes
    ----------
    name
        Key of the value it stands for; dots lead into nested tables.
    measure
        Key of `report.measures.MEASURES` for a number with a unit, "" for a bare one.
    options
        Value and words of each choice.
    """

    name: str
    label: str
    kind: Kind = "text"
    measure: str = ""
    hint: str = ""
    needed: bool = False
    options: tuple[tuple[str, str], ...] = ()

    def unit(self, units: System) -> str:
        """The unit the reader types in."""
        return MEASURES[self.measure][units].unit if self.measure else ""


class FormError(InputError):
    """Everything that does not read as its field asks for."""

    def __init__(self, problems: Sequence[InputError]) -> None:
        first = problems[0]
        super().__init__(first.problem, field=first.field, remedy=first.remedy)
        self.problems = tuple(problems)


def wrong_by_field(
    problem: InputError | None, names: Collection[str], voice: Voice
) -> dict[str, str]:
    """What to say beside which field; {} when it belongs beside none of them."""
    if isinstance(problem, FormError):
        return {str(one.field): sentence_of(one, voice) for one in problem.problems}
    if problem is None or problem.field is None or problem.field not in names:
        return {}
    return {problem.field: sentence_of(problem, voice)}


def read(
    fields: Sequence[Field], typed: Mapping[str, str], units: System, zone: ZoneInfo
) -> dict[str, Any]:
    """Plain values in SI of what was typed; fields left empty are left out.

    Raises
    ------
    FormError
        Fields do not read as what they ask for, or needed ones are empty.
    """
    found: dict[str, Any] = {}
    problems = []
    for field in fields:
        text = typed.get(field.name, "").strip()
        try:
            if text:
                found[field.name] = _READERS[field.kind](text, field, units, zone)
            elif field.needed:
                raise ValueError("is missing")
        except ValueError as error:
            problems.append(InputError(str(error), field=field.name, remedy="fill it in"))
    if problems:
        raise FormError(problems)
    return found


def show(
    fields: Sequence[Field], values: Mapping[str, Any], units: System, zone: ZoneInfo
) -> dict[str, str]:
    """What to fill the form with for plain values in SI."""
    return {
        field.name: _shown(values[field.name], field, units, zone)
        for field in fields
        if values.get(field.name) is not None
    }


def _shown(value: Any, field: Field, units: System, zone: ZoneInfo) -> str:
    if field.kind == "number":
        factor, offset = _scale(field, units)
        return f"{float(value) * factor + offset:.6g}"
    if field.kind == "moment":
        moment = dt.datetime.fromisoformat(value) if isinstance(value, str) else value
        return f"{moment.astimezone(zone):%Y-%m-%dT%H:%M}"
    if field.kind == "yesno":
        return "yes" if value else "no"
    if field.kind == "lines":
        return "\n".join(map(str, value))
    return str(value)


def _scale(field: Field, units: System) -> tuple[float, float]:
    """Factor and offset from SI to what the reader types."""
    if not field.measure:
        return 1.0, 0.0
    shown = MEASURES[field.measure][units]
    return shown.factor, shown.offset


def _number(text: str, field: Field, units: System, zone: ZoneInfo) -> float:
    try:
        value = float(text.replace(",", ".").replace("−", "-"))
    except ValueError:
        if field.measure in ENTERED and text[:1].isdigit():
            return _with_unit(text, field)
        raise ValueError(f"{text!r} is not a number") from None
    if not math.isfinite(value):
        raise ValueError(f"{text!r} is not a number")
    factor, offset = _scale(field, units)
    return (value - offset) / factor


def _with_unit(text: str, field: Field) -> float:
    """A number with a unit of its own, which goes before the unit the form asks in; in SI."""
    try:
        return float(ENTERED[field.measure].read(text, field.name))
    except InputError as error:
        raise ValueError(error.problem) from None
    except ValueError:  # the measure has no unit to read
        raise ValueError(f"{text!r} is not a number") from None


def _whole(text: str, field: Field, units: System, zone: ZoneInfo) -> int:
    value = _number(text, field, units, zone)
    if value != int(value):
        raise ValueError(f"{text!r} is not a whole number")
    return int(value)


def _date(text: str, field: Field, units: System, zone: ZoneInfo) -> str:
    try:
        return dt.date.fromisoformat(text).isoformat()
    except ValueError:
        raise ValueError(f"{text!r} is not a date such as 2025-11-06") from None


def _time(text: str, field: Field, units: System, zone: ZoneInfo) -> str:
    try:
        return dt.time.fromisoformat(text).isoformat()
    except ValueError:
        raise ValueError(f"{text!r} is not a time such as 09:30") from None


def _moment(text: str, field: Field, units: System, zone: ZoneInfo) -> str:
    try:
        moment = dt.datetime.fromisoformat(text)
    except ValueError:
        raise ValueError(f"{text!r} is not a date and time such as 2025-11-06T09:30") from None
    return moment.replace(tzinfo=moment.tzinfo or zone).isoformat()


def _choice(text: str, field: Field, units: System, zone: ZoneInfo) -> str:
    if text not in dict(field.options):
        raise ValueError(f"{text!r} is not one of the choices")
    return text


def _yes_no(text: str, field: Field, units: System, zone: ZoneInfo) -> bool:
    if text not in {"yes", "no"}:
        raise ValueError(f"{text!r} is neither yes nor no")
    return text == "yes"


def _lines(text: str, field: Field, units: System, zone: ZoneInfo) -> list[str]:
    return [line.strip() for line in text.replace(",", "\n").splitlines() if line.strip()]


def _text(text: str, field: Field, units: System, zone: ZoneInfo) -> str:
    return text


_READERS: Mapping[Kind, Callable[[str, Field, System, ZoneInfo], Any]] = {
    "text": _text,
    "long": _text,
    "number": _number,
    "whole": _whole,
    "date": _date,
    "time": _time,
    "moment": _moment,
    "choice": _choice,
    "yesno": _yes_no,
    "lines": _lines,
}

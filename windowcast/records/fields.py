"""The fields of the season log's entries: one row each, read from the entries' own classes.

A class of `records.model` says of each of its fields what it holds, how it is bounded and, with
`Asked`, how people are asked for it. Command line, forms, CSV, JSON schema and spray record all go
by the rows made from that here.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
from dataclasses import KW_ONLY, dataclass
from types import UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin, get_type_hints

from pydantic import AwareDatetime, GetJsonSchemaHandler
from pydantic_core import CoreSchema

from windowcast.records.entered_quantities import ENTERED

Type = Literal[
    "text", "long", "number", "whole", "date", "time", "moment", "choice", "yesno", "materials"
]
_TYPES: dict[Any, Type] = {
    str: "text",
    float: "number",
    int: "whole",
    bool: "yesno",
    dt.date: "date",
    dt.time: "time",
    AwareDatetime: "moment",
    tuple: "materials",
}


@dataclass(frozen=True)
class Asked:
    """How people are asked for a field.

    Attributes
    ----------
    measure
        Of a quantity, its row of `windowcast.report.measures`.
    heading
        Of the part of a form that begins with this field; "" where a part goes on.
    long
        Whether a text may have several lines.
    also
        Other names for it on the command line.
    filled
        What its value is called, and decimals, where the weather record may fill it in. Logs hold
        these words (see `hour_weather`): do not change them.
    """

    title: str
    measure: str = ""
    _: KW_ONLY
    hint: str = ""
    heading: str = ""
    long: bool = False
    choices: tuple[str, ...] = ()
    also: tuple[str, ...] = ()
    filled: tuple[str, int] | None = None

    def __get_pydantic_json_schema__(
        self, core: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """Title, hint, unit and choices go into the JSON schema."""
        words: dict[str, Any] = {"title": self.title}
        if self.hint:
            words["description"] = self.hint
        if self.measure:
            words["x-unit"] = ENTERED[self.measure].unit
        if self.choices:
            words["enum"] = ["", *self.choices]
        return {**handler(core), **words}


@dataclass(frozen=True)
class LogField:
    """One field of a kind of entry; `name` is its key in JSON and its column in a CSV."""

    name: str
    type: Type
    asked: Asked
    needed: bool

    @property
    def word(self) -> str:
        """Its name without the unit, as people write it on the command line."""
        return self.name.removesuffix(ENTERED[self.asked.measure].suffix)

    @property
    def worded(self) -> bool:
        """Whether a table holds its value as text; all else is written as JSON."""
        return self.type in {"text", "long", "choice", "date", "time", "moment"}


def rows_of(entry: type) -> tuple[LogField, ...]:
    """A row for each field of an entry's class, in order."""
    hints = get_type_hints(entry, include_extras=True)
    rows = []
    for field in dataclasses.fields(entry):
        bare, extras = _parted(hints[field.name])
        asked = [extra for extra in extras if isinstance(extra, Asked)][-1]
        kind = _TYPES[get_origin(bare) or bare]
        if kind == "text" and (asked.long or asked.choices):
            kind = "long" if asked.long else "choice"
        needed = field.default is dataclasses.MISSING
        rows.append(LogField(field.name, kind, asked, needed))
    return tuple(rows)


def _parted(hint: Any) -> tuple[Any, tuple[Any, ...]]:
    """A type without its annotations and without None, and all the annotations."""
    if get_origin(hint) is Annotated:
        inner, extras = _parted(hint.__origin__)
        return inner, extras + hint.__metadata__
    if get_origin(hint) in {Union, UnionType}:
        (some,) = (part for part in get_args(hint) if part is not type(None))
        return _parted(some)
    return hint, ()

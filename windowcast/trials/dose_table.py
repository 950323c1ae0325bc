"""Doses and responses out of a table as people keep them, with columns as they call them.

What a table leaves open is asked, never guessed. Pure functions on text.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from os import PathLike, fspath
from typing import Literal

from windowcast.core.errors import InputError
from windowcast.sources.column_names import normal, parted, without_accents
from windowcast.sources.csv_rows import MISSING, table_rows
from windowcast.sources.written_numbers import Mark, decimal_mark, number_written
from windowcast.trials.rated_measures import MEASURES

Role = Literal["dose", "population", "active", "response"]
OPTION_MARK = "say which: FILE:decimal=comma or FILE:decimal=point"
MOST_POPULATIONS = 50
_ROLES: Mapping[Role, tuple[str, ...]] = {
    "dose": (
        "dose", "doses", "rate", "rates", "conc", "concentration", "application rate", "use rate",
        "herbicide rate", "herbicide dose", "dosis", "tasa", "concentracion",
    ),
    "population": (
        "population", "pop", "biotype", "accession", "ecotype", "line", "collection", "curve",
        "source", "poblacion", "biotipo", "accesion",
    ),
    "active": (
        "herbicide", "active", "active ingredient", "compound", "herbicida", "ingrediente activo",
    ),
    "response": (
        "response", "value", "y", "dry weight", "dry matter", "drymatter", "dry mass", "dryweight",
        "fresh weight", "weight", "shoot weight", "shoot dry weight", "shoot biomass", "height",
        "plant height", "length", "root length", "rootl", "survival", "survivors", "alive",
        "percent survival", "respuesta", "valor", "peso seco", "peso fresco", "altura",
        "supervivencia", "sobrevivientes",
        *(name for measure in MEASURES.values() for name in measure.names),
    ),
}  # fmt: skip
_ROLE_OF = {name: role for role, names in _ROLES.items() for name in names}
# kept beside the values and no part of a curve
_BESIDE = frozenset(
    {"", "rep", "reps", "replicate", "replication", "block", "blk", "plot", "pot", "tray", "date",
     "id", "no", "row", "rownames", "notes", "comments", "repeticion", "bloque", "maceta",
     "parcela", "fecha", "notas"}
)  # fmt: skip
_UNIT = re.compile(r"\b(?:u?g|mg|kg|lb|oz|fl oz|l|ml|mm|um|mol|nm)\b.*$")


@dataclass(frozen=True, slots=True)
class DoseRow:
    """A value: what was done to whom, and what came of it."""

    population: str
    dose: float
    response: float


@dataclass(frozen=True, slots=True)
class DoseTable:
    """Values of one response.

    Attributes
    ----------
    response, dose
        What the columns are called.
    unit
        Of the doses, as written; "" where nobody says, "kg ha-1" where they are in SI.
    unused
        Columns that are no part of the curves.
    empty
        Rows without a response.
    """

    rows: tuple[DoseRow, ...]
    response: str
    dose: str = ""
    unit: str = ""
    unused: tuple[str, ...] = ()
    empty: int = 0

    @property
    def populations(self) -> dict[str, tuple[list[float], list[float]]]:
        """Doses and responses of each population, in order."""
        found: dict[str, tuple[list[float], list[float]]] = {}
        for row in self.rows:
            doses, responses = found.setdefault(row.population, ([], []))
            doses.append(row.dose)
            responses.append(row.response)
        return found


@dataclass(frozen=True, slots=True)
class DoseColumns:
    """What the owner says of a table: names of columns, its decimal mark, what to ignore."""

    columns: Mapping[Role, str]
    mark: Mark | None = None
    ignore: bool = False


def read_doses(text: str, path: str | PathLike[str], said: DoseColumns) -> DoseTable:
    """The doses and responses of a table.

    Raises
    ------
    InputError
        A column that is needed is missing or could be one of two, a column is not known, or a cell
        is no number; names row and column.
    """
    path = fspath(path)
    _, header, rows = table_rows(text, path, lambda name: _role_of(name) is not None)
    if not rows:
        raise InputError("has a header but no rows", path=path, remedy="give a file with rows")
    at, unused = _columns(header, path, said)
    number_columns = [at["dose"], at["response"]]
    mark = decimal_mark(
        ((cells[n].strip().removesuffix("%"), row, header[n]) for row, cells in rows
         for n in number_columns),
        said.mark, path, OPTION_MARK,
    )  # fmt: skip
    groups = [at[role] for role in ("population", "active") if role in at]
    found, empty = [], 0
    for row, cells in rows:
        written = cells[at["response"]].strip()
        if not written or written.lower() in MISSING | {".", "*"}:
            empty += 1
            continue
        dose, response = (
            _number(cells[n], mark, path, row, header[n]) for n in number_columns
        )  # fmt: skip
        if dose < 0:
            raise InputError(
                f"{cells[at['dose']].strip()} is below zero", path=path, row=row,
                field=header[at["dose"]], remedy="correct it; 0 is the untreated check",
            )  # fmt: skip
        name = ", ".join(cells[n].strip() for n in groups)
        found.append(DoseRow(name, dose, response))
    if len({row.population for row in found}) > MOST_POPULATIONS:
        raise InputError(
            f"has more than {MOST_POPULATIONS} populations", path=path,
            remedy="name the column that tells them apart: FILE:population=NAME",
        )  # fmt: skip
    return DoseTable(
        tuple(found), header[at["response"]], header[at["dose"]], _unit_of(header[at["dose"]]),
        tuple(unused), empty,
    )  # fmt: skip


def _columns(
    header: Sequence[str], path: str, said: DoseColumns
) -> tuple[dict[Role, int], list[str]]:
    """Where each role stands, and the names of columns that have none."""
    at: dict[Role, int] = {}
    for role, name in said.columns.items():
        same = [n for n, other in enumerate(header) if other.casefold() == name.casefold()]
        if len(same) != 1:
            raise InputError(
                f"{'two columns are' if same else 'no column is'} called {name!r}", path=path,
                row=1, field=role, remedy=f"use one of {', '.join(filter(None, header))}",
            )  # fmt: skip
        at[role] = same[0]
    unused, unknown = [], []
    for n, name in enumerate(header):
        role_here = _role_of(name)
        if n in at.values():
            continue
        if role_here is None or role_here in said.columns:
            unused += [name] if name else []
            beside = role_here is not None or _plain(name) in _BESIDE
            unknown += [] if beside else [name]
        elif role_here in at:
            raise InputError(
                f"{header[at[role_here]]!r} and {name!r} could both be the {role_here}", path=path,
                row=1, field=name, remedy=f"say which: FILE:{role_here}=NAME",
            )  # fmt: skip
        else:
            at[role_here] = n
    needed: tuple[Role, ...] = ("dose", "response")
    for role in needed:
        if role not in at:
            raise InputError(
                f"has no column that is plainly the {role}", path=path, row=1,
                remedy=f"name it: FILE:{role}=NAME, one of {', '.join(filter(None, header))}",
            )  # fmt: skip
    if unknown and not said.ignore:
        raise InputError(
            f"column {unknown[0]!r} is not known", path=path, row=1, field=unknown[0],
            remedy="if it tells populations apart, say FILE:population=NAME; to leave out what is"
            " not known, say FILE:unknown=ignore",
        )  # fmt: skip
    return at, unused


def _number(text: str, mark: Mark, path: str, row: int, field: str) -> float:
    found = math.nan
    with suppress(ValueError):
        found = number_written(text.strip().removesuffix("%"), mark)
    if not math.isfinite(found):
        raise InputError(
            f"{text.strip()!r} is not a number", path=path, row=row, field=field,
            remedy="correct it, or leave the response empty where there is none",
        )  # fmt: skip
    return found


def _role_of(header: str) -> Role | None:
    """What a column says by its name, with or without a unit behind it."""
    name = _plain(header)
    bare = _UNIT.sub("", name).strip(" -/.")
    return _ROLE_OF.get(name) or _ROLE_OF.get(bare)


def _plain(header: str) -> str:
    return without_accents(parted(header)[0]).removesuffix("%").strip()


def _unit_of(header: str) -> str:
    """The unit behind a name, in brackets or after it; "" where there is none."""
    in_brackets = parted(header)[1]
    found = _UNIT.search(normal(header))
    return in_brackets or (
        found[0].replace(" ha", "/ha").replace(" acre", "/acre") if found else ""
    )

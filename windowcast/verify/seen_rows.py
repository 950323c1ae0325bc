"""Tables of what was seen: a CSV with named columns, its rows read and checked one by one."""

from __future__ import annotations

import csv
import math
from collections.abc import Callable, Mapping, Sequence
from os import PathLike
from typing import TypeVar

from windowcast.core.errors import InputError
from windowcast.core.given_files import read_text

T = TypeVar("T")


def seen_rows(
    path: str | PathLike[str],
    needed: Sequence[str],
    read: Callable[[int, Mapping[str, str]], T],
) -> list[T]:
    """What `read` makes of each row, from its number and its cells by column, without blank rows.

    Raises
    ------
    InputError
        Not a CSV with the columns `needed` and a row below them, or a row with too few or too many
        cells; what `read` raises gets file and row.
    """
    remedy = f"give a CSV with the columns {', '.join(needed)}"
    try:
        rows = list(csv.reader(read_text(path).splitlines(), strict=True))
    except csv.Error as error:
        raise InputError(f"is not a CSV: {error}", path=path, remedy=remedy) from None
    head = [name.strip() for name in rows[0]] if rows else []
    for name in needed:
        if name not in head:
            raise InputError("the column is missing", path=path, row=1, field=name, remedy=remedy)
    found = []
    for number, row in enumerate(rows[1:], start=2):
        cells = [cell.strip() for cell in row]
        if not any(cells):
            continue
        try:
            if len(cells) != len(head):
                raise InputError(
                    f"has {len(cells)} fields, not {len(head)}",
                    remedy="quote cells that hold a comma",
                )
            found.append(read(number, dict(zip(head, cells, strict=True))))
        except InputError as error:
            raise error.at(path=path, row=number) from None
    if not found:
        raise InputError("has a header but no rows", path=path, remedy="give a file with rows")
    return found


def number_in(cells: Mapping[str, str], name: str, least: float, most: float) -> float:
    """The number in a cell; NaN for an empty one, or a column that is not there.

    Raises
    ------
    InputError
        It is none, or beyond the bounds.
    """
    text = cells.get(name, "")
    if not text:
        return math.nan
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not least <= value <= most:
        raise InputError(
            f"{text[:30]!r} is not a number from {least:g} to {most:g}", field=name,
            remedy="give it as a plain number, or leave it empty",
        )  # fmt: skip
    return value


def place_in(cells: Mapping[str, str]) -> tuple[float, float]:
    """Latitude and longitude [degree] in the columns lat and lon; NaN where not said."""
    return number_in(cells, "lat", -90.0, 90.0), number_in(cells, "lon", -180.0, 180.0)

"""The rows of a table that somebody keeps, whatever delimiter it has."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable
from os import PathLike

from windowcast.core.errors import InputError

_DELIMITERS = (",", ";", "\t", "|")
_SEPARATOR_SAID = re.compile(r'"?sep=([,;\t|])"?', re.IGNORECASE)
MISSING = frozenset({"na", "n/a", "nan", "null", "none", "m", "-", "--", "---", "#n/a"})


def table_rows(
    text: str, path: str | PathLike[str], known: Callable[[str], bool]
) -> tuple[str, list[str], list[tuple[int, list[str]]]]:
    """Delimiter, header, and the rows with anything in them, each with its number.

    Parameters
    ----------
    known
        Whether a name is one of a column: the delimiter is the one that gives the most of them.

    Raises
    ------
    InputError
        A row has more or fewer cells than the header, or it is no table.
    """
    first, _, rest = text.partition("\n")
    said = _SEPARATOR_SAID.fullmatch(first.strip(" \r"))
    before = 1 if said else 0
    text = rest if said else text
    line = next((line for line in text.splitlines() if line.strip()), "")
    delimiter = said[1] if said else max(_DELIMITERS, key=lambda mark: _known(line, mark, known))
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    header: list[str] = []
    rows = []
    try:
        for cells in reader:
            number = reader.line_num + before
            if not any(cell.strip() for cell in cells):
                continue
            if not header:
                header = [cell.strip() for cell in cells]
                continue
            if len(cells) > len(header) and not any(c.strip() for c in cells[len(header) :]):
                cells = cells[: len(header)]  # noqa: PLW2901 - Excel leaves such tails
            if len(cells) != len(header):
                raise InputError(
                    f"has not {len(header)} cells", path=path, row=number, remedy="correct the row"
                )
            rows.append((number, cells))
    except csv.Error as error:
        raise InputError(f"is not a CSV table ({error})", path=path) from None
    return delimiter, header, rows


def _known(line: str, delimiter: str, known: Callable[[str], bool]) -> int:
    """How many columns of a header are known when it is cut in one way."""
    return sum(map(known, next(csv.reader([line], delimiter=delimiter), [])))

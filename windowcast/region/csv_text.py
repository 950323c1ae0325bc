"""CSV files of a comparison: row by row, or whole columns at a time, many times as fast.

Cells of columns are as Python's ``csv`` writes them; a number that comes often is worded once.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from windowcast.core.atomic_files import atomic_file
from windowcast.core.spreadsheet_cells import as_text
from windowcast.region.dictionary import names_of_columns

PLACES = 4  # of decimals, for people
Cells = list[str]


def write_rows(
    path: Path, rows: Iterable[Sequence[Any]], fields: Sequence[str] | None = None
) -> Path:
    """Write rows under a header, by default that of `dictionary.toml` for a file of this name."""
    with atomic_file(path) as stream:
        text = io.TextIOWrapper(stream, "utf-8", newline="")
        writer = csv.writer(text, lineterminator="\n")
        writer.writerow(fields or names_of_columns(path.name))
        for row in rows:
            writer.writerow([as_text(cell) if isinstance(cell, str) else cell for cell in row])
        text.detach()  # writes out what it holds; the stream is closed by who opened it
    return path


def plain(values: npt.NDArray[Any]) -> list[Any]:
    """Numbers rounded for people, None where there is none."""
    rounded = np.round(values.astype(np.float64), 4)
    cells = rounded.astype(object)
    cells[~np.isfinite(rounded)] = None
    return list(cells.tolist())


def number_cells(values: npt.NDArray[Any]) -> Cells:
    """Numbers rounded to `PLACES`, nothing where there is none; whole numbers if the array is."""
    if values.dtype.kind in "iub":
        return _worded(values, str)
    return _worded(np.round(values.astype(np.float64), PLACES) + 0.0, repr)  # no minus zero


def date_cells(values: npt.NDArray[np.float64]) -> Cells:
    """Days since 1970-01-01 as ISO 8601, nothing where there is none."""
    return _worded(values, lambda day: str(np.datetime64(int(day), "D")))


def _worded(values: npt.NDArray[Any], word: Any) -> Cells:
    distinct, at = np.unique(values, return_inverse=True)
    told = np.isfinite(distinct).tolist()
    texts = [word(v) if known else "" for v, known in zip(distinct.tolist(), told, strict=True)]
    found: Cells = np.array(texts, object)[at.ravel()].tolist()
    return found


def text_cells(values: Iterable[str | int | None]) -> Cells:
    """Texts that no spreadsheet runs, quoted where they must be; nothing for None."""
    quoted: dict[str | int | None, str] = {None: ""}
    found = []
    for value in values:
        if value not in quoted:
            quoted[value] = _quoted(value)
        found.append(quoted[value])
    return found


def _quoted(value: str | int | None) -> str:
    row = io.StringIO()
    csv.writer(row, lineterminator="\n").writerow([as_text(str(value)), ""])
    return row.getvalue()[:-2]  # the second cell keeps an empty text from being quoted


def lines(columns: Sequence[Cells]) -> str:
    """Rows from columns of cells."""
    return "".join(f"{','.join(row)}\n" for row in zip(*columns, strict=True))


def write_csv(path: Path, fields: Sequence[str], parts: Iterable[Sequence[Cells]]) -> Path:
    """A table with a head from parts of some rows each, column by column."""
    with atomic_file(path) as stream:
        stream.write(lines([[name] for name in fields]).encode())
        for columns in parts:
            stream.write(lines(columns).encode())
    return path

"""Writing CSV files whose columns are those of the dictionary."""

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

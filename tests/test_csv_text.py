"""Columns of CSV are what Python's own writer writes row by row."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import numpy as np

from windowcast.region.csv_text import date_cells, lines, number_cells, text_cells, write_csv


def test_cells_are_those_of_the_csv_module() -> None:
    texts = ["plain", "", None, 'with "quotes"', "a, b", "two\nlines", " spaced ", 7, None]
    numbers = np.array([1.0, -0.00001, np.nan, 0.12346, 1e-7, 2.5, -3, 1 / 3, np.inf])
    counts = np.arange(9)
    written = io.StringIO()
    writer = csv.writer(written, lineterminator="\n")
    rounded = [None if not np.isfinite(v) else round(v, 4) + 0.0 for v in numbers.tolist()]
    writer.writerows(zip(texts, rounded, counts.tolist(), strict=True))
    assert lines([text_cells(texts), number_cells(numbers), number_cells(counts)]) == (
        written.getvalue()
    )


def test_no_spreadsheet_runs_a_text_and_none_shows_minus_zero(tmp_path: Path) -> None:
    path = write_csv(
        tmp_path / "t.csv",
        ["name", "change"],
        [(text_cells(["=1+1"]), number_cells(np.array([-1e-9]))), ([], [])],
    )
    assert path.read_text("utf-8") == "name,change\n'=1+1,0.0\n"


def test_dates_are_iso_and_gaps_empty() -> None:
    assert date_cells(np.array([0.0, np.nan, 11016.0])) == ["1970-01-01", "", "2000-02-29"]
    assert date_cells(np.array([np.nan])) == [""]

"""A regular table of plain text, read column by column instead of cell by cell.

Nearly every weather file is ASCII with as many cells in each row. One pass over its bytes then
finds where each cell begins and ends, and a column is a matrix of characters for `numerals`.
"""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from windowcast.weather.numerals import BLANK, Bytes

LONGEST = 24  # characters of a cell that may be a number or a date
_OTHER_LINE_ENDS = "\v\f\x1c\x1d\x1e"  # as ``str.splitlines`` sees them
_NOT_PLAIN = f"{_OTHER_LINE_ENDS}\x1f\0"
_COMMA, _NEWLINE, _RETURN, _QUOTE = (ord(mark) for mark in ',\n\r"')


@dataclass(frozen=True, slots=True)
class Grid:
    """The cells of a table as spans of its characters, without the quotes around them.

    Attributes
    ----------
    start, end
        Where each cell begins, and one past where it ends, ``[column, row]``.
    """

    text: str
    raw: Bytes
    start: npt.NDArray[np.int64]
    end: npt.NDArray[np.int64]

    @classmethod
    def of(cls, text: str, columns: int) -> Grid | None:
        """Find the cells of a table without header.

        Returns
        -------
        Grid or None
            None where a row has not `columns` cells (two or more), is blank, or holds anything
            that the `csv` module might read in another way.
        """
        text = text.rstrip("\r\n")
        if columns < 2 or not text or not text.isascii():
            return None
        if any(mark in text for mark in _NOT_PLAIN):
            return None
        if "\r" in text and text.count("\r") != text.count("\r\n"):
            return None
        raw = np.frombuffer(f"{text}\n".encode("ascii"), dtype=np.uint8)
        newline = raw == _NEWLINE
        breaks = np.flatnonzero(newline | (raw == _COMMA))
        quotes = np.flatnonzero(raw == _QUOTE) if '"' in text else breaks[:0]
        if len(quotes):
            breaks = breaks[np.searchsorted(quotes, breaks) % 2 == 0]
        rows, odd = divmod(len(breaks), columns)
        if odd or not newline[breaks[columns - 1 :: columns]].all() or newline.sum() != rows:
            return None
        end = breaks.reshape(rows, columns).T.copy()
        start = np.roll(breaks, 1).reshape(rows, columns).T.copy() + 1
        start[0, 0] = 0
        end[-1] -= raw[end[-1] - 1] == _RETURN
        if len(quotes):
            quoted = (raw[start] == _QUOTE) & (raw[end - 1] == _QUOTE) & (end - start > 1)
            if 2 * np.count_nonzero(quoted) != len(quotes):
                return None
            start, end = start + quoted, end - quoted
        if (end - start).max() > csv.field_size_limit():
            return None
        return cls(text, raw, start, end)

    def __len__(self) -> int:
        """Number of rows."""
        return len(self.start[0])

    def column(self, index: int) -> list[str]:
        """The cells of a column as text."""
        spans = zip(self.start[index].tolist(), self.end[index].tolist(), strict=True)
        return [self.text[start:end] for start, end in spans]

    def chars(self, index: int) -> Bytes | None:
        """The characters of a column, ``[place, row]``, blanks after the end of a cell.

        None when a cell is longer than `LONGEST`.
        """
        start, length = self.start[index], self.end[index] - self.start[index]
        place = np.arange(max(length.max(), 1))[:, None]
        if len(place) > LONGEST:
            return None
        return np.where(place < length, self.raw.take(start + place, mode="clip"), BLANK)

    def taken(self, rows: Sequence[int] | npt.NDArray[np.int64]) -> Grid:
        """Some of the rows, in the order given."""
        return Grid(self.text, self.raw, self.start[:, rows], self.end[:, rows])

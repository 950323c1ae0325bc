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
from numpy.lib.stride_tricks import sliding_window_view

from windowcast.sources.numerals import BLANK, Bytes, NotPlain

Index = npt.NDArray[np.int64]
LONGEST = 24  # characters of a cell that may be a number, a date or a code
_OTHER_LINE_ENDS = "\v\f\x1c\x1d\x1e"  # as ``str.splitlines`` sees them
_NOT_PLAIN = f"{_OTHER_LINE_ENDS}\x1f\0"
_COMMA, _NEWLINE, _RETURN, _QUOTE = (ord(mark) for mark in ',\n\r"')


@dataclass(frozen=True, slots=True)
class Grid:
    """The cells of a table.

    Attributes
    ----------
    text
        All of it, each row between ends of line, and then `LONGEST` blanks.
    raw
        The same as bytes.
    edges
        Position of the comma or end of line before and after each cell, ``[row, column + 1]``.
    quoted
        Whether any cell has quotes around it, which do not belong to its text.
    """

    text: str
    raw: Bytes
    edges: Index
    quoted: bool

    @classmethod
    def of(cls, text: str, columns: int) -> Grid:
        """Find the cells of a table without header.

        Raises
        ------
        NotPlain
            A row has not `columns` cells (two or more), is blank, or holds anything that the
            `csv` module might read in another way.
        """
        text = text.rstrip("\r\n")
        if columns < 2 or not text.isascii() or any(mark in text for mark in _NOT_PLAIN):
            raise NotPlain
        if "\r" in text and text.count("\r") != text.count("\r\n"):
            raise NotPlain
        text = f"\n{text}\n{' ' * LONGEST}"
        raw = np.frombuffer(text.encode("ascii"), dtype=np.uint8)
        newline = raw == _NEWLINE
        breaks = np.flatnonzero(newline | (raw == _COMMA))
        quotes = np.flatnonzero(raw == _QUOTE) if '"' in text else breaks[:0]
        if len(quotes):
            breaks = breaks[np.searchsorted(quotes, breaks) % 2 == 0]
        rows, odd = divmod(len(breaks) - 1, columns)
        if not rows or odd or np.count_nonzero(newline) != rows + 1:
            raise NotPlain
        edges = sliding_window_view(breaks, columns + 1)[::columns]
        grid = cls(text, raw, edges, bool(len(quotes)))
        if not newline[edges[:, -1]].all() or 2 * grid._quoted_cells() != len(quotes):
            raise NotPlain
        if np.diff(edges[:, [0, -1]]).max() > csv.field_size_limit():
            raise NotPlain
        return grid

    def without_blank_rows(self, first: int) -> tuple[Grid, Sequence[int]]:
        """The rows that hold anything, and the number of each where the first has that number.

        Raises
        ------
        NotPlain
            None does.
        """
        begins = self.raw[self.edges[:, 0] + 1]
        maybe = np.flatnonzero(np.isin(begins, (_COMMA, BLANK, _QUOTE, ord("\t"))))
        blank = [
            row
            for row in maybe.tolist()
            if not self.text[self.edges[row, 0] : self.edges[row, -1]].strip(' \t\r\n,"')
        ]
        if not blank:
            return self, range(first, first + len(self))
        left = np.delete(np.arange(len(self)), blank)
        if not len(left):
            raise NotPlain
        return self.taken(left), (left + first).tolist()

    def __len__(self) -> int:
        """Number of rows."""
        return len(self.edges)

    @property
    def columns(self) -> int:
        """Number of columns."""
        return int(self.edges.shape[1]) - 1

    def spans(self, index: int) -> tuple[Index, Index]:
        """Where each cell of a column begins, and one past where it ends, ``[row]``."""
        start, end = self.edges[:, index] + 1, self.edges[:, index + 1]
        if index == self.columns - 1:
            end = end - (self.raw[end - 1] == _RETURN)
        if self.quoted:
            inside = (self.raw[start] == _QUOTE) & (self.raw[end - 1] == _QUOTE) & (end - start > 1)
            start, end = start + inside, end - inside
        return start, end

    def _quoted_cells(self) -> int:
        if not self.quoted:
            return 0
        starts = (self.spans(i)[0] - self.edges[:, i] - 1 for i in range(self.columns))
        return int(sum(moved.sum() for moved in starts))

    def column(self, index: int) -> list[str]:
        """The cells of a column as text."""
        start, end = self.spans(index)
        return [self.text[a:b] for a, b in zip(start.tolist(), end.tolist(), strict=True)]

    def words(self, index: int) -> npt.NDArray[np.bytes_]:
        """A column of words of one length, ``[row]``.

        Raises
        ------
        NotPlain
            They are not of one length, or longer than `LONGEST`.
        """
        start, end = self.spans(index)
        width = int(end[0] - start[0])
        if not 0 < width <= LONGEST or (end - start != width).any():
            raise NotPlain
        return self._words_at(start, width)

    def chars(self, index: int) -> Bytes:
        """The characters of a column, ``[place, row]``, blanks after the end of a cell.

        Raises
        ------
        NotPlain
            A cell is longer than `LONGEST`.
        """
        start, end = self.spans(index)
        width = max(int((end - start).max(initial=0)), 1)
        if width > LONGEST:
            raise NotPlain
        chars = self._words_at(start, width).view(np.uint8).reshape(-1, width).T
        inside = np.arange(width)[:, None] < end - start
        return np.where(inside, np.ascontiguousarray(chars), BLANK)

    def _words_at(self, start: Index, width: int) -> npt.NDArray[np.bytes_]:
        """So many characters from each place on."""
        everywhere: npt.NDArray[np.bytes_] = np.ndarray(
            len(self.raw) - width + 1, f"S{width}", self.raw.data, strides=(1,)
        )
        return everywhere[start]

    def taken(self, rows: Sequence[int] | npt.NDArray[np.intp]) -> Grid:
        """Some of the rows, in the order given."""
        return Grid(self.text, self.raw, self.edges[rows], self.quoted)

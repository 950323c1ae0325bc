"""Rows that begin on different days, moved so that all begin on the first, and back again."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from windowcast.core.record import FloatArray


@dataclass(frozen=True)
class Spans:
    """Where the record of each row lies on a common axis of days.

    Attributes
    ----------
    first, length
        Index of the first day and number of days, ``[row]``.
    days
        Length of the common axis.
    """

    first: npt.NDArray[np.int64]
    length: npt.NDArray[np.int64]
    days: int

    def own(self, values: FloatArray, after: float = np.nan) -> FloatArray:
        """Values ``[row, day]`` of the common axis, each row from its first day, then `after`."""
        out = np.full((len(values), int(self.length.max())), after)
        for row, (first, length) in enumerate(self._rows()):
            out[row, :length] = values[row, first : first + length]
        return out

    def common(self, values: npt.NDArray[Any], empty: float | bool) -> npt.NDArray[Any]:
        """The reverse of `own`, with `empty` outside a row's days."""
        out = np.full((len(values), self.days), empty, dtype=values.dtype)
        for row, (first, length) in enumerate(self._rows()):
            out[row, first : first + length] = values[row, :length]
        return out

    def _rows(self) -> list[tuple[int, int]]:
        return list(zip(self.first.tolist(), self.length.tolist(), strict=True))

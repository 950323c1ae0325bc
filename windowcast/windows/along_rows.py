"""Values that rise along each row: where they reach what is wanted, for many rows at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from windowcast.core.record import FloatArray


@dataclass(frozen=True)
class Rising:
    """Values that rise along each row, ``[row, place]``, made ready to be looked up often.

    Attributes
    ----------
    x
        The values; nothing is told of a row past its first NaN.
    known
        How many there are before that, ``[row]``.
    top
        Above all of them.
    along
        All rows laid end to end, each above the one before.
    """

    x: FloatArray
    known: npt.NDArray[np.int64]
    top: float
    along: FloatArray

    @classmethod
    def of(cls, x: FloatArray) -> Rising:
        """Made ready."""
        known = np.logical_and.accumulate(np.isfinite(x), axis=-1)
        top = np.max(x, initial=0.0, where=known) + 1.0
        along = np.where(known, x, top) + 2.0 * top * np.arange(len(x))[:, None]
        return cls(x, known.sum(axis=-1), top, along.ravel())

    def places(self, rows: npt.NDArray[np.int64], wanted: FloatArray) -> npt.NDArray[np.int64]:
        """How many values of row `rows` lie at or below `wanted`, none after its first NaN.

        One search finds it over all rows laid end to end, but for what rounding that long axis
        costs; then neighbours are compared, so that a row's answer is exact whatever the others
        hold.
        """
        x, top, most = self.x, self.top, self.known[rows]
        count = x.shape[-1]
        asked = np.clip(np.where(np.isnan(wanted), 0.0, wanted), 0.0, top) + 2.0 * top * rows
        before = np.searchsorted(self.along, asked, side="right") - rows * count
        found: npt.NDArray[np.int64] = np.clip(before, 0, most)
        while True:
            too_few = (found < most) & (x[rows, np.minimum(found, count - 1)] <= wanted)
            too_many = (found > 0) & (x[rows, np.maximum(found - 1, 0)] > wanted)
            if not (too_few | too_many).any():
                return found
            found = found + too_few - too_many


def where_reached(
    x: Rising,
    y: FloatArray,
    rows: npt.NDArray[np.int64],
    wanted: FloatArray,
    *,
    beyond: float | None = None,
) -> FloatArray:
    """`y` where `x`, rising along each row, reaches `wanted`, on straight lines between its values.

    The last `y` (or `beyond`) where it does not get there, the first where it is there at once; NaN
    where `x` is not known so far: nothing is told past its first NaN.

    Parameters
    ----------
    x, y
        ``[row, place]``.
    rows, wanted
        In which row, and what, each is looked for; of one shape, which is that of the result.

    Examples
    --------
    >>> import numpy as np
    >>> from windowcast.windows.along_rows import Rising, where_reached
    >>> x, y = Rising.of(np.array([[0.0, 2.0, 4.0]])), np.array([[10.0, 20.0, 40.0]])
    >>> where_reached(x, y, np.array([0, 0]), np.array([1.0, 3.0])).tolist()
    [15.0, 30.0]
    """
    values = x.x
    low = np.clip(x.places(rows, wanted) - 1, 0, values.shape[-1] - 2)
    begin, before = values[rows, low], y[rows, low]
    part = np.clip((wanted - begin) / (values[rows, low + 1] - begin), 0.0, 1.0)
    found: FloatArray = before + part * (y[rows, low + 1] - before)
    return found if beyond is None else np.where(wanted > values[rows, -1], beyond, found)

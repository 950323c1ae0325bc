"""A barrier on the ground it lies on: what water carries in, what is lost, while what emerges.

Arrays are ``[member, day]``: days of application, half-lives and futures are worked out together.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from windowcast.core.record import FloatArray
from windowcast.windows.loss import Loss, from_start, half_lives_lost, loss_rate, watered_share

SATURATED = 1e-4  # share of the ground still dry that counts as wet with the rest


class Rising(NamedTuple):
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
    >>> from windowcast.windows.exposure import Rising, where_reached
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


@dataclass(frozen=True)
class Barrier:
    """A material as the barrier sees it.

    Attributes
    ----------
    half_life_d
        In the soil at the reference temperature, ``[member]`` or a number.
    activation_mm, activation_days
        Water it needs within how many days; 0 mm where watering-in is sure (irrigation).
    loss
        How it is watered in and lost.
    waiting_per_day
        Half-lives lost for each day at the surface at the reference temperature, beside the soil's.
    dose
        Rate as a share of the usual one, above 0 to 1, ``[member, 1]`` or a number.
    at_once_mm
        Water known to be given right after laying.
    """

    half_life_d: FloatArray | float
    activation_mm: float
    activation_days: int
    loss: Loss
    waiting_per_day: float = 0.0
    dose: FloatArray | float = 1.0
    at_once_mm: float = 0.0

    def of_members(self, some: slice | npt.NDArray[np.int64]) -> Barrier:
        """The barrier in some of the members."""
        life, energy = np.asarray(self.half_life_d), np.asarray(self.loss.energy_kj_mol)
        dose = np.asarray(self.dose)
        return replace(
            self,
            half_life_d=life[some] if life.ndim else self.half_life_d,
            loss=replace(self.loss, energy_kj_mol=energy[some]) if energy.ndim else self.loss,
            dose=dose[some] if dose.ndim else self.dose,
        )

    @property
    def half_lives_held(self) -> FloatArray | np.float64:
        """Half-lives from its dose to the least that still works; negative: it never does."""
        return self.loss.half_lives_held + np.log2(self.dose)


class Surroundings(NamedTuple):
    """What any barrier meets, ``[member, day + 1]``: at each day's start, and after the last day.

    Attributes
    ----------
    soil_c
        As `cover` takes it, ``[member, day]``.
    before
        Share up at the start of each day and at the end of the last.
    fallen, untold
        Rain so far, and how many days so far of which it is not known.
    next_rain
        The next day with rain.
    """

    soil_c: FloatArray
    before: FloatArray
    fallen: FloatArray
    untold: FloatArray
    next_rain: npt.NDArray[np.int64]

    @classmethod
    def of(cls, share: FloatArray, soil_c: FloatArray, rain_mm: FloatArray) -> Surroundings:
        """Of weeds and weather as `cover` takes them."""
        fallen, days = fallen_before(rain_mm), rain_mm.shape[-1]
        wet = np.where(np.diff(fallen, axis=-1) > 0, np.arange(days), days)
        wet = np.concatenate([wet, np.full((len(wet), 2), days)], axis=-1)
        return cls(
            soil_c,
            _share_before(share),
            fallen,
            from_start(np.isnan(rain_mm).astype(np.float64)),
            np.minimum.accumulate(wet[:, ::-1], axis=-1)[:, ::-1],
        )

    def rain_untold(self, barrier: Barrier) -> npt.NDArray[np.bool_]:
        """Days of laying after which no rain is known while it is asked for, ``[member, day]``."""
        days = self.untold.shape[-1] - 1
        if barrier.activation_mm <= barrier.at_once_mm:
            return np.zeros((len(self.untold), days), dtype=bool)
        first = np.arange(1, days + 1)
        until = np.minimum(first + barrier.activation_days, days)
        gone = self.untold[:, until] - self.untold[:, first]
        untold: npt.NDArray[np.bool_] = (gone == until - first) & (until > first)
        return untold


class Watered(NamedTuple):
    """Shares of the ground that are watered in on one day, each of one application.

    Attributes
    ----------
    at
        Which application; none is there twice.
    row, laid
        Its member and day.
    start
        Day from whose start it is watered in.
    """

    at: npt.NDArray[np.intp]
    row: npt.NDArray[np.int64]
    laid: npt.NDArray[np.int64]
    start: npt.NDArray[np.int64]
    share: FloatArray


class Exposure(NamedTuple):
    """A barrier on the ground it lies on.

    `lost` and `waiting` are half-lives lost in the soil, and beside it at the surface, from the
    first day to each day's start, ``[member, day + 1]``.
    """

    ground: Surroundings
    barrier: Barrier
    lost: Rising
    waiting: FloatArray

    @classmethod
    def of(cls, ground: Surroundings, barrier: Barrier) -> Exposure:
        """Of a barrier, on ground that others may share."""
        rate = loss_rate(ground.soil_c, barrier.loss)
        lost = Rising.of(half_lives_lost(rate, barrier.half_life_d))
        return cls(ground, barrier, lost, from_start(rate * barrier.waiting_per_day))

    def caught(self, days: slice = slice(None)) -> tuple[FloatArray, FloatArray]:
        """`caught_by_day`."""
        members, last = self.ground.soil_c.shape
        first, stop, _ = days.indices(last)
        rows, day = np.indices((members, stop - first))
        untold = self.ground.rain_untold(self.barrier)[:, first:stop]
        caught = np.where(untold.ravel(), np.nan, 0.0)
        for new in self.watered(rows.ravel(), day.ravel() + first):
            caught[new.at] += new.share * self.held(new.row, new.laid, new.start)
        return caught.reshape(rows.shape), self.ground.before[:, first:stop]

    def watered(
        self, rows: npt.NDArray[np.int64], laid: npt.NDArray[np.int64]
    ) -> Iterator[Watered]:
        """What is watered in for the first time: at once, then rain by rain.

        Each rain waters in from the day after it.

        Parameters
        ----------
        rows, laid
            Member and day of each application, ``[application]``.
        """
        ground, barrier = self.ground, self.barrier
        need, loss, last = barrier.activation_mm, barrier.loss, ground.soil_c.shape[-1]
        begun = watered_share(np.full(laid.shape, barrier.at_once_mm), need, loss)
        at = np.arange(len(laid))
        yield Watered(at, rows, laid, laid, begun)
        rain_day = ground.next_rain[rows, laid + 1]
        while True:
            goes_on = (rain_day < last) & (begun < 1)
            if not goes_on.any():
                return
            at, rows, laid, begun, rain_day = (
                x[goes_on] for x in (at, rows, laid, begun, rain_day)
            )
            fallen = ground.fallen[rows, rain_day + 1] - ground.fallen[rows, laid + 1]
            watered = watered_share(barrier.at_once_mm + fallen, need, loss)
            watered = np.where(watered < 1 - SATURATED, watered, 1.0)
            yield Watered(at, rows, laid, rain_day + 1, watered - begun)
            begun, rain_day = watered, ground.next_rain[rows, rain_day + 1]

    def end(
        self,
        rows: npt.NDArray[np.int64],
        laid: npt.NDArray[np.int64],
        start: npt.NDArray[np.int64],
    ) -> FloatArray:
        """Half-lives from the first day at which too little is left, ``[application]``."""
        waited = self.waiting[rows, start] - self.waiting[rows, laid]
        held = np.broadcast_to(self.barrier.half_lives_held, (len(self.waiting), 1))[rows, 0]
        end: FloatArray = self.lost.x[rows, laid] + held - waited
        return end

    def held(
        self,
        rows: npt.NDArray[np.int64],
        laid: npt.NDArray[np.int64],
        start: npt.NDArray[np.int64],
    ) -> FloatArray:
        """Emergence while the residual holds on ground laid on one day and active from another."""
        end = self.end(rows, laid, start)
        finish = where_reached(self.lost, self.ground.before, rows, end)
        return np.maximum(finish - self.ground.before[rows, start], 0.0)

    def split(
        self,
        first: npt.NDArray[np.int64],
        second: npt.NDArray[np.int64],
        need_mm: float,
    ) -> FloatArray:
        """`split_caught` of spots that need so much water."""
        lost = self.lost.x
        rows = np.broadcast_to(np.arange(len(lost))[:, None], (len(lost), len(first)))
        held = self.barrier.half_lives_held
        (on1, left1), (on2, left2) = (self.active(rows, day, need_mm) for day in (first, second))
        begun = lost[rows, np.minimum(on2, lost.shape[-1] - 1).astype(np.int64)]
        alone = np.minimum(left1 + held - 1, np.where(on2 < np.inf, begun, np.inf))
        both = np.log2((np.exp2(left1) + np.exp2(left2)) / 2) + held
        early = self._between(rows, on1, alone)
        return early + self._between(rows, on2, both)

    def active(
        self, rows: npt.NDArray[np.int64], laid: npt.NDArray[np.int64], need_mm: float
    ) -> tuple[FloatArray, FloatArray]:
        """Day from whose start a spot is watered in, and what decides how much is left of it."""
        day = np.broadcast_to(laid, rows.shape)
        fallen = self.ground.fallen
        last = fallen.shape[-1] - 1
        start = day.astype(np.float64)
        if need_mm > self.barrier.at_once_mm:
            wanted = fallen[rows, day + 1] + need_mm - self.barrier.at_once_mm
            start = np.stack(
                [np.searchsorted(fallen[m], wanted[m]) for m in range(len(rows))]
            ).astype(np.float64)
            start = np.where(start > last, np.inf, start)
        till = np.minimum(start, last).astype(np.int64)
        waited = self.waiting[rows, till] - self.waiting[rows, day]
        return start, self.lost.x[rows, day] - waited

    def _between(
        self, rows: npt.NDArray[np.int64], start: FloatArray, end_lost: FloatArray
    ) -> FloatArray:
        """Emergence from a day (infinite: never) to an amount of loss."""
        before = self.ground.before
        begin = before[rows, np.minimum(start, before.shape[-1] - 1).astype(np.int64)]
        caught: FloatArray = np.maximum(
            where_reached(self.lost, before, rows, end_lost) - begin, 0.0
        )
        return caught


def fallen_before(rain_mm: FloatArray) -> FloatArray:
    """Rain known to have fallen before the start of each day, ``[member, day + 1]``."""
    return from_start(np.maximum(np.nan_to_num(rain_mm), 0.0))


def _share_before(share: FloatArray) -> FloatArray:
    """Share up at the start of each day and at the end of the last, ``[member, day + 1]``."""
    first = np.maximum(2 * share[:, :1] - share[:, 1:2], 0.0)
    return np.concatenate([np.minimum(first, share[:, :1]), share], axis=-1)

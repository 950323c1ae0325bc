"""The best that could have been done in a season, with its weather known beforehand.

Days, hours, turf and weeds are those that came; the limits are those of an answer. Each purpose is
used once at most. Dates are chosen by what they are worth on average over a season's worlds
(`windowcast.verify.worth`), winter annuals and summer grasses counting half each: added one by one
where they bring most, then moved, one at a time and two at a time, until no move helps.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import numpy.typing as npt

from windowcast.core.record import FloatArray
from windowcast.limits.model import STATE, Limit
from windowcast.season.observed import Applied
from windowcast.verify.sprays import Done, Tank
from windowcast.verify.worth import FALL, SPRING, Worlds
from windowcast.windows.model import PurposeName
from windowcast.windows.purposes import purpose_of
from windowcast.windows.score import Block

HARDLY_ANY = 1e-6  # of a weed's season on a day, which counts as none; sums of less are slow
LEAST_GAIN = 0.01  # of all weeds, that one more application must bring
CANOPY_LOOK, STATE_UNKNOWN = "canopy look", "limit.state_unknown"
Choice = tuple[PurposeName, int]  # a purpose and which of its days
Asked = tuple[tuple[PurposeName, ...], frozenset[Choice]]  # whose days beside what is chosen


@dataclass(frozen=True)
class Candidates:
    """Days on which one purpose could go out, as they came.

    Attributes
    ----------
    survive
        EPPO code → share of each day's seedlings that it leaves, ``[candidate, draw · day]``.
    """

    dates: tuple[dt.date, ...]
    blocks: tuple[Block, ...]
    survive: Mapping[str, npt.NDArray[np.float32]]


@dataclass(frozen=True)
class Hindsight:
    """All that could have been done in a season, with what each of it leaves of the weeds.

    Attributes
    ----------
    emerging
        EPPO code → what it adds to the mean of all weeds, ``[draw · day]``; it sums up to the
        weed's part of 1.
    """

    worlds: Worlds
    tanks: Mapping[PurposeName, Tank]
    could: Mapping[PurposeName, Candidates]
    emerging: Mapping[str, npt.NDArray[np.float32]]

    @classmethod
    def of(cls, worlds: Worlds, tanks: Mapping[PurposeName, Tank]) -> Hindsight:
        """Of a season and the tank of each purpose."""
        parts: dict[str, slice] = {}
        emerging = {}
        for season in (FALL, SPRING):
            own = worlds.emerging(season)
            for code, rows in own.items():
                days = np.flatnonzero((rows >= HARDLY_ANY).any(axis=0))
                parts[code] = slice(int(days[0]), int(days[-1]) + 1)
                weight = 1.0 / (2 * len(own) * worlds.draws)
                part = np.where(rows[:, parts[code]] < HARDLY_ANY, 0.0, rows[:, parts[code]])
                emerging[code] = (part * weight).ravel().astype(np.float32)
        could = {name: _candidates(worlds, name, tank, parts) for name, tank in tanks.items()}
        return cls(worlds, tanks, {n: c for n, c in could.items() if c.dates}, emerging)

    def done(self, choices: Sequence[Choice]) -> tuple[Done, ...]:
        """The applications of some choices, by date."""
        found = []
        for name, at in choices:
            of = self.could[name]
            applied = watered_in(self.worlds, name, self.tanks[name], of.dates[at])
            found.append(Done(applied, *self.worlds.hours.span(of.blocks[at])))
        return tuple(sorted(found, key=lambda one: one.start))

    def value(self, choices: Sequence[Choice]) -> float:
        """Mean share of all weeds controlled, 0..1; 0 where no weed has a curve."""
        whole = float(sum(rows.sum() for rows in self.emerging.values()))
        left = float(sum(rest.sum() for rest in self._left(choices).values()))
        return 1.0 - left / whole if whole else 0.0

    def best(self, most: int, least_gain: float = LEAST_GAIN) -> tuple[Choice, ...]:
        """The best choices, so many at most, each of which brings at least so much."""
        chosen: tuple[Choice, ...] = ()
        reached = 0.0
        answered: dict[Asked, tuple[int, ...]] = {}
        for _ in range(min(most, len(self.could))):
            starts = [(*chosen, (name, -1)) for name in self.could if name not in _names(chosen)]
            found = max((self._moved(start, answered) for start in starts), key=self.value)
            gain = self.value(found) - reached
            if gain <= max(least_gain, 1e-7):
                break
            chosen, reached = found, reached + gain
        return chosen

    def _moved(
        self, choices: tuple[Choice, ...], answered: dict[Asked, tuple[int, ...]]
    ) -> tuple[Choice, ...]:
        """Choices moved one and two at a time until none is better; day -1: not yet chosen.

        Parameters
        ----------
        answered
            The best days beside others that were looked for before; more are added.
        """
        found = list(choices)
        value = -1.0
        while True:
            for n, (name, _) in enumerate(found):
                others = [c for c in found if c is not found[n] and c[1] >= 0]
                (day,) = self._best_days((name,), others, answered)
                found[n] = name, day
            for one, other in combinations(range(len(found)), 2):
                others = [c for n, c in enumerate(found) if n not in (one, other)]
                names = found[one][0], found[other][0]
                days = self._best_days(names, others, answered)
                found[one], found[other] = zip(names, days, strict=True)
            new = self.value(found)
            if new <= value + 1e-7:
                return tuple(found)
            value = new

    def _best_days(
        self,
        names: tuple[PurposeName, ...],
        others: list[Choice],
        answered: dict[Asked, tuple[int, ...]],
    ) -> tuple[int, ...]:
        """The days of one or two purposes that leave least beside others."""
        asked = names, frozenset(others)
        if asked not in answered:
            one, *other = names
            left = self._pairs(one, other[0], others) if other else self._each(one, others)
            at = np.unravel_index(int(np.argmin(left)), left.shape)
            answered[asked] = tuple(map(int, at))
        return answered[asked]

    def _left(self, choices: Sequence[Choice]) -> dict[str, npt.NDArray[np.float32]]:
        left = dict(self.emerging)
        for name, at in choices:
            left = {code: rows * self.could[name].survive[code][at] for code, rows in left.items()}
        return left

    def _each(self, name: PurposeName, others: Sequence[Choice]) -> FloatArray:
        """What is left with each day of a purpose beside others, ``[candidate]``."""
        found: FloatArray = np.zeros(len(self.could[name].dates))
        for code, rest in self._left(others).items():
            found += self.could[name].survive[code] @ rest
        return found

    def _pairs(self, one: PurposeName, other: PurposeName, others: Sequence[Choice]) -> FloatArray:
        """What is left with each pair of days of two purposes beside others."""
        a, b = self.could[one], self.could[other]
        found: FloatArray = np.zeros((len(a.dates), len(b.dates)))
        for code, rest in self._left(others).items():
            found += (a.survive[code] * rest) @ b.survive[code].T
        return found


def foresight(
    worlds: Worlds,
    tanks: Mapping[PurposeName, Tank],
    most: int,
    *,
    least_gain: float = LEAST_GAIN,
) -> tuple[Done, ...]:
    """The best applications in hindsight, by date.

    Parameters
    ----------
    tanks
        What goes out for each purpose.
    most
        Applications at most.
    least_gain
        Share of all weeds that each must bring beside the others.
    """
    hindsight = Hindsight.of(worlds, tanks)
    return hindsight.done(hindsight.best(most, least_gain))


def watering_mm(worlds: Worlds, purpose: PurposeName, tank: Tank) -> float | None:
    """What a pre-emergent is watered in with where the ground can be, as its label asks [mm]."""
    if not worlds.site.turf.irrigated or not purpose_of(purpose, worlds.tables).barrier:
        return None
    return worlds.hours.needs([name for name, _ in tank]).activation_mm


def watered_in(worlds: Worlds, purpose: PurposeName, tank: Tank, date: dt.date) -> Applied:
    """A tank that goes out on a date, watered in the same day where it is to be and can be."""
    water = watering_mm(worlds, purpose, tank)
    return Applied(date, purpose, tank, water, None if water is None else date)


def _names(choices: Sequence[Choice]) -> set[PurposeName]:
    return {name for name, _ in choices}


def _candidates(
    worlds: Worlds, purpose: PurposeName, tank: Tank, parts: Mapping[str, slice]
) -> Candidates:
    names = [name for name, _ in tank]
    in_season = worlds.hours.scores(purpose, names).scores["season_months"][0] > 0
    blocks = {
        date: block
        for date, block in worlds.hours.workable(purpose, names).items()
        if in_season[block.start] and allowed(worlds, tank, date)
    }
    days = np.array([worlds.index(date) for date in blocks], dtype=np.int64)
    kept = [worlds.hours.kept(purpose, names, block) for block in blocks.values()]
    water = watering_mm(worlds, purpose, tank) or 0.0
    left = worlds.survivors(tank, days, kept, rain_mm=worlds.rain_mm, at_once_mm=water)
    survive = {
        code: np.stack([one[code][:, part] for one in left])
        .reshape(len(left), -1)
        .astype(np.float32)
        for code, part in parts.items()
    } if left else {}  # fmt: skip
    return Candidates(tuple(blocks), tuple(blocks.values()), survive)


def allowed(worlds: Worlds, tank: Tank, date: dt.date) -> bool:
    """Whether a tank may go out on a date, for one who knows the canopy of the world lived in.

    The limits must say yes, and no more of the worlds may be hurt than are allowed anywhere. Where
    the limits only wait for a look into the canopy, there must be no live leaf within the margin.
    """
    answer, turf = worlds.permits(tank, date), worlds.tables["turf"]
    harm = worlds.hurt_chance(Applied(date, "", tank))
    if answer.answer == "no" or harm > turf.number("safety.harm_cap"):
        return False
    untold = [limit for limit in answer.limits if limit.answer == "cannot tell"]
    if not all(map(_waits_for_look, untold)):
        return False
    ahead = [date + dt.timedelta(days=n) for n in range(int(turf.number("safety.margin")))]
    return not untold or not any(map(worlds.green_on, ahead))


def _waits_for_look(limit: Limit) -> bool:
    return limit.rule == CANOPY_LOOK or (limit.rule == STATE and limit.reason.id == STATE_UNKNOWN)

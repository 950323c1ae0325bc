"""What the state of the turf allows: the chance of harm, its cap, and the days on which it holds.

State and permission are two things: turf may be dormant with a chance of 82 % and yet not safe.
One function, `permitted`, draws the line for every answer.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, fields, replace

import numpy as np
import numpy.typing as npt

from windowcast.core.record import DateArray, FloatArray
from windowcast.core.values import Table
from windowcast.season.model import TurfPhase, TurfState

GREEN_FROM = 0.5  # chance of live leaf from which the turf's phase is no longer dormant
GOLDEN = (5.0**0.5 - 1.0) / 2.0


@dataclass(frozen=True, slots=True)
class Safety:
    """What a permission goes by; see ``data/turf.toml``.

    Attributes
    ----------
    margin_days
        Days from the application on in which live leaf is hurt.
    harm_cap
        Greatest chance of harm with which a non-selective may be used, 0..1.
    begun
        Chance from which green-up counts as begun, 0..1.
    look_from
        Share of the futures in which it has begun from which someone must look, 0..1.
    """

    margin_days: int
    harm_cap: float
    begun: float
    look_from: float

    @classmethod
    def of(cls, turf: Table) -> Safety:
        """From a table such as ``data/turf.toml``."""
        return cls(
            margin_days=int(turf.number("safety.margin")),
            harm_cap=turf.number("safety.harm_cap"),
            begun=turf.number("greenup.begun"),
            look_from=turf.number("safety.look_from"),
        )


def injury_probability(green: FloatArray, safety: Safety) -> FloatArray:
    """Chance that a non-selective product sprayed on a day hurts the turf, ``[..., day]``.

    It hurts where live leaf is there on the day or comes within the published margin. The worlds
    with leaf on one day of so short a span are nearly the same as on another, so that the greatest
    chance within it counts.

    Parameters
    ----------
    green
        Chance of live leaf, ``[..., day]``, NaN where it cannot be told.
    safety
        The margin, and the cap.

    Returns
    -------
    FloatArray
        NaN where a day of the margin is not known and those known do not pass the cap; where they
        do, the least that it is.

    References
    ----------
    Xiong, Diesburg & Lloyd (2013) for the margin; see ``data/turf.toml``, table ``safety``.

    Examples
    --------
    Leaf that is likely in ten days already counts today; beyond the known days it is unknown:

    >>> import numpy as np
    >>> from windowcast.core.values import PACKAGED
    >>> from windowcast.season.turf_safety import Safety, injury_probability
    >>> safety = Safety.of(PACKAGED["turf"])
    >>> green = np.zeros(40)
    >>> green[10:] = 0.8
    >>> injury_probability(green, safety)[[0, 20]]
    array([0.8, 0.8])
    >>> injury_probability(np.zeros(40), safety)[[0, 39]]
    array([ 0., nan])
    """
    whole = _greatest_ahead(green, safety.margin_days, np.nan)  # NaN where any day is
    least = _greatest_ahead(np.nan_to_num(green, nan=-1.0), safety.margin_days, -1.0)
    return np.where(np.isnan(whole) & (least > safety.harm_cap), least, whole)


def _greatest_ahead(values: FloatArray, days: int, after: float) -> FloatArray:
    """Greatest value of `days` from each on, ``[..., day]``; `after` stands behind the last.

    NaN where any is. Spans of 1, 2, 4 … days are put together, so that few passes are needed.
    """
    tail = np.full((*values.shape[:-1], days - 1), after)
    found = np.concatenate([values, tail], axis=-1)
    span = 1
    while span < days:
        step = min(span, days - span)
        found = np.maximum(found[..., :-step], found[..., step:])
        span += step
    return found


def permitted(
    injury: FloatArray,
    begun: FloatArray,
    safety: Safety,
    *,
    unseen: npt.NDArray[np.bool_] | bool = False,
) -> FloatArray:
    """1 where the turf's state allows a non-selective product, 0 where not, NaN: cannot tell.

    Parameters
    ----------
    injury
        Chance of harm, ``[..., day]``; above the cap it is a no.
    begun
        Chance that green-up has begun this season. Once it likely has, only a look into the
        canopy can tell, whatever frost came after it.
    safety
        The cap, and from when green-up counts as begun.
    unseen
        Days on which only a look could tell and nobody has looked, ``[..., day]``.

    Examples
    --------
    Harmless, harmful, and green-up that may have begun:

    >>> import numpy as np
    >>> from windowcast.core.values import PACKAGED
    >>> from windowcast.season.turf_safety import Safety, permitted
    >>> safety = Safety.of(PACKAGED["turf"])
    >>> permitted(np.array([0.0, 0.5, 0.0]), np.array([0.0, 0.0, 0.9]), safety)
    array([ 1.,  0., nan])
    """
    blind = np.isnan(injury) | (begun >= safety.begun) | np.isnan(begun) | unseen
    return np.select([injury > safety.harm_cap, blind], [0.0, np.nan], 1.0)


def over_futures(
    turf: TurfState, dates: DateArray, safety: Safety, *, issued: bool = True
) -> TurfState:
    """The state in which all futures share one permission: by the chance of harm over them all.

    Row 0, the forecast as issued, is not counted where there are others; without `issued` there is
    no such row.
    """
    if turf.injury_probability.ndim < 2:
        return turf
    if not issued:  # every row is a future: the row left out of the count is made up
        first = replace(turf, **{n: _doubled(getattr(turf, n)) for n in _COUNTED})  # type: ignore[arg-type]
        pooled = over_futures(first, dates, safety)
        return replace(
            turf,
            nonselective_safe=pooled.nonselective_safe[1:],
            earliest_greenup=pooled.earliest_greenup,
        )
    begun = _futures(turf.greening_begun).mean(axis=0)
    unseen = _futures(turf.unseen.astype(np.float64)).mean(axis=0) > safety.harm_cap
    safe = permitted(mean_injury(turf.injury_probability, safety), begun, safety, unseen=unseen)
    return replace(
        turf,
        nonselective_safe=np.broadcast_to(safe, turf.injury_probability.shape),
        earliest_greenup=earliest_greenup(dates, turf.greening_begun, safety),
    )


def stricter(one: TurfState, other: TurfState) -> TurfState:
    """The turf as the more careful of two sets of the same futures has it, world by world.

    Of each world and day the greater chance of leaf, of harm and of a green-up begun counts, and
    the phase that permits less; what one of them does not know is unknown.
    """
    return replace(
        one,
        phase=np.where(_heed(other.phase) > _heed(one.phase), other.phase, one.phase),
        dormant_probability=np.minimum(one.dormant_probability, other.dormant_probability),
        green_probability=np.maximum(one.green_probability, other.green_probability),
        half_green_probability=np.maximum(one.half_green_probability, other.half_green_probability),
        greening_begun=np.maximum(one.greening_begun, other.greening_begun),
        injury_probability=np.maximum(one.injury_probability, other.injury_probability),
        days_to_greenup=np.fmin(one.days_to_greenup, other.days_to_greenup),
        nonselective_safe=np.minimum(one.nonselective_safe, other.nonselective_safe),
        unseen=one.unseen | other.unseen,
    )


def freer(one: TurfState, other: TurfState) -> TurfState:
    """The turf as `one` has it, on days that only `other` permits as `other` has it."""
    opened = (other.nonselective_safe == 1.0) & (one.nonselective_safe != 1.0)
    by_day = (field.name for field in fields(one) if field.name not in _NOT_BY_DAY)
    taken = {n: np.where(opened, getattr(other, n), getattr(one, n)) for n in by_day}
    return replace(one, **taken)


_NOT_BY_DAY = ("earliest_greenup",)
_CAREFUL = (  # what permits most, first
    TurfPhase.DORMANT, TurfPhase.HARDENING, TurfPhase.GROWING, TurfPhase.UNKNOWN,
    TurfPhase.GREENING,
)  # fmt: skip


def _heed(phase: npt.NDArray[np.int8]) -> npt.NDArray[np.int64]:
    """How little each phase permits, as a rank."""
    ranks = np.zeros(len(_CAREFUL), dtype=np.int64)  # the code -1 is its last entry
    for rank, code in enumerate(_CAREFUL):
        ranks[int(code)] = rank
    return ranks[phase]


_COUNTED = ("injury_probability", "greening_begun", "unseen")


def _doubled(rows: npt.NDArray[np.generic]) -> npt.NDArray[np.generic]:
    """``[member, day]`` with its first row once more in front."""
    return np.concatenate([rows[:1], rows])


def mean_injury(injury: FloatArray, safety: Safety) -> FloatArray:
    """Chance of harm over the futures ``[member, day]``, ``[day]``.

    NaN where futures that cannot be told decide whether it passes the cap.

    Examples
    --------
    Row 0 is the forecast as issued, which is not counted:

    >>> import numpy as np
    >>> from windowcast.core.values import PACKAGED
    >>> from windowcast.season.turf_safety import Safety, mean_injury
    >>> injury = np.array([[0.0, 0.0], [0.2, 0.0], [0.4, np.nan]])
    >>> mean_injury(injury, Safety.of(PACKAGED["turf"]))
    array([0.3, nan])
    """
    rows = _futures(np.atleast_2d(injury))
    least = np.nan_to_num(rows, nan=0.0).mean(axis=0)
    most = np.nan_to_num(rows, nan=1.0).mean(axis=0)
    cap = safety.harm_cap
    return np.select([least > cap, most <= cap], [least, most], np.nan)


def earliest_greenup(dates: DateArray, begun: FloatArray, safety: Safety) -> dt.date | None:
    """First day on which green-up has begun in a tenth of the futures ``[member, day]``."""
    share = _futures(np.atleast_2d(begun)).mean(axis=0)
    reached = np.flatnonzero(share >= safety.look_from)
    if not reached.size:
        return None
    date: dt.date = dates[reached[0]].astype("datetime64[D]").astype(object)
    return date


def brown_in(green: FloatArray) -> FloatArray:
    """1 where turf has no live leaf in a member's own world, 0 where it has, ``[member, day]``.

    Each member stands for one possible world, spread evenly over the chance of leaf, so that
    dates taken member by member spread as widely as weather and models leave them open. Without
    members the middle world counts. NaN stays NaN.
    """
    rows = green.shape[0] if green.ndim > 1 else 1
    place = (GREEN_FROM + GOLDEN * np.arange(rows)) % 1.0
    own = place[:, None] if green.ndim > 1 else place[0]
    return np.where(np.isnan(green), np.nan, (green < own).astype(np.float64))


def _futures(rows: FloatArray) -> FloatArray:
    return rows[1:] if len(rows) > 1 else rows

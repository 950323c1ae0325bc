"""One season as one axis: what has passed of it, then the members ahead."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from windowcast.core.record import DateArray, FloatArray, Record
from windowcast.core.season_calendar import season_day, season_start
from windowcast.core.values import PACKAGED, Table, Tables
from windowcast.season.model import Emergence, SiteState, TurfState
from windowcast.season.turf import days_to_greenup
from windowcast.season.turf_safety import Safety, injury_probability, over_futures
from windowcast.windows.score import Rule

SEASON_DAYS = 365
BEYOND_DAYS = 62  # past the season's end, so that spring barriers are seen out
WHOLE = 360  # days from which a past season counts as whole
_EMERGENCE = ("share", "share_low", "share_high", "youngest_share", "mean_leaf")
_TURF = (
    "phase",
    "dormant_probability",
    "green_probability",
    "half_green_probability",
    "greening_begun",
    "unseen",
    "days_since_dormant",
)
_SOIL = ("soil_5cm_c", "soil_10cm_c", "soil_moisture", "soil_frozen")


@dataclass(frozen=True)
class SeasonAxis:
    """The running season.

    Attributes
    ----------
    state
        State from the season's first day (as far as the record knows it) to the last day ahead,
        ``[member, day]``, without the forecast as issued; degree days are left out.
    number
        Days since the season began, ``[day]``; runs on past a year where the days ahead do.
    start
        First day of the season.
    gone
        How many of the days lie before today.
    year_of
        Past year behind each member, ``[member]``; None when each member stands for itself.
    tables
        The science values to go by.
    """

    past: SiteState
    state: SiteState
    number: FloatArray
    start: dt.date
    gone: int
    year_of: npt.NDArray[np.int64] | None = None
    tables: Tables = PACKAGED

    @property
    def dates(self) -> DateArray:
        """Local dates, ``[day]``."""
        return self.state.dates

    @classmethod
    def of(
        cls,
        past: SiteState,
        ahead: SiteState,
        *,
        southern: bool,
        overseeded: bool | None,
        year_of: npt.NDArray[np.int64] | None = None,
        tables: Tables = PACKAGED,
    ) -> SeasonAxis:
        """The season today lies in; `overseeded` turf is never safe, None: it is not known."""
        today: dt.date = ahead.dates[0].astype("datetime64[D]").astype(object)
        start = season_start(today, southern=southern)
        gone = int((past.dates >= np.datetime64(start)).sum())
        state = _joined(past, ahead, gone, overseeded, tables["turf"])
        number = (state.dates - np.datetime64(start)).astype(np.float64)
        return cls(past, state, number, start, gone, year_of, tables)

    def daily(self, record: Record, name: str, ahead: FloatArray) -> FloatArray:
        """Daily values of the record, then those `ahead`, on the axis, ``[member, day]``."""
        at = (self.past.dates - record.times[0]).astype(int)
        return joined(record.get(name)[at], ahead, self.gone)

    def past_seasons(self, *, southern: bool) -> Iterator[tuple[dt.date, slice]]:
        """First day of each whole past season, and its days on the past's axis.

        The last ones only, as many as a normal rests on: older ones had another climate.
        """
        number = season_day(self.past.dates, southern=southern)
        season = np.cumsum(np.diff(number, prepend=number[:1]) < 0)
        first = np.searchsorted(season, np.unique(season))
        whole = [
            (begin, end)
            for begin, end in zip(first, np.append(first[1:], len(season)), strict=True)
            if end - begin >= WHOLE and self.past.dates[begin] < np.datetime64(self.start)
        ]
        for begin, end in whole[-Rule.of(self.tables["criteria"]).normal_years :]:
            day = self.past.dates[begin] - np.timedelta64(int(number[begin]), "D")
            yield day.astype("datetime64[D]").astype(object), slice(begin, end)


def joined(past: npt.NDArray[Any], ahead: npt.NDArray[Any], gone: int) -> npt.NDArray[Any]:
    """The last `gone` days of the past before each future, ``[member, day]``.

    Parameters
    ----------
    past, ahead
        ``[day]`` and ``[member, day]``; member 0, the forecast as issued, is left out.
    """
    rows = np.atleast_2d(ahead)
    rows = rows[1:] if len(rows) > 1 else rows
    before = past[len(past) - gone :]
    return np.concatenate([np.broadcast_to(before, (len(rows), gone)), rows], axis=1)


def _joined(
    past: SiteState, ahead: SiteState, gone: int, overseeded: bool | None, values: Table
) -> SiteState:
    def fields(before: Any, after: Any, names: tuple[str, ...]) -> dict[str, npt.NDArray[Any]]:
        return {n: joined(getattr(before, n), getattr(after, n), gone) for n in names}

    emergence = {
        code: replace(weed, **fields(past.emergence[code], weed, _curves(weed)))  # type: ignore[arg-type]
        for code, weed in ahead.emergence.items()
    }
    soil = fields(past, ahead, _SOIL)
    if ahead.so_far is not None:
        for code, weed in ahead.so_far.emergence.items():
            for name in _curves(weed):
                _put_before(getattr(emergence[code], name), getattr(weed, name), gone)
        for name in ("soil_5cm_c", "soil_10cm_c"):
            _put_before(soil[name], getattr(ahead.so_far, name), gone)
    turf = replace(ahead.turf, **fields(past.turf, ahead.turf, _TURF))  # type: ignore[arg-type]
    # the past alone does not know when the green-up after it comes; with the days ahead it does
    dates = np.concatenate([past.dates[len(past.dates) - gone :], ahead.dates])
    safety = Safety.of(values)
    turf = replace(
        turf,
        injury_probability=injury_probability(turf.green_probability, safety),
        days_to_greenup=days_to_greenup(turf.half_green_probability),
    )
    issued = len(np.atleast_2d(ahead.turf.phase)) == len(turf.phase)  # `joined` leaves it out
    turf = on_ground(over_futures(turf, dates, safety, issued=issued), overseeded)
    return SiteState(
        dates=dates.astype("datetime64[D]"),
        degree_days={},
        emergence=emergence,
        turf=turf,
        used=ahead.used,
        notes=ahead.notes,
        substitutes=past.substitutes,
        **soil,  # type: ignore[arg-type]
    )


def _curves(weed: Emergence) -> tuple[str, ...]:
    """What a weed has by day."""
    by_air = ("first_by_air", "sets_by_air")
    return (*_EMERGENCE, *(name for name in by_air if getattr(weed, name) is not None))


def _put_before(axis: npt.NDArray[Any], so_far: npt.NDArray[Any], gone: int) -> None:
    """Lay the last days before today over an axis, as each future has them, in place.

    Parameters
    ----------
    axis
        ``[member, day]`` without the forecast as issued; `gone` of the days lie before today.
    so_far
        ``[1 + member, any day]`` up to yesterday.
    """
    days = min(gone, so_far.shape[-1])
    rows = so_far[1:] if len(so_far) > 1 else so_far
    axis[:, gone - days : gone] = rows[:, so_far.shape[-1] - days :]


def on_ground(turf: TurfState, overseeded: bool | None) -> TurfState:
    """The turf's state where a grass was sown into it, for dates that are planned by it.

    What was sown is always hurt; where nobody says, no day is known to be safe.
    """
    safe = turf.nonselective_safe
    if overseeded is None:
        return replace(turf, nonselective_safe=np.where(safe == 1, np.nan, safe))
    if not overseeded:
        return turf
    hurt = np.ones(turf.injury_probability.shape)
    return replace(turf, injury_probability=hurt, nonselective_safe=np.zeros(safe.shape))

"""What the state of a site is: the data that flows from `season` to `windows`.

All arrays end in a day axis that matches ``SiteState.dates``; leading axes are members (and,
for many sites, stations). With one deterministic run there is no leading axis.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, is_dataclass, replace
from enum import IntEnum
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from windowcast.core.frames import grid_of, table_of
from windowcast.core.phrase import Phrase
from windowcast.core.record import DateArray, FloatArray
from windowcast.core.values import Value

if TYPE_CHECKING:
    import pandas as pd
    import xarray as xr


class TurfPhase(IntEnum):
    """Where warm-season turf stands in its year."""

    UNKNOWN = -1
    GROWING = 0
    HARDENING = 1  # cooling, losing colour
    DORMANT = 2
    GREENING = 3


@dataclass(frozen=True)
class TurfState:
    """Turf through the season: what it is, and what it allows.

    Attributes
    ----------
    phase
        `TurfPhase` codes, ``int8 [..., day]``.
    dormant_probability
        Chance that the turf looks dormant: less than half of it green, 0..1, ``[..., day]``; NaN
        when it cannot be told, 0 on overseeded turf. That is the state; what it allows is
        `nonselective_safe`.
    green_probability
        Chance that live leaf of the turf is there, model error counted, ``[..., day]``; an
        overseeding is left out.
    half_green_probability
        Chance that at least half of it is green: what is seen from above, ``[..., day]``.
    greening_begun
        Chance that green-up has begun this season, ``[..., day]``; days that cannot be told count
        as those on which it may have. A look that finds no live shoot sets it back to 0.
    injury_probability
        Chance that a non-selective sprayed that day hurts: live leaf there, or green-up within the
        published margin, ``[..., day]``; see `windowcast.season.turf_safety`.
    days_since_dormant, days_to_greenup
        Days since dormancy began / until green-up, as seen from above; NaN outside, ``[..., day]``.
    nonselective_safe
        1 where a non-selective product is safe by the turf's state, 0 where not, NaN where it
        cannot be told, ``[..., day]``. Overseeded turf is never safe.
    unseen
        Days on which only a look into the canopy could tell and nobody has looked, ``[..., day]``.
    earliest_greenup
        First day on which green-up has begun in a tenth of the futures; None without futures, or
        when it does not come within them.
    """

    phase: npt.NDArray[np.int8]
    dormant_probability: FloatArray
    green_probability: FloatArray
    half_green_probability: FloatArray
    greening_begun: FloatArray
    injury_probability: FloatArray
    days_since_dormant: FloatArray
    days_to_greenup: FloatArray
    nonselective_safe: FloatArray
    unseen: npt.NDArray[np.bool_]
    earliest_greenup: dt.date | None = None


@dataclass(frozen=True)
class Emergence:
    """Emergence of one weed through its season.

    Attributes
    ----------
    share, share_low, share_high
        Emerged share of the season's total, 0..1, with the 10 and 90 % band, ``[..., day]``; resets
        to 0 at the weed's biofix date; NaN where the weather is missing.
    youngest_share
        Share of the plants up that are still in the stages early post-emergence products
        work on, 0..1, ``[..., day]``.
    mean_leaf
        Mean number of leaves that a plant of mean age has unfolded on an untillered shoot,
        ``[..., day]``; 0 while nothing is up. For stages see `mean_bbch`.
    share_prior
        `share` before any scouting count, ``[..., day]``.
    stages
        Share of the plants up in each span of BBCH stages, ``[..., day]``.
    tillering_leaf
        Leaves at which tillering begins.
    first_by_air
        Degree days of air over what the first plants take by a rule of air temperature, apart from
        the curve: from 1 on they may be up, ``[..., day]``; None where there is no such rule.
    sets_by_air
        The same of the first seed, burs or seedheads.
    doubt_weeks
        Weeks by which the dates of a general clock may be off; 0 for a published curve.
    """

    weed: str  # EPPO code, e.g. "POAAN"
    name: str
    season: str  # "fall" or "spring"
    share: FloatArray
    share_low: FloatArray
    share_high: FloatArray
    youngest_share: FloatArray
    mean_leaf: FloatArray
    share_prior: FloatArray | None = None
    stages: Mapping[str, FloatArray] = field(default_factory=dict)
    tillering_leaf: float = 4.0
    first_by_air: FloatArray | None = None
    sets_by_air: FloatArray | None = None
    doubt_weeks: float = 0.0

    def days(self, part: slice) -> Emergence:
        """The curve on some of its days."""
        names = ("share", "share_low", "share_high", "youngest_share", "mean_leaf")
        cut: dict[str, Any] = {name: getattr(self, name)[..., part] for name in names}
        for name in ("share_prior", "first_by_air", "sets_by_air"):
            if (values := getattr(self, name)) is not None:
                cut[name] = values[..., part]
        stages = {name: share[..., part] for name, share in self.stages.items()}
        return replace(self, stages=stages, **cut)

    def as_far_as(self, curve: bool, air: bool) -> Emergence:
        """The same with what cannot be used as unknown: the curve, the rule of air temperature."""
        names = ("share", "share_low", "share_high", "share_prior", "youngest_share", "mean_leaf")
        blank = (() if curve else names) + (() if air else ("first_by_air",))
        untold: dict[str, Any] = {
            name: np.full_like(values, np.nan)
            for name in blank
            if (values := getattr(self, name)) is not None
        }
        if not curve:
            none = {name: np.full_like(share, np.nan) for name, share in self.stages.items()}
            untold["stages"] = none
        return replace(self, **untold)

    @property
    def mean_bbch(self) -> FloatArray:
        """Mean BBCH stage of the plants up: 10 + leaves, from tillering on 20 + tillers."""
        tillers = self.mean_leaf - self.tillering_leaf + 1.0
        return np.where(
            self.mean_leaf < self.tillering_leaf,
            10.0 + self.mean_leaf,
            20.0 + np.minimum(tillers, 9.0),
        )


@dataclass(frozen=True, slots=True)
class Substitute:
    """What stands in for an input that is unknown on some days, and what that costs.

    Attributes
    ----------
    variable
        The input, a name of `windowcast.core.record`.
    origin
        Where the values come from: a coarse "grid", "own_years", "stations" around, or "range" of
        the temperature.
    days, of_days
        Days of late without it, and how many were looked at.
    none_known
        Most of the whole record lacks it.
    soil_sd_c
        Standard deviation that it adds to the modelled soil at 5 cm on the last day [°C].
    date_days
        Nine of ten dates move by no more than so many days.
    """

    variable: str
    origin: str
    days: int
    of_days: int
    none_known: bool
    soil_sd_c: float
    date_days: int


@dataclass(frozen=True)
class SoFar:
    """The last days before those ahead as each future has them: the models err in them too.

    Attributes
    ----------
    soil_5cm_c, soil_10cm_c
        ``[1 + future, day]``; the last day is the one before those ahead.
    emergence
        EPPO code → curve since the weed's biofix, ``[1 + future, day]``.
    """

    soil_5cm_c: FloatArray
    soil_10cm_c: FloatArray
    emergence: Mapping[str, Emergence]


@dataclass(frozen=True)
class SiteState:
    """Everything about the site that the windows depend on, day by day.

    There are two for each answer: the past (whole record up to yesterday, no leading axis) and
    the days ahead (today to the end of the season, ``[member, day]``), which carries on from the
    past's end. Both run through the same code; see `windowcast.season.state`.
    """

    dates: DateArray  # [day], local dates
    soil_5cm_c: FloatArray  # [..., day] daily mean
    soil_10cm_c: FloatArray
    soil_moisture: FloatArray  # [..., day] share of available water in the top 10 cm, 0..1
    soil_frozen: npt.NDArray[np.bool_]  # [..., day]
    degree_days: Mapping[str, FloatArray]  # name → accumulated °C·d since its biofix, [..., day]
    emergence: Mapping[str, Emergence]  # EPPO code → curve
    turf: TurfState
    used: tuple[Value, ...] = field(default=())  # every science value that went in
    notes: tuple[Phrase, ...] = ()
    so_far: SoFar | None = None
    substitutes: tuple[Substitute, ...] = ()  # of the past; futures have none

    def to_pandas(self) -> pd.DataFrame:
        """A row a day, of the past: soil, turf, and for each weed its clock and emerged share.

        Columns: ``soil_5cm_c``, ``soil_10cm_c``, ``soil_moisture``, ``soil_frozen``,
        ``dormant_probability``; ``POAAN_degree_days``, ``POAAN_share``, ``POAAN_share_low``,
        ``POAAN_share_high`` and so on.

        Raises
        ------
        ValueError
            The state is of many futures: see `to_xarray`.
        """
        return table_of(self.dates, self._columns)

    def to_xarray(self) -> xr.Dataset:
        """The columns of `to_pandas` as variables by time, and by member where there are many.

        Raises
        ------
        InputError
            xarray is not installed.
        """
        units = {"_c": "degC", "_days": "degC d"}
        about = {
            name: {"units": next((u for end, u in units.items() if name.endswith(end)), "1")}
            for name in self._columns
        }
        return grid_of(self.dates, self._columns, about)

    @property
    def _columns(self) -> dict[str, npt.NDArray[Any]]:
        """What `to_pandas` and `to_xarray` give, ``[..., day]``."""
        columns: dict[str, npt.NDArray[Any]] = {
            name: getattr(self, name)
            for name in ("soil_5cm_c", "soil_10cm_c", "soil_moisture", "soil_frozen")
        }
        columns["dormant_probability"] = self.turf.dormant_probability
        for code, weed in self.emergence.items():
            columns[f"{code}_degree_days"] = self.degree_days[code]
            for name in ("share", "share_low", "share_high"):
                columns[f"{code}_{name}"] = getattr(weed, name)
        return columns

    def watched(self, season: str) -> list[Emergence]:
        """The watched weeds of a season, "fall" or "spring", that have a clock."""
        return [weed for weed in self.emergence.values() if weed.season == season]

    def alike(self) -> list[list[Emergence]]:
        """The watched weeds, those that share a general clock and its dates together."""
        groups: list[list[Emergence]] = []
        for weed in self.emergence.values():
            same = (
                group
                for group in groups
                if weed.doubt_weeks
                and weed.season == group[0].season
                and np.array_equal(weed.share, group[0].share, equal_nan=True)
            )
            group = next(same, None)
            if group is None:
                groups.append([weed])
            else:
                group.append(weed)
        return groups

    def weeds_of(self, season: str) -> list[Emergence]:
        """The watched weeds that answers for a season, "fall" or "spring", go by.

        Those of which most is known: a weed on a general clock steers only where none with a
        published curve is watched, so watching it moves nothing of the others.
        """
        own = self.watched(season)
        least = min((weed.doubt_weeks for weed in own), default=0.0)
        return [weed for weed in own if weed.doubt_weeks == least]


def days_of(state: SiteState, part: slice) -> SiteState:
    """The state on some of its days, everything in it that has a day axis cut alike."""
    cut: SiteState = _cut(state, len(state.dates), part)
    return cut


def _cut(value: Any, count: int, part: slice) -> Any:
    """Arrays whose last axis is the days, wherever they stand."""
    if isinstance(value, np.ndarray):
        return value[..., part] if value.ndim and value.shape[-1] == count else value
    if is_dataclass(value) and not isinstance(value, type):
        parts = {f.name: _cut(getattr(value, f.name), count, part) for f in fields(value)}
        return replace(value, **{n: p for n, p in parts.items() if p is not getattr(value, n)})
    if isinstance(value, Mapping):
        return {name: _cut(one, count, part) for name, one in value.items()}
    return value

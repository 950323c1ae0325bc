"""A weed's clocks: what each day adds to them, and their totals since the biofix.

A clock is a degree-day total of the weed's own kind. It stops where the soil is too cold or too dry
to germinate (hydrothermal time). Over a gap in the weather it runs as in other years
(`windowcast.season.bridging`). Where rain is unknown the middle takes the usual rain, the slow
clock a dry soil and the fastest a moist one.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from windowcast.core.record import DateArray, FloatArray
from windowcast.core.season_calendar import month_day, northern_month_day, on_date
from windowcast.season.bridging import Bridged, bridged
from windowcast.season.degree_days import accumulate, heating
from windowcast.season.weeds import Z90, CommonValues, Weed


class ClockSpeed(NamedTuple):
    """How fast a season's clock runs against the publication: log factors at 10, 50 and 90 %."""

    low: float
    mid: float
    high: float

    @staticmethod
    def prior(spread: float) -> ClockSpeed:
        """Before any count."""
        return ClockSpeed(-Z90 * spread, 0.0, Z90 * spread)

    def at(self, scores: FloatArray) -> FloatArray:
        """Log factor at standard normal scores, each half of the distribution with its spread."""
        half = np.where(scores < 0, self.mid - self.low, self.high - self.mid)
        return self.mid + scores / Z90 * half


@dataclass(frozen=True)
class Drivers:
    """Daily weather that emergence depends on, ``[..., day]``.

    Attributes
    ----------
    air_c
        Mean of maximum and minimum [°C].
    soil_c
        Mean at seed depth, 2.5 cm [°C].
    water
        Share of available water in the top of the soil, 0..1; NaN where rain is unknown.
    rain_7d_mm
        Rain of the day and the six before [mm]; NaN where unknown.
    begins
        First day of each row, ``[...]``, where they differ; None where all begin with `dates`.
    usual_water, usual_rain_7d_mm
        As `water` and `rain_7d_mm`, with usual rain where it is unknown; None where none is.
    """

    dates: DateArray
    air_c: FloatArray
    soil_c: FloatArray
    water: FloatArray
    rain_7d_mm: FloatArray
    southern: bool
    latitude_deg: float
    begins: DateArray | None = None
    usual_water: FloatArray | None = None
    usual_rain_7d_mm: FloatArray | None = None

    def last(self, days: int) -> Drivers:
        """The last days alone."""
        start = len(self.dates) - days
        cut = {
            name: values[..., start:]
            for name in _BY_DAY
            if (values := getattr(self, name)) is not None
        }
        return replace(self, dates=self.dates[start:], **cut)


_BY_DAY = ("air_c", "soil_c", "water", "rain_7d_mm", "usual_water", "usual_rain_7d_mm")


@dataclass(frozen=True)
class Clocks:
    """A weed's totals since its biofix, ``[..., day]`` [°C·d].

    Attributes
    ----------
    mid
        Its clocks by name.
    slow, fast
        The same with the doubt of gaps taken off and put on; slow also with unknown water as dry.
    degree_days
        The published total, without regard to water and soil.
    leaf_time
        What leaves unfold by.
    air
        By its rules of air temperature, by their names (`Weed.air_rules`).
    moist
        As `fast`, with unknown water as moist; empty where that is no other.
    """

    mid: Mapping[str, FloatArray]
    slow: Mapping[str, FloatArray]
    fast: Mapping[str, FloatArray]
    degree_days: FloatArray
    leaf_time: FloatArray
    air: Mapping[str, FloatArray] = field(default_factory=dict)
    moist: Mapping[str, FloatArray] = field(default_factory=dict)

    @property
    def highest(self) -> Mapping[str, FloatArray]:
        """The fastest clocks."""
        return self.moist or self.fast

    @property
    def sure(self) -> bool:
        """Whether no gap and no unknown rain leaves a doubt: all clocks are then the middle one."""
        return self.slow is self.mid and self.fast is self.mid and not self.moist

    def map(self, change: Callable[[FloatArray, FloatArray], FloatArray], other: Clocks) -> Clocks:
        """Each array of this and the same one of another, changed by a function of both."""

        def each(
            own: Mapping[str, FloatArray], theirs: Mapping[str, FloatArray]
        ) -> dict[str, FloatArray]:
            return {name: change(value, theirs[name]) for name, value in own.items()}

        mid = each(self.mid, other.mid)
        sure = self.sure and other.sure
        return Clocks(
            mid,
            mid if sure else each(self.slow, other.slow),
            mid if sure else each(self.fast, other.fast),
            change(self.degree_days, other.degree_days),
            change(self.leaf_time, other.leaf_time),
            each(self.air, other.air),
            each(self.highest, other.highest) if self.moist or other.moist else {},
        )

    def at(self, scores: FloatArray) -> dict[str, FloatArray]:
        """The clocks of futures by their place within the doubt of gaps and water, ``[..., day]``.

        Parameters
        ----------
        scores
            Standard normal, ``[future]``: at 1.28 the fast clocks hold, at -1.28 the slow ones.
        """
        if self.sure:
            return dict(self.mid)
        step = scores[:, None] / Z90
        found = {}
        for name, mid in self.mid.items():
            slow, fast = self.slow[name], self.highest[name]
            toward = np.where(step < 0, np.maximum(step, -1.0) * (mid - slow), step * (fast - mid))
            found[name] = mid + toward
        return found


class Middle(NamedTuple):
    """Only `mid` and `fast` of `Clocks`: what the emerged share is told from."""

    mid: Mapping[str, FloatArray]
    fast: Mapping[str, FloatArray]


def told_from(
    weed: Weed, totals: Clocks | Middle, log_shift: FloatArray | float = 0.0
) -> npt.NDArray[np.bool_]:
    """Where gaps leave the emerged share open by little enough to be told, ``[..., day]``."""
    told = ~np.logical_or.reduce([np.isnan(mid) for mid in totals.mid.values()])
    gappy = np.logical_or.reduce([(totals.fast[n] > m).any(axis=-1) for n, m in totals.mid.items()])
    if gappy.any():  # elsewhere there is no doubt
        fast, mid = ({n: a[gappy] for n, a in of.items()} for of in (totals.fast, totals.mid))
        shift = log_shift[gappy] if np.ndim(log_shift) > 1 else log_shift  # type: ignore[index]
        doubt = weed.share(fast, shift) - weed.share(mid, shift)
        told[gappy] = doubt <= weed.common.gap_doubt
    return np.asarray(told)


def clocks(weed: Weed, drivers: Drivers, start: Clocks | None = None) -> Clocks:
    """The weed's clocks over a run of days, ``[..., day]``; `start` as of the day before it."""
    return running(weed, drivers, increments(weed, drivers), start)


def middle_clocks(weed: Weed, drivers: Drivers) -> Middle:
    """`mid` and `fast` of the weed's clocks over a run of days, the same as `clocks` gives."""
    over, _ = _bridged(weed, drivers, bridged)
    usual = _water(weed, drivers).usual
    total = _totals(weed, drivers)
    return Middle(
        {name: total(step.daily * usual) for name, step in over.items()},
        {name: total((step.daily + step.doubt) * usual) for name, step in over.items()},
    )


def running(weed: Weed, drivers: Drivers, steps: Clocks, start: Clocks | None) -> Clocks:
    """Totals of what each day adds."""
    total = _totals(weed, drivers)
    if start is None:
        return steps.map(lambda step, _: total(step), steps)
    return steps.map(total, start)


def _totals(weed: Weed, drivers: Drivers) -> Callable[..., FloatArray]:
    """A function that adds up what each day adds, from a total or from nothing."""
    reset = on_date(drivers.dates, weed.biofix, drivers.southern)
    begins = drivers.begins
    idle = None if begins is None else _soon_begun(weed, drivers, begins)
    begin = _begin(weed, drivers)

    def total(step: FloatArray, start: FloatArray | float = begin) -> FloatArray:
        step = step if idle is None else np.where(idle, 0.0, step)
        return accumulate(step, reset, start)

    return total


def _begin(weed: Weed, drivers: Drivers) -> float:
    """Totals before the record: 0 where it begins soon enough after a biofix, else not known."""
    return 0.0 if _soon_after(weed, drivers.dates[:1], drivers.southern)[0] else np.nan


def _soon_after(weed: Weed, begins: DateArray, southern: bool) -> npt.NDArray[np.bool_]:
    """Whether a biofix lies in the days before each of the dates, ``[...]``."""
    before = begins[..., None] - np.arange(1, weed.common.late_start_days + 1)
    return np.asarray(on_date(before, weed.biofix, southern).any(axis=-1))


def _soon_begun(weed: Weed, drivers: Drivers, begins: DateArray) -> npt.NDArray[np.bool_]:
    """Days before a row that begins soon after a biofix: they count as 0, ``[..., day]``."""
    ahead = (begins[..., None] - drivers.dates).astype(np.int64)
    soon = _soon_after(weed, begins, drivers.southern)[..., None]
    return np.asarray(soon & (ahead > 0) & (ahead <= weed.common.late_start_days))


Bridge = Callable[[FloatArray, CommonValues], Bridged]


def on_known_days(weed: Weed, drivers: Drivers) -> Clocks:
    """What each day adds to the weed's clocks; NaN on days that are not known."""
    return increments(weed, drivers, lambda daily, _: Bridged(daily, np.zeros_like(daily)))


def increments(weed: Weed, drivers: Drivers, bridge: Bridge = bridged) -> Clocks:
    """What each day adds to the weed's clocks."""
    common = weed.common
    over, plain = _bridged(weed, drivers, bridge)
    by_air = {}
    for name, rule in weed.air_rules.items():
        warmth = heating(drivers.air_c, rule.base_c)
        if rule.start is not None:
            warmth = np.where(_between(drivers, rule.start, weed.biofix), warmth, 0.0)
        by_air[name] = bridge(warmth, common).daily
    dry, usual, moist = _water(weed, drivers)
    mid = {name: step.daily * usual for name, step in over.items()}
    slow = fast = mid
    most = {name: step.daily + step.doubt for name, step in over.items()}
    if dry is not moist or any(step.doubt.any() for step in over.values()):
        slow = {n: np.maximum(step.daily - step.doubt, 0.0) * dry for n, step in over.items()}
        fast = {name: step * usual for name, step in most.items()}
    return Clocks(
        mid=mid,
        slow=slow,
        fast=fast,
        degree_days=bridge(plain, common).daily,
        leaf_time=bridge(heating(drivers.air_c, weed.leaf_base_c), common).daily,
        air=by_air,
        moist={} if usual is moist else {name: step * moist for name, step in most.items()},
    )


def _bridged(weed: Weed, drivers: Drivers, bridge: Bridge) -> tuple[dict[str, Bridged], FloatArray]:
    """What each day adds to the clocks by warmth, over gaps, and to the published total."""
    common = weed.common
    plain = weed.degree_days(drivers.air_c if weed.driver == "air" else drivers.soil_c)
    if weed.ripe_from is not None:
        plain = np.where(_between(drivers, weed.ripe_from, weed.biofix), plain, 0.0)
    steps = {"emergence": plain * _warm(drivers.soil_c, common, bridge)}
    if weed.late_start is not None:
        late = _between(drivers, weed.late_start, weed.biofix)
        steps["late"] = np.where(late, heating(drivers.soil_c, common.germination_min_c), 0.0)
    return {name: bridge(step, common) for name, step in steps.items()}, plain


class _Water(NamedTuple):
    """By how much water slows the clocks: unknown water as dry, as usual, as moist."""

    dry: FloatArray
    usual: FloatArray
    moist: FloatArray


def _water(weed: Weed, drivers: Drivers) -> _Water:
    factor = weed.moisture_factor(drivers.water, drivers.rain_7d_mm)
    unknown = np.isnan(factor)
    if not unknown.any():
        return _Water(factor, factor, factor)
    moist = np.where(unknown, 1.0, factor)
    dry = np.where(unknown, weed.common.dry_unknown, factor)
    usual, water, rain = moist, drivers.usual_water, drivers.usual_rain_7d_mm
    if water is not None and rain is not None:
        guess = weed.moisture_factor(water, rain)
        usual = np.where(unknown & ~np.isnan(guess), guess, moist)
    return _Water(dry, usual, moist)


def _warm(soil_c: FloatArray, common: CommonValues, bridge: Bridge) -> FloatArray:
    """1 where the soil lets seeds germinate, 0 where not; over gaps where all other years agree."""
    warm = np.where(np.isnan(soil_c), np.nan, soil_c >= common.germination_min_c)
    over = bridge(warm, common)
    return np.where(over.doubt == 0, over.daily, np.nan)


def _between(drivers: Drivers, first: str, stop: str) -> npt.NDArray[np.bool_]:
    """Days from one (northern) calendar day to before another, also over the turn of the year."""
    today = month_day(drivers.dates)
    begin, end = (northern_month_day(text, drivers.southern) for text in (first, stop))
    if begin < end:
        return np.asarray((today >= begin) & (today < end))
    return np.asarray((today >= begin) | (today < end))

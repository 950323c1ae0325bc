"""Weed emergence: the emerged share with its band, and the ages of the plants that are up.

Each weed has a clock, a degree-day total of its own kind counted from its biofix. The clock stops
where the soil is too cold or too dry to germinate (hydrothermal time). A curve turns the clock into
the emerged share. The clock may run faster or slower than published, by a log-normal factor. The
share only rises with the clock, so the 10 and 90 % bands are the same curve on the 10 and 90 %
clocks. Over a gap in the weather the clock runs as in other years
(`windowcast.season.bridging`). Where rain is unknown the low band takes a dry soil and
the high band a moist one. Both bands include that uncertainty, and while a gap's is too large the
share is unknown. Futures each take a place of their own within that band, for the season so far as
much as for the days ahead (`emerge_in_futures`).

A curve can be used where its clock starts in a season in which nothing comes up (`can_be_used`). In
a summer as cool as the fall elsewhere, and in a winter as warm as spring, the clock runs from the
day on which it is started: the dates that follow are those of the calendar, alike each year, and
say nothing of the weed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from windowcast.core.record import DateArray, FloatArray
from windowcast.core.season_calendar import on_date
from windowcast.season.ages import Ages, History, ages_of
from windowcast.season.clocks import (
    Clocks,
    ClockSpeed,
    Drivers,
    increments,
    on_known_days,
    running,
    told_from,
)
from windowcast.season.degree_days import accumulate
from windowcast.season.model import Emergence
from windowcast.season.weeds import Weed


class Counted(NamedTuple):
    """A scouting count with the weed's clocks on its day."""

    totals: Mapping[str, float]
    plants: float
    area_m2: float


@dataclass(frozen=True)
class WeedCarry:
    """What the next day needs of a weed: totals ``[...]``, the season so far ``[..., day]``."""

    clocks: Clocks
    season_share: FloatArray  # since the biofix, for the ages of plants
    season_leaf_time: FloatArray
    season_steps: Clocks  # what each of those days added to the clocks
    timing: ClockSpeed
    usable: bool  # whether the curve holds at the place
    air_usable: bool  # and the rule of air temperature for the first plants
    counted: tuple[Counted, ...] = ()  # this season's counts so far

    @property
    def plants(self) -> History:
        """What the ages of plants go on from."""
        return self.season_share, self.season_leaf_time


def emerge(
    weed: Weed,
    drivers: Drivers,
    carry: WeedCarry | None = None,
    timings: Mapping[int, ClockSpeed] | None = None,
    counted: tuple[Counted, ...] = (),
) -> tuple[Emergence, FloatArray, WeedCarry]:
    """Emergence of one weed over a run of days.

    Parameters
    ----------
    weed, drivers
        What emerges, and in what weather.
    carry
        From the run that ended the day before. None begins without knowledge of what went
        before, so that all is NaN until the first biofix, unless that has only just been.
    timings
        ClockSpeed of seasons that counts have updated, by the season's number: 0 for the one under
        way on the first day, 1 for the one that begins at the first biofix after, and so on.
    counted
        Counts of the last season, to be carried on.

    Returns
    -------
    Emergence, FloatArray, WeedCarry
        The curve; the weed's published degree-day total without regard to water ``[..., day]``;
        and what to carry on from.

    Notes
    -----
    ``clock(t) = sum of dd(T) m(water) [T_soil >= T_min]`` from the biofix on, with degree days dd
    and a moisture factor m of the weed (`Weed.degree_days`, `Weed.moisture_factor`); the share is
    `Weed.share` of the clock.

    References
    ----------
    Forcella, Benech Arnold, Sanchez & Ghersa (2000), *Field Crops Res.* 67:123-139, for clocks
    of heat that wait for water. The source of each weed's clock is in ``data/weeds.toml``.

    Examples
    --------
    Annual bluegrass in a moist fall that cools from 30 to 0 °C:

    >>> import numpy as np
    >>> from windowcast.season.clocks import Drivers
    >>> from windowcast.season.emergence import emerge
    >>> from windowcast.season.weeds import weed
    >>> days = np.arange("2023-06-01", "2024-02-01", dtype="datetime64[D]")
    >>> air_c = np.linspace(30.0, 0.0, len(days))
    >>> wet, rain = np.full(len(days), 0.8), np.full(len(days), 30.0)
    >>> drivers = Drivers(days, air_c, air_c, wet, rain, southern=False, latitude_deg=35.0)
    >>> curve, degree_days, _ = emerge(weed("POAAN"), drivers)
    >>> shares = curve.share[np.searchsorted(days, np.array(["2023-09-01", "2023-12-31"], "M8[D]"))]
    >>> bool(shares[0] < 0.1 < 0.7 < shares[1])
    True
    """
    reset = on_date(drivers.dates, weed.biofix, drivers.southern)
    season = np.cumsum(reset).astype(np.int64)
    steps = increments(weed, drivers)
    totals = running(weed, drivers, steps, None if carry is None else carry.clocks)
    prior = ClockSpeed.prior(weed.spread_at(drivers.latitude_deg))
    at = _speeds(season, prior, carry, timings)
    low, mid, high = (np.array([getattr(t, k) for t in at])[season] for k in ("low", "mid", "high"))
    share = weed.share(totals.mid, mid)
    plants = None if carry is None else carry.plants
    ages = ages_of(weed, share, totals.leaf_time, np.flatnonzero(reset), plants)
    told = told_from(weed, totals, mid)
    emergence = replace(
        _curve(weed, share, ages, told),
        **by_air(weed, totals, np.zeros(1)),
        share_low=np.where(told, weed.share(totals.slow, low), np.nan),
        share_high=np.where(told, weed.share(totals.highest, high), np.nan),
        share_prior=np.where(told, weed.share(totals.mid, prior.mid), np.nan),
    )
    usable, air_usable = _usable(weed, emergence, drivers, carry)
    after = WeedCarry(
        clocks=totals.map(lambda total, _: total[..., -1], totals),
        season_share=ages.season_share,
        season_leaf_time=ages.season_leaf_time,
        season_steps=_season_steps(steps, np.flatnonzero(reset), carry),
        timing=at[-1],
        usable=usable,
        air_usable=air_usable,
        counted=counted,
    )
    return (
        emergence.as_far_as(usable, air_usable),
        np.where(told, totals.degree_days, np.nan),
        after,
    )


def emerge_in_futures(
    weed: Weed,
    before: Drivers,
    ahead: Drivers,
    carry: WeedCarry,
    *,
    scores: FloatArray,
    timings: Mapping[int, ClockSpeed] | None = None,
) -> tuple[Emergence, Emergence, FloatArray]:
    """Emergence in futures that each have a clock and a soil of their own.

    Parameters
    ----------
    before
        The days up to the carry's, at least since the weed's biofix, as each future has them,
        ``[future, day]``.
    ahead
        The days after it, ``[future, day]``.
    carry, timings
        As in `emerge`; the carry is of the record, without futures.
    scores
        Place of each future in the band of the clock, standard normal, ``[future]``; 0 for the
        middle.

    Returns
    -------
    Emergence, Emergence, FloatArray
        Since the biofix before the first day ahead; on the days ahead; and the weed's degree-day
        total on these. A future's band is its share: what the clock may be off by is in it.
    """
    days = carry.season_share.shape[-1]
    own = before.last(days)
    known = on_known_days(weed, own)
    kept = known.map(lambda new, old: np.where(np.isnan(new), old, new), carry.season_steps)
    begin = np.where(np.isnan(carry.season_share[..., 0]), np.nan, 0.0) if days else np.nan
    never = np.zeros(days, bool)
    gone = kept.map(lambda step, _: accumulate(step, never, begin), kept)
    reset = on_date(ahead.dates, weed.biofix, ahead.southern)
    steps = increments(weed, ahead)
    coming = steps.map(
        lambda step, total: accumulate(step, reset, total[..., -1] if days else begin), gone
    )
    totals = gone.map(lambda a, b: _joined(a, b, len(scores)), coming)
    season = np.concatenate([np.zeros(days, np.int64), np.cumsum(reset)])
    prior = ClockSpeed.prior(weed.spread_at(ahead.latitude_deg))
    speeds = [timing.at(scores) for timing in _speeds(season, prior, carry, timings)]
    shift = np.stack(speeds, axis=-1)[:, season]
    share = weed.share(totals.at(scores), shift)
    ages = ages_of(weed, share, totals.leaf_time, days + np.flatnonzero(reset), None)
    curve = replace(
        _curve(weed, share, ages, told_from(weed, totals, shift)),
        **by_air(weed, totals, scores[:, None]),
    )
    total = np.where(np.isnan(curve.share), np.nan, totals.degree_days)
    curve = curve.as_far_as(carry.usable, carry.air_usable)
    return curve.days(slice(0, days)), curve.days(slice(days, None)), total[..., days:]


def _joined(before: FloatArray, after: FloatArray, rows: int) -> FloatArray:
    """``[row, day]`` of both in a row."""
    parts = (np.broadcast_to(a, (rows, a.shape[-1])) for a in (before, after))
    return np.concatenate(list(parts), axis=-1)


def _speeds(
    season: npt.NDArray[np.int64],
    prior: ClockSpeed,
    carry: WeedCarry | None,
    timings: Mapping[int, ClockSpeed] | None,
) -> list[ClockSpeed]:
    """Speed of the clock in each season of a run, by the season's number."""
    by_season = {0: prior if carry is None else carry.timing, **(timings or {})}
    return [by_season.get(n, prior) for n in range(int(season[-1]) + 1)]


def _curve(weed: Weed, share: FloatArray, ages: Ages, told: npt.NDArray[np.bool_]) -> Emergence:
    """A curve without a band; NaN where it cannot be told."""
    shown = np.where(told, share, np.nan)
    return Emergence(
        weed=weed.code,
        name=weed.name,
        season=weed.season,
        share=shown,
        share_low=shown,
        share_high=shown,
        youngest_share=np.where(told, ages.young, np.nan),
        mean_leaf=np.where(told, ages.mean_leaf, np.nan),
        stages={name: np.where(told, part, np.nan) for name, part in ages.stages.items()},
        tillering_leaf=weed.young_below,
        doubt_weeks=weed.doubt_weeks,
    )


def _usable(
    weed: Weed, curve: Emergence, drivers: Drivers, carry: WeedCarry | None
) -> tuple[bool, bool]:
    """Whether the curve and the air rule hold at the place: what a record's first run said."""
    if carry is not None:
        return carry.usable, carry.air_usable
    dates, southern = drivers.dates, drivers.southern
    air = curve.first_by_air
    return (
        bool(can_be_used(weed, curve.share, dates, southern=southern).all()),
        air is None or bool(air_rule_can_be_used(weed, air, dates, southern=southern).all()),
    )


def by_air(weed: Weed, totals: Clocks, scores: FloatArray) -> dict[str, Any]:
    """Air degree days over what each rule of air temperature takes, ``[..., day]``."""
    return {
        f"{name}_by_air": totals.air[name] * np.exp(rule.spread * scores) / rule.total
        for name, rule in weed.air_rules.items()
    }


def _season_steps(steps: Clocks, resets: npt.NDArray[np.int64], carry: WeedCarry | None) -> Clocks:
    """What each day since the last biofix added to the clocks, or since the first day known."""
    if len(resets):
        return steps.map(lambda step, _: step[..., resets[-1] :], steps)
    if carry is None:
        return steps
    return carry.season_steps.map(
        lambda old, new: np.concatenate(
            [np.broadcast_to(old, (*new.shape[:-1], old.shape[-1])), new], axis=-1
        ),
        steps,
    )


def can_be_used(
    weed: Weed, share: FloatArray, dates: DateArray, *, southern: bool
) -> npt.NDArray[np.bool_]:
    """Whether a weed's curve holds at a place, ``[...]``.

    Parameters
    ----------
    share
        Emerged share over the years of a record, ``[..., day]``; NaN where it is unknown.

    Returns
    -------
    numpy.ndarray
        False where in most years more has come up by the end of the quiet time than the table
        allows; True where no year tells.
    """
    limit = weed.common.too_early if weed.season == "fall" else weed.common.no_winter
    return _quiet(weed, share > limit, np.isfinite(share), dates, southern)


def air_rule_can_be_used(
    weed: Weed, first_by_air: FloatArray, dates: DateArray, *, southern: bool
) -> npt.NDArray[np.bool_]:
    """Whether the rule of air temperature holds at a place, ``[...]``; as `can_be_used`.

    False where in most years it tells the first plants before the end of the quiet time.
    """
    return _quiet(weed, first_by_air >= 1.0, np.isfinite(first_by_air), dates, southern)


def _quiet(
    weed: Weed,
    early: npt.NDArray[np.bool_],
    known: npt.NDArray[np.bool_],
    dates: DateArray,
    southern: bool,
) -> npt.NDArray[np.bool_]:
    days = on_date(dates, weed.common.quiet_until[weed.season], southern)
    return np.asarray(2 * early[..., days].sum(axis=-1) <= known[..., days].sum(axis=-1))

"""Weed emergence: the emerged share with its band, and the ages of the plants that are up.

Each weed has a clock, a degree-day total of its own kind counted from its biofix. The clock stops
where the soil is too cold or too dry to germinate (hydrothermal time). A curve turns the clock into
the emerged share. The clock may run faster or slower than published, by a log-normal factor. The
share only rises with the clock, so the 10 and 90 % bands are the same curve on the 10 and 90 %
clocks. The low band also takes unknown water as dry. Over a gap in the weather the clock runs as in
other years (`windowcast.season.bridging`). Both bands include that uncertainty, and while it is too
large the share is unknown. Futures each take a place of their own within that band, for the season
so far as much as for the days ahead (`emerge_in_futures`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from windowcast.core.record import DateArray, FloatArray
from windowcast.core.season_calendar import month_day, northern_month_day, on_date
from windowcast.season.bridging import Bridged, bridged
from windowcast.season.degree_days import accumulate, heating
from windowcast.season.model import Emergence
from windowcast.season.weeds import Z90, CommonValues, Weed


@dataclass(frozen=True)
class ClockSpeed:
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
class Counted:
    """A scouting count with the weed's clocks on its day."""

    totals: Mapping[str, float]
    plants: float
    area_m2: float


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
    """

    dates: DateArray
    air_c: FloatArray
    soil_c: FloatArray
    water: FloatArray
    rain_7d_mm: FloatArray
    southern: bool
    latitude_deg: float
    begins: DateArray | None = None

    def last(self, days: int) -> Drivers:
        """The last days alone."""
        cut = {name: getattr(self, name)[..., len(self.dates) - days :] for name in _BY_DAY}
        return replace(self, dates=self.dates[len(self.dates) - days :], **cut)


_BY_DAY = ("air_c", "soil_c", "water", "rain_7d_mm")


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
    """

    mid: Mapping[str, FloatArray]
    slow: Mapping[str, FloatArray]
    fast: Mapping[str, FloatArray]
    degree_days: FloatArray
    leaf_time: FloatArray

    def map(self, change: Callable[[FloatArray, FloatArray], FloatArray], other: Clocks) -> Clocks:
        """Each array of this and the same one of another, changed by a function of both."""

        def each(
            own: Mapping[str, FloatArray], theirs: Mapping[str, FloatArray]
        ) -> dict[str, FloatArray]:
            return {name: change(value, theirs[name]) for name, value in own.items()}

        return Clocks(
            each(self.mid, other.mid),
            each(self.slow, other.slow),
            each(self.fast, other.fast),
            change(self.degree_days, other.degree_days),
            change(self.leaf_time, other.leaf_time),
        )

    def at(self, scores: FloatArray) -> dict[str, FloatArray]:
        """The clocks of futures by their place within the doubt of gaps and water, ``[..., day]``.

        Parameters
        ----------
        scores
            Standard normal, ``[future]``: at 1.28 the fast clocks hold, at -1.28 the slow ones.
        """
        step = scores[:, None] / Z90
        found = {}
        for name, mid in self.mid.items():
            slow, fast = self.slow[name], self.fast[name]
            toward = np.where(step < 0, np.maximum(step, -1.0) * (mid - slow), step * (fast - mid))
            found[name] = mid + toward
        return found


@dataclass(frozen=True)
class WeedCarry:
    """What the next day needs of a weed: totals ``[...]``, the season so far ``[..., day]``."""

    clocks: Clocks
    season_share: FloatArray  # since the biofix, for the ages of plants
    season_leaf_time: FloatArray
    season_steps: Clocks  # what each of those days added to the clocks
    timing: ClockSpeed
    counted: tuple[Counted, ...] = ()  # this season's counts so far


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
    >>> from windowcast.season.emergence import Drivers, emerge
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
    steps = _increments(weed, drivers)
    totals = _running(weed, drivers, steps, carry)
    prior = ClockSpeed.prior(weed.spread_at(drivers.latitude_deg))
    at = _speeds(season, prior, carry, timings)
    low, mid, high = (np.array([getattr(t, k) for t in at])[season] for k in ("low", "mid", "high"))
    share = weed.share(totals.mid, mid)
    ages = _ages(weed, share, totals.leaf_time, np.flatnonzero(reset), carry)
    told = told_from(weed, totals, mid)
    emergence = replace(
        _curve(weed, share, ages, told),
        share_low=np.where(told, weed.share(totals.slow, low), np.nan),
        share_high=np.where(told, weed.share(totals.fast, high), np.nan),
        share_prior=np.where(told, weed.share(totals.mid, prior.mid), np.nan),
    )
    after = WeedCarry(
        clocks=totals.map(lambda total, _: total[..., -1], totals),
        season_share=ages.season_share,
        season_leaf_time=ages.season_leaf_time,
        season_steps=_season_steps(steps, np.flatnonzero(reset), carry),
        timing=at[-1],
        counted=counted,
    )
    return emergence, np.where(told, totals.degree_days, np.nan), after


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
    known = _on_known_days(weed, own)
    kept = known.map(lambda new, old: np.where(np.isnan(new), old, new), carry.season_steps)
    begin = np.where(np.isnan(carry.season_share[..., 0]), np.nan, 0.0) if days else np.nan
    never = np.zeros(days, bool)
    gone = kept.map(lambda step, _: accumulate(step, never, begin), kept)
    reset = on_date(ahead.dates, weed.biofix, ahead.southern)
    steps = _increments(weed, ahead)
    coming = steps.map(
        lambda step, total: accumulate(step, reset, total[..., -1] if days else begin), gone
    )
    totals = gone.map(lambda a, b: _joined(a, b, len(scores)), coming)
    season = np.concatenate([np.zeros(days, np.int64), np.cumsum(reset)])
    prior = ClockSpeed.prior(weed.spread_at(ahead.latitude_deg))
    speeds = [timing.at(scores) for timing in _speeds(season, prior, carry, timings)]
    shift = np.stack(speeds, axis=-1)[:, season]
    share = weed.share(totals.at(scores), shift)
    ages = _ages(weed, share, totals.leaf_time, days + np.flatnonzero(reset), None)
    curve = _curve(weed, share, ages, told_from(weed, totals, shift))
    total = np.where(np.isnan(curve.share), np.nan, totals.degree_days)
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


def _curve(weed: Weed, share: FloatArray, ages: _Ages, told: npt.NDArray[np.bool_]) -> Emergence:
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
    )


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


def told_from(
    weed: Weed, totals: Clocks, log_shift: FloatArray | float = 0.0
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


def clocks(weed: Weed, drivers: Drivers, carry: WeedCarry | None = None) -> Clocks:
    """The weed's clocks over a run of days, ``[..., day]``."""
    return _running(weed, drivers, _increments(weed, drivers), carry)


def _running(weed: Weed, drivers: Drivers, steps: Clocks, carry: WeedCarry | None) -> Clocks:
    """Totals of what each day adds."""
    reset = on_date(drivers.dates, weed.biofix, drivers.southern)
    if drivers.begins is not None:
        idle = _soon_begun(weed, drivers, drivers.begins)
        steps = steps.map(lambda step, _: np.where(idle, 0.0, step), steps)
    if carry is None:
        begin = _begin(weed, drivers)
        return steps.map(lambda step, _: accumulate(step, reset, begin), steps)
    return steps.map(lambda step, start: accumulate(step, reset, start), carry.clocks)


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


def _on_known_days(weed: Weed, drivers: Drivers) -> Clocks:
    """What each day adds to the weed's clocks; NaN on days that are not known."""
    return _increments(weed, drivers, lambda daily, _: Bridged(daily, np.zeros_like(daily)))


def _increments(weed: Weed, drivers: Drivers, bridge: Bridge = bridged) -> Clocks:
    """What each day adds to the weed's clocks."""
    common = weed.common
    plain = weed.degree_days(drivers.air_c if weed.driver == "air" else drivers.soil_c)
    steps = {"emergence": plain * _warm(drivers.soil_c, common, bridge)}
    if weed.late_start is not None:
        late = _between(drivers, weed.late_start, weed.biofix)
        steps["late"] = np.where(late, heating(drivers.soil_c, common.germination_min_c), 0.0)
    over = {name: bridge(step, common) for name, step in steps.items()}
    factor = weed.moisture_factor(drivers.water, drivers.rain_7d_mm)
    moist = np.where(np.isnan(factor), 1.0, factor)
    dry = np.where(np.isnan(factor), common.dry_unknown, factor)
    return Clocks(
        mid={name: step.daily * moist for name, step in over.items()},
        slow={n: np.maximum(step.daily - step.doubt, 0.0) * dry for n, step in over.items()},
        fast={name: (step.daily + step.doubt) * moist for name, step in over.items()},
        degree_days=bridge(plain, common).daily,
        leaf_time=bridge(heating(drivers.air_c, weed.leaf_base_c), common).daily,
    )


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


@dataclass(frozen=True)
class _Ages:
    young: FloatArray
    mean_leaf: FloatArray
    stages: Mapping[str, FloatArray]
    season_share: FloatArray
    season_leaf_time: FloatArray


def _ages(
    weed: Weed,
    share: FloatArray,
    leaf_time: FloatArray,
    resets: npt.NDArray[np.int64],
    carry: WeedCarry | None,
) -> _Ages:
    """Ages of the plants up, from daily cohorts that all live through the season's leaf time.

    A plant that came up on day e has at day t grown ``leaf_time[t] - leaf_time[e]``. Where nothing
    is up yet, all is "young" and the mean leaf is 0.
    """
    share, leaf_time = np.broadcast_arrays(share, leaf_time)
    leading = share.shape[:-1]
    bounds = weed.common.stage_leaf
    limits = [weed.young_below, *bounds]
    older = np.empty((len(limits), *share.shape))
    mean_leaf = np.empty(share.shape)
    before = _history(carry, leading)
    edges = [0, *(int(i) for i in resets if i), share.shape[-1]]
    kept = before
    for first, stop in pairwise(edges):
        part = slice(first, stop)
        if first or (len(resets) and resets[0] == 0):
            before = _history(None, leading)
        season_share = np.concatenate([before[0], share[..., part]], axis=-1)
        season_leaf = np.concatenate([before[1], leaf_time[..., part]], axis=-1)
        skip = before[0].shape[-1]
        cohorts = np.diff(season_share, axis=-1, prepend=0.0)
        born = np.cumsum(cohorts * season_leaf, axis=-1)
        with np.errstate(invalid="ignore", divide="ignore"):
            age = np.where(season_share > 0, season_leaf - born / season_share, 0.0)
        age = np.where(np.isnan(season_share), np.nan, np.maximum(age, 0.0))
        mean_leaf[..., part] = (age / weed.phyllochron)[..., skip:]
        for i, limit in enumerate(limits):
            older[i][..., part] = _share_older(
                season_share, season_leaf, limit * weed.phyllochron, skip
            )
        kept = (season_share, season_leaf)
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = np.where(share > 0, older / share, 0.0)
    ratio = np.where(np.isnan(share), np.nan, np.clip(ratio, 0.0, 1.0))
    names = [f"BBCH 10-{9 + bounds[0]}", f"BBCH {10 + bounds[0]}-{9 + bounds[1]}"]
    stages = {
        names[0]: 1.0 - ratio[1],
        names[1]: ratio[1] - ratio[2],
        f"BBCH {10 + bounds[1]} and later": ratio[2],
    }
    return _Ages(1.0 - ratio[0], mean_leaf, stages, kept[0], kept[1])


def _history(carry: WeedCarry | None, leading: Sequence[int]) -> tuple[FloatArray, FloatArray]:
    """Share and leaf time of the season's earlier days, with today's leading axes."""
    if carry is None:
        empty = np.empty((*leading, 0))
        return empty, empty
    shape = (*leading, carry.season_share.shape[-1])
    return np.broadcast_to(carry.season_share, shape), np.broadcast_to(
        carry.season_leaf_time, shape
    )


def _share_older(share: FloatArray, leaf: FloatArray, age: float, skip: int) -> FloatArray:
    """Emerged share that has reached an age, from day `skip` on, ``[..., day]``."""
    days = leaf.shape[-1]
    flat_leaf, flat_share = leaf.reshape(-1, days), share.reshape(-1, days)
    out = np.empty((len(flat_leaf), days - skip))
    for row, (grown, up) in enumerate(zip(flat_leaf, flat_share, strict=True)):
        last = np.searchsorted(grown, grown[skip:] - age, side="right") - 1
        out[row] = np.where(last >= 0, up[np.maximum(last, 0)], 0.0)
    return out.reshape(*leaf.shape[:-1], days - skip)
